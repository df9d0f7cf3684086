//! Which of a pass's pieces serve a diameter, and which of them a candidate takes.
//!
//! Grown pieces serve every diameter. A piece from a file serves its natural ones: diameters are
//! cut into bands at the ends of the natural ranges, and the same pieces serve a whole band.

use super::schedule::Outline;
use crate::plan::PassPiece;
use crate::size::SizeLaw;

/// A piece that may be taken.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Candidate {
    /// Its outline.
    pub outline: Outline,
    /// How often it is taken, beside the others; above 0.
    pub share: f64,
    /// Smallest and largest diameter that it serves, metres; none serves any.
    pub sizes: Option<[f64; 2]>,
}

/// The pieces of a pass by diameter.
#[derive(Debug, Clone, PartialEq)]
pub struct Choice {
    outlines: Vec<Outline>,
    /// Smallest diameters first; at least one.
    bands: Vec<Band>,
    /// Ranges of diameters that no piece serves, metres.
    gaps: Vec<[f64; 2]>,
}

/// Diameters that the same pieces serve.
#[derive(Debug, Clone, PartialEq)]
struct Band {
    /// The first diameter past the band, metres.
    to: f64,
    pieces: Vec<PassPiece>,
    /// What the shares of the pieces add up to.
    total: f64,
    shares: Vec<f64>,
    /// For each piece, the first 32-bit draw past those that take it.
    past: Vec<u64>,
    /// Mean plan area of its pieces over the square of the diameter.
    fill: f64,
}

/// The draws of a candidate's look.
const DRAWS: f64 = 4_294_967_296.0;

impl Choice {
    /// Pieces that serve any diameter, each as likely as the others; not empty.
    #[must_use]
    pub fn even(outlines: &[Outline]) -> Self {
        let candidate = |outline: &Outline| Candidate {
            outline: *outline,
            share: 1.0,
            sizes: None,
        };
        Self::new(&outlines.iter().map(candidate).collect::<Vec<_>>())
    }

