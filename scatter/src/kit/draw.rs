//! Draws for one grown piece: a stream keyed by kind and variant, and laws sampled by their
//! inverse.

use glam::DVec3;
use rand_xoshiro::{
    Xoshiro256PlusPlus,
    rand_core::{Rng, SeedableRng},
};

use super::Kind;
use crate::random::fnv;

/// A stream of draws. The same key gives the same stream on every machine.
#[derive(Debug, Clone)]
pub(crate) struct Draw(Xoshiro256PlusPlus);

impl Draw {
    /// The stream of one variant of a kind.
    pub(crate) fn of(kind: Kind, variant: u32) -> Self {
        let name = kind.name().bytes().chain([b'/']);
        // The generator's own seeding mixes it further
        let key = fnv(name.chain(variant.to_le_bytes()));
        Self(Xoshiro256PlusPlus::seed_from_u64(key))
    }

    /// Uniform on [0, 1).
    pub(crate) fn unit(&mut self) -> f64 {
        // 53 bits fill a double's fraction exactly.
        (self.0.next_u64() >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// Uniform on [from, to).
    pub(crate) fn range(&mut self, from: f64, to: f64) -> f64 {
        from + (to - from) * self.unit()
    }

    /// Uniform on the whole numbers from..=to.
    pub(crate) fn whole(&mut self, from: u32, to: u32) -> u32 {
        from + (self.unit() * f64::from(to - from + 1)) as u32
    }

    /// True with probability `p`.
    pub(crate) fn chance(&mut self, p: f64) -> bool {
        self.unit() < p
    }

    /// Standard logistic, within ±`limit`: bell-shaped, with a closed inverse. Standard deviation
    /// 1.81.
    pub(crate) fn bell(&mut self, limit: f64) -> f64 {
        logit(self.unit()).clamp(-limit, limit)
    }

    /// -1 or 1.
    pub(crate) fn sign(&mut self) -> f64 {
        if self.chance(0.5) { 1.0 } else { -1.0 }
    }

    /// Uniform on the unit sphere.
    pub(crate) fn direction(&mut self) -> DVec3 {
        let y = self.range(-1.0, 1.0);
        let turn = self.range(0.0, core::f64::consts::TAU);
        let flat = (1.0 - y * y).max(0.0).sqrt();
        DVec3::new(flat * libm::cos(turn), y, flat * libm::sin(turn))
    }

    /// A seed for a noise field.
    pub(crate) fn seed(&mut self) -> u32 {
        (self.0.next_u64() >> 32) as u32
    }
}

/// Quantile of the standard logistic distribution.
pub(crate) fn logit(p: f64) -> f64 {
    let p = p.clamp(1e-9, 1.0 - 1e-9);
    libm::log(p / (1.0 - p))
}
