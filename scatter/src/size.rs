//! Size laws: distributions of the intermediate diameter, by number of pieces. Metres.
//!
//! - bounded power law: N(>d) proportional to d^-D on [from, to], a bounded Pareto (Turcotte,
//!   "Fractals and fragmentation", 1986, for broken rock);
//! - lognormal, cut at its ends;
//! - Rosin-Rammler by mass (Rosin and Rammler, "The laws governing the fineness of powdered coal",
//!   1933), turned into numbers by dividing the mass density by d^3.
//!
//! The last two have no closed quantile: their densities are tabulated in ln d and integrated by
//! Simpson's rule.

use serde::Serialize;

/// A distribution of diameters by number.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SizeLaw {
    #[serde(flatten)]
    law: Law,
    from: f64,
    to: f64,
    #[serde(skip)]
    form: SizeDensity,
}

/// What the shares are reckoned from.
#[derive(Debug, Clone, PartialEq)]
enum SizeDensity {
    Power { exponent: f64 },
    Table { cumulative: Vec<f64> },
}

/// Which law, as it was asked for. Diameters in metres.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(tag = "law", rename_all = "kebab-case")]
enum Law {
    Power {
        exponent: f64,
    },
    Lognormal {
        median: f64,
        spread: f64,
    },
    RosinRammler {
        d63: f64,
        uniformity: f64,
        /// Mass is divided by the diameter to this power: 3 counts pieces, 1 their plan area.
        #[serde(skip_serializing_if = "counts_pieces")]
        weight: f64,
    },
}

/// Whether mass is divided into numbers of pieces.
fn counts_pieces(weight: &f64) -> bool {
    *weight == NUMBERS
}

/// The mass of a piece goes with this power of its diameter.
const NUMBERS: f64 = 3.0;

/// Nodes of a tabulated law. Linear interpolation in ln d over at most 12 octaves is then within
/// 1e-6 of the integral.
const NODES: usize = 4097;

impl SizeLaw {
    /// Bounded power law, N(>d) proportional to d^-exponent for from <= d <= to. `from == to` gives
    /// equal pieces. `exponent` may be any finite number; `from` must be above 0 and not above
    /// `to`.
    #[must_use]
    pub fn power(exponent: f64, from: f64, to: f64) -> Self {
        Self {
            law: Law::Power { exponent },
            from,
            to,
            form: SizeDensity::Power { exponent },
        }
    }

    /// Lognormal with the given median and standard deviation of ln d, cut at [from, to].
    #[must_use]
    pub fn lognormal(median: f64, spread: f64, from: f64, to: f64) -> Self {
        Self::tabulated(Law::Lognormal { median, spread }, from, to, |ln_d| {
            let t = (ln_d - libm::log(median)) / spread;
            libm::exp(-0.5 * t * t)
        })
    }

    /// Rosin-Rammler: share of mass coarser than d is exp(-(d / d63)^uniformity), cut at [from,
    /// to], as numbers.
    #[must_use]
    pub fn rosin_rammler(d63: f64, uniformity: f64, from: f64, to: f64) -> Self {
        Self::rosin(d63, uniformity, from, to, NUMBERS)
    }

    /// Rosin-Rammler's mass per piece-property that goes with `d^power`: 3 for numbers.
    fn rosin(d63: f64, uniformity: f64, from: f64, to: f64, power: f64) -> Self {
        let law = Law::RosinRammler {
            d63,
            uniformity,
            weight: power,
        };
        Self::tabulated(law, from, to, |ln_d| {
            let t = uniformity * (ln_d - libm::log(d63));
            // mass per ln d is n x^n exp(-x^n); numbers divide by d^3 (scaled by d63 to stay near
            // 1), areas by d
            libm::exp(t - libm::exp(t) - power * (ln_d - libm::log(d63)))
        })
    }

    fn tabulated(law: Law, from: f64, to: f64, density: impl Fn(f64) -> f64) -> Self {
        let (low, high) = (libm::log(from), libm::log(to));
        let step = (high - low) / (NODES - 1) as f64;
        let mut cumulative = vec![0.0; NODES];
        for i in 1..NODES {
            let left = low + step * (i - 1) as f64;
            let simpson = density(left) + 4.0 * density(left + 0.5 * step) + density(left + step);
            cumulative[i] = cumulative[i - 1] + simpson;
        }
        let total = cumulative[NODES - 1];
        let form = if total > 0.0 {
            cumulative.iter_mut().for_each(|c| *c /= total);
            SizeDensity::Table { cumulative }
        } else {
            // Equal ends, or a density too small to hold: all that is left is the range itself.
            SizeDensity::Power { exponent: 0.0 }
        };
        Self {
            law,
            from,
            to,
            form,
        }
    }

