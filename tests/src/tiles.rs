//! Carpets as they are delivered: their tiles, and what vertical rays meet of them (parry3d,
//! Dimforge, 2025, as the judge). Nothing here knows how tiles are grown.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use std::time::Instant;

use crate::dresser::Dresser;
use glam::{DQuat, DVec3, Quat};
use parry3d::math::Vector;
use parry3d::query::{Ray, RayCast};
use parry3d::shape::{TriMesh, TriMeshFlags};
use rayon::prelude::*;
use scatter::ground::Ground;
use scatter::kit::PieceIndex;
use scatter::layout::{Instance, Layout};
use scatter::optics::Camera;
use scatter::random::stream;
use scatter::shot::Shot;
use serde_json::{Value, json};

/// Largest grain of [`shot`], metres.
pub const LARGEST: f64 = 0.006;
/// Side of its tiles, metres.
pub const SIDE: f64 = 0.12;

/// A carpet of grown grains.
#[must_use]
pub fn carpet() -> Value {
    json!({ "grains": ["pebble", "rock"],
            "sizes": { "law": "power", "exponent": 2.0, "from": "1.5 mm", "to": "6 mm" }, "tile": SIDE })
}

/// A close camera at a low angle, on a carpet.
#[must_use]
pub fn shot() -> Value {
    json!({
        "shot": "texture", "take": 3,
        "cameras": [{ "name": "close", "at": [0, 0.3, 0.8], "toward": [0, 0, 0], "lens": "50 mm", "frame": [1920, 1080], "far": "6 m" }],
        "light": { "sun": { "azimuth": "150 deg", "elevation": "35 deg" } },
        "carpet": carpet()
    })
}

/// Makes the ground uneven.
pub fn relief(document: &mut Value) {
    document["ground"] =
        json!({ "relief": { "height": "60 mm", "feature": "0.8 m", "roughness": 0.5 } });
}

/// A camera straight above, which frames about `wide` metres.
pub fn above(document: &mut Value, wide: f64) {
    document["cameras"] = json!([{ "name": "top", "at": [0, wide / 0.72, 0.001], "toward": [0, 0, 0], "lens": "50 mm", "frame": [1000, 1000] }]);
}

/// A document as a shot.
///
/// # Panics
/// It is none.
#[must_use]
pub fn parsed(document: &Value) -> Shot {
    Shot::parse(&document.to_string(), Path::new("shot.json")).expect("a good shot")
}

/// Dresses a shot and tells of its carpet.
///
/// # Panics
/// The shot does not dress, or has no carpet.
pub fn dressed<T>(document: &Value, with: impl FnOnce(&Dresser, Layout) -> T) -> T {
    dressed_in(Path::new("."), document, with)
}

/// As [`dressed`], with the shot's files in a folder.
///
/// # Panics
/// The shot does not dress, or has no carpet.
#[expect(
    clippy::print_stdout,
    reason = "the figures, for who asks with --nocapture"
)]
pub fn dressed_in<T>(
    folder: &Path,
    document: &Value,
    with: impl FnOnce(&Dresser, Layout) -> T,
) -> T {
    let shot = parsed(document);
    let begun = Instant::now();
    let dresser = Dresser::new(&shot, folder).expect("a shot to dress");
    let layout = dresser.dress(shot.take).expect("a layout").layout;
    let tiles = tiles(&layout);
    let used: BTreeSet<PieceIndex> = tiles.iter().map(|i| i.piece).collect();
    let triangles = |i: PieceIndex| layout.pieces[usize::from(i)].triangles();
    println!(
        "{} tiles ({} with a sheet), {:?}; {} triangles of meshes, {} in all; {:.2} s",
        tiles.len(),
        tiles.iter().filter(|i| sheet(&layout, i)).count(),
        layout.passes.iter().find_map(|p| p.tally.carpet),
        used.iter().map(|i| triangles(*i)).sum::<u64>(),
        tiles.iter().map(|i| triangles(i.piece)).sum::<u64>(),
        begun.elapsed().as_secs_f64()
    );
    with(&dresser, layout)
}

/// The tiles of a layout.
///
/// # Panics
/// It has no carpet.
#[must_use]
pub fn tiles(layout: &Layout) -> Vec<Instance> {
    let pass = layout.passes.iter().position(|p| p.name == "carpet");
    let pass = pass.expect("a carpet");
    let all = layout.instances.iter();
    all.filter(|i| usize::from(i.pass) == pass)
        .copied()
        .collect()
}

/// Whether a tile is one of the largest grains, with its sheet.
#[must_use]
pub fn sheet(layout: &Layout, tile: &Instance) -> bool {
    !layout.pieces[usize::from(tile.piece)].name.contains("fine")
}

