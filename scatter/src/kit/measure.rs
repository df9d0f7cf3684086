//! Measures a piece from its triangles.

use glam::Vec3;

use super::{Measure, Part};

/// Cells along each side of the silhouette's raster: a disc comes out within 0.3 % of its area.
const RASTER: usize = 256;

impl Measure {
    /// The measure of meshes in the frame of [`Piece`](super::Piece): the b-axis is the extent
    /// along z.
    ///
    /// The silhouette is sampled at the middles of a 256 x 256 raster over the plan bounds. Without
    /// triangles, or without extent along z, all ratios are 0 (elongation 1).
    #[must_use]
    pub fn of(parts: &[Part]) -> Self {
        let (mut low, mut high) = (Vec3::INFINITY, Vec3::NEG_INFINITY);
        for p in parts.iter().flat_map(|part| &part.mesh.positions) {
            low = low.min(*p);
            high = high.max(*p);
        }
        if !(low.is_finite() && high.is_finite()) {
            return Self {
                size: Vec3::ZERO,
                b_axis: 0.0,
                elongation: 1.0,
                plan_fill: 0.0,
                flatness: 0.0,
            };
        }
        let size = high - low;
        let (a, b) = (f64::from(size.x), f64::from(size.z));
        if b <= 0.0 {
            return Self {
                size,
                b_axis: 0.0,
                elongation: 1.0,
                plan_fill: 0.0,
                flatness: 0.0,
            };
        }
        Self {
            size,
            b_axis: b,
            elongation: (a / b).max(1.0),
            plan_fill: silhouette_share(parts, low, size) * a / b,
            flatness: f64::from(size.y) / b,
        }
    }
}

/// Share of the plan bounds that the triangles cover, seen from above.
fn silhouette_share(parts: &[Part], low: Vec3, size: Vec3) -> f64 {
    let meshes = parts.iter().map(|part| &part.mesh);
    let triangles = meshes.flat_map(|mesh| {
        mesh.indices.chunks_exact(3).filter_map(|corners| {
            let at = |i: u32| mesh.positions.get(i as usize);
            let [a, b, c] = [at(corners[0])?, at(corners[1])?, at(corners[2])?];
            Some([a, b, c].map(|p| [f64::from(p.x), f64::from(p.z)]))
        })
    });
    let [low, size] = [low, size].map(|v| [f64::from(v.x), f64::from(v.z)]);
    covered_share(triangles, low, size)
}

/// Share of a plan rectangle that triangles in plan cover, by the middles of the cells of a 256 x
/// 256 raster. The rectangle starts at `low` and holds them all.
pub(crate) fn covered_share(
    triangles: impl Iterator<Item = [[f64; 2]; 3]>,
    low: [f64; 2],
    size: [f64; 2],
) -> f64 {
    let mut covered = vec![false; RASTER * RASTER];
    let along = |p: [f64; 2], k: usize| {
        (p[k] - low[k]) / size[k].max(f64::from(f32::MIN_POSITIVE)) * RASTER as f64
    };
    for corners in triangles {
        fill_triangle(&mut covered, corners.map(|p| (along(p, 0), along(p, 1))));
    }
    covered.iter().filter(|&&c| c).count() as f64 / (RASTER * RASTER) as f64
}

/// Marks the cells whose middles lie in the triangle, row by row.
fn fill_triangle(covered: &mut [bool], corners: [(f64, f64); 3]) {
    let (from, to) = corners
        .iter()
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), c| {
            (l.min(c.1), h.max(c.1))
        });
    // The first cell whose middle lies past x; a cast stops at 0.
    let first = |x: f64| ((x + 0.5) as usize).min(RASTER);
    for row in first(from)..first(to) {
        let z = row as f64 + 0.5;
        let (mut left, mut right) = (f64::INFINITY, f64::NEG_INFINITY);
        for k in 0..3 {
            let ((x0, z0), (x1, z1)) = (corners[k], corners[(k + 1) % 3]);
            if (z0 <= z) != (z1 <= z) {
                let x = x0 + (x1 - x0) * (z - z0) / (z1 - z0);
                left = left.min(x);
                right = right.max(x);
            }
        }
        if left < right {
            covered[row * RASTER..][first(left)..first(right)].fill(true);
        }
    }
}