    /// The same law cut to the diameters from `from` to `to`, metres, which lie within its range.
    #[must_use]
    pub fn cut(&self, from: f64, to: f64) -> Self {
        match self.law {
            Law::Power { exponent } => Self::power(exponent, from, to),
            Law::Lognormal { median, spread } => Self::lognormal(median, spread, from, to),
            Law::RosinRammler {
                d63,
                uniformity,
                weight,
            } => Self::rosin(d63, uniformity, from, to, weight),
        }
    }

    /// The same law with each piece counted by its plan area, as the square of its diameter. All
    /// laws keep their form: d^2 lowers the exponent of a power law by 2 and moves a lognormal's
    /// median by the factor exp(2 spread^2).
    #[must_use]
    pub fn by_area(&self) -> Self {
        let (from, to) = (self.from, self.to);
        match self.law {
            Law::Power { exponent } => Self::power(exponent - 2.0, from, to),
            Law::Lognormal { median, spread } => {
                Self::lognormal(median * libm::exp(2.0 * spread * spread), spread, from, to)
            }
            Law::RosinRammler {
                d63,
                uniformity,
                weight,
            } => Self::rosin(d63, uniformity, from, to, weight - 2.0),
        }
    }

    /// D of N(>d) proportional to d^-D, if it is a power law.
    #[must_use]
    pub fn exponent(&self) -> Option<f64> {
        match self.law {
            Law::Power { exponent } => Some(exponent),
            Law::Lognormal { .. } | Law::RosinRammler { .. } => None,
        }
    }

    /// Whether all its figures are finite and its diameters above 0, from the smallest to the
    /// largest. No other method may be asked of a law for which it is not so.
    #[must_use]
    pub fn is_sound(&self) -> bool {
        let figures = match self.law {
            Law::Power { exponent } => exponent.is_finite(),
            Law::Lognormal { median, spread } => {
                median > 0.0 && median.is_finite() && spread >= 0.0 && spread.is_finite()
            }
            Law::RosinRammler {
                d63,
                uniformity,
                weight,
            } => {
                d63 > 0.0
                    && d63.is_finite()
                    && uniformity > 0.0
                    && (uniformity * weight).is_finite()
            }
        };
        figures && self.from > 0.0 && self.from <= self.to && self.to.is_finite()
    }

    /// Smallest diameter, metres.
    #[must_use]
    pub fn from(&self) -> f64 {
        self.from
    }

    /// Largest diameter, metres.
    #[must_use]
    pub fn to(&self) -> f64 {
        self.to
    }

    /// Share of pieces finer than `d`, 0..=1.
    #[must_use]
    pub fn finer_than(&self, d: f64) -> f64 {
        if d <= self.from {
            return 0.0;
        }
        if d >= self.to {
            return 1.0;
        }
        let span = libm::log(self.to / self.from);
        match &self.form {
            SizeDensity::Power { exponent } if exponent.abs() < FLAT_EXPONENT => {
                libm::log(d / self.from) / span
            }
            SizeDensity::Power { exponent } => {
                let end = libm::pow(self.to / self.from, -exponent);
                (1.0 - libm::pow(d / self.from, -exponent)) / (1.0 - end)
            }
            SizeDensity::Table { cumulative } => {
                let at = libm::log(d / self.from) / span * (NODES - 1) as f64;
                let i = (at as usize).min(NODES - 2);
                let t = at - i as f64;
                cumulative[i] * (1.0 - t) + cumulative[i + 1] * t
            }
        }
    }

    /// Share of the pieces per ln(diameter) at `d`: the slope of [`SizeLaw::finer_than`] over ln d.
    /// 0 outside the range; infinite for equal pieces.
    #[must_use]
    pub fn density(&self, d: f64) -> f64 {
        if d < self.from || d > self.to {
            return 0.0;
        }
        let span = libm::log(self.to / self.from);
        match &self.form {
            SizeDensity::Power { exponent } if exponent.abs() < FLAT_EXPONENT => 1.0 / span,
            SizeDensity::Power { exponent } => {
                let end = libm::pow(self.to / self.from, -exponent);
                exponent * libm::pow(d / self.from, -exponent) / (1.0 - end)
            }
            SizeDensity::Table { cumulative } => {
                let steps = (NODES - 1) as f64 / span;
                let i = ((libm::log(d / self.from) * steps) as usize).min(NODES - 2);
                (cumulative[i + 1] - cumulative[i]) * steps
            }
        }
    }

