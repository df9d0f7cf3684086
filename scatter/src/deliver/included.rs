//! What surrounds the pieces in a scene: cameras, ground, heroes and light, as far as the shot asks
//! for them.

use glam::{DQuat, DVec3};

use super::{materials, terrain};
use crate::ground::TOLERANCE;
use crate::kit::Part;
use crate::scene::{Lamp, Mood, Prop, Scene};
use crate::shot::Include;

/// Everything that a scene file holds except the pieces.
#[derive(Debug, Clone, Default)]
pub struct Included<'a> {
    /// Whether the layout's cameras are in it.
    pub cameras: bool,
    /// Ground and heroes.
    pub props: Vec<Prop<'a>>,
    /// What the ground among them is made of.
    pub ground: Option<GroundFigures>,
    /// The sun, or by night the moon.
    pub sun: Option<DistantLight>,
    /// The lamp, if the shot places it and it burns.
    pub lamp: Option<Lamp>,
}

/// How finely the delivered ground is made.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GroundFigures {
    /// Triangles.
    pub triangles: u64,
    /// Maximum distance from the ground that pieces lie on, in pixels of the nearest camera; 0
    /// where the triangles are those of the shot's own file.
    pub tolerance: f64,
}

impl GroundFigures {
    /// What to tell where the budget did not allow the usual tolerance.
    #[must_use]
    pub fn warning(&self) -> Option<String> {
        (self.tolerance > TOLERANCE).then(|| {
            format!(
                "the delivered ground strays by up to {:.2} pixels from the one that pieces lie on, \
                 not {TOLERANCE}: finer, it would have more than the {} triangles that it may have",
                self.tolerance, self.triangles
            )
        })
    }
}

/// The sun, or by night the moon, as a distant light.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DistantLight {
    /// `sun` or `moon`.
    pub name: &'static str,
    /// From the light to the world: it shines along its local -z.
    pub rotation: DQuat,
    /// Illuminance of a surface square to it, lux.
    pub lux: f64,
}

/// Illuminance by the sun above the air, square to its rays, lux; optical depth of the clear sky:
/// Gillette, Pierpoint and Treado, "A general illuminance model for daylight availability", 1984
/// (figures from memory).
const SUN_LUX: f64 = 127_500.0;
const OPTICAL_DEPTH: f64 = 0.21;
/// Illuminance by a full moon at its highest, lux: common practice, no source.
const MOON_LUX: f64 = 0.25;
/// Smallest sine of the elevation for which the path through the air is computed: 3 degrees, below
/// which the plain secant is far off.
const LOWEST_SINE: f64 = 0.05;

impl<'a> Included<'a> {
    /// The parts of a scene that are asked for.
    ///
    /// With the sun comes the lamp, if the shot places one. An overcast sky has neither, nor has dusk.
    #[must_use]
    pub fn new(scene: &'a Scene, asked: &[Include]) -> Self {
        let mut included = Self::default();
        for what in asked {
            match what {
                Include::Cameras => included.cameras = true,
                Include::Ground => {
                    let material = materials::ground(&scene.finish);
                    if let Some((prop, figures)) = terrain::prop(scene, material) {
                        included.props.insert(0, prop);
                        included.ground = Some(figures);
                    }
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
            Mood::Sun | Mood::GoldenHour => ("sun", SUN_LUX),
            Mood::Night => ("moon", MOON_LUX),
            Mood::Overcast | Mood::Dusk | Mood::Even => return,
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

    /// Whether it holds nothing apart from cameras.
    pub(super) fn is_empty(&self) -> bool {
        self.props.is_empty() && self.sun.is_none() && self.lamp.is_none()
    }
}
