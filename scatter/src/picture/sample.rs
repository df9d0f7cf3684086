//! Well-distributed random numbers that depend on the pixel and the sample alone.
//!
//! Owen-scrambled Sobol pairs. Based on: Burley, "Practical hash-based Owen scrambling", 2020, with
//! the bit-mixing constants of Vegdahl, "Building a better LK hash", 2021. Every pair of dimensions
//! is a two-dimensional Sobol set, shuffled and scrambled by its own seed, so that any prefix of a
//! pixel's samples is well spread.

pub(super) use crate::random::{mix32 as mix, unit32 as unit};

/// Hash of two words.
#[inline]
pub(super) fn mix2(a: u32, b: u32) -> u32 {
    mix(a ^ mix(b.wrapping_add(0x9e37_79b9)))
}

/// Permutes the bits of `x` so that each depends on lower bits only.
#[inline]
fn laine_karras(mut x: u32, seed: u32) -> u32 {
    x ^= x.wrapping_mul(0x3d20_adea);
    x = x.wrapping_add(seed);
    x = x.wrapping_mul((seed >> 16) | 1);
    x ^= x.wrapping_mul(0x0552_6c56);
    x ^ x.wrapping_mul(0x53a2_2864)
}

/// Nested uniform (Owen) scrambling of a binary fraction.
#[inline]
fn owen(x: u32, seed: u32) -> u32 {
    laine_karras(x.reverse_bits(), seed).reverse_bits()
}

/// Second dimension of the Sobol sequence (the first is the reversed index).
#[inline]
fn sobol_second(mut index: u32) -> u32 {
    let mut column = 1_u32 << 31;
    let mut x = 0;
    while index != 0 {
        if index & 1 == 1 {
            x ^= column;
        }
        column ^= column >> 1;
        index >>= 1;
    }
    x
}

/// The random numbers of one sample of one pixel.
#[derive(Debug, Clone, Copy)]
pub(super) struct Sampler {
    pixel: u32,
    index: u32,
}

impl Sampler {
    /// The stream of sample `index` in pixel (`x`, `y`).
    #[inline]
    pub(super) fn new(x: u32, y: u32, index: u32) -> Self {
        Self {
            pixel: mix2(x, y),
            index,
        }
    }

    /// Two numbers in [0, 1) for use `what` (a different number for each use).
    #[inline]
    pub(super) fn pair(&self, what: u32) -> [f32; 2] {
        let seed = mix2(self.pixel, what);
        let index = owen(self.index, seed);
        [
            unit(owen(index.reverse_bits(), mix2(seed, 1))),
            unit(owen(sobol_second(index), mix2(seed, 2))),
        ]
    }

    /// One number in [0, 1) for use `what`.
    #[inline]
    pub(super) fn single(&self, what: u32) -> f32 {
        let seed = mix2(self.pixel, what);
        unit(owen(owen(self.index, seed).reverse_bits(), mix2(seed, 1)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A Sobol pair is a (0, m, 2) net in base 2: 16 points put one in each of the 16 elementary
    /// boxes of every shape (Sobol 1967; kept by Owen scrambling, Owen 1995).
    #[test]
    fn sixteen_points_fill_every_elementary_box_once() {
        for what in 0..8 {
            let points: Vec<_> = (0..16).map(|i| Sampler::new(3, 5, i).pair(what)).collect();
            for log_columns in 0..=4_u32 {
                let columns = 1_u32 << log_columns;
                let rows = 16 / columns;
                let mut seen = [false; 16];
                for [x, y] in &points {
                    let b = (x * columns as f32) as u32 + columns * (y * rows as f32) as u32;
                    assert!(!std::mem::replace(&mut seen[b as usize], true));
                }
            }
        }
    }

    #[test]
    fn uses_and_pixels_are_independent() {
        // H0: products of centred numbers have mean 0; 4096 samples, standard error 1 / (12
        // sqrt(4096)), level 5 sigma.
        let n = 4096;
        let sum: f32 = (0..n)
            .map(|i| {
                let s = Sampler::new(i % 64, i / 64, 0);
                (s.pair(0)[0] - 0.5) * (s.pair(1)[0] - 0.5)
            })
            .sum();
        assert!((sum / n as f32).abs() < 5.0 / (12.0 * 64.0));
    }
}
