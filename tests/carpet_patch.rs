//! A carpet of a patch from a file: a square of bumps, written here, that joins itself at its
//! borders. Judged on the tiles as they are delivered.

#![expect(
    clippy::print_stdout,
    reason = "the figures, for who asks with --nocapture"
)]

use std::collections::BTreeMap;
use std::f64::consts::TAU;

use glam::DVec3;
use rayon::prelude::*;
use scatter::deliver::{DeliverOptions, Format, write};
use scatter::kit::PieceIndex;
use scatter::layout::{Instance, Layout};
use scatter::random::stream;
use scatter_tests::glb::Glb;
use scatter_tests::meshes;
use scatter_tests::tiles::{
    Judge, SIDE, above, dressed_in, framed, relief, rotation, shot, square, tiles,
};
use serde_json::{Value, json};

/// Side of the patch in life, metres: the carpet lays it a tenth as large.
const LIFE: f64 = 2.0;
/// Squares along a side.
const SQUARES: u32 = 64;

/// Height of the patch at a place: 24 bumps of 20 to 60 mm. A place and the one a side farther on
/// are of one height.
fn height(x: f64, z: f64) -> f64 {
    let mut draws = stream(17);
    (0..24)
        .map(|_| {
            let [u, v] = [0, 1].map(|_| draws.between(0.0, LIFE));
            let (tall, wide) = (draws.between(0.02, 0.06), draws.between(0.06, 0.14));
            let apart = |d: f64| d - LIFE * (d / LIFE).round();
            let (u, v) = (apart(x - u), apart(z - v));
            tall * libm::exp(-(u * u + v * v) / (2.0 * wide * wide))
        })
        .sum()
}

/// The corners of the patch, its middle at the origin.
fn corners() -> Vec<[f32; 3]> {
    let wide = SQUARES + 1;
    let along = |k: u32| LIFE * (f64::from(k) / f64::from(SQUARES) - 0.5);
    let corner = |i: u32| {
        let (x, z) = (along(i % wide), along(i / wide));
        [x, height(x, z), z].map(|v| v as f32)
    };
    (0..wide * wide).map(corner).collect()
}

/// A file of the patch. With `two` it has a second root node, which is one and a half times as tall
/// and lies beside the first.
fn patch(two: bool) -> Vec<u8> {
    let wide = SQUARES + 1;
    let squares = (0..SQUARES * SQUARES).map(|i| i / SQUARES * wide + i % SQUARES);
    let triangles: Vec<[u32; 3]> = squares
        .flat_map(|a| [[a, a + wide, a + 1], [a + 1, a + wide, a + wide + 1]])
        .collect();
    let file = meshes::mesh(&corners(), &triangles);
    if !two {
        return file;
    }
    let parts = Glb::open(&file).expect("a GLB");
    let mut document = parts.json;
    document["nodes"] = json!([
        { "mesh": 0, "name": "low" },
        { "mesh": 0, "name": "tall", "scale": [1, 1.5, 1], "translation": [2.5, 0, 0] }
    ]);
    document["scenes"][0]["nodes"] = json!([0, 1]);
    meshes::glb(&document, &parts.binary)
}

fn document() -> Value {
    let mut document = shot();
    document["carpet"] = json!({ "patch": "bumps.glb", "tile": SIDE });
    document
}

fn laid<T>(
    two: bool,
    document: &Value,
    with: impl FnOnce(&scatter_tests::dresser::Dresser, Layout) -> T,
) -> T {
    let folder = tempfile::tempdir().expect("a folder");
    std::fs::write(folder.path().join("bumps.glb"), patch(two)).expect("a file");
    dressed_in(folder.path(), document, with)
}

/// 100,000 vertical probes over the framed ground, evenly by area: each must meet a tile, over the
/// ground as it is drawn.
#[test]
fn a_patch_leaves_no_ground_uncovered() {
    for (rough, two) in [(false, false), (true, false), (false, true)] {
        let mut document = document();
        if rough {
            relief(&mut document);
        }
        laid(two, &document, |dresser, layout| {
            let camera = &layout.cameras[0];
            let ground = dresser.ground();
            let judge = Judge::new(&layout, tiles(&layout));
            let places = framed(camera, ground, 100_000, 12);
            let over: Vec<Option<f64>> = places
                .par_iter()
                .map(|[x, h, z]| judge.top(*x, *z).map(|top| top - h))
                .collect();
            let bare = over.iter().filter(|o| o.is_none()).count();
            let mut over: Vec<f64> = over.into_iter().flatten().collect();
            over.sort_unstable_by(f64::total_cmp);
            let mean = over.iter().sum::<f64>() / over.len() as f64;
            let sunk = dresser.scene().sunk;
            println!(
                "rough {rough}, two tiles {two}: {bare} of 100,000 probes meet nothing; top over the ground {:.2} to {:.2} mm, mean {:.2} mm; ground drawn {:.1} mm lower",
                over[0] * 1e3,
                over[over.len() - 1] * 1e3,
                mean * 1e3,
                sunk * 1e3
            );
            assert_eq!(bare, 0);
            assert!(over[0] > -sunk, "drawn ground shows through");
            // In the ground, not over it: by less than half of what the patch has in heights, 7 to
            // 10 mm at this scale
            assert!(mean.abs() < 0.005, "the top is {mean} m over the ground");
        });
    }
}