    /// The given pieces; not empty. Diameters that no piece serves fall to those nearest in ratio.
    #[must_use]
    pub fn new(candidates: &[Candidate]) -> Self {
        let mut cuts: Vec<f64> = candidates
            .iter()
            .filter_map(|c| c.sizes)
            .flatten()
            .collect();
        cuts.extend([0.0, f64::INFINITY]);
        cuts.sort_by(f64::total_cmp);
        cuts.dedup();
        let mut bands: Vec<Band> = Vec::new();
        let mut gaps: Vec<[f64; 2]> = Vec::new();
        let mut open: Option<f64> = None;
        let between = cuts.windows(2).map(|c| (c[0], c[1]));
        // A piece of one size alone serves a band without width.
        let single = cuts.iter().map(|c| (*c, *c)).filter(|(c, _)| {
            let alone = |a: &Candidate| a.sizes == Some([*c, *c]);
            candidates.iter().any(alone)
        });
        let mut ranges: Vec<(f64, f64)> = between.chain(single).collect();
        ranges.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1)));
        for (from, to) in ranges {
            let serves =
                |c: &Candidate| c.sizes.is_none_or(|[low, high]| low <= from && to <= high);
            let pieces: Vec<usize> = (0..candidates.len())
                .filter(|&i| serves(&candidates[i]))
                .collect();
            if pieces.is_empty() {
                open = open.or(Some(from));
                continue;
            }
            if let Some(low) = open.take() {
                gaps.push([low, from]);
                if let Some(last) = bands.last_mut() {
                    last.to = (low * from).sqrt();
                }
            }
            bands.push(Band::new(candidates, &pieces, to));
        }
        if let Some(low) = open {
            gaps.push([low, f64::INFINITY]);
        }
        if let Some(last) = bands.last_mut() {
            last.to = f64::INFINITY;
        }
        Self {
            outlines: candidates.iter().map(|c| c.outline).collect(),
            bands,
            gaps,
        }
    }

    /// Outlines of all pieces, in the order given.
    #[must_use]
    pub fn outlines(&self) -> &[Outline] {
        &self.outlines
    }

    /// Ranges of diameters between `from` and `to` that no piece serves, metres.
    #[must_use]
    pub fn gaps(&self, from: f64, to: f64) -> Vec<[f64; 2]> {
        // What only touches a gap has a piece that serves it.
        let open = |[low, high]: &&[f64; 2]| from < *high && to > *low;
        let inside = |[low, high]: &[f64; 2]| [low.max(from), high.min(to)];
        self.gaps.iter().filter(open).map(inside).collect()
    }

    /// The piece that a candidate of a diameter takes, by a uniform draw.
    #[must_use]
    #[inline]
    pub fn pick(&self, diameter: f64, draw: u32) -> PassPiece {
        let band = &self.bands[self.band(diameter)];
        let draw = u64::from(draw);
        let at = band.past.partition_point(|past| *past <= draw);
        band.pieces[at.min(band.pieces.len() - 1)]
    }

    /// Mean plan area of the pieces of a size law over the mean square of its diameters.
    #[must_use]
    pub fn fill(&self, sizes: &SizeLaw) -> f64 {
        /// Diameters at equal steps of the numbers: the ends of bands then count within a
        /// thousandth.
        const STEPS: usize = 1024;
        if let [band] = &self.bands[..] {
            return band.fill;
        }
        let (mut area, mut square) = (0.0, 0.0);
        for i in 0..STEPS {
            let d = sizes.quantile((i as f64 + 0.5) / STEPS as f64);
            area += self.bands[self.band(d)].fill * d * d;
            square += d * d;
        }
        area / square
    }

    /// The mean over the pieces of each band of what is told of an outline.
    #[must_use]
    pub fn means(&self, of: impl Fn(&Outline) -> f64) -> Vec<f64> {
        let mean = |band: &Band| {
            let pieces = band.pieces.iter().zip(&band.shares);
            pieces
                .map(|(&i, share)| of(&self.outlines[usize::from(i)]) * share / band.total)
                .sum()
        };
        self.bands.iter().map(mean).collect()
    }

    /// The band of a diameter: an index into [`Choice::means`].
    #[must_use]
    #[inline]
    pub fn band(&self, diameter: f64) -> usize {
        match self.bands.len() {
            1 => 0,
            count => self
                .bands
                .partition_point(|b| b.to <= diameter)
                .min(count - 1),
        }
    }
}

