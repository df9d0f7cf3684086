//! How bodies come to lie: stable poses and their probabilities against closed forms, a plain
//! toppling simulation, and another library.
//!
//! Sources: the thick coin (Mosteller, "Fifty challenging problems in probability", 1965, problem
//! 38; value from memory); the solid angle of a pyramid over a rectangle (4 asin, from memory,
//! common in radiometry); the regular bodies by their symmetry. The simulation below shares no code
//! with the library: no hull, no facets, only "roll a little way down". Another library: trimesh
//! (PyPI, pinned in `tests/requirements.txt`), the estimator of Goldberg and others, "Part pose
//! statistics: estimators and experiments", 1999, over scipy's convex hull.

#![allow(clippy::unwrap_used, reason = "a check that cannot go on has failed")]

use std::collections::BTreeMap;
use std::f64::consts::{PI, TAU};
use std::fs;

use glam::{DQuat, DVec3};
use rayon::prelude::*;
use scatter::kit::{Kind, Piece, grow};
use scatter::random::{Stream, stream};
use scatter::rest::poses::{PoseFault, ROLL_OVER, StablePoses, of_piece, poses};
use scatter_tests::{meshes, tools};

/// A body: corners and triangles.
type Body = (Vec<DVec3>, Vec<[u32; 3]>);

fn theory(body: &Body) -> StablePoses {
    poses(&body.0, &body.1, 0.0).unwrap()
}

/// A closed box with its middle at the origin.
fn cuboid(x: f64, y: f64, z: f64) -> Body {
    let points = (0..8)
        .map(|i| {
            let side = |bit: u32, extent: f64| f64::from((i >> bit) & 1) * extent - extent / 2.0;
            DVec3::new(side(0, x), side(1, y), side(2, z))
        })
        .collect();
    (points, meshes::block_triangles())
}

/// A closed cone's frustum along y with flat ends, from y = 0 to `height`; a cylinder where the
/// radii are one.
fn frustum(foot: f64, head: f64, height: f64, sides: u32) -> Body {
    let ring = |radius: f64, y: f64| {
        (0..sides).map(move |k| {
            let (sin, cos) = (TAU * f64::from(k) / f64::from(sides)).sin_cos();
            DVec3::new(radius * cos, y, radius * sin)
        })
    };
    let points = ring(foot, 0.0).chain(ring(head, height)).collect();
    let mut triangles = Vec::new();
    for k in 0..sides {
        let next = (k + 1) % sides;
        triangles.push([k, k + sides, next]);
        triangles.push([next, k + sides, next + sides]);
        if k >= 2 {
            triangles.push([0, k - 1, k]);
            triangles.push([sides, sides + k, sides + k - 1]);
        }
    }
    (points, triangles)
}

fn tetrahedron() -> Body {
    let points = [[1, 1, 1], [1, -1, -1], [-1, 1, -1], [-1, -1, 1]];
    let points = points.map(|p| DVec3::from_array(p.map(f64::from)));
    (
        points.into(),
        vec![[0, 1, 2], [0, 3, 1], [0, 2, 3], [1, 3, 2]],
    )
}

fn grown(kind: Kind, variant: u32) -> Body {
    body_of(&grow(kind, variant))
}

fn body_of(piece: &Piece) -> Body {
    let mesh = &piece.parts[0].mesh;
    let points = mesh.positions.iter().map(|p| p.as_dvec3()).collect();
    let triangles = mesh.indices.chunks(3).map(|c| [c[0], c[1], c[2]]);
    (points, triangles.collect())
}

fn stones() -> Vec<(String, Body)> {
    [Kind::Rock, Kind::Cobble, Kind::Pebble]
        .into_iter()
        .flat_map(|kind| (0..6).map(move |v| (format!("{}-{v}", kind.name()), grown(kind, v))))
        .collect()
}

/// A random rotation: even over all of them.
fn any_rotation(draws: &mut Stream) -> DQuat {
    let [x, y, z, w] = [0; 4].map(|_| draws.normal());
    DQuat::from_xyzw(x, y, z, w).normalize()
}

/// Probability of a face pointing along an axis (the mean of its two ends: their sum).
fn share_along(poses: &StablePoses, axis: DVec3, cosine: f64) -> f64 {
    let along = poses
        .all
        .iter()
        .filter(|p| p.normal.dot(axis).abs() > cosine);
    along.map(|p| p.probability).sum()
}

