//! The delivered ground against the ground that pieces lie on, known in closed form: a sloping plane
//! that a straight rut presses down. Vertical rays meet the triangles of `layout.glb`, read by a
//! reader that shares no code with the writer.
//!
//! Source of the ray casts: parry3d (Dimforge, 2025).

#![allow(
    clippy::print_stdout,
    reason = "the figures, for who asks with --nocapture"
)]
#![allow(clippy::unwrap_used, reason = "a check that cannot go on has failed")]

use std::path::Path;

use glam::DVec3;
use parry3d::math::Vector;
use parry3d::query::{Ray, RayCast};
use parry3d::shape::TriMesh;
use scatter::deliver::{DeliverOptions, Format, Included, write};
use scatter::random::stream;
use scatter::shot::{Include, Shot};
use scatter_tests::dresser::Dresser;
use scatter_tests::glb::Glb;
use serde_json::json;

/// The rut: along x through the origin, metres.
const DEPTH: f64 = 0.04;
const WIDTH: f64 = 0.3;
/// Slope of the plane, which falls toward +x, degrees.
const TILT_DEG: f64 = 5.0;
/// Where the lens is.
const LENS: DVec3 = DVec3::new(0.0, 0.45, 0.9);
/// Side of a pixel over the distance: 640 across a 35 mm lens' 36 mm.
const PIXEL: f64 = 36.0 / 35.0 / 640.0;

const RAYS: u32 = 1_000_000;

/// Height of the ground: a level bed over two fifths of the width, and smooth banks.
fn height(x: f64, z: f64) -> f64 {
    let out = (z.abs() / (0.5 * WIDTH)).min(1.0);
    let bank = ((out - 0.4) / 0.6).max(0.0);
    let rise = bank * bank * (3.0 - 2.0 * bank);
    -x * TILT_DEG.to_radians().tan() - DEPTH * (1.0 - rise)
}

#[test]
fn the_delivered_ground_is_the_ground_that_pieces_lie_on() {
    // A million rays, seed 9, over what the lens sees: each meets the ground within a quarter of a
    // pixel
    let value = json!({
        "shot": "rut",
        "cameras": [{ "name": "close", "at": LENS.to_array(), "toward": [0, 0, 0], "lens": "35 mm",
            "sensor": ["36 mm", "24 mm"], "frame": [640, 360], "far": "6 m" }],
        "ground": { "plane": { "tilt": TILT_DEG, "toward": "90 deg" }, "lines": { "rut": {
            "points": [[-40, 0], [0.3, 0], [40, 0]], "press": { "depth": DEPTH, "width": WIDTH } } } },
        "passes": []
    });
    let shot = Shot::parse(&value.to_string(), Path::new("shot.json")).unwrap();
    let folder = tempfile::tempdir().unwrap();
    let dresser = Dresser::new(&shot, folder.path()).unwrap();
    let layout = dresser.dress(1).unwrap().layout;
    let options = DeliverOptions {
        included: Included::new(dresser.scene(), &[Include::Ground]),
        ..DeliverOptions::new(folder.path(), &[Format::Glb])
    };
    write(&layout, &options).unwrap();
    let glb = Glb::open(&std::fs::read(folder.path().join("layout.glb")).unwrap()).unwrap();
    let triangles = glb.triangles("ground").unwrap();
    let corners = triangles.iter().flatten();
    let corners: Vec<Vector> = corners
        .map(|p| Vector::from(p.as_vec3().to_array()))
        .collect();
    let faces = (0..triangles.len() as u32).map(|i| [3 * i, 3 * i + 1, 3 * i + 2]);
    let mesh = TriMesh::new(corners, faces.collect()).unwrap();
    let mut s = stream(9);
    let (mut worst, mut over, mut in_rut): (f64, f64, u32) = (0.0, 0.0, 0);
    for _ in 0..RAYS {
        let (x, z) = (s.between(-0.3, 0.3), s.between(-0.6, 0.2));
        let from = Vector::new(x as f32, 1.0, z as f32);
        let ray = Ray::new(from, Vector::new(0.0, -1.0, 0.0));
        let hit = mesh
            .cast_local_ray_and_get_normal(&ray, 10.0, false)
            .unwrap();
        let expected = height(x, z);
        let off = 1.0 - f64::from(hit.time_of_impact) - expected;
        // Distance from the triangle's plane, in pixels of the lens
        let distance = LENS.distance(DVec3::new(x, expected, z));
        let pixels = off * f64::from(hit.normal.y.abs()) / (PIXEL * distance);
        worst = worst.max(pixels.abs());
        over += pixels / f64::from(RAYS);
        in_rut += u32::from(z.abs() < 0.5 * WIDTH);
    }
    println!(
        "{} triangles; {worst:.4} of a pixel off at most, {over:.4} on average",
        triangles.len()
    );
    assert!(in_rut > RAYS / 4, "{in_rut}");
    assert!(worst <= 0.25, "{worst}");
    assert!(over.abs() < 0.05, "{over}");
}
