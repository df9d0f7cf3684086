//! Sun and sky: how much light comes from where.
//!
//! Illuminances after Gillette, Pierpoint and Treado, "A general illuminance model for daylight
//! availability", 1984 (the IES figures, from memory), of dusk after the AMS glossary of
//! meteorology; how the sky spreads its light stands in `dome.rs`. Radiance is in klx per steradian
//! (luminance), coloured so that the luminance is kept, and balanced as a camera does.

use glam::{DVec3, Vec3A};

use super::dome::{ClearSky, Dome, DuskSky};
use super::frame::Basis;
use crate::scene::{Light, Mood};

/// Radius of a lamp's glowing ball, metres: the globe of a small lantern.
const LAMP_RADIUS: f32 = 0.02;

/// How many times brighter than the moon the lamp may be, half a metre from it, before the exposure
/// goes by the lamp: one stop, as what it hangs by is nearer.
const LAMP_OVER_MOON: f32 = 2.0;

/// Angular radius of the sun's disc, radians: half of 1923 arc seconds (mean over the year).
const SUN_RADIUS: f32 = 0.5 * 1923.0 / 206_264.8;

/// Luminance of linear sRGB (ITU-R BT.709).
#[inline]
pub(super) fn luminance(c: Vec3A) -> f32 {
    c.dot(Vec3A::new(0.2126, 0.7152, 0.0722))
}

/// Scales a colour to luminance 1.
pub(super) fn tint(r: f32, g: f32, b: f32) -> Vec3A {
    let c = Vec3A::new(r, g, b);
    c / luminance(c)
}

/// Colour of a black body at a temperature, luminance 1: Planck's law at the middle wavelengths of
/// the primaries, with daylight of 6500 K as white.
pub(super) fn glow(kelvin: f32) -> Vec3A {
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
    dome: Dome,
    /// Radiance for each unit of the dome's.
    scale: Vec3A,
    mood: Mood,
    /// Mean radiance of the upper half, weighted by the cosine.
    ambient: Vec3A,
}

/// Illuminance of level ground by a clear sky alone, klx (Gillette and others 1984).
fn clear_sky_klx(sine: f32) -> f32 {
    0.8 + 15.5 * sine.max(0.0).sqrt()
}

/// Illuminance of level ground at dusk, klx: 500 lx as the sun sets, a twelfth of it for each three
/// degrees that it sinks (through 585 to 410 lx and 3.5 to 2 lx at 6 degrees, AMS glossary).
fn dusk_klx(depth: f32) -> f32 {
    0.5 * libm::powf(10.0, -0.37 * depth.to_degrees())
}

/// Illuminance by the sun square to its rays, klx, through `air_mass` (Gillette and others 1984).
fn sun_klx(air_mass: f32) -> f32 {
    127.5 * libm::expf(-0.21 * air_mass)
}

/// Air mass towards a sun at this sine of its elevation, sea level (Kasten and Young 1989).
fn air_mass(sine: f32) -> f32 {
    let sine = sine.max(0.0);
    let elevation_deg = libm::asinf(sine.min(1.0)).to_degrees();
    1.0 / (sine + 0.50572 * libm::powf(elevation_deg + 6.07995, -1.6364))
}

/// Colour of the sun above the air, kelvin.
const SUN_KELVIN: f32 = 5778.0;

/// Colour of sunlight through `air_mass`, luminance 1. Scattering takes more of the blue: optical
/// depths of clean air and a little haze at 610, 550 and 465 nm.
fn sun_tint(air_mass: f32) -> Vec3A {
    let through = |depth: f32| libm::expf(-depth * air_mass);
    let above = glow(SUN_KELVIN);
    let [r, g, b] = (above * Vec3A::new(through(0.11), through(0.155), through(0.265))).to_array();
    tint(r, g, b)
}

/// White that a camera is set to for daylight, kelvin.
const DAYLIGHT_KELVIN: f32 = 5500.0;
/// How far a camera's white follows the light that it finds on level ground, from the daylight
/// setting (common practice, no source): by day all the way, to between sun and sky; less where the
/// light's colour is what is photographed; by night not at all: the moon is blue, a lamp warm.
fn follows(mood: Mood) -> f32 {
    match mood {
        Mood::Sun | Mood::Overcast => 1.0,
        Mood::GoldenHour => 0.6,
        Mood::Dusk => 0.2,
        Mood::Night | Mood::Even => 0.0,
    }
}

