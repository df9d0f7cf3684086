//! Gradient noise on an endless lattice, and fractal sums of it.
//!
//! Perlin, "An image synthesizer", 1985, with the quintic fade of "Improving noise", 2002. Departs: gradients are unit vectors hashed
//! from the lattice point's 64-bit coordinates, so the noise never repeats and is as exact 100 km out as at the origin.

use crate::random::{cell_key, join, stream};

/// Bound of unit-gradient noise in the plane: sqrt(2) / 2, reached at a cell's middle when all four gradients point inwards.
pub const BOUND: f64 = std::f64::consts::FRAC_1_SQRT_2;

/// Directions of gradients. Sixteen are enough for no direction to show, and need no trigonometry in the loop.
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

/// Noise and its slopes: value in -[`BOUND`]..=[`BOUND`], d/dx and d/dz per lattice step.
#[must_use]
pub fn gradient_noise(key: u64, x: f64, z: f64) -> [f64; 3] {
    let (fx, fz) = (libm::floor(x), libm::floor(z));
    let (ix, iz) = (fx as i64, fz as i64);
    let (u, v) = (x - fx, z - fz);
    let corner = |cx: i64, cz: i64| {
        // The mixed key's top four bits choose the gradient
        let g = GRADIENTS[(cell_key(key, ix + cx, iz + cz) >> 60) as usize];
        (g, g[0] * (u - cx as f64) + g[1] * (v - cz as f64))
    };
    let ((g00, a), (g10, b), (g01, c), (g11, d)) =
        (corner(0, 0), corner(1, 0), corner(0, 1), corner(1, 1));
    let fade = |t: f64| t * t * t * (t * (t * 6.0 - 15.0) + 10.0);
    let slope = |t: f64| 30.0 * t * t * (t * (t - 2.0) + 1.0);
    let (p, q) = (fade(u), fade(v));
    let (dp, dq) = (slope(u), slope(v));
    let k = a - b - c + d;
    let value = a + p * (b - a) + q * (c - a) + p * q * k;
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

/// A fractal sum of gradient noise: octave k has half the length of octave k - 1 and `gain` times its strength.
#[derive(Debug, Clone, PartialEq)]
pub struct Fractal {
    octaves: Vec<Octave>,
    /// Values at equal shares of the plane, for [`Fractal::share`].
    quantiles: Vec<f64>,
}

#[derive(Debug, Clone, PartialEq)]
struct Octave {
    key: u64,
    length: f64,
    strength: f64,
    /// Where the lattice starts: a hashed shift, so that octaves' lattice points do not meet.
    shift: [f64; 2],
}

/// Octaves finer than this share of the first are left out: 2^-9 of a 1 m feature is 2 mm, finer than what rests on it.
const MOST_OCTAVES: i32 = 9;
/// Places at which a fractal's own distribution is measured: quantiles are then good to 1 %.
const SAMPLES: usize = 16_384;
/// Quantiles that are kept of them.
const QUANTILES: usize = 257;

impl Fractal {
    /// Noise of the given key, with its largest forms `feature` metres long (above 0) and gain `roughness` (0..=1) an octave.
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
            octaves.push(Octave {
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

    /// The part of the value whose forms are shorter than about four times `radius`: the value over its mean within `radius`.
    #[must_use]
    pub fn above_mean(&self, x: f64, z: f64, radius: f64) -> f64 {
        // A disc mean of radius R lets a wave of length L through by about exp(-(2 R / L)^2 * pi / 2)
        self.sum(x, z, |length| {
            1.0 - libm::exp(-2.0 * std::f64::consts::PI * (radius / length) * (radius / length))
        })[0]
    }

    fn sum(&self, x: f64, z: f64, weight: impl Fn(f64) -> f64) -> [f64; 3] {
        let mut sum = [0.0; 3];
        for o in &self.octaves {
            let [v, dx, dz] =
                gradient_noise(o.key, x / o.length + o.shift[0], z / o.length + o.shift[1]);
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

    /// The value that a share of the plane lies under.
    #[must_use]
    pub fn quantile(&self, share: f64) -> f64 {
        let at = share.clamp(0.0, 1.0) * (QUANTILES - 1) as f64;
        let i = (at as usize).min(QUANTILES - 2);
        self.quantiles[i] + (self.quantiles[i + 1] - self.quantiles[i]) * (at - i as f64)
    }

    /// A bound of the value's size that no place exceeds.
    #[must_use]
    pub fn bound(&self) -> f64 {
        BOUND * self.octaves.iter().map(|o| o.strength).sum::<f64>()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

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
        // 40 000 other places, seed 4: each quantile met within 4 binomial errors and the table's own 1 %
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
