//! Solid noise: values at a place in the piece, the same on every machine.
//!
//! Gradient noise after Perlin, "Improving noise", 2002 (the `noise` crate's, which uses no
//! transcendental function); octaves are summed here, with a plain product for their weights.

use glam::DVec3;
use noise::{NoiseFn, Perlin};

/// Gradient noise and its sums.
pub(crate) struct PerlinNoise(Perlin);

impl PerlinNoise {
    pub(crate) fn new(seed: u32) -> Self {
        Self(Perlin::new(seed))
    }

    /// One octave, about -1..1, zero on the integer lattice.
    pub(crate) fn at(&self, p: DVec3) -> f64 {
        self.0.get([p.x, p.y, p.z])
    }

    /// Fractional Brownian sum, about -1..1: each octave has twice the frequency and `gain` times
    /// the amplitude.
    pub(crate) fn fractal(&self, p: DVec3, octaves: u32, gain: f64) -> f64 {
        let (mut sum, mut weight, mut total, mut place) = (0.0, 1.0, 0.0, p);
        for _ in 0..octaves {
            sum += weight * self.at(place);
            total += weight;
            weight *= gain;
            // An offset between octaves keeps their zero lattices apart.
            place = place * 2.0 + DVec3::new(17.31, -9.17, 5.77);
        }
        sum / total
    }
}
