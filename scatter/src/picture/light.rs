//! Sun and sky: how much light comes from where.
//!
//! Illuminances after Gillette, Pierpoint and Treado, "A general illuminance model for daylight
//! availability", 1984 (the IES figures); distribution over the sky after Darula and Kittler, "CIE
//! general sky standard defining luminance distributions", 2002 (types 12, clear, and 1, overcast);
//! all from memory. Radiance is in klx per steradian (luminance), coloured so that the luminance is
//! kept.

use glam::{DVec3, Vec3A};

use super::frame::Basis;
use crate::scene::{Light, Mood};

/// Radius of a lamp's glowing ball, metres: the globe of a small lantern.
const LAMP_RADIUS: f32 = 0.02;

/// How many times brighter than the moon the lamp may be, half a metre from it, before the exposure
/// goes by the lamp: one stop, as what it hangs by is nearer.
const LAMP_OVER_MOON: f32 = 2.0;

/// Angular radius of the sun's disc, radians: half of 1923 arc seconds (mean over the year).
const SUN_RADIUS: f32 = 0.5 * 1923.0 / 206_264.8;

/// Parameters of a CIE general sky: gradation a, b and indicatrix c, d, e.
type Cie = [f32; 5];
/// CIE type 12, "CIE standard clear sky, low illuminance turbidity".
const CLEAR: Cie = [-1.0, -0.32, 10.0, -3.0, 0.45];
/// CIE type 1, "CIE standard overcast sky": the zenith three times as bright as the horizon.
const OVERCAST: Cie = [4.0, -0.7, 0.0, -1.0, 0.0];

/// Luminance of linear sRGB (ITU-R BT.709).
#[inline]
pub(super) fn luminance(c: Vec3A) -> f32 {
    c.dot(Vec3A::new(0.2126, 0.7152, 0.0722))
}

/// Scales a colour to luminance 1.
fn tint(r: f32, g: f32, b: f32) -> Vec3A {
    let c = Vec3A::new(r, g, b);
    c / luminance(c)
}

/// Colour of a black body at a temperature, luminance 1: Planck's law at the middle wavelengths of
/// the primaries, with daylight of 6500 K as white.
fn glow(kelvin: f32) -> Vec3A {
    // Second radiation constant, metre kelvin
    const C2: f32 = 0.014_388;
    let planck = |metres: f32, t: f32| 1.0 / (libm::expf(C2 / (metres * t)) - 1.0);
    let [r, g, b] = [610e-9, 550e-9, 465e-9].map(|w| planck(w, kelvin) / planck(w, 6500.0));
    tint(r, g, b)
}

/// A lamp made ready for sampling.
#[derive(Debug, Clone, Copy)]
struct Glow {
    /// Relative to the lens, metres.
    place: Vec3A,
    /// Coloured, thousands of candela.
    strength: Vec3A,
}

/// Light made ready for sampling.
#[derive(Debug, Clone)]
pub(super) struct Sky {
    lamp: Option<Glow>,
    /// Towards the sun's centre.
    sun: Basis,
    /// Illuminance of a surface square to the sun, coloured; zero without a sun.
    sun_normal: Vec3A,
    cie: Cie,
    /// Luminance per unit of the relative distribution.
    scale: f32,
    zenith_tint: Vec3A,
    horizon_tint: Vec3A,
    mood: Mood,
    /// Mean radiance of the upper half, weighted by the cosine.
    ambient: Vec3A,
}

impl Sky {
    /// The sky of `light`, seen from `origin`.
    pub(super) fn new(light: &Light, origin: DVec3) -> Self {
        let lamp = light.lamp.map(|lamp| Glow {
            place: (lamp.position - origin).as_vec3a(),
            strength: glow(lamp.kelvin as f32) * (lamp.candela * 1e-3) as f32,
        });
        let direction = light.sun_direction.normalize_or(DVec3::Y).as_vec3a();
        let sine = direction.y.max(0.0);
        let up = direction.y > 0.0;
        // Air mass (Kasten and Young 1989), sea level
        let elevation_deg = libm::asinf(sine).to_degrees();
        let air_mass = 1.0 / (sine + 0.50572 * libm::powf(elevation_deg + 6.07995, -1.6364));
        // Scattering takes more of the blue: optical depths of clean air and a little haze at 610,
        // 550 and 465 nm
        let through = |depth: f32| libm::expf(-depth * air_mass);
        let sun_tint = tint(through(0.11), through(0.155), through(0.265));
        let (sun_lux, sky_lux, cie, zenith_tint, horizon_tint) = match light.mood {
            Mood::Sun => (
                127.5 * libm::expf(-0.21 * air_mass),
                0.8 + 15.5 * sine.sqrt(),
                CLEAR,
                // About 25 000 K overhead, 9 000 K above the horizon
                tint(0.47, 0.67, 1.0),
                tint(0.76, 0.87, 1.0),
            ),
            Mood::Overcast => (
                0.0,
                0.3 + 21.0 * sine,
                OVERCAST,
                tint(0.93, 0.97, 1.0),
                tint(0.96, 0.98, 1.0),
            ),
            // Full moon 0.25 lx at its highest against a starry sky with airglow; seen blue (rods:
            // Purkinje)
            Mood::Night => (
                0.25e-3 * libm::expf(-0.21 * air_mass),
                0.03e-3,
                CLEAR,
                tint(0.30, 0.50, 1.0),
                tint(0.42, 0.62, 1.0),
            ),
            Mood::Even => (0.0, 0.0, [0.0; 5], Vec3A::ONE, Vec3A::ONE),
        };
        let sun_tint = if light.mood == Mood::Night {
            tint(0.55, 0.75, 1.0)
        } else {
            sun_tint
        };
        let mut sky = Self {
            lamp,
            sun: Basis::around(direction),
            sun_normal: if up { sun_tint * sun_lux } else { Vec3A::ZERO },
            cie,
            scale: 1.0,
            zenith_tint,
            horizon_tint,
            mood: light.mood,
            ambient: Vec3A::ONE,
        };
        if light.mood != Mood::Even {
            let lux = luminance(sky.horizontal());
            sky.scale = sky_lux / lux;
            sky.ambient = sky.horizontal() / std::f32::consts::PI;
        }
        sky
    }

