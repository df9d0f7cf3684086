//! The size law of a whole mix, asked and got, over the pieces of a layout.
//!
//! Each octave of each pass is made on its own ground: fine pieces only where a camera resolves
//! them. So a class of sizes is held against what was asked of it on that ground, fields and all,
//! as the tally counts it; and an exponent is fitted with each octave weighed by it.

use super::ledger::OctaveCount;
use super::run::Run;
use crate::brief::{Brief, Mix};
use crate::layout::{ExponentReading, MixReading, SizeClass};
use crate::size::SizeLaw;

/// What was asked of one octave of a pass.
#[derive(Debug, Clone, Copy)]
struct AskedOctave {
    from: f64,
    to: f64,
    asked: f64,
    ground: f64,
    /// The pass that it is of: its law says how the octave's pieces are spread.
    pass: usize,
}

/// The mixes of a shot, read pass by pass.
#[derive(Debug, Default)]
pub(super) struct MixReader<'a> {
    mixes: Vec<OneMix<'a>>,
}

#[derive(Debug)]
struct OneMix<'a> {
    name: &'a str,
    mix: &'a Mix,
    layers: Vec<AskedOctave>,
    diameters: Vec<f64>,
}

impl<'a> MixReader<'a> {
    pub(super) fn new(brief: &'a Brief) -> Self {
        let one = |(name, mix): (&'a String, &'a Mix)| OneMix {
            name,
            mix,
            layers: Vec::new(),
            diameters: Vec::new(),
        };
        Self {
            mixes: brief.mixes.iter().map(one).collect(),
        }
    }

    /// Counts a pass, if it takes a part of a mix: `octaves` as the ledger has them.
    pub(super) fn add(&mut self, run: &Run<'_>, index: usize, octaves: &[OctaveCount]) {
        let part = run.passes[index].pass.mix.as_ref();
        let mut mixes = self.mixes.iter_mut();
        let Some(one) = part.and_then(|part| mixes.find(|m| m.name == part)) else {
            return;
        };
        let strata = run.strata(index);
        for (layer, count) in strata.plan.schedule.octaves.iter().zip(octaves) {
            one.layers.push(AskedOctave {
                from: layer.from,
                to: layer.to,
                asked: count.asked,
                ground: count.ground,
                pass: index,
            });
            one.diameters
                .extend(count.diameters.iter().map(|d| f64::from(*d)));
        }
    }

    /// The readings.
    pub(super) fn finish(self, brief: &Brief) -> Vec<MixReading> {
        let read = |one: OneMix<'_>| {
            let laws: Vec<&SizeLaw> = brief.passes().map(|(_, pass)| &pass.sizes).collect();
            let asked = one.mix.sizes.exponent();
            let exponent = asked.and_then(|d| fitted(d, &one.layers, &one.diameters));
            let range = [one.mix.sizes.from(), one.mix.sizes.to()];
            MixReading {
                name: one.name.to_owned(),
                mix: one.mix.clone(),
                classes: classes(range, &one.layers, &one.diameters, |pass| laws[pass]),
                exponent,
            }
        };
        self.mixes.into_iter().map(read).collect()
    }
}

/// Half-octave classes of `[from, to]`, largest first.
fn classes<'b>(
    [from, to]: [f64; 2],
    layers: &[AskedOctave],
    diameters: &[f64],
    law_of: impl Fn(usize) -> &'b SizeLaw,
) -> Vec<SizeClass> {
    let mut classes = Vec::new();
    let mut high = to;
    // A last sliver of a class joins the one before it
    while classes.is_empty() || high > from * SLIVER {
        let half = high * std::f64::consts::FRAC_1_SQRT_2;
        let low = if half <= from * SLIVER { from } else { half };
        classes.push(SizeClass {
            from: low,
            to: high,
            ground: 0.0,
            asked: 0.0,
            got: 0,
        });
        high = low;
    }
    for layer in layers {
        let law = law_of(layer.pass);
        let all = law.finer_than(layer.to) - law.finer_than(layer.from);
        for class in &mut classes {
            let (low, high) = (class.from.max(layer.from), class.to.min(layer.to));
            let equal = layer.from >= layer.to && low <= high;
            if high > low || equal {
                let share = if all > 0.0 {
                    (law.finer_than(high) - law.finer_than(low)) / all
                } else {
                    1.0
                };
                class.asked += layer.asked * share;
                class.ground += layer.ground * layer.asked * share;
                if equal {
                    break;
                }
            }
        }
    }
    for class in &mut classes {
        if class.asked > 0.0 {
            class.ground /= class.asked;
        }
    }
    for d in diameters {
        let at = classes.partition_point(|c| c.from > *d);
        let last = classes.len() - 1;
        classes[at.min(last)].got += 1;
    }
    classes
}

