//! How a sky's light is spread over it, the sun's disc left out: under clouds, clear, at dusk and by
//! night. Each is known up to one factor, its level, which `light.rs` sets.
//!
//! Overcast: Moon and Spencer, "Illumination from a non-uniform sky", 1942, the overcast sky of the
//! CIE. Clear: Hosek and Wilkie, "An analytic model for full spectral sky-dome radiance", 2012, with
//! the tables of the crate `hw-skymodel`. Dusk: the clear sky with the sun on the horizon, coloured
//! by what is told of civil twilight.

use std::f32::consts::PI;

use glam::Vec3A;
use hw_skymodel::rgb::{SkyParams, SkyState};

use super::light::{glow, luminance, tint};

/// Turbidity of the clear sky: 2 is mountain air, 6 haze; outdoor photographs lie from 4 to 6. The
/// sky's light is then some 1.6 to 1.9 times as blue as red.
const TURBIDITY: f32 = 5.0;
/// What the ground below sends back up into the sky: soil, stone and growth (common practice, no
/// source).
const GROUND_ALBEDO: f32 = 0.2;

/// Lowest sine of the altitude at which a sky is looked up: half a degree, as models run away at
/// the horizon.
const LOWEST: f32 = 0.009;

/// How light is spread over the sky, up to a factor.
#[derive(Debug, Clone)]
pub(super) enum Dome {
    /// The same from everywhere, from below, too: for measuring.
    Even,
    /// Clouds all over.
    Overcast,
    /// A clear day.
    Clear(ClearSky),
    /// The sun just under the horizon.
    Dusk(DuskSky),
    /// A clear night with a moon.
    Moonlit(ClearSky),
}

impl Dome {
    /// Relative radiance from direction `d` (unit) on or over the horizon.
    #[inline]
    pub(super) fn radiance(&self, d: Vec3A) -> Vec3A {
        let y = d.y.max(LOWEST);
        match self {
            Self::Even => Vec3A::ONE,
            Self::Overcast => CLOUDS * ((1.0 + 2.0 * y) / 3.0),
            Self::Clear(sky) => sky.radiance(y, sky.sun.dot(d)),
            Self::Dusk(sky) => sky.radiance(y, d),
            // Moonlight scatters as sunlight does; eyes that see by their rods see it blue
            // (Purkinje), paler through the longer way near the horizon
            Self::Moonlit(sky) => {
                let pale = (1.0 - y) * (1.0 - y) * (1.0 - y);
                let color = tint(0.30, 0.50, 1.0).lerp(tint(0.42, 0.62, 1.0), pale);
                color * luminance(sky.radiance(y, sky.sun.dot(d)))
            }
        }
    }

    /// Irradiance of level ground, by a midpoint sum.
    pub(super) fn level(&self) -> Vec3A {
        const RINGS: u32 = 64;
        const SECTORS: u32 = 128;
        let mut sum = Vec3A::ZERO;
        for i in 0..RINGS {
            // Equal steps of sin^2 are equal parts of the cosine-weighted hemisphere
            let s2 = (i as f32 + 0.5) / RINGS as f32;
            let (s, y) = (s2.sqrt(), (1.0 - s2).sqrt());
            for j in 0..SECTORS {
                let a = (j as f32 + 0.5) / SECTORS as f32 * (2.0 * PI);
                let (sin, cos) = libm::sincosf(a);
                sum += self.radiance(Vec3A::new(s * cos, y, s * sin));
            }
        }
        sum * (PI / (RINGS * SECTORS) as f32)
    }
}

/// Colour of an overcast sky: about 6800 K, luminance 1.
const CLOUDS: Vec3A = Vec3A::new(0.977, 0.999, 1.076);

/// The clear sky of Hosek and Wilkie, made ready for one place of the sun.
#[derive(Debug, Clone)]
pub(super) struct ClearSky {
    /// Towards the sun, unit, on or over the horizon.
    sun: Vec3A,
    /// Nine coefficients a channel.
    shape: [[f32; 9]; 3],
    /// Mean radiance of each channel.
    mean: Vec3A,
}

