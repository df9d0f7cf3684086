//! Where the gaps between boughs are: a field from 0 in a gap's middle to 1 deep in the leaves.
//!
//! One gap lies in each square of a lattice, anywhere in the square except near its border. Gaps
//! differ in size, and noise bends their outlines. Gaps strewn independently would leave one frame
//! dark and the next one bright.

use crate::noise::{BOUND, gradient_noise};
use crate::random::{cell_key, join, stream};

/// Share of its square's side in which a gap's middle may lie.
const LOOSE: f64 = 0.85;
/// Smallest and largest gap over the mean, by width.
const WIDTHS: [f64; 2] = [0.7, 1.35];
/// How far noise bends the outlines, over their distance from the middle.
const BENT: f64 = 0.35;
/// Places at which the field's own distribution is measured, and the quantiles kept of it.
const SAMPLES: usize = 4096;
const QUANTILES: usize = 129;

/// The field of one canopy.
#[derive(Debug, Clone)]
pub(super) struct Gaps {
    key: u64,
    /// Side of a square, metres.
    pub(super) spacing: f64,
    quantiles: Vec<f64>,
}

impl Gaps {
    /// The field of a key with one gap in each square of a side, metres.
    pub(super) fn new(key: u64, spacing: f64) -> Self {
        let mut gaps = Self {
            key,
            spacing,
            quantiles: Vec::new(),
        };
        let mut draws = stream(join(key, 2));
        let mut values: Vec<f64> = (0..SAMPLES)
            .map(|_| gaps.distance([draws.unit(), draws.unit()].map(|u| 1e3 * spacing * u)))
            .collect();
        values.sort_unstable_by(f64::total_cmp);
        gaps.quantiles = (0..QUANTILES)
            .map(|i| values[i * (SAMPLES - 1) / (QUANTILES - 1)])
            .collect();
        gaps
    }

    /// Share of the plane that is nearer to a gap than `place` is, 0..=1.
    pub(super) fn at(&self, place: [f64; 2]) -> f64 {
        let distance = self.distance(place);
        let q = &self.quantiles;
        let i = q.partition_point(|v| *v <= distance);
        if i == 0 {
            return 0.0;
        }
        if i == q.len() {
            return 1.0;
        }
        let t = (distance - q[i - 1]) / (q[i] - q[i - 1]);
        (i as f64 - 1.0 + t) / (q.len() - 1) as f64
    }

    /// Distance from the nearest gap's middle, over the gap's width.
    fn distance(&self, place: [f64; 2]) -> f64 {
        let [x, y] = place.map(|v| v / self.spacing);
        let (ix, iy) = (libm::floor(x) as i64, libm::floor(y) as i64);
        let mut nearest = f64::INFINITY;
        for cy in iy - 1..=iy + 1 {
            for cx in ix - 1..=ix + 1 {
                let mut draws = stream(cell_key(self.key, cx, cy));
                let at = |i: i64, u: f64| i as f64 + 0.5 + LOOSE * (u - 0.5);
                let (dx, dy) = (x - at(cx, draws.unit()), y - at(cy, draws.unit()));
                let width = draws.between(WIDTHS[0], WIDTHS[1]);
                nearest = nearest.min((dx * dx + dy * dy) / (width * width));
            }
        }
        let [bend, ..] = gradient_noise(join(self.key, 1), 2.0 * x, 2.0 * y);
        libm::sqrt(nearest) * (1.0 + BENT * bend / BOUND)
    }
}