    /// The diameter that a share `u` (0..=1) of the pieces is finer than, metres.
    #[must_use]
    pub fn quantile(&self, u: f64) -> f64 {
        let u = u.clamp(0.0, 1.0);
        let span = libm::log(self.to / self.from);
        let d = match &self.form {
            SizeDensity::Power { exponent } if exponent.abs() < FLAT_EXPONENT => {
                self.from * libm::exp(u * span)
            }
            SizeDensity::Power { exponent } => {
                let end = libm::pow(self.to / self.from, -exponent);
                self.from * libm::pow(1.0 - u * (1.0 - end), -1.0 / exponent)
            }
            SizeDensity::Table { cumulative } => {
                let i = cumulative.partition_point(|c| *c <= u).clamp(1, NODES - 1);
                let (low, high) = (cumulative[i - 1], cumulative[i]);
                let t = if high > low {
                    (u - low) / (high - low)
                } else {
                    0.0
                };
                self.from * libm::exp(span * ((i - 1) as f64 + t) / (NODES - 1) as f64)
            }
        };
        d.clamp(self.from, self.to)
    }

    /// Mean of d^2 over all pieces, square metres, from equal-number slices' midpoints.
    #[must_use]
    pub fn mean_square(&self) -> f64 {
        if let SizeDensity::Power { exponent } = &self.form
            && self.to > self.from
            && (exponent - 2.0).abs() > 1e-6
            && exponent.abs() > FLAT_EXPONENT
        {
            let r = self.to / self.from;
            let ends = (libm::pow(r, 2.0 - exponent) - 1.0) / (1.0 - libm::pow(r, -exponent));
            return self.from * self.from * exponent / (2.0 - exponent) * ends;
        }
        // Integrate d^2 dF in ln d: fine enough for any law, exact for equal pieces
        let steps = 4096;
        let ratio = self.to / self.from;
        let edge = |i: usize| self.from * libm::pow(ratio, i as f64 / steps as f64);
        let mut sum = 0.0;
        let mut reached = 0.0;
        for i in 0..steps {
            let (a, b) = (edge(i), edge(i + 1));
            let next = if i + 1 == steps {
                1.0
            } else {
                self.finer_than(b)
            };
            sum += (next - reached) * (a * a + a * b + b * b) / 3.0;
            reached = next;
        }
        sum
    }
}

/// Below this an exponent is taken as 0, where the closed form divides by it: the law is then flat
/// in ln d to 1e-8.
const FLAT_EXPONENT: f64 = 1e-9;

#[cfg(test)]
mod tests {
    use rand::SeedableRng;
    use rand_distr::{Distribution, LogNormal, Pareto};

    use super::*;

    fn laws() -> Vec<SizeLaw> {
        vec![
            SizeLaw::power(2.5, 0.004, 0.4),
            SizeLaw::power(0.0, 0.004, 0.4),
            SizeLaw::power(-1.0, 0.01, 0.04),
            SizeLaw::lognormal(0.038, 0.25, 0.018, 0.08),
            SizeLaw::rosin_rammler(0.02, 1.2, 0.002, 0.06),
        ]
    }

    #[test]
    fn quantile_and_share_are_inverse() {
        for law in laws() {
            for i in 0..=100 {
                let u = f64::from(i) / 100.0;
                let back = law.finer_than(law.quantile(u));
                assert!((back - u).abs() < 1e-6, "{law:?} at {u}: {back}");
            }
        }
    }

    #[test]
    fn bounded_pareto_mean_matches_the_published_form() {
        // checks: E[x] of a bounded Pareto with tail exponent a: a/(1-a) (x1^(1-a) - x0^(1-a)) /
        // (x0^-a - x1^-a); a = 1.5 on [0.01, 1] gives 0.027027 (standard formula, computed apart
        // from this code).
        let law = SizeLaw::power(1.5, 0.01, 1.0);
        let n = 400_000;
        let mean = (0..n)
            .map(|i| law.quantile((f64::from(i) + 0.5) / f64::from(n)))
            .sum::<f64>()
            / f64::from(n);
        assert!((mean - 0.027_027).abs() < 2e-6, "{mean}");
    }

