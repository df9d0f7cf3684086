//! World-anchored random streams: what is drawn at a place depends on (take, pass name, octave,
//! level, cell) and on nothing else.
//!
//! A stream is a counter run through the SplitMix64 finaliser (Steele, Lea and Flood, "Fast
//! splittable pseudorandom number generators", 2014), from the `rand_xoshiro` crate; its key is
//! mixed from the parts with the same finaliser.

use rand_xoshiro::SplitMix64;
use rand_xoshiro::rand_core::{Rng, SeedableRng};

/// 2^64 over the golden ratio: the odd step of SplitMix64; here it also keeps the parts of a key
/// apart.
const GOLDEN: u64 = 0x9e37_79b9_7f4a_7c15;

/// SplitMix64's finaliser: a bijection of 64 bits in which every input bit moves every output bit.
#[must_use]
#[inline]
pub fn mix(mut z: u64) -> u64 {
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    z ^ (z >> 31)
}

/// A key joined with one more part. Not symmetric: `join(join(k, a), b)` differs from `join(join(k,
/// b), a)`.
#[must_use]
#[inline]
pub fn join(key: u64, part: u64) -> u64 {
    mix(key.rotate_left(25).wrapping_add(GOLDEN) ^ mix(part.wrapping_add(GOLDEN)))
}

/// FNV-1a of 64 bits (Fowler, Noll and Vo, 1991): tells texts apart; its bits still want mixing.
#[must_use]
pub fn fnv(bytes: impl IntoIterator<Item = u8>) -> u64 {
    let join = |hash: u64, byte| (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3);
    bytes.into_iter().fold(0xcbf2_9ce4_8422_2325, join)
}

/// The key of a text, by [`fnv`] and the finaliser.
#[must_use]
pub fn text_key(text: &str) -> u64 {
    mix(fnv(text.bytes()))
}

/// The key of all streams of one pass in one take. The pass is known by its name, never by its
/// index.
#[must_use]
pub fn pass_key(take: u64, pass: &str) -> u64 {
    join(join(GOLDEN, take), text_key(pass))
}

/// The key of a cell's stream.
#[must_use]
#[inline]
pub fn cell_key(layer: u64, ix: i64, iz: i64) -> u64 {
    mix(layer
        ^ mix((ix as u64)
            .wrapping_mul(GOLDEN)
            .wrapping_add(mix((iz as u64) ^ layer))))
}

/// A generator that starts at `key`.
#[must_use]
#[inline]
pub fn stream(key: u64) -> Stream {
    Stream(SplitMix64::seed_from_u64(key))
}

/// A stream of 64-bit draws.
#[derive(Debug, Clone)]
pub struct Stream(SplitMix64);

impl Stream {
    /// The next 64 bits.
    #[inline]
    pub fn bits(&mut self) -> u64 {
        self.0.next_u64()
    }

    /// Uniform in [0, 1), 53 bits.
    #[inline]
    pub fn unit(&mut self) -> f64 {
        unit(self.bits())
    }

    /// Uniform in [low, high).
    #[inline]
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    /// Standard normal, by the polar form of Box and Muller ("A note on the generation of random
    /// normal deviates", 1958).
    pub fn normal(&mut self) -> f64 {
        // 1 - unit is in (0, 1]: the logarithm stays finite
        let radius = libm::sqrt(-2.0 * libm::log(1.0 - self.unit()));
        radius * libm::cos(std::f64::consts::TAU * self.unit())
    }

    /// Poisson count of the given mean, by multiplication of uniforms (Knuth, The Art of Computer
    /// Programming, 3.4.1), in steps of at most [`POISSON_STEP`] so that exp(-mean) does not
    /// vanish. A mean of zero or less gives zero.
    pub fn poisson(&mut self, mean: f64) -> u32 {
        let mut left = mean;
        let mut count = 0;
        while left > 0.0 {
            let step = left.min(POISSON_STEP);
            count += self.poisson_below(libm::exp(-step));
            left -= step;
        }
        count
    }

    /// Poisson count whose exp(-mean) is `floor`.
    #[inline]
    pub fn poisson_below(&mut self, floor: f64) -> u32 {
        let mut product = self.unit();
        let mut count = 0;
        while product > floor {
            product *= self.unit();
            count += 1;
        }
        count
    }
}

