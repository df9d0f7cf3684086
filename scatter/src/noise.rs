//! Gradient noise on an endless lattice, and fractal sums of it.
//!
//! Perlin, "An image synthesizer", 1985, with the quintic fade of "Improving noise", 2002. Departs:
//! gradients are unit vectors hashed from the lattice point's 64-bit coordinates, so the noise
//! never repeats and is as exact 100 km out as at the origin.

use std::cell::Cell;

use crate::random::{cell_key, join, stream};

/// Bound of unit-gradient noise in the plane: sqrt(2) / 2, reached at a cell's middle when all four
/// gradients point inwards.
pub const BOUND: f64 = std::f64::consts::FRAC_1_SQRT_2;

/// Bound of its slope in any direction, per lattice step, whatever the gradients: a little over the
/// steepest that a fine grid of places finds.
pub const STEEPEST: f64 = 2.2;

/// Bound of its second derivative in any direction, per lattice step squared, whatever the
/// gradients: a little over the largest that a fine grid of places and directions finds.
pub const MOST_BENT: f64 = 9.5;

/// Directions of gradients. Sixteen are enough for no direction to show, and need no trigonometry
/// in the loop.
const GRADIENTS: [[f64; 2]; 16] = gradients();

const fn gradients() -> [[f64; 2]; 16] {
    // cos and sin of 22.5 degrees steps
    const C1: f64 = 0.923_879_532_511_286_7;
    const S1: f64 = 0.382_683_432_365_089_8;
    const D: f64 = std::f64::consts::FRAC_1_SQRT_2;
    [
        [1.0, 0.0],
        [C1, S1],
        [D, D],
        [S1, C1],
        [0.0, 1.0],
        [-S1, C1],
        [-D, D],
        [-C1, S1],
        [-1.0, 0.0],
        [-C1, -S1],
        [-D, -D],
        [-S1, -C1],
        [0.0, -1.0],
        [S1, -C1],
        [D, -D],
        [C1, -S1],
    ]
}

/// Cells of noise lattices whose gradients a thread caches: laying a piece needs some five hundred
/// again and again.
const KEPT: usize = 4096;

/// A lattice cell whose gradients are known.
#[derive(Clone, Copy)]
struct Corners {
    key: u64,
    cell: [i64; 2],
    /// Numbers of the gradients at its corners: (0, 0), (1, 0), (0, 1), (1, 1).
    gradients: [u8; 4],
}

thread_local! {
    /// The cells used last, each where its hash says. What is kept is what would be worked out
    /// again.
    static RECENT: [Cell<Option<Corners>>; KEPT] = const { [const { Cell::new(None) }; KEPT] };
}

/// The gradients at the corners of a lattice cell.
#[inline]
fn corners(key: u64, ix: i64, iz: i64) -> [u8; 4] {
    // Neighbours fall into different places, whatever the key
    let place = (key as usize) ^ (ix as usize) ^ (iz as usize).wrapping_mul(73);
    RECENT.with(|recent| {
        let kept = &recent[place % KEPT];
        if let Some(known) = kept.get()
            && known.key == key
            && known.cell == [ix, iz]
        {
            return known.gradients;
        }
        // The mixed key's top four bits choose the gradient
        let gradient = |cx: i64, cz: i64| (cell_key(key, ix + cx, iz + cz) >> 60) as u8;
        let gradients = [
            gradient(0, 0),
            gradient(1, 0),
            gradient(0, 1),
            gradient(1, 1),
        ];
        kept.set(Some(Corners {
            key,
            cell: [ix, iz],
            gradients,
        }));
        gradients
    })
}

/// The whole number at or under `x`, which is within 2^62 of zero.
#[inline]
fn floor(x: f64) -> i64 {
    let whole = x as i64;
    whole - i64::from(whole as f64 > x)
}

/// A place in its lattice cell.
struct CellPlace {
    /// From the corner (0, 0), 0..1.
    u: f64,
    v: f64,
    /// The gradients at the corners, as [`corners`] has them.
    gradients: [[f64; 2]; 4],
    /// How high the planes through the corners are here.
    rises: [f64; 4],
}

impl CellPlace {
    #[inline]
    fn new(key: u64, x: f64, z: f64) -> Self {
        let (ix, iz) = (floor(x), floor(z));
        let (u, v) = (x - ix as f64, z - iz as f64);
        let gradients = corners(key, ix, iz).map(|g| GRADIENTS[usize::from(g % 16)]);
        let rise = |g: [f64; 2], cx: f64, cz: f64| g[0] * (u - cx) + g[1] * (v - cz);
        let [g00, g10, g01, g11] = gradients;
        Self {
            u,
            v,
            gradients,
            rises: [
                rise(g00, 0.0, 0.0),
                rise(g10, 1.0, 0.0),
                rise(g01, 0.0, 1.0),
                rise(g11, 1.0, 1.0),
            ],
        }
    }

