//! Rays to the sun's disc against the delivered casters, by a library that the shade does not use
//! (parry3d, Dimforge).

use std::f64::consts::TAU;
use std::path::{Path, PathBuf};

use glam::{DQuat, DVec3, Quat};
use parry3d::math::Vector;
use parry3d::query::{Ray, RayCast};
use parry3d::shape::{TriMesh, TriMeshFlags};
use rayon::prelude::*;
use scatter::layout::Layout;
use scatter::optics::Camera;
use scatter::random::stream;
use scatter::shot::Shot;
use scatter_tests::dresser::{Dressed, Dresser};
use serde_json::{Value, json};

/// Angular radius of the sun, radians: 1923 arc seconds across, the mean of 1999 (1891 to 1955 over
/// the year).
pub(crate) const SUN_RADIUS: f64 = 0.5 * 1923.0 / 3600.0 * TAU / 360.0;

pub(crate) fn examples() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../examples/orchard-pot")
}

/// A close camera on a plane, with a shade.
pub(crate) fn shot(shade: &Value, elevation: f64) -> Value {
    json!({
        "shot": "dapple", "take": 3,
        "cameras": [{ "name": "close", "at": [0, 0.45, 1.15], "toward": [0, 0.05, 0], "lens": "50 mm", "frame": [1920, 1080], "far": "40 m" }],
        "light": { "sun": { "azimuth": "150 deg", "elevation": elevation } },
        "shade": shade
    })
}

pub(crate) fn dress(document: &Value) -> (Shot, Dressed) {
    let shot = Shot::parse(&document.to_string(), Path::new("shot.json")).expect("a good shot");
    let dresser = Dresser::new(&shot, &examples()).expect("a shot to dress");
    let dressed = dresser.dress(shot.take).expect("a layout");
    (shot, dressed)
}

/// The casters as the judge sees them.
pub(crate) struct Judge {
    pub(crate) meshes: Vec<TriMesh>,
    pub(crate) casters: Vec<Placed>,
    pub(crate) sun: DVec3,
}

pub(crate) struct Placed {
    pub(crate) mesh: usize,
    pub(crate) position: DVec3,
    pub(crate) rotation: DQuat,
    pub(crate) scale: f64,
    pub(crate) middle: DVec3,
    pub(crate) radius: f64,
}

impl Judge {
    pub(crate) fn new(layout: &Layout, shot: &Shot) -> Self {
        let meshes: Vec<TriMesh> = layout
            .pieces
            .iter()
            .map(|piece| {
                let mut points = Vec::new();
                let mut triangles = Vec::new();
                for part in &piece.parts {
                    let first = points.len() as u32;
                    let p = part.mesh.positions.iter();
                    points.extend(p.map(|p| Vector::new(p.x, p.y, p.z)));
                    let t = part.mesh.indices.chunks_exact(3);
                    triangles.extend(t.map(|t| [t[0] + first, t[1] + first, t[2] + first]));
                }
                TriMesh::with_flags(points, triangles, TriMeshFlags::empty()).expect("a mesh")
            })
            .collect();
        let shade = layout
            .passes
            .iter()
            .position(|p| p.name == "shade")
            .expect("a shade pass");
        let casters = layout
            .instances
            .iter()
            .filter(|i| usize::from(i.pass) == shade)
            .map(|i| {
                let rotation = Quat::from_array(i.rotation).as_dquat().normalize();
                let scale = f64::from(i.scale);
                let (low, high) = layout.pieces[usize::from(i.piece)]
                    .parts
                    .iter()
                    .flat_map(|p| &p.mesh.positions)
                    .fold((DVec3::INFINITY, DVec3::NEG_INFINITY), |(l, h), p| {
                        (l.min(p.as_dvec3()), h.max(p.as_dvec3()))
                    });
                Placed {
                    mesh: usize::from(i.piece),
                    position: i.position,
                    rotation,
                    scale,
                    middle: i.position + rotation * (0.5 * (low + high) * scale),
                    radius: 0.5 * (high - low).length() * scale,
                }
            })
            .collect();
        let [azimuth, elevation] = shot.light.direction();
        let sun = DVec3::new(
            elevation.cos() * azimuth.sin(),
            elevation.sin(),
            -elevation.cos() * azimuth.cos(),
        );
        Self {
            meshes,
            casters,
            sun,
        }
    }