/// Largest mean that one multiplication of uniforms counts: exp(-16) is 1e-7, far above the 2^-53
/// grain of a uniform draw.
pub const POISSON_STEP: f64 = 16.0;

/// Mixes the bits of 32 (the low-bias finaliser of Wellons, "Hash function prospector", 2018): for
/// what is drawn per pixel, where 64 bits cost more than they give.
#[must_use]
#[inline]
pub fn mix32(mut x: u32) -> u32 {
    x ^= x >> 16;
    x = x.wrapping_mul(0x7feb_352d);
    x ^= x >> 15;
    x = x.wrapping_mul(0x846c_a68b);
    x ^ (x >> 16)
}

/// A number in [0, 1) from the upper 24 bits of 32, all that an `f32` holds.
#[must_use]
#[inline]
pub fn unit32(x: u32) -> f32 {
    (x >> 8) as f32 * (1.0 / 16_777_216.0)
}

/// 64 bits as a number in [0, 1).
#[must_use]
#[inline]
pub fn unit(bits: u64) -> f64 {
    (bits >> 11) as f64 * (1.0 / 9_007_199_254_740_992.0)
}

/// Bits of an id that mark its layer: what octave, cell and ordinal leave of 64.
pub const ID_TAG_BITS: u32 = 14;

/// What the random streams and the ids of a layer's pieces hang on: its name alone, and the take
/// for the streams. So neither its number nor other layers matter.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Streams {
    /// The key of its streams.
    pub key: u64,
    /// The bits of an id that mark it.
    pub tag: u16,
}

impl Streams {
    /// Of the layer of a name in its take.
    #[must_use]
    pub fn of(take: u64, name: &str) -> Self {
        Self {
            key: pass_key(take, name),
            tag: tag(name),
        }
    }
}

/// The bits of an id that mark the layer of a name.
#[must_use]
pub fn tag(name: &str) -> u16 {
    (text_key(name) >> (64 - ID_TAG_BITS)) as u16
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_finaliser_is_the_published_one() {
        // First outputs of SplitMix64 for seed 1234567 (the reference implementation's published
        // test vector).
        let mut s = stream(1_234_567);
        assert_eq!(s.bits(), 6_457_827_717_110_365_317);
        assert_eq!(s.bits(), 3_203_168_211_198_807_973);
        assert_eq!(
            mix(1_234_567_u64.wrapping_add(GOLDEN)),
            6_457_827_717_110_365_317
        );
    }

    #[test]
    fn poisson_has_its_mean_and_variance() {
        // 200 000 draws, seed 3: mean and variance within 4 standard errors (sqrt(m/n); sqrt((m + 2
        // m^2)/n)).
        for mean in [0.3, 2.0, 40.0] {
            let mut s = stream(3);
            let n = 200_000;
            let draws: Vec<f64> = (0..n).map(|_| f64::from(s.poisson(mean))).collect();
            let m = draws.iter().sum::<f64>() / f64::from(n);
            let v = draws.iter().map(|d| (d - m) * (d - m)).sum::<f64>() / f64::from(n);
            assert!(
                (m - mean).abs() < 4.0 * (mean / f64::from(n)).sqrt(),
                "mean {m} of {mean}"
            );
            let v_error = ((mean + 2.0 * mean * mean) / f64::from(n)).sqrt();
            assert!((v - mean).abs() < 4.0 * v_error, "variance {v} of {mean}");
        }
    }

    #[test]
    fn neighbouring_cells_share_nothing() {
        // 65 536 cells: keys all differ, and each of the 64 bits is set in half of them (5 sigma of
        // a fair coin).
        let mut keys: Vec<u64> = (-128..128)
            .flat_map(|x| (-128..128).map(move |z| cell_key(pass_key(1, "a"), x, z)))
            .collect();
        for bit in 0..64 {
            let set = keys.iter().filter(|k| *k >> bit & 1 == 1).count() as f64;
            assert!(
                (set - 32_768.0).abs() < 5.0 * 128.0,
                "bit {bit} set {set} times"
            );
        }
        keys.sort_unstable();
        keys.dedup();
        assert_eq!(keys.len(), 65_536, "two cells share a key");
    }
}
