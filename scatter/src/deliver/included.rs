//! What stands about the pieces in a scene: cameras, ground, heroes and light, as far as the shot
//! asks for them.

use glam::{DQuat, DVec3};

use super::{materials, terrain};
use crate::kit::Part;
use crate::scene::{Lamp, Mood, Prop, Scene};
use crate::shot::Include;

/// All that a scene file holds but the pieces.
#[derive(Debug, Clone, Default)]
pub struct Included<'a> {
    /// Whether the layout's cameras are in it.
    pub cameras: bool,
    /// Ground and heroes.
    pub props: Vec<Prop<'a>>,
    /// The sun, or by night the moon.
    pub sun: Option<DistantLight>,
    /// A lamp.
    pub lamp: Option<Lamp>,
}

/// A light that is far away.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DistantLight {
    /// `sun` or `moon`.
    pub name: &'static str,
    /// World from light: it shines along its local -z.
    pub rotation: DQuat,
    /// Illuminance of a surface square to it, lux.
    pub lux: f64,
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

impl<'a> Included<'a> {
    /// The parts of a scene that are asked for.
    ///
    /// A lamp is among them where the shot itself places one. An overcast sky has no sun.
    #[must_use]
    pub fn new(scene: &'a Scene, asked: &[Include]) -> Self {
        let mut included = Self::default();
        for what in asked {
            match what {
                Include::Cameras => included.cameras = true,
                Include::Ground => {
                    let material = materials::ground(scene.look);
                    let ground = terrain::prop(scene, material);
                    included.props.splice(0..0, ground);
                }
                Include::Hero => included.props.extend(scene.props()),
                Include::Sun => included.light(scene),
            }
        }
        included
    }

    fn light(&mut self, scene: &Scene) {
        let toward = scene.light.sun_direction;
        let (name, outside) = match scene.light.mood {
            Mood::Sun => ("sun", SUN_LUX),
            Mood::Night => ("moon", MOON_LUX),
            Mood::Overcast | Mood::Even => return,
        };
        self.sun = Some(DistantLight {
            name,
            rotation: DQuat::from_rotation_arc(DVec3::NEG_Z, -toward),
            lux: outside * libm::exp(-OPTICAL_DEPTH / toward.y.max(LOWEST_SINE)),
        });
        self.lamp = scene.light.lamp.filter(|_| scene.lamp_is_placed);
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
