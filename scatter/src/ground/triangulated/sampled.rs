//! Where a square of the ground has to be halved for its triangles to follow the ground.

use super::lattice::{Place, Right, STEP};
use crate::ground::Ground;

/// Most samples along the side of a square, as a power of two: 65 x 65 heights are 34 KB, which a
/// core's nearest cache holds.
const FINEST: u32 = 6;

/// Share of the tolerance that samples may be off their triangle; the rest is for the ground between
/// samples.
pub(super) const AT_SAMPLES: f64 = 0.75;

/// A square of 2^power steps, its low corner counted in squares, with heights on a grid.
pub(super) struct SampledSquare {
    power: u32,
    corner: Place,
    /// Cells along a side, as a power of two.
    cells: u32,
    /// Row by row along x.
    heights: Vec<f64>,
    /// How far the ground may be from its triangle, metres.
    tolerance: f64,
}

/// How many times a side has to be halved for samples no farther apart than `spacing`; None where
/// that is more than a square has.
pub(super) fn cells(side: f64, spacing: f64) -> Option<u32> {
    (0..=FINEST).find(|k| side <= spacing * f64::from(1 << k))
}

impl SampledSquare {
    /// Samples the ground of a square at 2^cells + 1 places along each side.
    pub(super) fn new(
        ground: &Ground,
        (power, corner): (u32, Place),
        cells: u32,
        tolerance: f64,
    ) -> Self {
        let cells = cells.min(power);
        let side = (1_i64 << cells) + 1;
        let at =
            |k: i64, axis: usize| ((corner[axis] << power) + (k << (power - cells))) as f64 * STEP;
        let heights = (0..side * side)
            .map(|k| ground.height(at(k % side, 0), at(k / side, 1)))
            .collect();
        Self {
            power,
            corner,
            cells,
            heights,
            tolerance: AT_SAMPLES * tolerance,
        }
    }

    /// The vertices at which triangles of the square have to be halved, and the square's corners.
    pub(super) fn asked(&self) -> Vec<Place> {
        let [i, j] = self.corner;
        let mut asked: Vec<Place> = [[i, j], [i + 1, j], [i, j + 1], [i + 1, j + 1]]
            .map(|c| c.map(|v| v << self.power))
            .into();
        if self.cells == 0 {
            return asked;
        }
        let mut work = Vec::from(Right::of_square(self.power, self.corner));
        while let Some(t) = work.pop() {
            let Some(middle) = t.middle().filter(|m| self.on_grid(*m)) else {
                continue;
            };
            if !self.follows(&t) {
                asked.push(middle);
                work.extend(t.halves(middle));
            }
        }
        asked
    }

    fn on_grid(&self, place: Place) -> bool {
        let finer = (1 << (self.power - self.cells)) - 1;
        (place[0] | place[1]) & finer == 0
    }

    /// Column and row of a place on the grid.
    fn cell(&self, place: Place) -> [i64; 2] {
        let shift = self.power - self.cells;
        [0, 1].map(|k| (place[k] - (self.corner[k] << self.power)) >> shift)
    }

    fn height(&self, column: i64, row: i64) -> f64 {
        self.heights[(row * ((1 << self.cells) + 1) + column) as usize]
    }

    /// Whether all samples within a triangle are near enough to its plane.
    fn follows(&self, t: &Right) -> bool {
        let [a, b, c] = t.corners().map(|p| self.cell(p));
        let h = [a, b, c].map(|[i, j]| self.height(i, j));
        // The plane through the corners, by cells from the apex
        let (u, v) = ([a[0] - c[0], a[1] - c[1]], [b[0] - c[0], b[1] - c[1]]);
        let twice = (u[0] * v[1] - u[1] * v[0]) as f64;
        let (hu, hv) = (h[0] - h[2], h[1] - h[2]);
        let gain_x = (hu * v[1] as f64 - hv * u[1] as f64) / twice;
        let gain_z = (hv * u[0] as f64 - hu * v[0] as f64) / twice;
        // Distance from a plane is the height over it times the upright part of its normal
        let cell = (1_i64 << (self.power - self.cells)) as f64 * STEP;
        let (slope_x, slope_z) = (gain_x / cell, gain_z / cell);
        let most = self.tolerance * (1.0 + slope_x * slope_x + slope_z * slope_z).sqrt();
        let low = [a[0].min(b[0]).min(c[0]), a[1].min(b[1]).min(c[1])];
        let high = [a[0].max(b[0]).max(c[0]), a[1].max(b[1]).max(c[1])];
        let edges = [(a, b), (b, c), (c, a)];
        for row in low[1]..=high[1] {
            for column in low[0]..=high[0] {
                let inside = edges.iter().all(|(from, to)| {
                    (to[1] - from[1]) * (column - from[0]) >= (to[0] - from[0]) * (row - from[1])
                });
                if !inside {
                    continue;
                }
                let plane = h[2] + gain_x * (column - c[0]) as f64 + gain_z * (row - c[1]) as f64;
                if (self.height(column, row) - plane).abs() > most {
                    return false;
                }
            }
        }
        true
    }
}