/// Ends within this ratio are one: 4-byte diameters and halves of roots differ by less.
const SLIVER: f64 = 1.001;
/// Steps of Simpson's rule over an octave: exponentials that bend as little as these come out
/// within 1e-9.
const STEPS: usize = 32;
/// Exponents that are looked among: far beyond what a document may ask.
const EXPONENTS: [f64; 2] = [-40.0, 40.0];

/// The exponent under which `diameters` are likeliest, if those of each layer are exposed in
/// proportion to what a power law of exponent `asked` would need for the layer's asked number.
///
/// The density over x = ln d is proportional to w(x) exp(-D x), a family of one parameter, so the
/// likeliest D is the one whose mean of x is the pieces', and its standard error is 1 / sqrt(n Var
/// x).
fn fitted(asked: f64, layers: &[AskedOctave], diameters: &[f64]) -> Option<ExponentReading> {
    let n = diameters.len() as f64;
    let origin = libm::log(diameters.first()?.max(f64::MIN_POSITIVE));
    let weights: Vec<(f64, f64, f64)> = layers
        .iter()
        .filter(|l| l.to > l.from && l.asked > 0.0)
        .map(|l| {
            let (a, b) = (libm::log(l.from) - origin, libm::log(l.to) - origin);
            (a, b, l.asked / moments(a, b, asked)[0])
        })
        .collect();
    let got = diameters
        .iter()
        .map(|d| libm::log(*d) - origin)
        .sum::<f64>()
        / n;
    let mean_and_variance = |exponent: f64| {
        let mut sums = [0.0; 3];
        for (a, b, weight) in &weights {
            for (sum, moment) in sums.iter_mut().zip(moments(*a, *b, exponent)) {
                *sum += weight * moment;
            }
        }
        let mean = sums[1] / sums[0];
        (mean, sums[2] / sums[0] - mean * mean)
    };
    let [mut low, mut high] = EXPONENTS;
    let inside = mean_and_variance(low).0 > got && mean_and_variance(high).0 < got;
    if !inside {
        return None;
    }
    while high - low > 1e-9 {
        let middle = 0.5 * (low + high);
        if mean_and_variance(middle).0 > got {
            low = middle;
        } else {
            high = middle;
        }
    }
    let exponent = 0.5 * (low + high);
    Some(ExponentReading {
        asked,
        got: exponent,
        error: 1.0 / libm::sqrt(n * mean_and_variance(exponent).1),
    })
}

