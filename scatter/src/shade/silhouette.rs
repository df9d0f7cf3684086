//! Sprays as the sun sees them: silhouettes on a raster.

use std::f64::consts::{FRAC_PI_2, TAU};

use glam::{DQuat, DVec3};
use rayon::prelude::*;

use crate::kit::Piece;
use crate::random::{join, stream, text_key};

/// Turns about the sun's ray that each spray comes in.
const TURNS: usize = 12;
/// Side of a raster's pixel over the scale of the sprays, metres: a leaf is some seven pixels wide.
pub(super) const PIXEL: f64 = 0.008;
/// Sizes of the sprays over the canopy's scale, spread evenly over the poses.
const SIZES: [f64; 2] = [0.75, 1.25];
/// Maximum lean of a spray's plane away from square to the sun: leaves spread to the light. By eye.
const LEAN: f64 = 0.9;

/// One spray in one pose.
#[derive(Debug, Clone)]
pub(super) struct SprayPose {
    /// Index into the pieces that were given.
    pub(super) piece: u16,
    /// Sun's plane from piece.
    pub(super) plane_from_piece: DQuat,
    /// Scale over the canopy's.
    pub(super) size: f64,
    /// Middle of the piece's bounds, in its frame.
    pub(super) middle: DVec3,
    /// Radius about the middle, metres at size 1 and scale 1.
    pub(super) radius: f64,
    /// Rows of pixels about the middle: row, first column, column past the last.
    pub(super) spans: Vec<[i32; 3]>,
    /// Pixels in all of them.
    pub(super) pixels: usize,
    /// Area of one side of its leaves and shoots, square metres at the canopy's scale 1.
    pub(super) leaf_area: f64,
}

/// All the poses that casters are drawn from.
#[derive(Debug, Clone)]
pub(super) struct SprayPoses {
    pub(super) all: Vec<SprayPose>,
    /// Maximum distance of any pixel from its middle, along an axis, pixels.
    pub(super) reach: i64,
    /// Mean pixels of a silhouette.
    pub(super) mean_pixels: f64,
    /// Mean leaf area of a spray, square metres at scale 1.
    pub(super) leaf_area: f64,
    /// Largest radius, metres at scale 1.
    pub(super) radius: f64,
}

impl SprayPoses {
    /// The poses of some sprays.
    pub(super) fn new(pieces: &[&Piece]) -> Self {
        let count = pieces.len() * TURNS;
        let all: Vec<SprayPose> = (0..count)
            .into_par_iter()
            .map(|i| {
                let (piece, turn) = (i / TURNS, i % TURNS);
                // Sizes in a fixed shuffle: neighbouring poses differ
                let share = ((i * 7) % count) as f64 / (count - 1).max(1) as f64;
                let size = SIZES[0] + (SIZES[1] - SIZES[0]) * share;
                SprayPose::new(pieces[piece], piece as u16, turn, size)
            })
            .collect();
        let mean = |of: &dyn Fn(&SprayPose) -> f64| {
            all.iter().map(of).sum::<f64>() / all.len().max(1) as f64
        };
        let reach = all
            .iter()
            .flat_map(|p| &p.spans)
            .flatten()
            .map(|v| i64::from(v.abs()))
            .max()
            .unwrap_or(0)
            + 1;
        Self {
            reach,
            mean_pixels: mean(&|p| p.pixels as f64).max(1.0),
            leaf_area: mean(&|p| p.leaf_area),
            radius: all.iter().map(|p| p.radius * p.size).fold(0.0, f64::max),
            all,
        }
    }
}