    /// Casters that may hide some of the sun from a place.
    pub(crate) fn near(&self, place: DVec3) -> Vec<&Placed> {
        self.casters
            .iter()
            .filter(|c| {
                let to = c.middle - place;
                let along = to.dot(self.sun);
                let aside = (to - self.sun * along).length();
                along > -c.radius && aside < c.radius + along.abs() * 1.1 * SUN_RADIUS
            })
            .collect()
    }

    /// Share of the sun's disc that is free from a place, by `rays` rays.
    pub(crate) fn light(&self, place: DVec3, rays: u32) -> f64 {
        let near = self.near(place);
        if near.is_empty() {
            return 1.0;
        }
        let u = self.sun.any_orthonormal_vector();
        let v = self.sun.cross(u);
        let free = (0..rays).filter(|k| {
            // The sunflower's spiral fills a disc evenly (Vogel, "A better way to construct the
            // sunflower head", 1979)
            let r = SUN_RADIUS * ((f64::from(*k) + 0.5) / f64::from(rays)).sqrt();
            let turn = f64::from(*k) * 2.399_963_229_728_653;
            let way = (self.sun + (u * turn.cos() + v * turn.sin()) * r.tan()).normalize();
            !near.iter().any(|c| self.meets(c, place, way))
        });
        free.count() as f64 / f64::from(rays)
    }

    pub(crate) fn meets(&self, c: &Placed, place: DVec3, way: DVec3) -> bool {
        let back = c.rotation.conjugate();
        // From beside the caster: single precision is enough there
        let skip = ((c.middle - place).dot(way) - 1.1 * c.radius).max(0.0);
        let from = back * (place + way * skip - c.position) / c.scale;
        let way = back * way;
        let vector = |v: DVec3| Vector::new(v.x as f32, v.y as f32, v.z as f32);
        let ray = Ray::new(vector(from), vector(way));
        self.meshes[c.mesh].intersects_local_ray(&ray, f32::MAX)
    }
}

/// Where a place falls in a camera's picture, both from -1 to 1, if before the lens and within the
/// far limit.
pub(crate) fn in_frame(camera: &Camera, place: DVec3) -> bool {
    let q = camera.rotation.conjugate() * (place - camera.position);
    let depth = -q.z;
    let tall = (0.5 * camera.yfov).tan() * depth;
    let wide = tall * f64::from(camera.frame[0]) / f64::from(camera.frame[1]);
    depth > camera.near && depth < camera.far && q.x.abs() < wide && q.y.abs() < tall
}

/// Places spread evenly over the framed ground of the plane y = 0, drawn from a stream.
pub(crate) fn framed(camera: &Camera, count: usize, seed: u64) -> Vec<DVec3> {
    let mut draws = stream(seed);
    let mut places = Vec::new();
    while places.len() < count {
        let place = DVec3::new(draws.between(-4.0, 4.0), 0.0, draws.between(-8.0, 2.0));
        if in_frame(camera, place) {
            places.push(place);
        }
    }
    places
}

/// Ground under the middles of pixels spread evenly over the picture.
pub(crate) fn seen(camera: &Camera, across: u32) -> Vec<DVec3> {
    let down = across * 9 / 16;
    let tall = (0.5 * camera.yfov).tan();
    let mut places = Vec::new();
    for i in 0..across * down {
        let x = (2.0 * f64::from(i % across) + 1.0) / f64::from(across) - 1.0;
        let y = (2.0 * f64::from(i / across) + 1.0) / f64::from(down) - 1.0;
        let way = camera.rotation * DVec3::new(x * tall * 16.0 / 9.0, y * tall, -1.0);
        if way.y < 0.0 {
            places.push(camera.position - way * (camera.position.y / way.y));
        }
    }
    places
}

/// Mean share of the sun's disc that is free over some places.
pub(crate) fn mean_light(judge: &Judge, places: &[DVec3]) -> f64 {
    let sum: f64 = places.par_iter().map(|p| judge.light(*p, 10)).sum();
    sum / places.len() as f64
}
