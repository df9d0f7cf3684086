//! Clumps: the intensity of a Thomas process.
//!
//! Parents are a Poisson process; each is the middle of a Gaussian heap of offspring (Thomas, "A
//! generalization of Poisson's binomial limit for use in ecology", 1949). A Poisson process whose
//! intensity is the sum of the heaps is exactly that process, so it can be evaluated place by
//! place.

use std::sync::LazyLock;

use crate::plan::{Buckets, NANO, Rectangle};
use crate::random::{cell_key, join, stream};

/// Heaps end here, in standard deviations. Of a Gaussian heap's offspring 3e-4 would lie beyond;
/// they lie in the heap instead.
const CUT: f64 = 4.0;
/// Mean parents in a cell of the parents' lattice.
const PARENTS_PER_CELL: f64 = 2.0;

/// Relative spread of the target from place to place below which clumps count as even: a fiftieth
/// of a number of pieces shows in no picture, and the parents whose heaps cover a place are never
/// more than some ten thousand.
const EVEN: f64 = 0.02;

/// Steps of the tabulated heap. Linear interpolation is then within 5e-6 of the Gaussian, and falls
/// as the Gaussian does, so that bounds stay bounds.
const STEPS: usize = 2048;

/// exp(-q / 2) at equal steps of the squared distance q in standard deviations, up to the cut and
/// one beyond.
static HEAP: LazyLock<Vec<f64>> = LazyLock::new(|| {
    (0..=STEPS + 1)
        .map(|i| libm::exp(-0.5 * CUT * CUT * i as f64 / STEPS as f64))
        .collect()
});

/// Height of a heap of height 1 at a squared distance (standard deviations) below the squared cut.
fn heap(square: f64) -> f64 {
    let at = square * (STEPS as f64 / (CUT * CUT));
    let i = at as usize;
    let table = &*HEAP;
    table[i] + (table[i + 1] - table[i]) * (at - i as f64)
}

/// Clumps of a pass.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Clumps {
    key: u64,
    parents_per_m2: f64,
    /// Standard deviation along each axis, nanometres.
    spread: f64,
    share: f64,
    /// Side of a cell of parents, nanometres.
    side: i64,
}

impl Clumps {
    /// Clumps of a pass whose streams have the key `key`: `parents_per_m2` above 0, `spread` in
    /// metres (standard deviation along each axis, above 0), `share` (0..=1) of the pieces that
    /// belong to clumps.
    #[must_use]
    pub fn new(key: u64, parents_per_m2: f64, spread: f64, share: f64) -> Self {
        let side = (libm::sqrt(PARENTS_PER_CELL / parents_per_m2) * NANO) as i64;
        Self {
            key: join(key, 0xc1),
            parents_per_m2,
            spread: spread * NANO,
            share,
            side: side.max(1),
        }
    }

    /// Standard deviation of the target over its mean: `share / sqrt(4 pi parents spread^2)`
    /// (Campbell's theorem on a sum of Gaussian heaps).
    #[must_use]
    pub fn variation(&self) -> f64 {
        let spread = self.spread / NANO;
        self.share / libm::sqrt(4.0 * std::f64::consts::PI * self.parents_per_m2 * spread * spread)
    }

    /// Whether the clumps overlap so much that the target counts as the same everywhere.
    #[must_use]
    pub fn is_even(&self) -> bool {
        self.variation() < EVEN
    }

    /// Mean number of parents whose heaps overlap a square window of this side, metres.
    #[must_use]
    pub fn parents(&self, side: f64) -> f64 {
        let across = side + 2.0 * CUT * self.spread / NANO;
        self.parents_per_m2 * across * across
    }

    /// Target in the middle of a lone clump, over the mean; more where clumps overlap.
    #[must_use]
    pub fn crest(&self) -> f64 {
        1.0 - self.share + self.share * self.height()
    }

    /// Height of one heap over the mean target.
    fn height(&self) -> f64 {
        let spread = self.spread / NANO;
        // The cut heap holds as many offspring as the whole one would
        let held = 1.0 - libm::exp(-0.5 * CUT * CUT);
        1.0 / (std::f64::consts::TAU * spread * spread * self.parents_per_m2 * held)
    }

    /// Standard deviation of a heap along each axis, nanometres.
    #[must_use]
    pub fn spread(&self) -> f64 {
        self.spread
    }

