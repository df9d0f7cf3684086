//! Ground from files: against ray casts of another library, against walking all triangles, and
//! where pieces may lie.
//!
//! Source of the ray casts: trimesh (PyPI, pinned in `tests/requirements.txt`).

#![allow(
    clippy::print_stdout,
    reason = "the figures, for who asks with --nocapture"
)]
#![allow(clippy::unwrap_used, reason = "a check that cannot go on has failed")]

use std::path::Path;

use glam::DVec3;
use scatter::ground::Ground;
use scatter::kit::Shelf;
use scatter::kit::gltf;
use scatter::random::stream;
use scatter::shot::{self, Shot};
use scatter_tests::dresser::Dresser;
use scatter_tests::{meshes, tools};
use serde_json::{Value, json};

fn ground(json: Value, folder: &Path) -> Ground {
    let ground: shot::Ground = serde_json::from_value(json).unwrap();
    Ground::read(&(&ground).into(), &Shelf::of(folder)).unwrap_or_else(|e| panic!("{e}"))
}

fn quarry() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("quarry.glb"), meshes::quarry()).unwrap();
    folder
}

/// The quarry dressed with stones that lie on the ground.
fn dressed(folder: &Path, ground: &Value) -> (Shot, Vec<DVec3>) {
    let value = json!({
        "shot": "quarry",
        "cameras": [{ "name": "above", "at": [0, 12, 0.01], "toward": [0, 0, 0], "vertical_angle": "50 deg", "frame": [1600, 1600] }],
        "ground": ground,
        "passes": [{ "name": "stones", "pieces": ["cobble"], "place": "spaced", "cover": 0.2,
            "sizes": { "law": "power", "exponent": 2, "from": "30 mm", "to": "90 mm" }, "rest": { "bury": [0, 0] } }]
    });
    let shot =
        Shot::parse(&value.to_string(), Path::new("shot.json")).unwrap_or_else(|e| panic!("{e}"));
    let dresser = Dresser::new(&shot, folder).unwrap_or_else(|e| panic!("{e}"));
    let layout = dresser.dress(1).unwrap_or_else(|e| panic!("{e}")).layout;
    // The middle of each stone's bounds: its origin is beside it when it is turned over
    let middle = |i: &scatter::layout::Instance| {
        let height = layout.pieces[usize::from(i.piece)].measure.size.y * i.scale;
        let up = glam::Quat::from_array(i.rotation).as_dquat().normalize() * DVec3::Y;
        i.position + up * (0.5 * f64::from(height))
    };
    let places = layout.instances.iter().map(middle).collect();
    (shot, places)
}

#[test]
#[ignore = "needs tests/run"]
fn heights_and_normals_are_those_of_ray_casts() {
    let folder = quarry();
    let form = json!({ "mesh": { "file": "quarry.glb", "steepest": "60 deg" } });
    let ground = ground(form.clone(), folder.path());
    let (_, stones) = dressed(folder.path(), &form);
    let mut s = stream(11);
    let mut places: Vec<[f64; 2]> = (0..4000)
        .map(|_| [s.between(-4.2, 4.2), s.between(-4.2, 4.2)])
        .collect();
    let anywhere = places.len();
    // The middle of a stone's bounds is off its place by up to a third of the smallest: somewhere
    // round it there is ground
    const ROUND: [[f64; 2]; 4] = [[0.01, 0.0], [-0.01, 0.0], [0.0, 0.01], [0.0, -0.01]];
    let round = stones
        .iter()
        .flat_map(|p| ROUND.map(|[x, z]| [p.x + x, p.z + z]));
    places.extend(round);
    let file = folder.path().join("places.json");
    std::fs::write(&file, json!(places).to_string()).unwrap();
    let answers = tools::python("ray_casts.py", &[&folder.path().join("quarry.glb"), &file]);
    let answers = answers.as_array().unwrap();
    assert_eq!(answers.len(), places.len());
    let (mut holes, mut worst, mut worst_normal) = (0, 0.0_f64, 0.0_f64);
    let mut stands = vec![false; stones.len()];
    let least_up = libm::cos(60f64.to_radians());
    for (i, ([x, z], answer)) in places.iter().zip(answers).enumerate() {
        let Some(hit) = answer.as_array() else {
            assert!(!ground.holds(*x, *z), "{x} {z} is a hole");
            holes += 1;
            continue;
        };
        let v: Vec<f64> = hit.iter().map(|v| v.as_f64().unwrap()).collect();
        let (height, normal) = ground.at(*x, *z);
        worst = worst.max((height - v[0]).abs());
        worst_normal = worst_normal.max(normal.distance(DVec3::new(v[1], v[2], v[3])));
        assert_eq!(ground.holds(*x, *z), v[2] >= least_up, "{x} {z} {normal}");
        if i >= anywhere && v[2] >= least_up {
            stands[(i - anywhere) / ROUND.len()] = true;
        }
    }
    for (stone, stands) in stones.iter().zip(stands) {
        assert!(stands, "a stone over a hole or on a wall at {stone}");
    }
    println!(
        "{} places, {} of them stones; {holes} without ground; heights within {worst:.2e} m, normals within {worst_normal:.2e}",
        places.len(),
        stones.len()
    );
    // Enough of both for the comparison to mean something
    assert!(holes > 100 && stones.len() > 2000);
    assert!(
        worst < 1e-4 && worst_normal < 1e-4,
        "{worst} {worst_normal}"
    );
}