/// World from tile.
#[must_use]
pub fn rotation(tile: &Instance) -> DQuat {
    Quat::from_array(tile.rotation).as_dquat().normalize()
}

/// Tiles as the judge sees them.
#[derive(Debug)]
pub struct Judge {
    meshes: BTreeMap<PieceIndex, TriMesh>,
    tiles: Vec<Instance>,
    /// Tiles that may lie over a square of the plan of [`SIDE`].
    near: BTreeMap<[i64; 2], Vec<usize>>,
}

impl Judge {
    /// Tiles of a layout.
    ///
    /// # Panics
    /// A tile has no mesh.
    #[must_use]
    pub fn new(layout: &Layout, tiles: Vec<Instance>) -> Self {
        let used: BTreeSet<PieceIndex> = tiles.iter().map(|i| i.piece).collect();
        let mesh = |i: &PieceIndex| {
            let (mut points, mut triangles) = (Vec::new(), Vec::new());
            for part in &layout.pieces[usize::from(*i)].parts {
                let first = points.len() as u32;
                let p = part.mesh.positions.iter();
                points.extend(p.map(|p| Vector::new(p.x, p.y, p.z)));
                let t = part.mesh.indices.chunks_exact(3);
                triangles.extend(t.map(|t| [t[0] + first, t[1] + first, t[2] + first]));
            }
            let mesh = TriMesh::with_flags(points, triangles, TriMeshFlags::empty());
            (*i, mesh.expect("a mesh"))
        };
        let meshes = used.par_iter().map(mesh).collect();
        let mut near: BTreeMap<[i64; 2], Vec<usize>> = BTreeMap::new();
        for (number, tile) in tiles.iter().enumerate() {
            let reach = f64::from(tile.diameter);
            let range = |v: f64| square(v - reach)..=square(v + reach);
            for z in range(tile.position.z) {
                for x in range(tile.position.x) {
                    near.entry([x, z]).or_default().push(number);
                }
            }
        }
        Self {
            meshes,
            tiles,
            near,
        }
    }

    /// As [`Judge::probe`], a micrometre aside if that meets none: a ray that runs along an edge
    /// may slip between two triangles in single precision.
    #[must_use]
    pub fn top(&self, x: f64, z: f64) -> Option<f64> {
        self.probe(x, z).or_else(|| self.probe(x + 1e-6, z + 7e-7))
    }

    /// World height of the highest surface that a ray straight down meets at a plan place; None if
    /// it meets none.
    #[must_use]
    pub fn probe(&self, x: f64, z: f64) -> Option<f64> {
        let near = self.near.get(&[square(x), square(z)])?;
        let hits = near.iter().filter_map(|number| {
            let tile = &self.tiles[*number];
            let back = rotation(tile).conjugate();
            let scale = f64::from(tile.scale);
            let from = DVec3::new(x, tile.position.y + 0.5, z);
            let origin = back * (from - tile.position) / scale;
            let way = back * DVec3::NEG_Y;
            let vector = |v: DVec3| Vector::new(v.x as f32, v.y as f32, v.z as f32);
            let ray = Ray::new(vector(origin), vector(way));
            let far = self.meshes[&tile.piece].cast_local_ray(&ray, f32::MAX, false)?;
            Some(from.y - f64::from(far) * scale)
        });
        hits.reduce(f64::max)
    }
}

/// Which square of the plan of [`SIDE`] a place is in.
#[must_use]
pub fn square(v: f64) -> i64 {
    (v / SIDE).floor() as i64
}

/// Whether a place falls into a camera's picture, before its far limit.
#[must_use]
pub fn in_frame(camera: &Camera, place: DVec3) -> bool {
    let q = camera.rotation.conjugate() * (place - camera.position);
    let depth = -q.z;
    let tall = (0.5 * camera.yfov).tan() * depth;
    let wide = tall * f64::from(camera.frame[0]) / f64::from(camera.frame[1]);
    depth > camera.near && depth < camera.far && q.x.abs() < wide && q.y.abs() < tall
}

/// Places of the framed ground, drawn evenly by area of the plan: x, height, z.
#[must_use]
pub fn framed(camera: &Camera, ground: &Ground, count: usize, seed: u64) -> Vec<[f64; 3]> {
    let mut draws = stream(seed);
    let mut places = Vec::with_capacity(count);
    while places.len() < count {
        let (x, z) = (draws.between(-3.0, 3.0), draws.between(-6.0, 1.0));
        let height = ground.height(x, z);
        if in_frame(camera, DVec3::new(x, height, z)) {
            places.push([x, height, z]);
        }
    }
    places
}