    /// The clumps that overlap a window.
    #[must_use]
    pub fn here(&self, window: Rectangle) -> Heaps {
        let reach = (CUT * self.spread) as i64 + 1;
        let around = window.grown(reach);
        let mut parents = Vec::new();
        for iz in around.z0.div_euclid(self.side)..=around.z1.div_euclid(self.side) {
            for ix in around.x0.div_euclid(self.side)..=around.x1.div_euclid(self.side) {
                let mut s = stream(cell_key(self.key, ix, iz));
                for _ in 0..s.poisson(
                    self.parents_per_m2 * (self.side as f64 / NANO) * (self.side as f64 / NANO),
                ) {
                    let x = ix * self.side + (s.unit() * self.side as f64) as i64;
                    let z = iz * self.side + (s.unit() * self.side as f64) as i64;
                    if around.holds(x, z) {
                        parents.push([x, z]);
                    }
                }
            }
        }
        let reaches: Vec<Rectangle> = parents
            .iter()
            .map(|[x, z]| {
                Rectangle {
                    x0: *x,
                    z0: *z,
                    x1: *x,
                    z1: *z,
                }
                .grown(reach)
            })
            .collect();
        let buckets = Buckets::new(window, &reaches);
        Heaps {
            clumps: *self,
            parents,
            buckets,
        }
    }
}

/// The clumps that overlap one window.
#[derive(Debug, Clone)]
pub struct Heaps {
    clumps: Clumps,
    parents: Vec<[i64; 2]>,
    buckets: Buckets,
}

impl Heaps {
    /// Target at a place over the mean target.
    #[must_use]
    pub fn at(&self, x: i64, z: i64) -> f64 {
        let place = Rectangle::at(x, z);
        self.sum(self.buckets.at(x, z), place)
    }

    /// The maximum of the target over a rectangle of the window.
    #[must_use]
    pub fn most(&self, r: Rectangle) -> f64 {
        // Whatever bucket the window has: the parents whose heaps overlap the rectangle, in their
        // own order
        let corners = [(r.x0, r.z0), (r.x1, r.z0), (r.x0, r.z1), (r.x1, r.z1)];
        let bucket = self.buckets.at(r.x0, r.z0);
        if corners
            .iter()
            .all(|(x, z)| std::ptr::eq(self.buckets.at(*x, *z), bucket))
        {
            return self.sum(bucket, r);
        }
        let mut near: Vec<u32> = corners
            .iter()
            .flat_map(|(x, z)| self.buckets.at(*x, *z))
            .copied()
            .collect();
        near.sort_unstable();
        near.dedup();
        self.sum(&near, r)
    }

    /// Sum of the heaps at the places of `r` nearest to each.
    fn sum(&self, near: &[u32], r: Rectangle) -> f64 {
        let Clumps { spread, share, .. } = self.clumps;
        let mut sum = 0.0;
        for i in near {
            let [x, z] = self.parents[*i as usize];
            let dx = (r.x0 - x).max(x - r.x1).max(0) as f64 / spread;
            let dz = (r.z0 - z).max(z - r.z1).max(0) as f64 / spread;
            let square = dx * dx + dz * dz;
            if square < CUT * CUT {
                sum += heap(square);
            }
        }
        1.0 - share + share * self.clumps.height() * sum
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 20 worlds of 400 places each, seeds 0 to 19: the standard deviation is within a tenth of the
    /// formula's. The places of one world are correlated, so the error that counts is that of the
    /// mean over worlds, about 3 %.
    #[test]
    fn the_target_varies_as_campbell_says() {
        let window = Rectangle {
            x0: 0,
            z0: 0,
            x1: 2_000_000_000,
            z1: 2_000_000_000,
        };
        let mut square = 0.0;
        let one = Clumps::new(0, 100.0, 0.1, 0.8);
        for seed in 0..20 {
            let heaps = Clumps::new(seed, 100.0, 0.1, 0.8).here(window);
            for i in 0..400 {
                let (x, z) = (i % 20 * 100_000_000, i / 20 * 100_000_000);
                let off = heaps.at(x, z) - 1.0;
                square += off * off / 8000.0;
            }
        }
        let measured = libm::sqrt(square);
        let told = one.variation();
        assert!((measured / told - 1.0).abs() < 0.1, "{measured} {told}");
        assert!(!one.is_even());
        assert!(Clumps::new(0, 1e4, 10.0, 1.0).is_even());
    }
}
