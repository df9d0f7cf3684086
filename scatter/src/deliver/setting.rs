//! What stands about the pieces in a scene: cameras, ground, heroes and light, as far as the shot
//! asks for them.

use std::borrow::Cow;
use std::path::Path;

use glam::{DAffine3, DQuat, DVec3};

use super::{materials, terrain};
use crate::kit::Part;
use crate::layout::Dresser;
use crate::shot::{Include, Mood, Shot};
use crate::view::toward_sun;

/// All of a scene but the pieces.
#[derive(Debug, Clone, Default)]
pub struct Setting<'a> {
    /// Whether the layout's cameras are in it.
    pub cameras: bool,
    /// Ground and heroes.
    pub props: Vec<Prop<'a>>,
    /// The sun, or by night the moon.
    pub sun: Option<Sun>,
    /// A lamp.
    pub lamp: Option<Lamp>,
}

/// A mesh that stands in the scene by itself.
#[derive(Debug, Clone)]
pub struct Prop<'a> {
    /// What it is called.
    pub name: String,
    /// Its meshes.
    pub parts: Cow<'a, [Part]>,
    /// Where it stands, metres.
    pub world_from_prop: DAffine3,
}

/// A light that is far away.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sun {
    /// `sun` or `moon`.
    pub name: &'static str,
    /// World from light: it shines along its local -z.
    pub rotation: DQuat,
    /// Illuminance of a surface square to it, lux.
    pub lux: f64,
}

/// A small lamp.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lamp {
    /// Where it hangs, metres.
    pub position: DVec3,
    /// Luminous intensity, candela.
    pub candela: f64,
    /// Colour temperature, kelvin.
    pub kelvin: f64,
}

/// Illuminance by the sun square to its rays outside the air and the clear sky's optical depth:
/// Gillette, Pierpoint and Treado, "A general illuminance model for daylight availability", 1984
/// (figures from memory).
const SUN_LUX: f64 = 127_500.0;
const OPTICAL_DEPTH: f64 = 0.21;
/// Illuminance by a full moon at its highest, lux: common practice, no source.
const MOON_LUX: f64 = 0.25;
/// Least sine of the elevation that the air's path is reckoned with: 3 degrees, below which the
/// plain secant is far off.
const LOWEST_SINE: f64 = 0.05;

impl<'a> Setting<'a> {
    /// What `shot` asks to include; `dresser` was made for it.
    ///
    /// A lamp is in it where the shot itself places one. An overcast sky has no sun.
    #[must_use]
    pub fn new(shot: &Shot, dresser: &'a Dresser<'_>) -> Self {
        let asked = |what| shot.deliver.include.contains(&what);
        let mut setting = Self {
            cameras: asked(Include::Cameras),
            ..Self::default()
        };
        if asked(Include::Ground) {
            let material = materials::ground(shot.ground.look);
            setting.props.extend(terrain::prop(dresser, material));
        }
        if asked(Include::Hero) {
            let heroes = dresser.heroes().iter().zip(&shot.hero);
            setting.props.extend(heroes.map(|(hero, named)| Prop {
                name: stem(&named.file),
                parts: Cow::Borrowed(hero.parts.as_slice()),
                world_from_prop: hero.world_from_hero,
            }));
        }
        if asked(Include::Sun) {
            setting.light(shot);
        }
        setting
    }

    fn light(&mut self, shot: &Shot) {
        let [azimuth, elevation] = shot.light.direction();
        let toward = toward_sun(azimuth, elevation);
        let (name, outside) = match shot.light.mood {
            Mood::Sun => ("sun", SUN_LUX),
            Mood::Night => ("moon", MOON_LUX),
            Mood::Overcast => return,
        };
        self.sun = Some(Sun {
            name,
            rotation: DQuat::from_rotation_arc(DVec3::NEG_Z, -toward),
            lux: outside * libm::exp(-OPTICAL_DEPTH / toward.y.max(LOWEST_SINE)),
        });
        if shot.light.mood == Mood::Night {
            self.lamp = shot.light.lamp.map(|lamp| Lamp {
                position: DVec3::from_array(lamp.at.map(crate::units::Length::metres)),
                candela: lamp.candela,
                kelvin: lamp.kelvin,
            });
        }
    }

    /// The meshes of its props.
    pub(super) fn parts(&self) -> impl Iterator<Item = &Part> {
        self.props.iter().flat_map(|p| p.parts.iter())
    }

    /// Whether there is nothing in it for a layout without cameras.
    pub(super) fn is_empty(&self) -> bool {
        self.props.is_empty() && self.sun.is_none() && self.lamp.is_none()
    }
}

/// A file's name without its ending.
fn stem(file: &str) -> String {
    let stem = Path::new(file).file_stem().unwrap_or_default();
    stem.to_string_lossy().into_owned()
}