    /// The noise, and the weights of the corners (1, 0) and (0, 1) alone.
    #[inline]
    fn value(&self) -> (f64, [f64; 2]) {
        let fade = |t: f64| t * t * t * (t * (t * 6.0 - 15.0) + 10.0);
        let [a, b, c, d] = self.rises;
        let (p, q) = (fade(self.u), fade(self.v));
        let k = a - b - c + d;
        (a + p * (b - a) + q * (c - a) + p * q * k, [p, q])
    }
}

/// Noise and its slopes: value in -[`BOUND`]..=[`BOUND`], d/dx and d/dz per lattice step.
#[must_use]
pub fn gradient_noise(key: u64, x: f64, z: f64) -> [f64; 3] {
    let within = CellPlace::new(key, x, z);
    let (value, [p, q]) = within.value();
    let slope = |t: f64| 30.0 * t * t * (t * (t - 2.0) + 1.0);
    let (dp, dq) = (slope(within.u), slope(within.v));
    let [a, b, c, d] = within.rises;
    let [g00, g10, g01, g11] = within.gradients;
    let k = a - b - c + d;
    let mix = |i: usize| {
        g00[i]
            + p * (g10[i] - g00[i])
            + q * (g01[i] - g00[i])
            + p * q * (g00[i] - g10[i] - g01[i] + g11[i])
    };
    [
        value,
        mix(0) + dp * (b - a + q * k),
        mix(1) + dq * (c - a + p * k),
    ]
}

/// A fractal sum of gradient noise: octave k has half the length of octave k - 1 and `gain` times
/// its strength.
#[derive(Debug, Clone, PartialEq)]
pub struct Fractal {
    octaves: Vec<NoiseOctave>,
    /// Values at equal shares of the plane, for [`Fractal::share`].
    quantiles: Vec<f64>,
}

#[derive(Debug, Clone, PartialEq)]
struct NoiseOctave {
    key: u64,
    length: f64,
    strength: f64,
    /// Where the lattice starts: a hashed shift, so that octaves' lattice points do not meet.
    shift: [f64; 2],
}

/// Octaves finer than this share of the first are left out: 2^-9 of a 1 m feature is 2 mm, finer
/// than what rests on it.
const MOST_OCTAVES: i32 = 9;
/// Places at which a fractal's own distribution is measured: quantiles are then good to 1 %.
const SAMPLES: usize = 16_384;
/// Quantiles that are kept of them.
const QUANTILES: usize = 257;

impl Fractal {
    /// Noise of the given key, with its largest forms `feature` metres long (above 0) and gain
    /// `roughness` (0..=1) an octave.
    #[must_use]
    pub fn new(key: u64, feature: f64, roughness: f64) -> Self {
        let mut octaves = Vec::new();
        let mut strength = 1.0;
        for k in 0..MOST_OCTAVES {
            // Octaves under a thousandth of the first would not be seen
            if strength < 1e-3 {
                break;
            }
            let key = join(key, k as u64);
            let mut s = stream(key);
            octaves.push(NoiseOctave {
                key,
                length: feature * libm::pow(0.5, f64::from(k)),
                strength,
                shift: [s.unit(), s.unit()],
            });
            strength *= roughness;
        }
        let mut fractal = Self {
            octaves,
            quantiles: Vec::new(),
        };
        fractal.quantiles = fractal.measure(feature);
        fractal
    }

    fn measure(&self, feature: f64) -> Vec<f64> {
        // Independent places: each in its own lattice cell, far from the next
        let mut s = stream(join(self.octaves[0].key, 0xd157));
        let spread = feature * 1e4;
        let mut values: Vec<f64> = (0..SAMPLES)
            .map(|_| self.at(spread * s.unit(), spread * s.unit())[0])
            .collect();
        values.sort_unstable_by(f64::total_cmp);
        (0..QUANTILES)
            .map(|i| values[i * (SAMPLES - 1) / (QUANTILES - 1)])
            .collect()
    }

    /// Value and its slopes d/dx, d/dz per metre, at a place in metres.
    #[must_use]
    pub fn at(&self, x: f64, z: f64) -> [f64; 3] {
        self.sum(x, z, |_| 1.0)
    }

    /// The value of [`Fractal::at`] alone.
    #[must_use]
    pub fn value(&self, x: f64, z: f64) -> f64 {
        let mut sum = 0.0;
        for (o, [x, z]) in self.octaves.iter().zip(self.places(x, z)) {
            sum += o.strength * CellPlace::new(o.key, x, z).value().0;
        }
        sum
    }