/// The highest triangle that looks up, by walking all.
fn walked(parts: &[scatter::kit::Part], x: f64, z: f64, under: f64) -> Option<f64> {
    let mut best: Option<f64> = None;
    for part in parts {
        for t in part.mesh.indices.chunks_exact(3) {
            let [a, b, c] = [0, 1, 2].map(|k| part.mesh.positions[t[k] as usize].as_dvec3());
            let n = (b - a).cross(c - a);
            if n.y <= 0.0 {
                continue;
            }
            let side = |p: DVec3, q: DVec3| (q.z - p.z) * (x - p.x) - (q.x - p.x) * (z - p.z);
            if side(a, b) < 0.0 || side(b, c) < 0.0 || side(c, a) < 0.0 {
                continue;
            }
            let y = a.y - (n.x * (x - a.x) + n.z * (z - a.z)) / n.y;
            if y <= under && best.is_none_or(|h| y > h) {
                best = Some(y);
            }
        }
    }
    best
}

#[test]
fn a_mesh_answers_as_all_its_triangles_do() {
    let folder = quarry();
    let parts = gltf::read(&folder.path().join("quarry.glb"))
        .unwrap()
        .into_parts();
    for (form, under) in [
        (
            json!({ "mesh": { "file": "quarry.glb", "steepest": "90 deg" } }),
            f64::INFINITY,
        ),
        (
            json!({ "mesh": { "file": "quarry.glb", "steepest": "90 deg", "under": "1.8 m" } }),
            1.8,
        ),
    ] {
        let ground = ground(form, folder.path());
        let mut s = stream(5);
        let mut under_the_block = 0;
        for _ in 0..2000 {
            let (x, z) = (s.between(-4.0, 4.0), s.between(-4.0, 4.0));
            let expected = walked(&parts, x, z, under);
            assert_eq!(ground.on(x, z).is_some(), expected.is_some(), "{x} {z}");
            if let Some(expected) = expected {
                assert!((ground.height(x, z) - expected).abs() < 1e-9, "{x} {z}");
            }
            under_the_block += usize::from(
                expected.is_some_and(|h| h < 1.0) && x > -1.0 && x < 0.5 && z > -1.0 && z < 0.0,
            );
        }
        assert_eq!(under_the_block > 0, under.is_finite());
        // Along the sheet's own edges no ray slips through
        for i in 0..2000 {
            let x = f64::from(-1.0_f32 + 0.1 * (i % 20) as f32);
            assert!(ground.on(x, 1.0 + f64::from(i) * 1e-4).is_some(), "{x}");
        }
    }
}

#[test]
fn a_mesh_stands_where_it_is_put() {
    let folder = quarry();
    let plain = ground(json!({ "mesh": { "file": "quarry.glb" } }), folder.path());
    let moved = ground(
        json!({ "mesh": { "file": "quarry.glb", "at": [100000, 5, -30000], "turn": "90 deg", "scale": 2 } }),
        folder.path(),
    );
    let mut s = stream(6);
    for _ in 0..500 {
        let (x, z) = (s.between(-4.0, 4.0), s.between(-4.0, 4.0));
        let Some((height, normal)) = plain.on(x, z) else {
            continue;
        };
        // Clockwise by a right angle seen from above: +x goes to +z
        let (mx, mz) = (100_000.0 - 2.0 * z, -30_000.0 + 2.0 * x);
        let (there, turned) = moved.at(mx, mz);
        assert!((there - (5.0 + 2.0 * height)).abs() < 1e-6, "{x} {z}");
        assert!(turned.distance(DVec3::new(-normal.z, normal.y, normal.x)) < 1e-6);
    }
}

/// Most that a piece's origin is off the middle of its plan, metres: a fifth of the largest of
/// these stones.
const OFF: f64 = 0.01;

#[test]
fn nothing_lies_in_holes_or_on_walls() {
    let folder = quarry();
    let form = json!({ "mesh": { "file": "quarry.glb" } });
    let ground = ground(form.clone(), folder.path());
    let (_, stones) = dressed(folder.path(), &form);
    assert!(stones.len() > 2500, "{} stones", stones.len());
    for p in &stones {
        // A piece's origin is off the middle of its plan by a little: a stone has a broad end and a
        // narrow one
        let near = [(0.0, 0.0), (OFF, 0.0), (-OFF, 0.0), (0.0, OFF), (0.0, -OFF)];
        assert!(
            near.iter().any(|(x, z)| ground.holds(p.x + x, p.z + z)),
            "{p}"
        );
        assert!(
            p.x.abs() <= 4.0 + OFF && p.z.abs() <= 4.0 + OFF,
            "{p} is off the mesh"
        );
        assert!(
            !(p.x > -2.0 + OFF && p.x < -1.2 - OFF && p.z > -1.0 + OFF && p.z < 0.4 - OFF),
            "{p} is in the hole"
        );
    }
    let on_the_block = stones.iter().filter(|p| p.y > 1.6).count();
    assert!(on_the_block > 10, "{on_the_block} stones on the block");
}