#[test]
fn a_box_lies_by_the_solid_angles_of_its_faces() {
    // A rectangle of half sides a, b at distance d fills 4 asin(a b / sqrt((a^2 + d^2)(b^2 + d^2)))
    // of 4 pi
    for [x, y, z] in [
        [1.0, 1.0, 1.0],
        [1.0, 2.0, 3.0],
        [215.0, 65.0, 102.5],
        [10.0, 1.0, 1.2],
    ] {
        let found = theory(&cuboid(x, y, z));
        assert_eq!(found.all.len(), 6);
        assert!((found.volume - x * y * z).abs() < 1e-5 * x * y * z);
        for (axis, [d, a, b]) in [
            (DVec3::X, [x, y, z]),
            (DVec3::Y, [y, x, z]),
            (DVec3::Z, [z, x, y]),
        ] {
            let expected = 2.0 * (a * b / ((a * a + d * d) * (b * b + d * d)).sqrt()).asin() / PI;
            let got = share_along(&found, axis, 0.999);
            assert!(
                (got - expected).abs() < 1e-5,
                "{x} {y} {z} {axis}: {got}, not {expected}"
            );
            let pose = found
                .all
                .iter()
                .find(|p| p.normal.dot(axis) > 0.999)
                .unwrap();
            assert!((pose.height - d / 2.0).abs() < 1e-5 * d);
            assert!((pose.stands - d).abs() < 1e-5 * d);
            assert!((pose.margin - a.min(b) / 2.0).abs() < 1e-5 * a.max(b));
        }
    }
}

#[test]
fn a_thick_coin_falls_on_its_edge_one_time_in_three() {
    // Mosteller's coin is 0.354 diameters thick: h = r / sqrt 2, so that the rim's zone is a third
    // of the sphere. A prism of 96 sides stands in for the round
    let found = theory(&frustum(1.0, 1.0, 0.5_f64.sqrt(), 96));
    let edge = 1.0 - share_along(&found, DVec3::Y, 0.99);
    assert!((edge - 1.0 / 3.0).abs() < 1e-3, "{edge}");
    assert_eq!(found.all.len(), 98);
}

#[test]
fn regular_bodies_lie_on_each_face_alike() {
    let found = theory(&tetrahedron());
    assert_eq!(found.all.len(), 4);
    assert!(
        found
            .all
            .iter()
            .all(|p| (p.probability - 0.25).abs() < 1e-5)
    );
}

#[test]
fn a_leaning_prism_topples_to_where_it_can_lie() {
    // A slender oblique prism can't stand on its ends: their share goes to the sides
    let (mut points, triangles) = cuboid(1.0, 4.0, 1.0);
    for p in &mut points {
        p.x += 0.5 * p.y;
    }
    let found = theory(&(points, triangles));
    assert_eq!(found.all.len(), 4);
    assert!(share_along(&found, DVec3::Y, 0.99) < 1e-12);
}

/// Rolls a body without speed from many orientations, a little way at a time: the direction of
/// gravity goes away from the point that touches. Returns the directions at the end.
fn roll(points: &[DVec3], centre: DVec3, starts: u64) -> Vec<DVec3> {
    let points: Vec<DVec3> = points.iter().map(|p| *p - centre).collect();
    (0..starts)
        .into_par_iter()
        .map(|k| {
            let mut draws = stream(k);
            let mut n = any_rotation(&mut draws) * DVec3::Y;
            let mut step = 0.005;
            let mut best = f64::INFINITY;
            let mut stuck = 0;
            while step > 1e-4 {
                let (mut height, mut touch) = (f64::NEG_INFINITY, DVec3::ZERO);
                for p in &points {
                    let depth = p.dot(n);
                    if depth > height {
                        (height, touch) = (depth, *p);
                    }
                }
                // About an edge it zigzags: a shorter step when the height has stopped falling
                if height < best {
                    best = height;
                    stuck = 0;
                } else {
                    stuck += 1;
                }
                if stuck > 20 {
                    step *= 0.7;
                    stuck = 0;
                }
                n = (n + (n * touch.dot(n) - touch).normalize_or_zero() * step).normalize();
            }
            n
        })
        .collect()
}

