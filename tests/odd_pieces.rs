//! Pieces from files that are not as they should be: each lies as its form lies, or one error names
//! it. The files are written here; where pieces lie is judged on the meshes of the layout, against
//! level ground. That a body's rest does not hang on its winding, its unit or where its file has
//! the origin is plain geometry (no source).

#![expect(
    clippy::print_stdout,
    reason = "the figures, for who asks with --nocapture"
)]

use std::fs;
use std::path::Path;
use std::time::Instant;

use glam::{DAffine3, DQuat, DVec3, Quat, Vec3};
use scatter::kit::{Kind, grow};
use scatter::layout::Layout;
use scatter::random::stream;
use scatter::shot::Shot;
use scatter_tests::dresser::Dresser;
use scatter_tests::meshes;
use serde_json::{Value, json};

/// A surface: corners and triangles.
type Surface = (Vec<[f32; 3]>, Vec<[u32; 3]>);

/// How far a piece's lowest point may be from the ground, over its size: what the project asks of a
/// contact.
const GAP: f64 = 0.01;
/// And at least this, metres.
const LEAST_GAP: f64 = 2e-4;

/// The variant that serves as a stone: its smallest rectangle has no rival that the last digits
/// could prefer.
const STONE: u32 = 2;

/// A grown stone as a file would hold it.
fn stone() -> Surface {
    let piece = grow(Kind::Rock, STONE);
    let mesh = &piece.parts[0].mesh;
    let corners = mesh.positions.iter().map(Vec3::to_array).collect();
    let triangles = mesh.indices.chunks_exact(3).map(|t| [t[0], t[1], t[2]]);
    (corners, triangles.collect())
}

/// A grid of corners `wide` by `high` with the triangles between them; `at` gives each corner by
/// its two shares, 0 to 1.
fn grid(wide: u32, high: u32, at: impl Fn(f64, f64) -> DVec3) -> Surface {
    let mut triangles = Vec::new();
    for row in 0..high - 1 {
        for column in 0..wide - 1 {
            let a = row * wide + column;
            triangles.extend([[a, a + wide, a + 1], [a + 1, a + wide, a + wide + 1]]);
        }
    }
    let share = |k: u32, of: u32| f64::from(k) / f64::from(of - 1);
    let corner = |i: u32| {
        let p = at(share(i % wide, wide), share(i / wide, high));
        p.as_vec3().to_array()
    };
    ((0..wide * high).map(corner).collect(), triangles)
}

/// Stones of a size on level ground, each alone, sunk by nothing.
fn shot(size: f64, stretch: bool, piece: &str) -> Value {
    json!({
        "shot": "odd",
        "cameras": [{ "name": "above", "at": [0, 30.0 * size, 0], "toward": [0, 0, 0], "lens": "50 mm", "frame": [640, 480],
            "near": 0.1 * size, "far": 60.0 * size }],
        "passes": [{ "name": "odd", "pieces": [piece], "place": "spaced", "cover": 0.1, "stretch": stretch,
            "sizes": { "law": "power", "exponent": 2.0, "from": 0.81 * size, "to": 1.24 * size }, "rest": { "bury": [0, 0] } }]
    })
}

fn dressed(document: &Value, folder: &Path) -> Result<Layout, String> {
    let shot = Shot::parse(&document.to_string(), Path::new("shot.json")).expect("a good shot");
    let told = |e: scatter::error::Error| e.to_string();
    let dresser = Dresser::new(&shot, folder).map_err(told)?;
    dresser.dress(shot.take).map(|d| d.layout).map_err(told)
}

/// Lays a file's piece in sizes about `size`.
fn laid(file: &[u8], size: f64, stretch: bool) -> Result<Layout, String> {
    let folder = tempfile::tempdir().expect("a folder");
    fs::write(folder.path().join("odd.glb"), file).expect("a file");
    dressed(&shot(size, stretch, "odd.glb"), folder.path())
}

/// Every piece is where it can be, and touches the level ground without going into it.
fn lies(what: &str, layout: &Layout) {
    let count = layout.instances.len();
    assert!(count >= 5, "{what}: {count} pieces, {:?}", layout.passes);
    let mut farthest = 0.0_f64;
    for i in &layout.instances {
        let rotation = Quat::from_array(i.rotation);
        assert!(
            i.position.is_finite() && rotation.is_finite(),
            "{what}: {i:?}"
        );
        assert!((rotation.length() - 1.0).abs() < 1e-6, "{what}: {i:?}");
        assert!(i.scale.is_finite() && i.scale > 0.0, "{what}: {i:?}");
        let piece = &layout.pieces[usize::from(i.piece)];
        let world = DAffine3::from_scale_rotation_translation(
            DVec3::splat(f64::from(i.scale)),
            DQuat::normalize(rotation.as_dquat()),
            i.position,
        );
        let corners = piece.parts.iter().flat_map(|p| &p.mesh.positions);
        let heights = corners.map(|p| world.transform_point3(p.as_dvec3()).y);
        let lowest = heights.fold(f64::INFINITY, f64::min);
        let size = f64::from(piece.measure.size.max_element() * i.scale);
        farthest = farthest.max(lowest.abs() / size);
        assert!(
            lowest.abs() <= (GAP * size).max(LEAST_GAP),
            "{what}: lowest point of a piece of {size} m at {lowest} m"
        );
    }
    println!("{what}: {count} pieces, lowest points within {farthest:.6} sizes of the ground");
}

