//! Outlines against what is laid; what falls.

use super::support::beside;
use super::*;
use crate::kit::{Kind, grow};
use crate::plan::PassPiece;

/// Pieces of three kinds in any of their stances on level ground, without tilt: every corner of
/// what is laid is within its outline, or out of it by 7 % of the diameter at most (an outline has
/// corners in 16 directions, and a stone is longer than its diameter), and the outline's corners
/// are the piece's own.
#[test]
fn a_piece_lies_in_its_outline() {
    let ground = Ground::level();
    let surface = SettledSurface::new(&ground, Vec::new());
    let rest = Rest {
        bury: [0.2, 0.4],
        tilt: 0.0,
        ..Rest::default()
    };
    let laying = Laying {
        rest: &rest,
        key: 11,
        slides: false,
        level: false,
    };
    let mut stances = std::collections::BTreeSet::new();
    for (kind, variant) in [(Kind::Cobble, 3), (Kind::Rock, 7), (Kind::Pebble, 1)] {
        let piece = grow(kind, variant);
        let body = RigidBody::of(&piece).unwrap();
        let b_axis = piece.measure.b_axis;
        for id in 0..60_u32 {
            let turn = f64::from(id) * 0.7;
            let (sin, cos) = libm::sincos(turn);
            let placed = Placed {
                x: 1_000_000 * i64::from(id),
                z: -3_000_000,
                id: u64::from(id),
                diameter: 0.08,
                along: [cos as f32, sin as f32],
                piece: PassPiece::default(),
                stance: (id % body.stances.len() as u32) as u8,
                sunk: (id * 4) as u8,
            };
            let standing = lay(&placed, &body, b_axis, laying, &surface).unwrap();
            let foretold = body.outline(&standing).unwrap();
            stances.insert((variant, standing.rotation.y.to_bits()));
            let laid: Vec<[f64; 2]> = piece.parts[0]
                .mesh
                .positions
                .iter()
                .map(|p| standing.position + standing.rotation * (p.as_dvec3() * standing.scale))
                .map(|p| [p.x * NANO, p.z * NANO])
                .collect();
            let corners: Vec<[f64; 2]> = foretold.iter().map(|c| c.map(|v| v as f64)).collect();
            assert!(corners.len() >= 6 && corners.len() <= 16);
            let size = 0.08 * NANO;
            for p in &laid {
                let out = beside(&corners, *p);
                assert!(out < 0.07 * size, "{kind:?} {id}: {} out", out / size);
            }
            for c in &corners {
                let off = laid.iter().map(|p| (p[0] - c[0]).hypot(p[1] - c[1]));
                let off = off.fold(f64::INFINITY, f64::min);
                assert!(off < 1e-4 * size, "{kind:?} {id}: {} off", off / size);
            }
        }
    }
    assert!(stances.len() > 100, "only {} poses", stances.len());
}

/// A body at the origin in its tallest stance, 0.3 m high.
fn on_its_tallest(body: &RigidBody) -> Lying<'_> {
    let stance = body.tallest();
    let scale = 0.3 / stance.stands;
    let position = -(stance.turn * (stance.middle * scale));
    let rotation = stance.turn;
    let standing = Standing {
        position,
        rotation,
        scale,
    };
    Lying::new(body, standing)
}

/// A stone that is strewn over the upper edge of a larger one, its weight past the edge: set down
/// it does not stay. It rolls aside onto another of its faces, no farther than it may; one that is
/// to lie flat slides there as it is.
#[test]
fn what_would_fall_rolls_onto_another_face_beside() {
    let ground = Ground::level();
    let block = RigidBody::of(&grow(Kind::Rock, 5)).unwrap();
    // One that lies on many faces
    let piece = grow(Kind::Rock, 27);
    let (body, b_axis) = (RigidBody::of(&piece).unwrap(), piece.measure.b_axis);
    let lying = || on_its_tallest(&block);
    let of = |pose| Rest {
        bury: [0.0, 0.0],
        tilt: 0.0,
        pose,
        ..Rest::default()
    };
    // How many lie of those that fall when they may not move aside, and how many of them on another
    // face
    let mut seen = [[0_u32; 3]; 2];
    for (pose, seen) in [Pose::Any, Pose::Flat].into_iter().zip(&mut seen) {
        let rest = of(pose);
        for id in 0..200_u64 {
            let (sin, cos) = libm::sincos(id as f64 * 2.4);
            let far = 0.06 + 0.12 * (id as f64 / 200.0);
            let placed = Placed {
                x: (far * cos * NANO) as i64,
                z: (far * sin * NANO) as i64,
                id,
                diameter: 0.06,
                along: [cos as f32, sin as f32],
                piece: PassPiece::default(),
                stance: match pose {
                    Pose::Any => (id % body.stances.len() as u64) as u8,
                    _ => stances(&body, pose)[0].0,
                },
                sunk: 0,
            };
            let laid = |slides| {
                let surface = SettledSurface::new(&ground, vec![lying()]);
                let laying = Laying {
                    rest: &rest,
                    key: 5,
                    slides,
                    level: false,
                };
                lay(&placed, &body, b_axis, laying, &surface)
            };
            if laid(false).is_some() {
                continue;
            }
            seen[0] += 1;
            let Some(standing) = laid(true) else { continue };
            seen[1] += 1;
            let first = &body.stances[usize::from(placed.stance)];
            // The face that it was held on looks down no more, by half of a right angle
            let down = standing.rotation * (first.turn.inverse() * DVec3::Y);
            seen[2] += u32::from(down.y < std::f64::consts::FRAC_1_SQRT_2);
            // The middle of what lies moved by no more than it may, and as it is in another place
            // of another face
            let middle = standing.position + standing.rotation * (body.centre * standing.scale);
            let aside = (middle.x - far * cos).hypot(middle.z - far * sin);
            let most = (SLIDE + DRIFT) * 0.06 + body.aside * standing.scale;
            assert!(aside <= most, "{id}: {aside} m aside");
        }
    }
    let [any, flat] = seen;
    assert!(any[0] >= 20 && flat[0] >= 20);
    assert!(any[1] * 2 >= any[0] && flat[1] * 2 >= flat[0]);
    assert!(any[2] * 2 >= any[1]);
    assert_eq!(flat[2], 0);
}
