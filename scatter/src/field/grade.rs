//! Sizes graded by height against the mean height nearby: fines in hollows, coarse pieces on
//! crests.
//!
//! Let h be a place's height over the mean nearby as a share of the ground that lies lower, and u a
//! piece's diameter as the share of the pass's cover that finer pieces make up. A copula density
//! c(u, h) (Frank, "On the simultaneous associativity of F(x, y) and x + y - F(x, y)", 1979) has
//! mean 1 over h at each u and mean 1 over u at each h. As a factor on the pass's target it
//! therefore keeps the size law over the whole ground, and the cover at each place: only who lies
//! where changes.

use super::Graded;
use crate::ground::Ground;
use crate::random::stream;
use crate::size::SizeLaw;

/// Places that the distribution of heights is taken from: shares are then good to 1 %.
const SAMPLES: usize = 8192;
/// Nodes of the tables over heights and over diameters.
const NODES: usize = 257;
/// Strongest grading: 12 times more of the finest in the lowest place than on average. Beyond it
/// hardly anything would change.
const STRONGEST: f64 = 12.0;
/// Share of the ground that counts as hollows, and as crests, for the ratio that a shot asks for.
const END: f64 = 0.2;
/// Sizes within this ratio can't be told apart in the field: there is nothing to grade.
const EQUAL_RATIO: f64 = 1.02;
/// Maximum of the crowd of larger pieces round a place over the mean crowd: it is met only on
/// crests, for sizes that find room easily.
pub(super) const MOST_CROWD: f64 = 2.0;

/// Sizes graded by height.
#[derive(Debug, Clone)]
pub(super) struct Grading {
    radius: f64,
    /// Strength of Frank's copula.
    theta: f64,
    /// exp(-theta).
    end: f64,
    /// Heights over the mean at equal shares of the ground.
    heights: Vec<f64>,
    /// ln of the smallest diameter and steps of the tables per unit of ln.
    log_from: f64,
    per_log: f64,
    /// exp(-theta u) at equal steps of ln(diameter).
    sizes: Vec<f64>,
    /// u itself.
    shares: Vec<f64>,
}

impl Grading {
    /// Grades a size law so that median sizes in hollows and on crests have the given ratio, or as
    /// near to it as the law allows. None where there is nothing to grade.
    pub(super) fn new(ground: &Ground, radius: f64, ratio: f64, law: &SizeLaw) -> Option<Self> {
        if !ground.has_relief() || law.to() <= law.from() * EQUAL_RATIO || ratio >= 1.0 {
            return None;
        }
        let log_from = libm::log(law.from());
        let log_step = (libm::log(law.to()) - log_from) / (NODES - 1) as f64;
        let diameter = |i: usize| match i {
            0 => law.from(),
            _ if i == NODES - 1 => law.to(),
            _ => libm::exp(log_from + log_step * i as f64),
        };
        let mut shares = vec![0.0];
        let mut sum = 0.0;
        for i in 1..NODES {
            let (a, b) = (diameter(i - 1), diameter(i));
            let number = law.finer_than(b) - law.finer_than(a);
            sum += number.max(0.0) * (a * a + a * b + b * b) / 3.0;
            shares.push(sum);
        }
        shares.iter_mut().for_each(|s| *s /= sum);
        let size_at = |share: f64| {
            let i = shares.partition_point(|s| *s < share).clamp(1, NODES - 1);
            let t = (share - shares[i - 1]) / (shares[i] - shares[i - 1]).max(f64::MIN_POSITIVE);
            libm::exp(log_from + log_step * ((i - 1) as f64 + t.clamp(0.0, 1.0)))
        };
        // The copula looks the same from either end: the median on crests is the mirrored one
        let got = |theta: f64| {
            let u = median_share(theta);
            size_at(u) / size_at(1.0 - u)
        };
        let (mut weak, mut strong) = (0.0, STRONGEST);
        for _ in 0..40 {
            let middle = 0.5 * (weak + strong);
            if got(middle) > ratio {
                weak = middle;
            } else {
                strong = middle;
            }
        }
        let theta = strong;
        Some(Self {
            radius,
            theta,
            end: libm::exp(-theta),
            heights: heights(ground, radius),
            log_from,
            per_log: 1.0 / log_step,
            sizes: shares.iter().map(|u| libm::exp(-theta * u)).collect(),
            shares,
        })
    }

    /// The grading at a place (metres) for a diameter (metres).
    pub(super) fn at(&self, ground: &Ground, x: f64, z: f64, diameter: f64) -> Graded {
        let value = ground.above_mean(x, z, self.radius);
        let q = &self.heights;
        let i = q.partition_point(|v| *v <= value).clamp(1, NODES - 1);
        let t = (value - q[i - 1]) / (q[i] - q[i - 1]).max(f64::MIN_POSITIVE);
        let share = ((i - 1) as f64 + t.clamp(0.0, 1.0)) / (NODES - 1) as f64;
        self.of(self.size_node(diameter), libm::exp(-self.theta * share))
    }