fn refused(what: &str, found: Result<Layout, String>, words: &[&str]) {
    let told = found.err().unwrap_or_else(|| panic!("{what} is laid"));
    println!("{what}: {told}");
    for word in words {
        assert!(told.contains(word), "{what}: no {word:?} in {told}");
    }
    assert_eq!(told.matches("hint:").count(), 1, "{what}: {told}");
}

/// Two layouts of one stone, read from two files, are the same within so many sizes and radians.
fn same(what: &str, one: &Layout, other: &Layout, within: f64) {
    assert_eq!(one.instances.len(), other.instances.len(), "{what}");
    let mut most = 0.0_f64;
    for (a, b) in one.instances.iter().zip(&other.instances) {
        assert_eq!(a.id, b.id, "{what}");
        let [p, q] = [a, b].map(|i| Quat::from_array(i.rotation).as_dquat().normalize());
        let turned = 2.0 * (p.conjugate() * q).xyz().length();
        let aside = a.position.distance(b.position) / f64::from(a.diameter);
        most = most.max(turned).max(aside);
    }
    println!("{what}: {most:.2e} sizes or radians apart at most");
    assert!(most <= within, "{what}: {most}");
}

#[test]
fn a_flat_piece_lies_flat_and_a_card_on_its_edge_is_named() {
    // Flagstone without thickness, and the same upright
    let (corners, triangles) = grid(9, 7, |x, z| DVec3::new(0.12 * x, 0.0, 0.08 * z));
    let layout = laid(&meshes::mesh(&corners, &triangles), 0.08, false).expect("a flat piece");
    lies("flat", &layout);
    for i in &layout.instances {
        let up = Quat::from_array(i.rotation) * Vec3::Y;
        assert!(up.y.abs() > 0.999, "a sheet on level ground leans: {up}");
    }
    let upright: Vec<[f32; 3]> = corners.iter().map(|[x, y, z]| [*x, *z, *y]).collect();
    let card = meshes::mesh(&upright, &triangles);
    refused(
        "a card",
        laid(&card, 0.08, false),
        &["odd.glb", "\"odd\"", "`up`"],
    );
    // As its error says: with another direction up it lies
    let folder = tempfile::tempdir().expect("a folder");
    fs::write(folder.path().join("odd.glb"), &card).expect("a file");
    let list = json!({ "format": "strew-kit", "version": 1, "pieces": [{ "name": "card", "file": "odd.glb", "up": "+z" }] });
    fs::write(folder.path().join("kit.json"), list.to_string()).expect("a file");
    let layout = dressed(&shot(0.08, false, "kit.json"), folder.path()).expect("a card laid down");
    lies("a card laid down", &layout);
}

#[test]
fn an_empty_piece_is_named() {
    let (corners, _) = stone();
    let point = [[0.1_f32, 0.2, 0.3]; 3];
    let line = [[0.0, 0.0, 0.0], [0.1, 0.0, 0.05], [0.2, 0.0, 0.1]];
    // Triangles that span the form of a stone, each with two corners in one
    let needles: Vec<[u32; 3]> = (0..corners.len() as u32 - 1)
        .map(|i| [i, i, i + 1])
        .collect();
    for (what, file) in [
        ("no triangles", meshes::mesh(&corners, &[])),
        ("one point", meshes::mesh(&point, &[[0, 1, 2]])),
        ("one line", meshes::mesh(&line, &[[0, 1, 2]])),
        ("no area", meshes::mesh(&corners, &needles)),
    ] {
        refused(what, laid(&file, 0.08, true), &["odd.glb"]);
    }
    // Triangles that are not a number are no piece either
    let mut broken = corners.clone();
    broken[5][1] = f32::NAN;
    refused(
        "not a number",
        laid(&meshes::mesh(&broken, &stone().1), 0.08, true),
        &["odd.glb"],
    );
}

#[test]
fn an_open_piece_lies_on_its_rim_or_its_belly() {
    use std::f64::consts::{PI, TAU};
    // A dome without a bottom, from its top down to its rim, and the same as a bowl
    for (what, sign) in [("a dome", 1.0), ("a bowl", -1.0)] {
        let (corners, triangles) = grid(33, 17, |a, b| {
            let (about, down) = (TAU * a * sign, 0.5 * PI * b);
            let out = 0.05 * libm::sin(down);
            DVec3::new(
                out * libm::cos(about),
                sign * 0.04 * libm::cos(down),
                out * libm::sin(about),
            )
        });
        let layout = laid(&meshes::mesh(&corners, &triangles), 0.1, false).expect(what);
        lies(what, &layout);
    }
    // A stone with a third of its faces gone
    let (corners, mut triangles) = stone();
    triangles.truncate(2 * triangles.len() / 3);
    let layout = laid(&meshes::mesh(&corners, &triangles), 0.06, true).expect("a broken stone");
    lies("a stone with a third of its faces gone", &layout);
}

