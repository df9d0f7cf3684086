//! Hills and hollows from fractal noise.

use crate::noise::Fractal;
use crate::random::text_key;

/// Share of the ground beyond each end of the height that a relief asks for: one place in a
/// thousand is lower, one higher.
const TAIL: f64 = 0.001;

/// Noise as height.
#[derive(Debug, Clone)]
pub(super) struct ReliefNoise {
    noise: Fractal,
    /// Metres of height per unit of noise.
    scale: f64,
}

impl ReliefNoise {
    /// Of a height from the low ground to the high and a length of the largest hills, metres, and
    /// the strength of each octave over the one before.
    pub(super) fn new(height: f64, feature: f64, roughness: f64) -> Self {
        let noise = Fractal::new(text_key("ground"), feature, roughness);
        Self {
            scale: height / span(&noise),
            noise,
        }
    }

    /// Height, and its gain per metre along x and z.
    pub(super) fn at(&self, x: f64, z: f64) -> [f64; 3] {
        self.noise.at(x, z).map(|v| self.scale * v)
    }

    /// Height alone.
    pub(super) fn height(&self, x: f64, z: f64) -> f64 {
        self.scale * self.noise.value(x, z)
    }

    /// Upper bound of its slope, height over distance.
    pub(super) fn steepest(&self) -> f64 {
        self.scale * self.noise.steepest()
    }

    /// Distance of samples between which the height is nowhere farther than `off` metres from the
    /// triangle through them.
    pub(super) fn spacing(&self, off: f64) -> f64 {
        self.noise.spacing(off / self.scale)
    }

    pub(super) fn above_mean(&self, x: f64, z: f64, radius: f64) -> f64 {
        self.noise.above_mean(x, z, radius) / span(&self.noise)
    }

    /// How far it can rise or fall, metres.
    pub(super) fn bound(&self) -> f64 {
        self.scale * self.noise.bound()
    }
}

/// From the low ground to the high, in units of noise.
fn span(noise: &Fractal) -> f64 {
    noise.quantile(1.0 - TAIL) - noise.quantile(TAIL)
}
