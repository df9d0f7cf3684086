//! Closed tubes along a path: stems, stalks and buds.

use std::f64::consts::TAU;

use glam::DVec3;

use super::work_mesh::WorkMesh;

/// One ring of a tube.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Ring {
    pub(crate) centre: DVec3,
    pub(crate) radius: f64,
    pub(crate) color: DVec3,
}

/// How the two ends of a tube are closed: how far the middle of each cap stands out, and its
/// colour.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Caps {
    pub(crate) reach: [f64; 2],
    pub(crate) color: DVec3,
}

/// Adds a closed tube with `sides` corners a ring. `dress` gives each corner its radius factor and
/// colour from the ring's number, the corner's turn in radians and the ring's colour. Fewer than
/// two rings add nothing.
pub(crate) fn add_tube(
    shape: &mut WorkMesh,
    rings: &[Ring],
    sides: u32,
    caps: Caps,
    mut dress: impl FnMut(usize, f64, DVec3) -> (f64, DVec3),
) {
    let last = rings.len().saturating_sub(1);
    if last == 0 {
        return;
    }
    let tangent = |i: usize| {
        (rings[(i + 1).min(last)].centre - rings[i.saturating_sub(1)].centre).normalize_or(DVec3::X)
    };
    let mut side = tangent(0).any_orthonormal_vector();
    let first = shape.positions.len() as u32;
    for (i, ring) in rings.iter().enumerate() {
        // Carry the frame along the path without twist.
        let t = tangent(i);
        side = (side - t * side.dot(t)).normalize_or(t.any_orthonormal_vector());
        let up = t.cross(side);
        for k in 0..sides {
            let turn = TAU * f64::from(k) / f64::from(sides);
            let (factor, color) = dress(i, turn, ring.color);
            let out = side * libm::cos(turn) + up * libm::sin(turn);
            shape.push(ring.centre + out * (ring.radius * factor), color);
        }
    }
    let corner = |i: usize, k: u32| first + i as u32 * sides + k % sides;
    for i in 0..last {
        for k in 0..sides {
            shape.quad(
                corner(i, k),
                corner(i, k + 1),
                corner(i + 1, k),
                corner(i + 1, k + 1),
            );
        }
    }
    let start = shape.push(rings[0].centre - tangent(0) * caps.reach[0], caps.color);
    let end = shape.push(
        rings[last].centre + tangent(last) * caps.reach[1],
        caps.color,
    );
    for k in 0..sides {
        shape
            .triangles
            .push([start, corner(0, k + 1), corner(0, k)]);
        shape
            .triangles
            .push([end, corner(last, k), corner(last, k + 1)]);
    }
}
