use std::collections::BTreeMap;

use glam::{DVec2, Vec3Swizzles as _};

use super::*;
use crate::kit::Shelf;
use crate::random::stream;
use crate::shot;

/// Side of a pixel over the distance: 640 of them across a 50 mm lens' 36 mm.
const PIXEL: f64 = 36.0 / 50.0 / 640.0;

fn lens() -> DVec3 {
    DVec3::new(0.2, 0.45, 0.9)
}

/// What a camera at [`lens`] sees of a square metre and a half in front of it.
fn look(ground: &Ground, most: usize) -> Triangulated {
    let pixel = |r: [f64; 4]| {
        let (low, high) = (DVec2::new(r[0], r[1]), DVec2::new(r[2], r[3]));
        let nearest = lens().xz().clamp(low, high);
        let above = lens().y - ground.height(nearest.x, nearest.y);
        Some(PIXEL * libm::hypot(nearest.distance(lens().xz()), above))
    };
    ground.triangulated(&WantedGround {
        within: vec![[-0.7, -0.9, 0.8, 0.6]],
        pixel: &pixel,
        most,
        origin: lens().round(),
    })
}

/// Ground of an image with cracks, steps and noise: 256 x 256 pixels of 8 mm, so that a pixel is
/// many of the lens' own.
fn cracked(folder: &std::path::Path) -> Ground {
    let mut s = stream(3);
    let mut gray = Vec::new();
    for j in 0..256_i32 {
        for i in 0..256_i32 {
            let crack = i % 37 == 5 || (j + i / 3) % 41 == 7;
            let step = if i > 140 { 9000 } else { 0 };
            let noise = (s.unit() * 900.0) as i32;
            let value = if crack { noise } else { 40_000 + step + noise };
            gray.extend((value as u16).to_be_bytes());
        }
    }
    let file = std::fs::File::create(folder.join("cracked.png")).unwrap();
    let mut png = png::Encoder::new(file, 256, 256);
    png.set_color(png::ColorType::Grayscale);
    png.set_depth(png::BitDepth::Sixteen);
    let mut png = png.write_header().unwrap();
    png.write_image_data(&gray).unwrap();
    png.finish().unwrap();
    let ground: shot::Ground = serde_json::from_str(
        r#"{"image":{"file":"cracked.png","extent":["2.048 m","2.048 m"],"heights":["0 m","15 mm"]}}"#,
    )
    .unwrap();
    Ground::read(&(&ground).into(), &Shelf::of(folder)).unwrap()
}

/// The triangle over each of a row of plan places, by trying all: its plane's height there and the
/// upright part of its normal.
struct Reader {
    cells: BTreeMap<[i32; 2], Vec<[DVec3; 3]>>,
}

/// Places at which each ground is held against its triangles; with a quarter of a million the same
/// held.
const PLACES: usize = 40_000;

/// Side of the cells in which the reader finds triangles, metres.
const CELL: f64 = 0.01;

impl Reader {
    fn new(mesh: &Mesh, origin: DVec3) -> Self {
        let mut cells: BTreeMap<[i32; 2], Vec<[DVec3; 3]>> = BTreeMap::new();
        for t in mesh.indices.chunks_exact(3) {
            let p = [0, 1, 2].map(|k| mesh.positions[t[k] as usize].as_dvec3() + origin);
            let low = p[0].min(p[1]).min(p[2]) / CELL;
            let high = p[0].max(p[1]).max(p[2]) / CELL;
            for i in low.x.floor() as i32..=high.x.floor() as i32 {
                for j in low.z.floor() as i32..=high.z.floor() as i32 {
                    cells.entry([i, j]).or_default().push(p);
                }
            }
        }
        Self { cells }
    }

    fn at(&self, x: f64, z: f64) -> Option<(f64, f64)> {
        let cell = [(x / CELL).floor() as i32, (z / CELL).floor() as i32];
        self.cells.get(&cell)?.iter().find_map(|[a, b, c]| {
            let p = DVec3::new(x, 0.0, z);
            let side = |a: DVec3, b: DVec3| (b.z - a.z) * (p.x - a.x) - (b.x - a.x) * (p.z - a.z);
            // A place on an edge is in either
            let inside = [side(*a, *b), side(*b, *c), side(*c, *a)];
            if inside.iter().any(|s| *s < -1e-12) {
                return None;
            }
            let n = (*b - *a).cross(*c - *a).normalize();
            let y = a.y - (n.x * (x - a.x) + n.z * (z - a.z)) / n.y;
            Some((y, n.y))
        })
    }
}

/// Distances of the ground from the triangles' planes at random places, in pixels of the lens.
fn strays(ground: &Ground, made: &Triangulated, count: usize) -> Vec<f64> {
    let reader = Reader::new(&made.mesh, lens().round());
    let mut s = stream(11);
    (0..count)
        .map(|_| {
            let (x, z) = (s.between(-0.69, 0.79), s.between(-0.89, 0.59));
            let (y, upright) = reader.at(x, z).expect("no hole");
            let height = ground.height(x, z);
            let distance = lens().distance(DVec3::new(x, height, z));
            (y - height).abs() * upright / (PIXEL * distance)
        })
        .collect()
}