    #[test]
    fn the_density_is_the_slope_of_the_share() {
        for law in laws() {
            for i in 1..20 {
                let d = law.quantile(f64::from(i) / 20.0);
                let step = 1e-3;
                let slope = (law.finer_than(d * (1.0 + step)) - law.finer_than(d * (1.0 - step)))
                    / libm::log((1.0 + step) / (1.0 - step));
                assert!(
                    (law.density(d) / slope - 1.0).abs() < 2e-3,
                    "{law:?} at {d}"
                );
            }
            assert!(law.density(0.99 * law.from()).abs() < f64::MIN_POSITIVE);
        }
    }

    #[test]
    fn rosin_rammler_by_area_weighs_numbers_with_the_square() {
        let (law, area) = (
            SizeLaw::rosin_rammler(0.02, 1.2, 0.002, 0.06),
            SizeLaw::rosin_rammler(0.02, 1.2, 0.002, 0.06).by_area(),
        );
        let n = 200_000;
        let squares = (0..n).map(|i| {
            let d = law.quantile((f64::from(i) + 0.5) / f64::from(n));
            (d, d * d)
        });
        let (mut fine, mut all) = (0.0, 0.0);
        for (d, square) in squares {
            all += square;
            fine += if d < 0.01 { square } else { 0.0 };
        }
        assert!((area.finer_than(0.01) - fine / all).abs() < 1e-4);
    }

    #[test]
    fn rosin_rammler_by_mass_is_a_weibull() {
        // 63.2 % of the mass is finer than d63 (definition), the ends being far away.
        let law = SizeLaw::rosin_rammler(0.02, 2.0, 0.0005, 0.2);
        let n = 400_000;
        let ds: Vec<f64> = (0..n)
            .map(|i| law.quantile((f64::from(i) + 0.5) / f64::from(n)))
            .collect();
        let mass: f64 = ds.iter().map(|d| d * d * d).sum();
        let fine: f64 = ds.iter().filter(|d| **d < 0.02).map(|d| d * d * d).sum();
        assert!((fine / mass - 0.632_12).abs() < 2e-3, "{}", fine / mass);
    }

    #[test]
    fn draws_of_another_library_follow_the_laws() {
        // rand_distr 0.6 (The Rand Project Developers): Pareto and log-normal numbers, those beyond
        // the bounds left out. 100,000 of each, seed 5; Kolmogorov-Smirnov distance under 1.95 /
        // sqrt(n), its critical value at level 0.001.
        let mut rng = rand_xoshiro::Xoshiro256PlusPlus::seed_from_u64(5);
        let mut draws = |drawn: &mut dyn FnMut(&mut rand_xoshiro::Xoshiro256PlusPlus) -> f64| {
            let mut all: Vec<f64> = Vec::new();
            while all.len() < 100_000 {
                let d = drawn(&mut rng);
                if (0.004..=0.4).contains(&d) {
                    all.push(d);
                }
            }
            all.sort_by(f64::total_cmp);
            all
        };
        let pareto = Pareto::new(0.004, 2.5).unwrap();
        let normal = LogNormal::new(libm::log(0.03), 0.6).unwrap();
        let cases = [
            (
                SizeLaw::power(2.5, 0.004, 0.4),
                draws(&mut |rng| pareto.sample(rng)),
            ),
            (
                SizeLaw::lognormal(0.03, 0.6, 0.004, 0.4),
                draws(&mut |rng| normal.sample(rng)),
            ),
        ];
        for (law, drawn) in cases {
            let n = drawn.len() as f64;
            let apart = drawn.iter().enumerate().map(|(i, d)| {
                let share = law.finer_than(*d);
                (share - i as f64 / n)
                    .abs()
                    .max((share - (i + 1) as f64 / n).abs())
            });
            let distance = apart.fold(0.0, f64::max);
            assert!(distance < 1.95 / n.sqrt(), "{law:?}: {distance}");
        }
    }

    #[test]
    fn mean_square_agrees_with_sampling() {
        for law in laws() {
            let n = 200_000;
            let direct = (0..n)
                .map(|i| {
                    let d = law.quantile((f64::from(i) + 0.5) / f64::from(n));
                    d * d
                })
                .sum::<f64>()
                / f64::from(n);
            assert!((law.mean_square() / direct - 1.0).abs() < 1e-3, "{law:?}");
        }
        assert!(
            (SizeLaw::power(2.0, 0.01, 0.01).mean_square() - 1e-4).abs() < 1e-12,
            "equal pieces"
        );
    }
}
