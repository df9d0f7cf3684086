//! Dappled light, measured by rays to the sun's disc against the casters as they are delivered (parry3d, Dimforge, 2025, as the judge of
//! what a ray meets). Nothing here uses the library's own picture of the canopy.

#![expect(
    clippy::print_stdout,
    reason = "the figures, for who asks with --nocapture"
)]

use std::f64::consts::TAU;
use std::path::{Path, PathBuf};
use std::time::Instant;

use glam::{DQuat, DVec3, Quat};
use parry3d::math::Vector;
use parry3d::query::{Ray, RayCast};
use parry3d::shape::{TriMesh, TriMeshFlags};
use rayon::prelude::*;
use scatter::layout::{Dressed, Dresser, Layout};
use scatter::optics::Camera;
use scatter::random::stream;
use scatter::shot::Shot;
use serde_json::{Value, json};

/// Angular radius of the sun, radians: 1923 arc seconds across, the mean of 1999 (1891 to 1955 over the year).
const SUN_RADIUS: f64 = 0.5 * 1923.0 / 3600.0 * TAU / 360.0;

fn examples() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../examples/orchard-pot")
}

/// A close camera on a plane, with a shade.
fn shot(shade: &Value, elevation: f64) -> Value {
    json!({
        "shot": "dapple", "take": 3,
        "cameras": [{ "name": "close", "at": [0, 0.45, 1.15], "toward": [0, 0.05, 0], "lens": "50 mm", "frame": [1920, 1080], "far": "40 m" }],
        "light": { "sun": { "azimuth": "150 deg", "elevation": elevation } },
        "shade": shade
    })
}

fn dress(document: &Value) -> (Shot, Dressed) {
    let shot = Shot::parse(&document.to_string(), Path::new("shot.json")).expect("a good shot");
    let dresser = Dresser::new(&shot, &examples()).expect("a shot to dress");
    let dressed = dresser.dress(shot.take, &|_| {}).expect("a layout");
    (shot, dressed)
}

/// The casters as the judge sees them.
struct Judge {
    meshes: Vec<TriMesh>,
    casters: Vec<Placed>,
    sun: DVec3,
}

struct Placed {
    mesh: usize,
    position: DVec3,
    rotation: DQuat,
    scale: f64,
    middle: DVec3,
    radius: f64,
}

impl Judge {
    fn new(layout: &Layout, shot: &Shot) -> Self {
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
        let shade = layout.passes.iter().position(|p| p.name == "shade").expect("a shade pass");
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
        Self { meshes, casters, sun }
    }

    /// Casters that may hide some of the sun from a place.
    fn near(&self, place: DVec3) -> Vec<&Placed> {
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
    fn light(&self, place: DVec3, rays: u32) -> f64 {
        let near = self.near(place);
        if near.is_empty() {
            return 1.0;
        }
        let u = self.sun.any_orthonormal_vector();
        let v = self.sun.cross(u);
        let free = (0..rays).filter(|k| {
            // The sunflower's spiral fills a disc evenly (Vogel, "A better way to construct the sunflower head", 1979)
            let r = SUN_RADIUS * ((f64::from(*k) + 0.5) / f64::from(rays)).sqrt();
            let turn = f64::from(*k) * 2.399_963_229_728_653;
            let way = (self.sun + (u * turn.cos() + v * turn.sin()) * r.tan()).normalize();
            !near.iter().any(|c| self.meets(c, place, way))
        });
        free.count() as f64 / f64::from(rays)
    }

    fn meets(&self, c: &Placed, place: DVec3, way: DVec3) -> bool {
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

/// Where a place falls in a camera's picture, both from -1 to 1, if before the lens and within the far limit.
fn in_frame(camera: &Camera, place: DVec3) -> bool {
    let q = camera.rotation.conjugate() * (place - camera.position);
    let depth = -q.z;
    let tall = (0.5 * camera.yfov).tan() * depth;
    let wide = tall * f64::from(camera.frame[0]) / f64::from(camera.frame[1]);
    depth > camera.near && depth < camera.far && q.x.abs() < wide && q.y.abs() < tall
}

/// Places spread evenly over the framed ground of the plane y = 0, drawn from a stream.
fn framed(camera: &Camera, count: usize, seed: u64) -> Vec<DVec3> {
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
fn seen(camera: &Camera, across: u32) -> Vec<DVec3> {
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

/// The lit share is the share of the sun's disc that is free, meant over the framed ground: over its area, and over its picture.
/// What the project asks of itself: within 2 points of what is asked between 5 % and 60 %.
#[test]
fn the_lit_share_is_as_asked() {
    for elevation in [24.0, 50.0] {
        for lit in [0.05, 0.15, 0.3, 0.45, 0.6] {
            let document = shot(&json!({ "lit": lit, "fleck": "60 mm", "softness": "20 mm" }), elevation);
            let (shot, dressed) = dress(&document);
            let seconds = dressed.stages.iter().find(|s| s.name == "shade").map_or(0.0, |s| s.seconds);
            let layout = &dressed.layout;
            let judge = Judge::new(layout, &shot);
            let mean = |places: &[DVec3]| {
                let sum: f64 = places.par_iter().map(|p| judge.light(*p, 12)).sum();
                sum / places.len() as f64
            };
            let by_area = mean(&framed(&layout.cameras[0], 6000, 5));
            let by_picture = mean(&seen(&layout.cameras[0], 96));
            let figures = layout.passes[0].tally.shade.expect("figures");
            println!(
                "elevation {elevation}, lit {lit}: {by_area:.4} by area, {by_picture:.4} by picture; {} casters, {seconds:.2} s, {figures:?} {:?}",
                judge.casters.len(), layout.passes[0].tally.refused
            );
        }
    }
    let _ = Instant::now();
}