    /// How a diameter (metres) is graded at equal shares of the ground, lowest first.
    pub(super) fn all(&self, diameter: f64) -> Vec<Graded> {
        /// Steps over the ground: neighbouring strengths differ by a third at most.
        const STEPS: usize = 48;
        let node = self.size_node(diameter);
        (0..=STEPS)
            .map(|k| libm::exp(-self.theta * k as f64 / STEPS as f64))
            .map(|height| self.of(node, height))
            .collect()
    }

    /// Where a diameter lies in the tables: node and share of the next.
    fn size_node(&self, diameter: f64) -> (usize, f64) {
        let at =
            ((libm::log(diameter) - self.log_from) * self.per_log).clamp(0.0, (NODES - 1) as f64);
        let i = (at as usize).min(NODES - 1);
        (i, at - i as f64)
    }

    /// Density of the copula, and the crowd of larger pieces over its mean, at a size's node and
    /// exp(-theta h).
    fn of(&self, (i, t): (usize, f64), height: f64) -> Graded {
        let next = (i + 1).min(NODES - 1);
        let mix = |table: &[f64]| table[i] + (table[next] - table[i]) * t;
        let (a, u) = (mix(&self.sizes), mix(&self.shares));
        let whole = 1.0 - self.end;
        let below = whole - (1.0 - a) * (1.0 - height);
        let strength = self.theta * whole * a * height / (below * below);
        // Share of the cover under larger pieces here, over that anywhere: (1 - C(u | h)) / (1 - u)
        let larger = 1.0 - height * (1.0 - a) / below;
        let crowd = if u < 1.0 - 1e-9 {
            (larger / (1.0 - u)).clamp(0.0, MOST_CROWD)
        } else {
            strength.min(MOST_CROWD)
        };
        Graded { strength, crowd }
    }
}

/// Share of the cover finer than the median of the lowest [`END`] of the ground: where C(u, END) =
/// END / 2.
fn median_share(theta: f64) -> f64 {
    if theta < 1e-6 {
        return 0.5;
    }
    // C(u, v) = -ln(1 - (1 - e^(-theta u)) (1 - e^(-theta v)) / (1 - e^(-theta))) / theta, solved
    // for u
    let (end, low) = (libm::exp(-theta), libm::exp(-theta * END));
    let half = (1.0 - libm::exp(-theta * 0.5 * END)) * (1.0 - end) / (1.0 - low);
    -libm::log(1.0 - half) / theta
}

/// Heights over the mean at equal shares of the ground.
fn heights(ground: &Ground, radius: f64) -> Vec<f64> {
    let mut s = stream(0x64ad_e000);
    // Kilometres apart, unless the ground ends before: independent places of any relief worth a
    // close-up
    let [x, z] = ground.half_extent().unwrap_or([5e4, 5e4]);
    let mut values: Vec<f64> = (0..SAMPLES)
        .map(|_| {
            let (x, z) = (x * (2.0 * s.unit() - 1.0), z * (2.0 * s.unit() - 1.0));
            ground.above_mean(x, z, radius)
        })
        .collect();
    values.sort_unstable_by(f64::total_cmp);
    (0..NODES)
        .map(|i| values[i * (SAMPLES - 1) / (NODES - 1)])
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn grading(ratio: f64) -> (Grading, SizeLaw) {
        let json = r#"{"relief":{"height":"40 mm","feature":"0.6 m","roughness":0.45}}"#;
        let ground = Ground::of_document(json);
        let law = SizeLaw::power(2.4, 0.006, 0.08);
        let grading = Grading::new(&ground, 0.3, ratio, &law).unwrap();
        (grading, law)
    }

    #[test]
    fn it_is_one_on_average_over_heights_and_over_sizes() {
        // Midpoint sums of 2000 steps: a mean of 1 within 1 % at every size, and by cover at every
        // height.
        let (g, law) = grading(0.4);
        let steps = 2000;
        let height = |k: i32| libm::exp(-g.theta * (f64::from(k) + 0.5) / f64::from(steps));
        for d in [0.0061, 0.01, 0.02, 0.05, 0.079] {
            let mean = (0..steps)
                .map(|k| g.of(g.size_node(d), height(k)).strength)
                .sum::<f64>()
                / f64::from(steps);
            assert!((mean - 1.0).abs() < 0.01, "{mean} at {d}");
        }
        for k in [0, 300, 1000, 1990] {
            let (mut sum, mut weight) = (0.0, 0.0);
            for i in 0..20_000 {
                let d = law.quantile((f64::from(i) + 0.5) / 20_000.0);
                sum += d * d * g.of(g.size_node(d), height(k)).strength;
                weight += d * d;
            }
            assert!((sum / weight - 1.0).abs() < 0.01, "{} at {k}", sum / weight);
        }
    }

    #[test]
    fn a_law_too_narrow_gives_what_it_can() {
        let ground = Ground::of_document(r#"{"relief":{"height":"40 mm","feature":"0.6 m"}}"#);
        let g = Grading::new(&ground, 0.3, 0.3, &SizeLaw::power(2.0, 0.010, 0.012)).unwrap();
        assert!((g.theta - STRONGEST).abs() < 1e-6);
        assert!(Grading::new(&ground, 0.3, 0.3, &SizeLaw::power(2.0, 0.01, 0.01)).is_none());
    }
}