#[test]
fn a_huge_piece_serves_its_own_sizes_or_is_stretched() {
    let (corners, triangles) = stone();
    // 200 m wide, as a file in millimetres taken for metres
    let width = grow(Kind::Rock, STONE).measure.b_axis as f32;
    let huge: Vec<[f32; 3]> = corners
        .iter()
        .map(|p| p.map(|v| 200.0 * v / width))
        .collect();
    let file = meshes::mesh(&huge, &triangles);
    refused(
        "a rock of 200 m in sizes of 8 cm",
        laid(&file, 0.08, false),
        &[
            "passes[0].sizes",
            "of \"odd\" has a natural size",
            "`stretch`",
        ],
    );
    let small = laid(&file, 0.08, true).expect("a rock made small");
    lies("a rock of 200 m, 8 cm wide", &small);
    // The largest sizes there are: 100 m
    let tall: Vec<[f32; 3]> = corners
        .iter()
        .map(|p| p.map(|v| 80.0 * v / width))
        .collect();
    let tall = laid(&meshes::mesh(&tall, &triangles), 80.0, false).expect("a hill");
    lies("a rock of 80 m as it is", &tall);
    // In another unit it is the same stone
    let own = laid(&meshes::mesh(&corners, &triangles), 0.08, true).expect("a stone");
    same(
        "a rock of 200 m made small, beside the rock",
        &own,
        &small,
        1e-5,
    );
}

#[test]
fn inside_out_lies_like_outside_out() {
    let (corners, triangles) = stone();
    let inward: Vec<[u32; 3]> = triangles.iter().map(|[a, b, c]| [*a, *c, *b]).collect();
    let [out, inside] = [triangles, inward]
        .map(|t| laid(&meshes::mesh(&corners, &t), 0.08, true).expect("a stone"));
    lies("inside out", &inside);
    same("inside out", &out, &inside, 1e-9);
}

/// 10 km away by its node the stone is as good as at the origin. With 10 km in its vertices these
/// are in steps of a millimetre, and so is the stone: it still lies.
#[test]
fn an_origin_far_away_is_moved_to_the_foot() {
    let (corners, triangles) = stone();
    let file = meshes::mesh(&corners, &triangles);
    let near = laid(&file, 0.08, true).expect("a stone");
    let away = [10_000.0, -35.0, 7_000.0];
    let moved = meshes::at(&file, &json!({ "mesh": 0, "translation": away }));
    let far = laid(&moved, 0.08, true).expect("a stone 10 km away");
    lies("10 km away by its node", &far);
    let corners_of = |layout: &Layout| layout.pieces[0].parts[0].mesh.positions.clone();
    let size = far.pieces[0].measure.size.max_element();
    let pairs = corners_of(&near).into_iter().zip(corners_of(&far));
    let off = pairs.map(|(p, q)| p.distance(q)).fold(0.0, f32::max) / size;
    println!("10 km away by its node: corners {off:.2e} sizes apart at most");
    assert!(off < 1e-6, "corners are off by {off}");
    // The last digit of a corner decides which facets make the face that the stone lies on, and so
    // on up to a tilt of 1.3 degrees
    same("10 km away by its node", &near, &far, 0.03);
    let baked: Vec<[f32; 3]> = corners
        .iter()
        .map(|p| [0, 1, 2].map(|k| (f64::from(p[k]) + away[k]) as f32))
        .collect();
    let baked = laid(&meshes::mesh(&baked, &triangles), 0.08, true).expect("a coarse stone");
    lies("10 km away in its vertices", &baked);
}

/// A rough ball of a million triangles, no two of which share a vertex: as a file without normals
/// is read.
#[test]
fn a_million_triangles_lie() {
    use std::f64::consts::{PI, TAU};
    let mut draws = stream(8);
    let waves: Vec<(DVec3, f64)> = (0..12)
        .map(|_| {
            (
                DVec3::new(draws.normal(), draws.normal(), draws.normal()) * 6.0,
                draws.between(0.0, TAU),
            )
        })
        .collect();
    let (corners, triangles) = grid(1001, 501, |a, b| {
        let (about, down) = (TAU * a, PI * b);
        let out = libm::sin(down);
        let way = DVec3::new(
            out * libm::cos(about),
            libm::cos(down),
            out * libm::sin(about),
        );
        let rough: f64 = waves.iter().map(|(k, at)| libm::sin(k.dot(way) + at)).sum();
        way * DVec3::new(0.06, 0.03, 0.04) * (1.0 + 0.01 * rough)
    });
    assert_eq!(triangles.len(), 1_000_000);
    let file = meshes::mesh(&corners, &triangles);
    let begun = Instant::now();
    let layout = laid(&file, 0.08, true).expect("a heavy stone");
    println!(
        "a million triangles: {:.1} s from the file to the layout",
        begun.elapsed().as_secs_f64()
    );
    lies("a million triangles", &layout);
}