    /// Upper bound of the slope in any direction at any place, per metre.
    #[must_use]
    pub fn steepest(&self) -> f64 {
        let each = self.octaves.iter().map(|o| o.strength / o.length);
        STEEPEST * each.sum::<f64>()
    }

    /// Distance of samples, metres, between which the value is nowhere farther than `off` from the
    /// triangle through the samples at its corners; infinite where no sample is needed.
    #[must_use]
    pub fn spacing(&self, off: f64) -> f64 {
        // Octaves from `finer` on are left to themselves: ground and triangle may stray by all of
        // them in opposite directions. Between places up to `s` apart along either axis a triangle
        // is off by a fourth of the bend times the square of `s`
        let mut widest: f64 = 0.0;
        let mut bend = 0.0;
        for finer in 0..=self.octaves.len() {
            let rest: f64 = self.octaves[finer..].iter().map(|o| o.strength).sum();
            let left = off - 2.0 * BOUND * rest;
            if left >= 0.0 {
                widest = widest.max(libm::sqrt(4.0 * left / bend));
            }
            if let Some(o) = self.octaves.get(finer) {
                bend += MOST_BENT * o.strength / (o.length * o.length);
            }
        }
        widest
    }

    /// The part of the value whose forms are shorter than about four times `radius`: the value over
    /// its mean within `radius`.
    #[must_use]
    pub fn above_mean(&self, x: f64, z: f64, radius: f64) -> f64 {
        // A disc mean of radius R lets a wave of length L through by about exp(-(2 R / L)^2 * pi /
        // 2)
        self.sum(x, z, |length| {
            1.0 - libm::exp(-2.0 * std::f64::consts::PI * (radius / length) * (radius / length))
        })[0]
    }

    /// A place, in metres, in each octave's lattice. Lengths halve, so places double, without any
    /// rounding: one division serves all.
    fn places(&self, x: f64, z: f64) -> impl Iterator<Item = [f64; 2]> {
        let first = self.octaves.first().map_or(1.0, |o| o.length);
        let (mut x, mut z) = (x / first, z / first);
        self.octaves.iter().map(move |o| {
            let at = [x + o.shift[0], z + o.shift[1]];
            (x, z) = (2.0 * x, 2.0 * z);
            at
        })
    }

    fn sum(&self, x: f64, z: f64, weight: impl Fn(f64) -> f64) -> [f64; 3] {
        let mut sum = [0.0; 3];
        for (o, [x, z]) in self.octaves.iter().zip(self.places(x, z)) {
            let [v, dx, dz] = gradient_noise(o.key, x, z);
            let w = o.strength * weight(o.length);
            sum[0] += w * v;
            sum[1] += w * dx / o.length;
            sum[2] += w * dz / o.length;
        }
        sum
    }

    /// Share of the plane that lies under a value, 0..=1.
    #[must_use]
    pub fn share(&self, value: f64) -> f64 {
        let q = &self.quantiles;
        let i = q.partition_point(|v| *v <= value);
        if i == 0 {
            return 0.0;
        }
        if i == q.len() {
            return 1.0;
        }
        let t = (value - q[i - 1]) / (q[i] - q[i - 1]);
        (i as f64 - 1.0 + t) / (q.len() - 1) as f64
    }

    /// The value under which a share of the plane lies.
    #[must_use]
    pub fn quantile(&self, share: f64) -> f64 {
        let at = share.clamp(0.0, 1.0) * (QUANTILES - 1) as f64;
        let i = (at as usize).min(QUANTILES - 2);
        self.quantiles[i] + (self.quantiles[i + 1] - self.quantiles[i]) * (at - i as f64)
    }