/// Factors on the channels that bring light to the white of a camera; they keep the luminance of
/// what is `found` on level ground.
fn white_balance(mood: Mood, found: Vec3A) -> Vec3A {
    if matches!(mood, Mood::Night | Mood::Even) {
        return Vec3A::ONE;
    }
    let follows = follows(mood);
    let found = found / luminance(found);
    let daylight = glow(DAYLIGHT_KELVIN);
    let white = Vec3A::from_array(std::array::from_fn(|c| {
        libm::powf(found[c], follows) * libm::powf(daylight[c], 1.0 - follows)
    }));
    let gains = Vec3A::ONE / white;
    gains / luminance(found * gains)
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
        let mass = air_mass(sine);
        let (sun_normal, sky_klx, dome) = match light.mood {
            Mood::Sun | Mood::GoldenHour => {
                let sun = sun_tint(mass) * sun_klx(mass);
                (
                    sun,
                    clear_sky_klx(sine),
                    Dome::Clear(ClearSky::new(direction)),
                )
            }
            Mood::Overcast => (Vec3A::ZERO, 0.3 + 21.0 * sine, Dome::Overcast),
            Mood::Dusk => {
                let depth = libm::asinf((-direction.y).clamp(0.0, 1.0));
                let dome = Dome::Dusk(DuskSky::new(direction));
                (Vec3A::ZERO, dusk_klx(depth), dome)
            }
            // Full moon 0.25 lx at its highest against a starry sky with airglow
            Mood::Night => {
                let moon = tint(0.55, 0.75, 1.0) * (0.25e-3 * libm::expf(-0.21 * mass));
                (moon, 0.03e-3, Dome::Moonlit(ClearSky::new(direction)))
            }
            Mood::Even => (Vec3A::ZERO, std::f32::consts::PI, Dome::Even),
        };
        let sun_normal = if direction.y > 0.0 {
            sun_normal
        } else {
            Vec3A::ZERO
        };
        let level = dome.level();
        let scale = sky_klx / luminance(level);
        let white = white_balance(light.mood, level * scale + sun_normal * sine);
        Self {
            lamp,
            sun: Basis::around(direction),
            sun_normal: sun_normal * white,
            dome,
            scale: white * scale,
            mood: light.mood,
            ambient: level * white * (scale / std::f32::consts::PI),
        }
    }

    /// Radiance from direction `d` (unit), the sun's disc left out. Below the horizon: the horizon,
    /// dimmed as by dull ground.
    #[inline]
    pub(super) fn radiance(&self, d: Vec3A) -> Vec3A {
        let below = if d.y < 0.0 && self.mood != Mood::Even {
            0.35
        } else {
            1.0
        };
        self.dome.radiance(d) * self.scale * below
    }

    /// Radiance of the sky where it meets the ground in a direction.
    pub(super) fn horizon(&self, d: Vec3A) -> Vec3A {
        let level = Vec3A::new(d.x, 0.0, d.z).normalize_or(Vec3A::X);
        self.dome.radiance(level) * self.scale
    }

    /// Radiance of level white ground.
    pub(super) fn on_level_ground(&self) -> Vec3A {
        self.ambient + self.sun_normal * (self.sun.z.y.max(0.0) / std::f32::consts::PI)
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
    pub(super) fn lamp(
        &self,
        point: Vec3A,
        random: impl FnOnce() -> [f32; 2],
    ) -> Option<(Vec3A, Vec3A)> {
        let lamp = self.lamp?;
        let way = lamp.place - point;
        let distance = way.length();
        // Inside the glowing ball there is nothing to light
        if distance <= LAMP_RADIUS {
            return None;
        }
        let [x, y] = super::frame::disc(random());
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
            Mood::Sun | Mood::GoldenHour => 1.0,
            Mood::Overcast => 0.9,
            // A stop under: dusk should look dim (common practice, no source)
            Mood::Dusk => 0.5,
            // Night is kept dark: a stop and a half under
            Mood::Night => 0.35,
            Mood::Even => return 1.0,
        };
        key / white
    }
}