impl SprayPose {
    fn new(piece: &Piece, index: u16, turn: usize, size: f64) -> Self {
        let mut draws = stream(join(text_key(&piece.name), turn as u64));
        let roll = (turn as f64 + draws.unit()) * TAU / TURNS as f64;
        let (toward, lean) = (TAU * draws.unit(), LEAN * libm::sqrt(draws.unit()));
        // A piece's upper side looks to the sun, then it leans, then it turns
        let upright = DQuat::from_rotation_x(FRAC_PI_2);
        let axis = DVec3::new(libm::cos(toward), libm::sin(toward), 0.0);
        let plane_from_piece =
            (DQuat::from_rotation_z(roll) * DQuat::from_axis_angle(axis, lean) * upright)
                .normalize();
        let positions = || {
            piece
                .parts
                .iter()
                .flat_map(|part| &part.mesh.positions)
                .map(|p| p.as_dvec3())
        };
        let low = positions().fold(DVec3::INFINITY, DVec3::min);
        let high = positions().fold(DVec3::NEG_INFINITY, DVec3::max);
        let middle = 0.5 * (low + high);
        let radius = positions().map(|p| p.distance(middle)).fold(0.0, f64::max);
        let mut raster = CoverageMask::new((radius * size / PIXEL) as i32 + 2);
        let mut leaf_area = 0.0;
        for mesh in piece.parts.iter().map(|part| &part.mesh) {
            for t in mesh.indices.chunks_exact(3) {
                let corners = [t[0], t[1], t[2]]
                    .map(|i| size * (mesh.positions[i as usize].as_dvec3() - middle));
                let [a, b, c] = corners;
                leaf_area += 0.5 * (b - a).cross(c - a).length();
                raster.fill(corners.map(|p| {
                    let q = plane_from_piece * p / PIXEL;
                    [q.x, q.y]
                }));
            }
        }
        let spans = raster.spans();
        Self {
            piece: index,
            plane_from_piece,
            size,
            middle,
            radius,
            pixels: spans.iter().map(|s| (s[2] - s[1]) as usize).sum(),
            spans,
            leaf_area,
        }
    }
}

/// Pixels about a middle, each covered where its own middle is.
struct CoverageMask {
    half: i32,
    covered: Vec<bool>,
}

impl CoverageMask {
    fn new(half: i32) -> Self {
        let side = (2 * half + 1) as usize;
        Self {
            half,
            covered: vec![false; side * side],
        }
    }

    /// Covers the pixels whose middles lie in a triangle. Pixels are counted from the middle one;
    /// its own middle is at (0, 0).
    fn fill(&mut self, corners: [[f64; 2]; 3]) {
        let side = 2 * self.half + 1;
        let from = corners.iter().fold(f64::INFINITY, |l, c| l.min(c[1]));
        let to = corners.iter().fold(f64::NEG_INFINITY, |h, c| h.max(c[1]));
        let first = |v: f64| (libm::ceil(v) as i32).clamp(-self.half, self.half + 1);
        for row in first(from)..first(to) {
            let y = f64::from(row);
            let (mut left, mut right) = (f64::INFINITY, f64::NEG_INFINITY);
            for k in 0..3 {
                let ([x0, y0], [x1, y1]) = (corners[k], corners[(k + 1) % 3]);
                if (y0 <= y) != (y1 <= y) {
                    let x = x0 + (x1 - x0) * (y - y0) / (y1 - y0);
                    left = left.min(x);
                    right = right.max(x);
                }
            }
            if left < right {
                let start = (row + self.half) * side + self.half;
                let range = (start + first(left)) as usize..(start + first(right)) as usize;
                self.covered[range].fill(true);
            }
        }
    }

    fn spans(&self) -> Vec<[i32; 3]> {
        let side = (2 * self.half + 1) as usize;
        let mut spans = Vec::new();
        for (row, pixels) in self.covered.chunks_exact(side).enumerate() {
            let mut open = None;
            for (column, covered) in pixels.iter().chain([&false]).enumerate() {
                match (open, *covered) {
                    (None, true) => open = Some(column),
                    (Some(start), false) => {
                        let at = |c: usize| c as i32 - self.half;
                        spans.push([at(row), at(start), at(column)]);
                        open = None;
                    }
                    _ => {}
                }
            }
        }
        spans
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_triangle_covers_its_area() {
        let mut raster = CoverageMask::new(60);
        raster.fill([[-50.0, -40.3], [47.0, -12.0], [3.0, 51.0]]);
        let pixels: i32 = raster.spans().iter().map(|s| s[2] - s[1]).sum();
        let area: f64 = 0.5 * (97.0 * 91.3 - 53.0 * 28.3);
        // The border's pixels go either way: some 330 of them, off by no more than their root
        assert!((f64::from(pixels) - area).abs() < 20.0, "{pixels} {area}");
    }

    #[test]
    fn nothing_outside_is_touched() {
        let mut raster = CoverageMask::new(4);
        raster.fill([[-90.0, -90.0], [90.0, -90.0], [0.0, 90.0]]);
        assert!(raster.spans().iter().all(|s| s[1] >= -4 && s[2] <= 5));
    }
}