impl ClearSky {
    /// The sky with the sun at `sun` (unit); a sun under the horizon counts as on it.
    pub(super) fn new(sun: Vec3A) -> Self {
        Self::through(TURBIDITY, sun)
    }

    /// The same through air of a turbidity from 1 to 10.
    pub(super) fn through(turbidity: f32, sun: Vec3A) -> Self {
        let elevation = libm::asinf(sun.y.clamp(0.0, 1.0));
        let asked = SkyParams {
            elevation: elevation.clamp(0.0, std::f32::consts::FRAC_PI_2),
            turbidity,
            albedo: [GROUND_ALBEDO; 3],
        };
        // All three lie within what the model takes
        let (shape, mean) = SkyState::new(&asked).map_or(([0.0; 27], [0.0; 3]), |s| s.raw());
        let channel = |c: usize| std::array::from_fn(|i| shape[9 * c + i]);
        Self {
            sun,
            shape: [channel(0), channel(1), channel(2)],
            mean: Vec3A::from_array(mean),
        }
    }

    /// Relative radiance at sine `y` of the altitude, `cos_sun` being the cosine of the angle to
    /// the sun.
    #[inline]
    fn radiance(&self, y: f32, cos_sun: f32) -> Vec3A {
        let c = cos_sun.clamp(-1.0, 1.0);
        let (angle, c2, root) = (libm::acosf(c), c * c, y.sqrt());
        let channel = |[a, b, base, lobe, fall, ray, mie, zenith, g]: [f32; 9]| {
            let k = 1.0 + g * g - 2.0 * g * c;
            let around = (1.0 + c2) / (k * k.sqrt());
            let gradation = 1.0 + a * libm::expf(b / (y + 0.01));
            let sum = base + lobe * libm::expf(fall * angle) + ray * c2 + mie * around;
            gradation * (sum + zenith * root)
        };
        let [r, g, b] = self.shape.map(channel);
        (Vec3A::new(r, g, b) * self.mean).max(Vec3A::ZERO)
    }
}

/// Height to which the bright band of dusk falls to 1/e: it stands 10 to 15 degrees high (from
/// memory of accounts of civil twilight).
const BAND: f32 = 8.0 * PI / 180.0;
/// Colour temperatures of dusk overhead and in the band, kelvin (from memory: 8,000 to 15,000, and
/// orange).
const DUSK_OVERHEAD: f32 = 11_000.0;
const DUSK_BAND: f32 = 2700.0;

/// The sky while the sun is a few degrees under the horizon.
#[derive(Debug, Clone)]
pub(super) struct DuskSky {
    /// The clear sky with the sun on the horizon.
    sunset: ClearSky,
    /// How far the sun is under the horizon, radians.
    depth: f32,
    overhead: Vec3A,
    band: Vec3A,
}

impl DuskSky {
    /// The sky with the sun at `sun` (unit), under the horizon.
    pub(super) fn new(sun: Vec3A) -> Self {
        let level = Vec3A::new(sun.x, 0.0, sun.z).normalize_or(Vec3A::NEG_Z);
        Self {
            sunset: ClearSky::new(level),
            depth: libm::asinf((-sun.y).clamp(0.0, 1.0)),
            overhead: glow(DUSK_OVERHEAD),
            band: glow(DUSK_BAND),
        }
    }

    /// Relative radiance in direction `d` at sine `y` of the altitude.
    fn radiance(&self, y: f32, d: Vec3A) -> Vec3A {
        let altitude = libm::asinf(y.min(1.0));
        let toward = self.sunset.sun.dot(d);
        let light = luminance(self.sunset.radiance(y, toward));
        // The band is orange toward the sun, and half round the horizon a rest of it is left
        let facing = 0.5 + 0.5 * toward;
        let warm = libm::expf(-altitude / BAND) * facing * facing;
        // Opposite, the Earth's own shadow has risen as far as the sun has sunk
        let edge = (altitude / self.depth.max(1e-3) - 1.0).clamp(-1.0, 1.0);
        let shadow = (0.5 - 0.5 * edge) * (1.0 - facing) * (1.0 - facing);
        self.overhead.lerp(self.band, warm) * (light * (1.0 - 0.6 * shadow))
    }
}
