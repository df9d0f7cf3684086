//! Volume and centre of mass of what triangles enclose.

use glam::{DVec3, I64Vec3};

use crate::random::join;

/// A body's volume and where its mass is centred, density even.
#[derive(Debug, Clone, Copy)]
pub(super) struct Mass {
    pub(super) volume: f64,
    pub(super) centre: DVec3,
}

/// Signed volume and centre of the space inside triangles, by the divergence theorem: one
/// tetrahedron over each triangle from the origin. None without volume. Exact for closed,
/// consistently oriented surfaces; inside out gives a negative volume and the same centre.
pub(super) fn solid(triangles: impl Iterator<Item = [DVec3; 3]>) -> Option<Mass> {
    let mut six_volumes = 0.0;
    let mut moment = DVec3::ZERO;
    for [a, b, c] in triangles {
        let six = a.dot(b.cross(c));
        six_volumes += six;
        moment += (a + b + c) * six;
    }
    let centre = moment / (4.0 * six_volumes);
    centre.is_finite().then_some(Mass {
        volume: six_volumes / 6.0,
        centre,
    })
}

/// Centre of the area of triangles; none without area.
pub(super) fn sheet(triangles: impl Iterator<Item = [DVec3; 3]>) -> Option<DVec3> {
    let mut area = 0.0;
    let mut moment = DVec3::ZERO;
    for [a, b, c] in triangles {
        let twice = (b - a).cross(c - a).length();
        area += twice;
        moment += (a + b + c) * twice;
    }
    let centre = moment / (3.0 * area);
    centre.is_finite().then_some(centre)
}

/// Whether every edge is run as often one way as the other: no holes, one orientation. Vertices at
/// one place of the lattice are one vertex, so that seams of normals or textures do not open a
/// surface.
///
/// Edges are counted in a sum of hashes, forward less backward: an open surface passes by chance
/// once in 2^64.
pub(super) fn closed(points: &[I64Vec3], triangles: impl Iterator<Item = [u32; 3]>) -> bool {
    let key = |p: &I64Vec3| join(join(p.x as u64, p.y as u64), p.z as u64);
    let keys: Vec<u64> = points.iter().map(key).collect();
    let mut sum = 0_u64;
    for corners in triangles {
        let [a, b, c] = corners.map(|i| keys[i as usize]);
        for (from, to) in [(a, b), (b, c), (c, a)] {
            sum = sum
                .wrapping_add(join(from, to))
                .wrapping_sub(join(to, from));
        }
    }
    sum == 0
}