/// Of one tile each turn is its own; of two also the choice. No two of the 18 nearest neighbours
/// are equal in tile and turn, and turns are spread round the circle: of some 1,000 tiles each
/// twelfth has between half and twice its share.
#[test]
fn a_patch_is_turned() {
    for two in [false, true] {
        let mut document = document();
        above(&mut document, 3.6);
        laid(two, &document, |_, layout| {
            let all = tiles(&layout);
            assert!(all.len() > 900, "{} tiles", all.len());
            let mut near: BTreeMap<[i64; 2], Vec<&Instance>> = BTreeMap::new();
            for i in &all {
                let at = [square(i.position.x), square(i.position.z)];
                near.entry(at).or_default().push(i);
            }
            let mut least = f64::INFINITY;
            let mut turns = [0_usize; 12];
            let mut kinds: BTreeMap<PieceIndex, usize> = BTreeMap::new();
            for a in &all {
                *kinds.entry(a.piece).or_default() += 1;
                let turn = 2.0 * f64::from(a.rotation[1]).atan2(f64::from(a.rotation[3]));
                turns[((turn.rem_euclid(TAU) / TAU * 12.0) as usize).min(11)] += 1;
                let [x, z] = [square(a.position.x), square(a.position.z)];
                let around = (-3..=3).flat_map(|dx| (-3..=3).map(move |dz| [x + dx, z + dz]));
                for b in around.filter_map(|at| near.get(&at)).flatten() {
                    let apart = a.position.distance(b.position);
                    if a.id == b.id || apart > 2.2 * SIDE || a.piece != b.piece {
                        continue;
                    }
                    let angle = (rotation(a).conjugate() * rotation(b)).to_axis_angle().1;
                    least = least.min(angle.min(TAU - angle));
                }
            }
            println!(
                "{} tiles, by kind {kinds:?}, equal neighbours {:.1} degrees apart at least, turns by twelfths {turns:?}",
                all.len(),
                least.to_degrees()
            );
            assert_eq!(kinds.len(), if two { 2 } else { 1 });
            assert!(kinds.values().all(|n| *n > all.len() / 5));
            assert!(least.to_degrees() > 14.0);
            let share = all.len() / 12;
            assert!(turns.iter().all(|n| *n > share / 2 && *n < 2 * share));
        });
    }
}

/// In the delivered GLB the tile's mesh is the patch, scaled as a whole so that the square holds
/// the round tile: near the middle, where a tile hardly sinks, every corner of the file is there,
/// up to one shift in height.
#[test]
fn the_delivered_tile_is_the_patch() {
    laid(false, &document(), |_, layout| {
        let folder = tempfile::tempdir().expect("a folder");
        let options = DeliverOptions {
            shot_digest: String::new(),
            ..DeliverOptions::new(folder.path(), &[Format::Glb])
        };
        write(&layout, &options).expect("a delivery");
        let file = std::fs::read(folder.path().join("layout.glb")).expect("the file");
        let glb = Glb::open(&file).expect("a GLB");
        let nodes = glb.instanced().expect("instances");
        let carpet: Vec<_> = nodes
            .iter()
            .filter(|n| n.name.starts_with("carpet/"))
            .collect();
        assert_eq!(carpet.len(), 1, "one mesh for all tiles");
        assert_eq!(carpet[0].world_from_mesh.len(), tiles(&layout).len());
        let delivered = glb.corners(&carpet[0].name).expect("corners");
        // A tile reaches to its neighbours' middles and not much farther
        let reach = delivered.iter().map(|p| p.x.hypot(p.z)).fold(0.0, f64::max);
        assert!(reach > SIDE / 3.0_f64.sqrt() && reach < SIDE, "{reach}");
        let scale = 2.0 * reach / LIFE;
        let mut shifts = Vec::new();
        let scaled = |p: [f32; 3]| DVec3::from_array(p.map(f64::from)) * scale;
        for p in corners().into_iter().map(scaled) {
            if p.x.hypot(p.z) > 0.3 * SIDE {
                continue;
            }
            let beside = |q: &&DVec3| (q.x - p.x).hypot(q.z - p.z) < 1e-6;
            // The sheet lies under the patch, so the corner is the highest one there
            let own = delivered
                .iter()
                .filter(beside)
                .map(|q| q.y)
                .fold(f64::NEG_INFINITY, f64::max);
            assert!(own.is_finite(), "no corner at {p}");
            shifts.push(own - p.y);
        }
        let (low, high) = shifts
            .iter()
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), s| {
                (l.min(*s), h.max(*s))
            });
        println!(
            "scale {scale:.5}, rim at {:.1} mm, {} corners, shifted by {:.4} to {:.4} mm",
            reach * 1e3,
            shifts.len(),
            low * 1e3,
            high * 1e3
        );
        assert!(shifts.len() > 200);
        assert!(
            high - low < 1e-4,
            "heights are shifted by {low} to {high} m"
        );
    });
}