    /// Upper bound of the absolute value at any place.
    #[must_use]
    pub fn bound(&self) -> f64 {
        BOUND * self.octaves.iter().map(|o| o.strength).sum::<f64>()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_choice_of_gradients_is_steeper_than_the_bound() {
        // The slope along (c, s) is a sum over the corners of gradient . ((c, s) * weight + arm *
        // slope of the weight): at most that of the lengths. Looked at on a grid of hundredths of a
        // cell, in directions 4 degrees apart
        let fade = |t: f64| t * t * t * (t * (t * 6.0 - 15.0) + 10.0);
        let slope = |t: f64| 30.0 * t * t * (t * (t - 2.0) + 1.0);
        let steps = 100;
        let mut steepest: f64 = 0.0;
        for i in 0..=steps {
            for j in 0..=steps {
                let (u, v) = (
                    f64::from(i) / f64::from(steps),
                    f64::from(j) / f64::from(steps),
                );
                for turn in 0..45 {
                    let (s, c) = libm::sincos(f64::from(turn) * std::f64::consts::PI / 45.0);
                    let mut sum = 0.0;
                    for (cx, cz) in [(0.0, 0.0), (1.0, 0.0), (0.0, 1.0), (1.0, 1.0)] {
                        let one = |t: f64, at: f64| {
                            let (w, d) = (fade(t), slope(t));
                            if at > 0.0 { (w, d) } else { (1.0 - w, -d) }
                        };
                        let ((wx, dx), (wz, dz)) = (one(u, cx), one(v, cz));
                        let along = c * dx * wz + s * wx * dz;
                        let (x, z) = (
                            c * wx * wz + along * (u - cx),
                            s * wx * wz + along * (v - cz),
                        );
                        sum += libm::hypot(x, z);
                    }
                    steepest = steepest.max(sum);
                }
            }
        }
        assert!(
            steepest < STEEPEST && steepest > 0.9 * STEEPEST,
            "{steepest}"
        );
    }

    /// The second derivative is linear in each gradient: the worst gradient at each corner gives
    /// the most at a place and in a direction.
    #[test]
    fn the_bound_of_the_bend_is_a_little_over_the_most() {
        const STEPS: u32 = 20;
        let fade = |t: f64| t * t * t * (t * (t * 6.0 - 15.0) + 10.0);
        let first = |t: f64| 30.0 * t * t * (t * (t - 2.0) + 1.0);
        let second = |t: f64| 60.0 * t * (t * (2.0 * t - 3.0) + 1.0);
        // Weight of a corner along one axis, and its derivatives
        let weight = |t: f64, corner: f64| {
            if corner > 0.0 {
                [fade(t), first(t), second(t)]
            } else {
                [1.0 - fade(t), -first(t), -second(t)]
            }
        };
        let mut most: f64 = 0.0;
        for place in 0..=STEPS * (STEPS + 1) + STEPS {
            let [u, v] =
                [place % (STEPS + 1), place / (STEPS + 1)].map(|k| f64::from(k) / f64::from(STEPS));
            for way in 0..18 {
                let (s, c) = libm::sincos(f64::from(way) * std::f64::consts::PI / 18.0);
                let corners = [(0.0, 0.0), (1.0, 0.0), (0.0, 1.0), (1.0, 1.0)];
                let bends = corners.map(|(cx, cz)| {
                    let ([wx, dx, ddx], [wz, dz, ddz]) = (weight(u, cx), weight(v, cz));
                    let bend = c * c * ddx * wz + 2.0 * c * s * dx * dz + s * s * wx * ddz;
                    let slope = 2.0 * (c * dx * wz + s * wx * dz);
                    // Times a gradient (gx, gz)
                    let (x, z) = (bend * (u - cx) + slope * c, bend * (v - cz) + slope * s);
                    let each = GRADIENTS.map(|[gx, gz]| (gx * x + gz * z).abs());
                    each.into_iter().fold(0.0, f64::max)
                });
                most = most.max(bends.iter().sum());
            }
        }
        assert!(most < MOST_BENT && most > 0.9 * MOST_BENT, "{most}");
    }

    #[test]
    fn the_value_alone_is_the_value() {
        let f = Fractal::new(5, 0.9, 0.6);
        for i in 0..1000 {
            let (x, z) = (f64::from(i) * 0.037 - 11.0, f64::from(i) * -0.0731);
            assert_eq!(f.value(x, z).to_bits(), f.at(x, z)[0].to_bits());
        }
    }

    #[test]
    fn slopes_are_the_derivatives() {
        let f = Fractal::new(3, 0.7, 0.5);
        let h = 1e-6;
        for i in 0..200 {
            let (x, z) = (f64::from(i) * 0.137, f64::from(i) * 0.731);
            let [_, dx, dz] = f.at(x, z);
            let nx = (f.at(x + h, z)[0] - f.at(x - h, z)[0]) / (2.0 * h);
            let nz = (f.at(x, z + h)[0] - f.at(x, z - h)[0]) / (2.0 * h);
            assert!(
                (dx - nx).abs() < 1e-4 && (dz - nz).abs() < 1e-4,
                "{dx} {nx} {dz} {nz}"
            );
        }
    }

    #[test]
    fn its_distribution_is_its_own() {
        let f = Fractal::new(9, 1.0, 0.5);
        // 40 000 other places, seed 4: each quantile met within 4 binomial errors and the table's
        // own 1 %
        let mut s = stream(4);
        let values: Vec<f64> = (0..40_000)
            .map(|_| f.at(5e3 * s.unit(), 5e3 * s.unit())[0])
            .collect();
        for share in [0.1, 0.5, 0.8] {
            let q = f.quantile(share);
            let got = values.iter().filter(|v| **v < q).count() as f64 / values.len() as f64;
            assert!((got - share).abs() < 0.02, "{got} of {share}");
            assert!((f.share(q) - share).abs() < 1e-9);
        }
        assert!(values.iter().all(|v| v.abs() <= f.bound()));
    }
}