    /// Illuminance of level ground from the sky without the sun, by a midpoint sum.
    fn horizontal(&self) -> Vec3A {
        const RINGS: u32 = 48;
        const SECTORS: u32 = 96;
        let mut sum = Vec3A::ZERO;
        for i in 0..RINGS {
            // Equal steps of sin^2 are equal parts of the cosine-weighted hemisphere
            let s2 = (i as f32 + 0.5) / RINGS as f32;
            let (s, y) = (s2.sqrt(), (1.0 - s2).sqrt());
            for j in 0..SECTORS {
                let a = (j as f32 + 0.5) / SECTORS as f32 * std::f32::consts::TAU;
                let (sin, cos) = libm::sincosf(a);
                sum += self.radiance(Vec3A::new(s * cos, y, s * sin));
            }
        }
        sum * (std::f32::consts::PI / (RINGS * SECTORS) as f32)
    }

    /// Radiance from direction `d` (unit), the sun's disc left out. Below the horizon: the horizon,
    /// dimmed as by dull ground.
    #[inline]
    pub(super) fn radiance(&self, d: Vec3A) -> Vec3A {
        if self.mood == Mood::Even {
            return Vec3A::ONE;
        }
        let [a, b, c, dd, e] = self.cie;
        // The exponent runs away at the horizon: stop at one degree
        let y = d.y.max(0.0175);
        let gradation = 1.0 + a * libm::expf(b / y);
        let cos_sun = d.dot(self.sun.z).clamp(-1.0, 1.0);
        let indicatrix = if c == 0.0 {
            1.0
        } else {
            let chi = libm::acosf(cos_sun);
            1.0 + c * (libm::expf(dd * chi) - libm::expf(dd * std::f32::consts::FRAC_PI_2))
                + e * cos_sun * cos_sun
        };
        // Air is whiter along the longer way through it
        let white = (1.0 - y) * (1.0 - y) * (1.0 - y);
        let color = self.zenith_tint.lerp(self.horizon_tint, white);
        let below = if d.y < 0.0 { 0.35 } else { 1.0 };
        color * (gradation * indicatrix * self.scale * below)
    }

    /// Mean radiance of the sky.
    #[inline]
    pub(super) fn ambient(&self) -> Vec3A {
        self.ambient
    }

    /// A direction to the sun's disc and its illuminance on a surface square to it; none without a
    /// sun.
    #[inline]
    pub(super) fn sun(&self, random: [f32; 2]) -> Option<(Vec3A, Vec3A)> {
        if self.sun_normal == Vec3A::ZERO {
            return None;
        }
        let [x, y] = super::frame::disc(random);
        let d = Vec3A::new(x * SUN_RADIUS, y * SUN_RADIUS, 1.0);
        Some((self.sun.world(d).normalize(), self.sun_normal))
    }

    /// From `point`, the way to a place on the lamp (not a unit vector) and its illuminance on a
    /// surface square to it.
    #[inline]
    pub(super) fn lamp(&self, point: Vec3A, random: [f32; 2]) -> Option<(Vec3A, Vec3A)> {
        let lamp = self.lamp?;
        let way = lamp.place - point;
        let distance = way.length();
        // Inside the glowing ball there is nothing to light
        if distance <= LAMP_RADIUS {
            return None;
        }
        let [x, y] = super::frame::disc(random);
        let basis = Basis::around(way / distance);
        let aside = Vec3A::new(x * LAMP_RADIUS, y * LAMP_RADIUS, 0.0);
        Some((
            way + basis.world(aside),
            lamp.strength / (distance * distance),
        ))
    }

    /// Towards the sun's centre.
    pub(super) fn sun_centre(&self) -> Vec3A {
        self.sun.z
    }

    /// Factor on radiance for the picture: an incident meter with its dome half up and half towards
    /// the lens (`axis`) makes a white card 1. A fixed rule, so that takes compare.
    pub(super) fn exposure(&self, axis: Vec3A) -> f32 {
        // A dome weighs light by (1 + cosine) / 2 of its angle
        let sun = luminance(self.sun_normal) * 0.5 * (1.0 + self.sun.z.dot(axis));
        let white = sun / std::f32::consts::PI + luminance(self.ambient);
        // Half a metre from the lamp
        let lamp = self.lamp.map_or(0.0, |l| luminance(l.strength) / 0.25);
        let white = white.max(lamp / std::f32::consts::PI / LAMP_OVER_MOON);
        let key = match self.mood {
            Mood::Sun => 1.0,
            Mood::Overcast => 0.9,
            // Night is kept dark: a stop and a half under
            Mood::Night => 0.35,
            Mood::Even => return 1.0,
        };
        key / white
    }
}