fn documents() -> Vec<(&'static str, Ground)> {
    [
        ("plane", r#"{"plane":{"tilt":"7 deg","toward":"30 deg"}}"#),
        (
            "gentle",
            r#"{"relief":{"height":"60 mm","feature":"1.5 m","roughness":0.3}}"#,
        ),
        (
            "rough",
            r#"{"relief":{"height":"25 mm","feature":"0.7 m","roughness":0.55}}"#,
        ),
        (
            "rut",
            r#"{"relief":{"height":"20 mm","feature":"1 m","roughness":0.3},"lines":{"rut":
            {"points":[[-0.8,-0.5],[-0.2,0.1],[0.9,-0.1]],"smooth":true,
            "press":{"depth":"40 mm","width":"0.3 m"}}}}"#,
        ),
    ]
    .map(|(name, json)| (name, Ground::of_document(json)))
    .into()
}

#[test]
fn the_ground_is_within_the_tolerance_everywhere() {
    let folder = tempfile::tempdir().unwrap();
    let mut grounds = documents();
    grounds.push(("cracked", cracked(folder.path())));
    for (name, ground) in grounds {
        let made = look(&ground, usize::MAX);
        assert_eq!(made.tolerance, TOLERANCE);
        let strays = strays(&ground, &made, PLACES);
        let worst = strays.iter().copied().fold(0.0, f64::max);
        let mean = strays.iter().sum::<f64>() / strays.len() as f64;
        let count = made.mesh.indices.len() / 3;
        assert!(
            worst <= TOLERANCE,
            "{name}: {worst} pixels off at most, {mean} on average, with {count} triangles"
        );
    }
}

/// Edges of a mesh that only one triangle has; no edge is there twice the same way.
fn rim(mesh: &Mesh) -> Vec<[u32; 2]> {
    let mut edges: BTreeMap<[u32; 2], u32> = BTreeMap::new();
    for t in mesh.indices.chunks_exact(3) {
        for k in 0..3 {
            *edges.entry([t[k], t[(k + 1) % 3]]).or_default() += 1;
        }
    }
    assert!(edges.values().all(|n| *n == 1), "it folds or branches");
    let open = edges.keys().filter(|[a, b]| !edges.contains_key(&[*b, *a]));
    open.copied().collect()
}

#[test]
fn ground_that_ends_ends_there_and_is_closed_inside() {
    for json in [
        r#"{"plane":{},"extent":["1 m","1.003 m"]}"#,
        r#"{"relief":{"height":"25 mm","feature":"0.7 m","roughness":0.55},"extent":["1 m","1.003 m"]}"#,
    ] {
        let made = look(&Ground::of_document(json), usize::MAX);
        let place = |i: u32| made.mesh.positions[i as usize].as_dvec3() + lens().round();
        let rim = rim(&made.mesh);
        // Single precision a metre off the origin
        let at_end = |v: f64, end: f64| (v.abs() - end).abs() < 1e-6;
        for [a, b] in &rim {
            let (a, b) = (place(*a), place(*b));
            let along_x = at_end(a.z, 0.5015) && at_end(b.z, 0.5015);
            assert!(along_x || (at_end(a.x, 0.5) && at_end(b.x, 0.5)), "{a} {b}");
        }
        let length: f64 = rim
            .iter()
            .map(|[a, b]| (place(*a) - place(*b)).xz().length())
            .sum();
        assert!((length - 4.006).abs() < 1e-5, "{length}");
    }
}

#[test]
fn the_budget_of_triangles_is_kept_by_a_wider_tolerance() {
    let (_, ground) = documents().remove(2);
    let made = look(&ground, 60_000);
    let count = made.mesh.indices.len() / 3;
    assert!(count <= 60_000 && count > 10_000, "{count}");
    assert!(made.tolerance > 2.0 * TOLERANCE);
    let worst = strays(&ground, &made, 20_000)
        .into_iter()
        .fold(0.0, f64::max);
    assert!(worst <= made.tolerance, "{worst} of {}", made.tolerance);
}

#[test]
fn faces_look_up_and_normals_stand_on_the_ground() {
    let (_, ground) = documents().remove(1);
    let made = look(&ground, usize::MAX);
    for t in made.mesh.indices.chunks_exact(3) {
        let [a, b, c] = [0, 1, 2].map(|k| made.mesh.positions[t[k] as usize]);
        assert!((b - a).cross(c - a).y > 0.0);
    }
    let inside = |p: DVec3| p.x.abs() < 0.6 && p.z.abs() < 0.5;
    for (p, n) in made.mesh.positions.iter().zip(&made.mesh.normals) {
        let p = p.as_dvec3() + lens().round();
        // A mean over the triangles about it, at whose edges this ground turns by as much
        let off = ground.normal(p.x, p.z).angle_between(n.as_dvec3());
        assert!(!inside(p) || off < 0.2, "{off} at {p}");
    }
}
