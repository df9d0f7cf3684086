//! A shot as a scene: its ground, heroes and light, ready for any of its layouts.

use glam::DVec3;

use super::{GroundLook, Lamp, Light, Mood, Prop, Scene, Terrain};
use crate::ground::Ground;
use crate::hero::Hero;
use crate::layout::{Dresser, Layout};
use crate::optics::Camera;
use crate::shot::{self, Shot};
use crate::view::toward_sun;

/// All of a shot's scene but the layout.
#[derive(Debug)]
pub struct Setting<'a> {
    ground: &'a Ground,
    props: Vec<Prop<'a>>,
    look: GroundLook,
    light: Light,
}

impl<'a> Setting<'a> {
    /// The setting of a shot that `dresser` was made for.
    #[must_use]
    pub fn new(shot: &Shot, dresser: &'a Dresser<'_>) -> Self {
        let props = dresser.heroes().iter().map(|hero| Prop {
            parts: &hero.parts,
            world_from_prop: hero.world_from_hero,
        });
        Self {
            ground: dresser.ground(),
            props: props.collect(),
            look: shot.ground.look.into(),
            light: light(shot, dresser),
        }
    }

    /// The scene with a layout's pieces.
    #[must_use]
    pub fn scene<'b>(&'b self, layout: &'b Layout) -> Scene<'b> {
        Scene {
            layout,
            heroes: &self.props,
            ground: Some(self.ground),
            look: self.look,
            light: self.light,
        }
    }
}

impl Terrain for Ground {
    fn height(&self, x: f64, z: f64) -> f64 {
        Self::height(self, x, z)
    }
}

impl From<shot::Look> for GroundLook {
    fn from(look: shot::Look) -> Self {
        match look {
            shot::Look::Soil => Self::Soil,
            shot::Look::Sand => Self::Sand,
            shot::Look::Gravel => Self::Gravel,
            shot::Look::Rock => Self::Rock,
            shot::Look::Litter => Self::Litter,
        }
    }
}

/// The shot's light.
fn light(shot: &Shot, dresser: &Dresser<'_>) -> Light {
    let [azimuth, elevation] = shot.light.direction();
    let (mood, lamp) = match shot.light.mood {
        shot::Mood::Sun => (Mood::Sun, None),
        shot::Mood::Overcast => (Mood::Overcast, None),
        shot::Mood::Night => {
            let lamp = shot.light.lamp.map_or_else(
                || beside(&dresser.cameras()[0], dresser.heroes(), dresser.ground()),
                |lamp| Lamp {
                    position: DVec3::from_array(lamp.at.map(crate::units::Length::metres)),
                    candela: lamp.candela,
                    kelvin: lamp.kelvin,
                },
            );
            (Mood::Night, Some(lamp))
        }
    };
    Light {
        sun_direction: toward_sun(azimuth, elevation),
        mood,
        lamp,
    }
}

/// How far over and beside a hero its lamp hangs, metres: an arm's length, as one would hold it.
const LAMP_OVER: f64 = 0.3;
const LAMP_BESIDE: f64 = 0.3;

/// A lamp beside the first hero, or beside what the first camera looks at, to the left of the lens
/// and a little towards it.
fn beside(camera: &Camera, heroes: &[Hero], ground: &Ground) -> Lamp {
    let right = camera.rotation * DVec3::X;
    let back = camera.rotation * DVec3::Z;
    let mut left = DVec3::new(-right.x, 0.0, -right.z) + 0.5 * DVec3::new(back.x, 0.0, back.z);
    left = left.normalize_or(DVec3::NEG_X);
    let corners = heroes.first().map(|hero| {
        let points = hero.parts.iter().flat_map(|p| &p.mesh.positions);
        points.fold(
            (DVec3::splat(f64::INFINITY), DVec3::splat(f64::NEG_INFINITY)),
            |(low, high), p| {
                let p = hero.world_from_hero.transform_point3(p.as_dvec3());
                (low.min(p), high.max(p))
            },
        )
    });
    let (place, reach) = match corners {
        Some((low, high)) => {
            let middle = 0.5 * (low + high);
            let half = 0.5 * libm::hypot(high.x - low.x, high.z - low.z);
            (DVec3::new(middle.x, high.y, middle.z), half)
        }
        None => {
            // Where the middle of the frame meets the level of the ground below the lens
            let p = camera.position;
            let over = (p.y - ground.height(p.x, p.z)).max(0.0);
            let sight = -back;
            let far = camera.focus.unwrap_or(1.0);
            let way = if sight.y < -1e-3 {
                (over / -sight.y).min(far)
            } else {
                far
            };
            let at = p + sight * way;
            (DVec3::new(at.x, ground.height(at.x, at.z), at.z), 0.0)
        }
    };
    Lamp {
        position: place + left * (reach + LAMP_BESIDE) + DVec3::Y * LAMP_OVER,
        candela: shot::DEFAULT_CANDELA,
        kelvin: shot::DEFAULT_KELVIN,
    }
}