/// Integrals of exp(-D x), x exp(-D x) and x^2 exp(-D x) from a to b, by Simpson's rule.
fn moments(a: f64, b: f64, exponent: f64) -> [f64; 3] {
    let step = (b - a) / STEPS as f64;
    let mut sums = [0.0; 3];
    for i in 0..=STEPS {
        let weight = match i {
            0 | STEPS => 1.0,
            _ if i % 2 == 1 => 4.0,
            _ => 2.0,
        };
        let x = a + step * i as f64;
        let y = weight * step / 3.0 * libm::exp(-exponent * x);
        sums[0] += y;
        sums[1] += x * y;
        sums[2] += x * x * y;
    }
    sums
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::size::SizeLaw;

    /// Numbers at equal steps of a law's shares: no chance in them.
    fn even(law: &SizeLaw, n: usize) -> Vec<f64> {
        (0..n)
            .map(|i| law.quantile((i as f64 + 0.5) / n as f64))
            .collect()
    }

    fn layer(from: f64, to: f64, asked: f64) -> AskedOctave {
        AskedOctave {
            from,
            to,
            asked,
            ground: 2.0,
            pass: 0,
        }
    }

    #[test]
    fn the_exponent_of_a_bounded_power_law_comes_back_with_its_error() {
        let law = SizeLaw::power(2.5, 0.01, 0.04);
        let share = law.finer_than(0.02);
        let n = 20_000.0;
        let layers = [
            layer(0.02, 0.04, n * (1.0 - share)),
            layer(0.01, 0.02, n * share),
        ];
        let fit = fitted(2.5, &layers, &even(&law, 20_000)).unwrap();
        assert!((fit.got - 2.5).abs() < 1e-3, "{fit:?}");
        // Var ln d of the bounded law, from its quantiles
        let logs: Vec<f64> = even(&law, 20_000).iter().map(|d| d.ln()).collect();
        let mean = logs.iter().sum::<f64>() / n;
        let variance = logs.iter().map(|x| (x - mean) * (x - mean)).sum::<f64>() / n;
        assert!((fit.error * (n * variance).sqrt() - 1.0).abs() < 1e-3);
    }

    #[test]
    fn ground_that_differs_by_octave_does_not_bend_the_exponent() {
        // The coarse octave is made on ten times the ground of the fine one
        let law = SizeLaw::power(2.0, 0.01, 0.04);
        let (fine, coarse) = (
            SizeLaw::power(2.0, 0.01, 0.02),
            SizeLaw::power(2.0, 0.02, 0.04),
        );
        let share = law.finer_than(0.02);
        let asked = [10_000.0 * share, 100_000.0 * (1.0 - share)];
        let layers = [layer(0.02, 0.04, asked[1]), layer(0.01, 0.02, asked[0])];
        let mut diameters = even(&fine, asked[0] as usize);
        diameters.extend(even(&coarse, asked[1] as usize));
        let fit = fitted(2.0, &layers, &diameters).unwrap();
        assert!((fit.got - 2.0).abs() < 2e-3, "{fit:?}");
        // Half of the fine ones missing shows
        let mut thinned = even(&fine, asked[0] as usize / 2);
        thinned.extend(even(&coarse, asked[1] as usize));
        let fit = fitted(2.0, &layers, &thinned).unwrap();
        assert!(fit.got < 2.0 - 10.0 * fit.error, "{fit:?}");
    }

    #[test]
    fn nothing_is_fitted_to_nothing() {
        assert_eq!(fitted(2.0, &[], &[]), None);
        assert_eq!(fitted(2.0, &[layer(0.01, 0.01, 3.0)], &[0.01; 3]), None);
    }

    #[test]
    fn classes_share_out_what_was_asked_and_count_what_lies_there() {
        let law = SizeLaw::power(2.0, 0.01, 0.04);
        let layers = [
            layer(0.02, 0.04, 1000.0 * (1.0 - law.finer_than(0.02))),
            layer(0.01, 0.02, 1000.0 * law.finer_than(0.02)),
        ];
        let classes = classes([0.01, 0.04], &layers, &even(&law, 1000), |_| &law);
        assert_eq!(classes.len(), 4);
        assert!((classes.iter().map(|c| c.asked).sum::<f64>() - 1000.0).abs() < 1e-9);
        assert_eq!(classes.iter().map(|c| c.got).sum::<u64>(), 1000);
        for class in &classes {
            let expected = 1000.0 * (law.finer_than(class.to) - law.finer_than(class.from));
            assert!((class.asked - expected).abs() < 1e-6, "{class:?}");
            assert!((class.got as f64 - expected).abs() <= 1.0, "{class:?}");
            assert!((class.ground - 2.0).abs() < 1e-12);
        }
    }
}
