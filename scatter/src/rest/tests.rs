//! Outlines against what is laid.

use super::*;
use crate::kit::{Kind, grow};
use crate::units::Angle;

/// Pieces of three kinds in any of their stances on level ground, without tilt: every corner of what is laid is within the outline
/// foretold, or out of it by 5 % of the diameter at most (an outline has corners in 16 directions, and a stone is longer than its diameter), and the outline's corners are the
/// piece's own.
#[test]
fn a_piece_lies_in_the_outline_foretold() {
    let ground = Ground::new(&crate::shot::Ground::default());
    let surface = Surface::new(&ground, Vec::new());
    let rest = Rest {
        bury: [0.2, 0.4],
        tilt: Angle::from_degrees(0.0),
        ..Rest::default()
    };
    let laying = Laying {
        rest: &rest,
        key: 11,
        slides: false,
    };
    let mut stances = std::collections::BTreeSet::new();
    for (kind, variant) in [(Kind::Cobble, 3), (Kind::Rock, 7), (Kind::Pebble, 1)] {
        let piece = grow(kind, variant);
        let body = Body::of(&piece).unwrap();
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
                piece: 0,
            };
            let foretold = outline(&placed, &body, b_axis, &rest, laying.key).unwrap();
            let standing = lay(&placed, &body, b_axis, laying, &surface).unwrap();
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
                assert!(out < 0.05 * size, "{kind:?} {id}: {} out", out / size);
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