/// Half the sum of differences between frequencies and the probabilities of the nearest poses.
/// Poses less than `grain` (radians) apart count as one.
fn total_variation(
    found: &StablePoses,
    grain: f64,
    others: impl Iterator<Item = (DVec3, f64)>,
) -> f64 {
    let all = &found.all;
    let mut left: Vec<f64> = all.iter().map(|p| p.probability).collect();
    for (normal, share) in others {
        let near = |k: &usize| all[*k].normal.dot(normal);
        let k = (0..left.len()).max_by(|a, b| near(a).total_cmp(&near(b)));
        left[k.unwrap()] -= share;
    }
    for k in (1..left.len()).rev() {
        if let Some(like) = (0..k).find(|&l| all[l].normal.angle_between(all[k].normal) < grain) {
            left[like] += left[k];
            left[k] = 0.0;
        }
    }
    left.iter().map(|l| l.abs()).sum::<f64>() / 2.0
}

/// The simulation's first steps, 0.005 radians, jump the ridge between poses that are a few degrees
/// apart.
const JUMPED: f64 = 0.06;

/// How far the poses of a body are from where the simulation rolls it.
fn rolled(body: &Body, found: &StablePoses, starts: u64) -> f64 {
    let mut corners: Vec<[f64; 3]> = body.0.iter().map(|p| p.to_array()).collect();
    corners.sort_by(|a, b| a.partial_cmp(b).unwrap());
    corners.dedup();
    let corners: Vec<DVec3> = corners.into_iter().map(DVec3::from_array).collect();
    let ends = roll(&corners, found.centre_of_mass, starts);
    let share = 1.0 / starts as f64;
    total_variation(found, JUMPED, ends.into_iter().map(|n| (n, share)))
}

#[test]
fn grown_stones_lie_as_a_plain_simulation_rolls_them() {
    for (name, body) in stones().into_iter().skip(1).step_by(2) {
        // With a dozen poses, chance alone makes a total variation of about 0.03
        let variation = rolled(&body, &theory(&body), 2000);
        assert!(variation <= 0.05, "{name}: {variation}");
    }
}

#[test]
fn probabilities_sum_to_one_and_every_foot_is_in_its_support() {
    for roll_over in [0.0, ROLL_OVER] {
        for (name, (points, triangles)) in stones() {
            let found = poses(&points, &triangles, roll_over).unwrap();
            assert!(found.closed, "{name}");
            let sum: f64 = found.all.iter().map(|p| p.probability).sum();
            assert!((sum - 1.0).abs() < 1e-12, "{name}: {sum}");
            let half = points.iter().map(|p| p.length()).fold(0.0, f64::max);
            for p in &found.all {
                assert!(p.margin > -1e-4 * half, "{name}: {}", p.margin);
                // The pose's own numbers, from all vertices
                let heights = points.iter().map(|q| (p.rotation * *q).y);
                let (low, high) =
                    heights.fold((f64::MAX, f64::MIN), |(l, h), y| (l.min(y), h.max(y)));
                let centre = (p.rotation * found.centre_of_mass).y;
                assert!((high - low - p.stands).abs() < 2e-4 * half, "{name}");
                assert!((centre - low - p.height).abs() < 2e-4 * half, "{name}");
                assert!((p.rotation * p.normal + DVec3::Y).length() < 1e-9);
            }
            let falling = found
                .all
                .windows(2)
                .all(|w| w[0].probability >= w[1].probability);
            assert!(falling, "{name}");
        }
    }
}

#[test]
fn a_body_lies_the_same_wherever_however_and_in_whatever_unit_it_is_given() {
    let mut draws = stream(5);
    for (name, (points, triangles)) in stones()
        .into_iter()
        .chain([("box".to_owned(), cuboid(3.0, 1.0, 2.0))])
    {
        let found = theory(&(points.clone(), triangles.clone()));
        for scale in [1e-6, 1.0, 2.54, 1e5] {
            let turn = any_rotation(&mut draws);
            let shift = any_rotation(&mut draws) * DVec3::X * 100.0 * scale;
            let moved = points.iter().map(|p| turn * *p * scale + shift).collect();
            let again = theory(&(moved, triangles.clone()));
            let others = again
                .all
                .iter()
                .map(|p| (turn.inverse() * p.normal, p.probability));
            let variation = total_variation(&found, 0.0, others);
            assert!(variation < 2e-3, "{name}, {scale}: {variation}");
            let centre = turn.inverse() * (again.centre_of_mass - shift) / scale;
            assert!((centre - found.centre_of_mass).length() < 1e-5);
            assert!((again.volume / scale.powi(3) / found.volume - 1.0).abs() < 1e-4);
        }
    }
}