impl Band {
    fn new(candidates: &[Candidate], pieces: &[usize], to: f64) -> Self {
        let first = candidates[pieces[0]].share;
        // Shares of thirds or twelfths come with a rounding of their own.
        let even = pieces
            .iter()
            .all(|&i| (candidates[i].share / first - 1.0).abs() < 1e-12);
        let share = |i: usize| if even { 1.0 } else { candidates[i].share };
        let shares: Vec<f64> = pieces.iter().map(|&i| share(i)).collect();
        let total: f64 = shares.iter().sum();
        let count = pieces.len() as u64;
        let mut below = 0.0;
        let mut past: Vec<u64> = Vec::with_capacity(pieces.len());
        for (k, share) in (1..=count).zip(&shares) {
            below += share;
            past.push(if even {
                (k << 32).div_ceil(count)
            } else {
                libm::ceil(below / total * DRAWS) as u64
            });
        }
        let fills = pieces.iter().zip(&shares);
        let fill = fills
            .map(|(&i, share)| candidates[i].outline.fill * share)
            .sum::<f64>()
            / total;
        Self {
            to,
            pieces: pieces.iter().map(|&i| PassPiece::new(i as u16)).collect(),
            total,
            shares,
            past,
            fill,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn candidate(share: f64, sizes: Option<[f64; 2]>, fill: f64) -> Candidate {
        Candidate {
            outline: Outline::ellipse(1.0, fill),
            share,
            sizes,
        }
    }

    /// Draws at equal steps.
    fn shares(choice: &Choice, diameter: f64) -> Vec<f64> {
        const DRAWS: u32 = 10_000;
        let mut counts = vec![0.0; choice.outlines().len()];
        for i in 0..DRAWS {
            let draw = (u64::from(i) << 32) / u64::from(DRAWS);
            counts[usize::from(choice.pick(diameter, draw as u32))] += 1.0 / f64::from(DRAWS);
        }
        counts
    }

    fn near(found: &[f64], wanted: &[f64]) {
        for (f, w) in found.iter().zip(wanted) {
            assert!((f - w).abs() < 1e-3, "{found:?} {wanted:?}");
        }
    }

    #[test]
    fn even_pieces_take_equal_parts_of_the_draws() {
        for count in [1_u64, 3, 7, 12, 24, 1000] {
            let choice = Choice::even(&vec![Outline::DISC; count as usize]);
            let edges = (0..count).flat_map(|k| [(k << 32) / count, ((k + 1) << 32) / count - 1]);
            for draw in edges.chain([0, u64::from(u32::MAX)]) {
                let wanted = PassPiece::new(((draw * count) >> 32) as u16);
                assert_eq!(choice.pick(0.1, draw as u32), wanted, "{draw} of {count}");
            }
        }
        // Shares that carry a rounding of their own are as even.
        let twelfths = vec![candidate(1.0 / 12.0, None, 0.7); 12];
        let ones = vec![candidate(1.0, None, 0.7); 12];
        assert_eq!(Choice::new(&twelfths), Choice::new(&ones));
    }

    #[test]
    fn only_pieces_that_hold_the_diameter_are_taken_by_their_shares() {
        let choice = Choice::new(&[
            candidate(1.0, Some([0.1, 0.3]), 0.5),
            candidate(3.0, Some([0.2, 0.4]), 0.9),
            candidate(4.0, None, 0.7),
        ]);
        near(&shares(&choice, 0.05), &[0.0, 0.0, 1.0]);
        near(&shares(&choice, 0.15), &[0.2, 0.0, 0.8]);
        near(&shares(&choice, 0.25), &[0.125, 0.375, 0.5]);
        near(&shares(&choice, 0.35), &[0.0, 3.0 / 7.0, 4.0 / 7.0]);
        near(&shares(&choice, 0.5), &[0.0, 0.0, 1.0]);
        assert_eq!(choice.gaps(0.01, 1.0), [[0.0; 2]; 0]);
    }

    #[test]
    fn gaps_are_told_and_fall_to_the_nearest_in_ratio() {
        let choice = Choice::new(&[
            candidate(1.0, Some([0.01, 0.02]), 0.5),
            candidate(1.0, Some([0.08, 0.16]), 0.5),
            candidate(1.0, Some([0.5, 0.5]), 0.5),
        ]);
        assert_eq!(choice.gaps(0.005, 0.1), [[0.005, 0.01], [0.02, 0.08]]);
        assert_eq!(choice.gaps(0.01, 0.02), [[0.0; 2]; 0]);
        assert_eq!(choice.gaps(0.03, 0.03), [[0.03, 0.03]]);
        assert_eq!(choice.gaps(0.5, 0.5), [[0.0; 2]; 0]);
        near(&shares(&choice, 0.001), &[1.0, 0.0, 0.0]);
        near(&shares(&choice, 0.039), &[1.0, 0.0, 0.0]);
        near(&shares(&choice, 0.041), &[0.0, 1.0, 0.0]);
        near(&shares(&choice, 0.27), &[0.0, 1.0, 0.0]);
        near(&shares(&choice, 0.5), &[0.0, 0.0, 1.0]);
        near(&shares(&choice, 9.0), &[0.0, 0.0, 1.0]);
    }

    #[test]
    fn the_mean_fill_weighs_by_area() {
        // Equal numbers at every diameter from 1 to 2: the mean square is 7/3; below 1.5 it is
        // (1.5^3 - 1)/3.
        let choice = Choice::new(&[
            candidate(1.0, Some([1.0, 1.5]), 0.4),
            candidate(1.0, Some([1.5, 2.0]), 0.8),
        ]);
        // A power law of exponent -1 counts equal numbers at equal steps.
        let fill = choice.fill(&SizeLaw::power(-1.0, 1.0, 2.0));
        let below = (1.5_f64.powi(3) - 1.0) / 7.0;
        let wanted = 0.4 * below + 0.8 * (1.0 - below);
        assert!((fill - wanted).abs() < 1e-3, "{fill} {wanted}");
    }
}