#[test]
fn tiles_hold_all_ground() {
    let folder = quarry();
    let ground = ground(json!({ "mesh": { "file": "quarry.glb" } }), folder.path());
    let tiles = ground.tiles().unwrap();
    let mut s = stream(8);
    for _ in 0..4000 {
        let (x, z) = (s.between(-4.0, 4.0), s.between(-4.0, 4.0));
        let Some((height, _)) = ground.on(x, z) else {
            continue;
        };
        assert!(!ground.is_void([x, z, x, z]));
        for level in 0..tiles.levels() {
            let side = 1 << level;
            let index =
                |v: f64| (((v + 4.0) / 8.0 * f64::from(side)) as usize).min(side as usize - 1);
            let [low, high] = tiles.heights(level, index(x), index(z)).unwrap();
            assert!(
                height >= low - 1e-9 && height <= high + 1e-9,
                "{x} {z} {level}"
            );
        }
    }
    assert!(ground.is_void([-1.8, -0.8, -1.3, 0.2]), "the hole's inside");
}

/// A grey 16-bit PNG of `value` (0..=1) at each pixel's middle, 0..=1 across and down.
fn picture(path: &Path, width: u32, height: u32, value: impl Fn(f64, f64) -> f64) {
    let mut encoder = png::Encoder::new(std::fs::File::create(path).unwrap(), width, height);
    encoder.set_color(png::ColorType::Grayscale);
    encoder.set_depth(png::BitDepth::Sixteen);
    let mut data = Vec::new();
    for i in 0..width * height {
        let (u, v) = (
            (f64::from(i % width) + 0.5) / f64::from(width),
            (f64::from(i / width) + 0.5) / f64::from(height),
        );
        data.extend(((value(u, v) * 65535.0).round() as u16).to_be_bytes());
    }
    let mut writer = encoder.write_header().unwrap();
    writer.write_image_data(&data).unwrap();
    writer.finish().unwrap();
}

#[test]
fn a_height_image_is_the_surface_that_it_was_made_from() {
    let folder = tempfile::tempdir().unwrap();
    let surface =
        |u: f64, v: f64| 0.5 + 0.3 * libm::sin(5.0 * u) * libm::cos(4.0 * v) + 0.1 * (u - v);
    picture(&folder.path().join("hills.png"), 300, 200, surface);
    // 6 m x 4 m about (10, -20), from 1 m to 3 m
    let ground = ground(
        json!({ "image": { "file": "hills.png", "extent": ["6 m", "4 m"], "at": ["10 m", "-20 m"], "heights": ["1 m", "3 m"] } }),
        folder.path(),
    );
    let height = |x: f64, z: f64| 1.0 + 2.0 * surface((x - 7.0) / 6.0, (z + 22.0) / 4.0);
    let mut s = stream(4);
    let (mut worst, mut worst_slope) = (0.0_f64, 0.0_f64);
    for _ in 0..4000 {
        // Two pixels from the border, where the image goes on
        let (x, z) = (s.between(7.04, 12.96), s.between(-21.96, -18.04));
        let (got, normal) = ground.at(x, z);
        worst = worst.max((got - height(x, z)).abs());
        let step = 1e-4;
        let slope =
            |dx: f64, dz: f64| (height(x + dx, z + dz) - height(x - dx, z - dz)) / (2.0 * step);
        let expected = DVec3::new(-slope(step, 0.0), 1.0, -slope(0.0, step)).normalize();
        worst_slope = worst_slope.max(normal.distance(expected));
        let [low, high] = ground.slab();
        assert!(got >= low && got <= high && ground.holds(x, z));
    }
    println!("heights within {worst:.2e} m, normals within {worst_slope:.2e}");
    // A step of 16 bits is 0.03 mm here; slopes are taken over pixels of 20 mm
    assert!(worst < 1e-4, "{worst}");
    assert!(worst_slope < 5e-3, "{worst_slope}");
    assert!(!ground.holds(6.99, -20.0) && !ground.holds(10.0, -17.99));
    assert_eq!(ground.half_extent(), Some([13.0, 22.0]));
}

#[test]
fn crests_of_an_image_are_where_it_is_high() {
    let folder = tempfile::tempdir().unwrap();
    picture(&folder.path().join("bump.png"), 64, 64, |u, v| {
        libm::exp(-40.0 * ((u - 0.5) * (u - 0.5) + (v - 0.5) * (v - 0.5)))
    });
    let ground = ground(
        json!({ "image": { "file": "bump.png", "extent": [4, 4], "heights": [0, 1] } }),
        folder.path(),
    );
    assert!(ground.above_mean(0.0, 0.0, 0.5) > 0.1);
    assert!(ground.above_mean(0.9, 0.0, 0.5) < 0.0);
    let [low, high] = ground.crest_range(0.5);
    assert!(low < 0.0 && low < high, "{low} {high}");
}