#[test]
fn the_surface_may_be_open_or_inside_out() {
    let (points, triangles) = frustum(2.0, 1.0, 1.5, 24);
    let found = theory(&(points.clone(), triangles.clone()));
    // Centre of a frustum: h/4 (R^2 + 2 R r + 3 r^2) / (R^2 + R r + r^2) over its foot
    assert!((found.centre_of_mass.y - 1.5 / 4.0 * 11.0 / 7.0).abs() < 1e-5);
    assert!(found.closed);
    let turned = triangles.iter().map(|[a, b, c]| [*a, *c, *b]).collect();
    let inside_out = theory(&(points.clone(), turned));
    assert_eq!(
        (inside_out.all.clone(), inside_out.closed),
        (found.all.clone(), true)
    );
    // Without its lid it is its hull, which is the same body
    let open: Vec<_> = triangles
        .iter()
        .filter(|t| t.iter().any(|c| *c < 24))
        .copied()
        .collect();
    let open = theory(&(points, open));
    assert!(!open.closed);
    assert!((open.volume / found.volume - 1.0).abs() < 1e-6);
    assert!((open.centre_of_mass - found.centre_of_mass).length() < 1e-6);
}

#[test]
fn a_sheet_lies_on_either_side() {
    let square = [[0.0, 0.0], [2.0, 0.0], [2.0, 1.0], [0.0, 1.0]];
    let points: Vec<DVec3> = square.map(|[x, z]| DVec3::new(x, 5.0, z)).into();
    for (triangles, margin) in [
        (vec![[0, 1, 2], [0, 2, 3]], 0.5),
        (vec![[0, 1, 2]], 1.0 / 3.0),
    ] {
        let found = theory(&(points.clone(), triangles));
        let shares: Vec<f64> = found.all.iter().map(|p| p.probability).collect();
        assert_eq!(shares, [0.5, 0.5]);
        assert!(!found.closed && found.volume == 0.0);
        for pose in &found.all {
            assert!(pose.normal.y.abs() > 0.999_999 && pose.stands < 1e-6);
            assert!(
                (0.2..margin + 1e-6).contains(&pose.margin),
                "{}",
                pose.margin
            );
        }
    }
}

#[test]
fn what_is_no_body_is_a_fault() {
    let at = |x: f64, y: f64, z: f64| DVec3::new(x, y, z);
    let one = [[0, 1, 2]];
    let fault =
        |points: &[DVec3], triangles: &[[u32; 3]]| poses(points, triangles, 0.0).unwrap_err();
    assert_eq!(fault(&[], &[]), PoseFault::Empty);
    assert_eq!(fault(&[at(0.0, 0.0, 0.0)], &one), PoseFault::MissingCorner);
    assert_eq!(fault(&[at(1.0, 2.0, 3.0); 3], &one), PoseFault::Thin);
    assert_eq!(
        fault(
            &[at(0.0, 0.0, 0.0), at(1.0, 2.0, 3.0), at(2.0, 4.0, 6.0)],
            &one
        ),
        PoseFault::Thin
    );
    for bad in [f64::NAN, f64::INFINITY, -1e200] {
        assert_eq!(
            fault(
                &[at(0.0, bad, 0.0), at(1.0, 0.0, 0.0), at(0.0, 0.0, 1.0)],
                &one
            ),
            PoseFault::NotFinite
        );
    }
    // Corners that no triangle uses count nowhere
    let (mut points, triangles) = cuboid(1.0, 2.0, 3.0);
    let found = theory(&(points.clone(), triangles.clone()));
    points.push(at(f64::NAN, 1e300, 50.0));
    assert_eq!(theory(&(points, triangles)), found);
}

/// A ball's mesh, stretched along the axes.
fn ellipsoid(axes: DVec3, rings: u32) -> Body {
    let sides = 2 * rings;
    let mut points = vec![DVec3::Y * axes, -DVec3::Y * axes];
    let mut triangles = Vec::new();
    let at = |ring: u32, k: u32| 2 + (ring - 1) * sides + k % sides;
    for k in 0..sides {
        triangles.push([0, at(1, k + 1), at(1, k)]);
        triangles.push([1, at(rings - 1, k), at(rings - 1, k + 1)]);
    }
    for ring in 1..rings {
        let (sin, cos) = (PI * f64::from(ring) / f64::from(rings)).sin_cos();
        for k in 0..sides {
            let (s, c) = (TAU * f64::from(k) / f64::from(sides)).sin_cos();
            points.push(DVec3::new(sin * c, cos, sin * s) * axes);
            if ring + 1 < rings {
                triangles.push([at(ring, k), at(ring, k + 1), at(ring + 1, k)]);
                triangles.push([at(ring, k + 1), at(ring + 1, k + 1), at(ring + 1, k)]);
            }
        }
    }
    (points, triangles)
}

#[test]
fn a_round_stone_lies_on_its_flat_sides_and_a_ball_anywhere() {
    let (points, triangles) = ellipsoid(DVec3::new(3.0, 1.0, 2.0), 22);
    let found = poses(&points, &triangles, ROLL_OVER).unwrap();
    assert!(found.closed);
    let flat = share_along(&found, DVec3::Y, 0.98);
    assert!(flat > 0.97, "{flat}");
    let (points, triangles) = ellipsoid(DVec3::ONE, 22);
    let found = poses(&points, &triangles, ROLL_OVER).unwrap();
    assert!(found.all[0].probability < 0.02);
}

#[test]
fn poses_are_drawn_as_often_as_they_are_probable() {
    let found = of_piece(&grow(Kind::Rock, 3)).unwrap();
    let n = 20_000;
    let mut counts = vec![0_u32; found.all.len()];
    for k in 0..n {
        let pose = found.draw((f64::from(k) + 0.5) / f64::from(n));
        counts[found.all.iter().position(|p| p == pose).unwrap()] += 1;
    }
    for (pose, count) in found.all.iter().zip(counts) {
        assert!((pose.probability - f64::from(count) / f64::from(n)).abs() < 1e-4);
    }
    assert_eq!(Some(found.draw(1.0)), found.all.last());
    let brick = theory(&cuboid(215.0, 65.0, 102.5));
    assert!((brick.flattest().stands - 65.0).abs() < 1e-3);
    assert!((brick.on_edge().stands - 215.0).abs() < 1e-3);
    assert!(brick.upright().normal.y < -0.999);
}

#[test]
#[ignore = "needs tests/run"]
fn grown_stones_lie_as_trimesh_lays_them() {
    let mut bodies = BTreeMap::new();
    for (name, body) in stones() {
        let found = theory(&body);
        let points: Vec<[f64; 3]> = body.0.iter().map(|p| p.to_array()).collect();
        let centre = found.centre_of_mass.to_array();
        bodies.insert(
            name,
            (
                found,
                serde_json::json!({ "points": points, "centre": centre }),
            ),
        );
    }
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("bodies.json");
    let asked: BTreeMap<_, _> = bodies.iter().map(|(name, b)| (name, &b.1)).collect();
    fs::write(&file, serde_json::to_vec(&asked).unwrap()).unwrap();
    let theirs: BTreeMap<String, Vec<([f64; 3], f64)>> =
        serde_json::from_value(tools::python("stable_poses.py", &[&file])).unwrap();
    // trimesh hands a facet's whole solid angle to one neighbour, where the flow parts it: on a few
    // stones that alone makes more than 0.05, and there the simulation above takes our side
    // (pebble-3 with 2,000 starts: 0.066 against 0.004; cobble-1: 0.077 against 0.021). Where it
    // makes more than 0.1 the simulation has to be near ours (cobble-4 with 20,000 starts: 0.108
    // against 0.058).
    let mut variations = Vec::new();
    let stones: BTreeMap<String, Body> = stones().into_iter().collect();
    for (name, (found, _)) in &bodies {
        let others = theirs[name]
            .iter()
            .map(|(n, p)| (DVec3::from_array(*n), *p));
        let variation = total_variation(found, 0.0, others);
        if variation >= 0.1 {
            let ours = rolled(&stones[name], found, 20_000);
            assert!(ours <= 0.06, "{name}: {variation} and {ours}");
        }
        variations.push(variation);
    }
    let near = variations.iter().filter(|v| **v <= 0.05).count();
    assert!(
        4 * near >= 3 * variations.len(),
        "{near} of {}",
        variations.len()
    );
}
