//! What surrounds a layout: cameras, ground, heroes and light, as data that placing, deliveries and
//! pictures share.

mod finish;

use std::borrow::Cow;
use std::sync::Arc;

use glam::{DAffine3, DVec3, Vec3Swizzles};

use crate::brief::{self, Brief, DEFAULT_CANDELA, DEFAULT_KELVIN};
use crate::ground::Ground;
use crate::hero::Hero;
use crate::kit::Part;
use crate::optics::Camera;
use crate::view::{View, toward_sun};

pub use finish::{Finish, hollow};

/// A shot without its layout. World frame, metres.
#[derive(Debug, Clone)]
pub struct Scene {
    /// The cameras; a moving one in its first frame.
    pub cameras: Vec<Camera>,
    /// What the cameras resolve, in all their frames, and where the sun stands.
    pub view: View,
    /// The ground.
    pub ground: Ground,
    /// What the place looks like beyond its shapes.
    pub finish: Finish,
    /// How far below `ground` the ground is drawn where the carpet lies on it, metres; 0 without a
    /// carpet.
    pub sunk: f64,
    /// Most triangles of the delivered ground.
    pub most_ground_triangles: usize,
    /// The heroes.
    pub heroes: Arc<Vec<Hero>>,
    /// What lights it.
    pub light: Light,
    /// Whether the shot places the lamp. If not, a lamp hangs beside the hero by night, in pictures
    /// alone.
    pub lamp_is_placed: bool,
}

/// Where the light comes from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Light {
    /// Unit vector towards the sun (by night: the moon); at dusk it points below the horizon.
    pub sun_direction: DVec3,
    /// What kind of sky.
    pub mood: Mood,
    /// The lamp, if one burns; in the scene of a brief, by night alone.
    pub lamp: Option<Lamp>,
}

/// A small warm lamp: a glowing ball that is not itself in the picture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lamp {
    /// Where it hangs in the world, metres.
    pub position: DVec3,
    /// Luminous intensity, candela.
    pub candela: f64,
    /// Colour temperature, kelvin.
    pub kelvin: f64,
}

/// Kind of sky.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum Mood {
    /// Sun in a clear sky.
    Sun,
    /// Low sun in a clear sky.
    GoldenHour,
    /// Clouds all over, no sun.
    Overcast,
    /// The sun under the horizon: a bright band in its direction, no shadows with an edge.
    Dusk,
    /// Moon in a clear night sky.
    Night,
    /// Radiance 1 from everywhere: for measuring.
    Even,
}

/// Meshes with a place of their own in the scene: the ground, a hero.
#[derive(Debug, Clone)]
pub struct Prop<'a> {
    /// Its name.
    pub name: String,
    /// Its meshes.
    pub parts: Cow<'a, [Part]>,
    /// Transform from its own frame to the world, metres.
    pub world_from_prop: DAffine3,
}

impl<'a> Prop<'a> {
    /// A mesh of a name in its place.
    #[must_use]
    pub fn new(name: impl Into<String>, parts: &'a [Part], world_from_prop: DAffine3) -> Self {
        Self {
            name: name.into(),
            parts: Cow::Borrowed(parts),
            world_from_prop,
        }
    }

    /// A hero as it stands.
    #[must_use]
    pub fn hero(hero: &'a Hero) -> Self {
        Self::new(&hero.name, &hero.parts, hero.world_from_hero)
    }
}

impl Scene {
    /// The scene of a brief.
    pub(crate) fn new(
        brief: &Brief,
        (cameras, view): (Vec<Camera>, View),
        ground: Ground,
        heroes: Arc<Vec<Hero>>,
        sunk: f64,
    ) -> Self {
        let light = &brief.light;
        let [azimuth, elevation] = light.direction;
        let asked = light.lamp.map(|lamp| Lamp {
            position: DVec3::from_array(lamp.position),
            candela: lamp.candela,
            kelvin: lamp.kelvin,
        });
        let (mood, lamp) = match light.mood {
            brief::Mood::Sun => (Mood::Sun, None),
            brief::Mood::GoldenHour => (Mood::GoldenHour, None),
            brief::Mood::Dusk => (Mood::Dusk, None),
            brief::Mood::Overcast => (Mood::Overcast, None),
            brief::Mood::Night => {
                let lamp = asked.unwrap_or_else(|| beside(&cameras[0], &heroes, &ground));
                (Mood::Night, Some(lamp))
            }
        };
        let share = brief.wet.map_or(0.0, |wet| wet.hollows);
        let middle = sighted(&cameras[0], &ground);
        let puddles = (share > 0.0)
            .then(|| finish::puddles(|x, z| ground.height(x, z), middle.xz(), share))
            .flatten();
        let finish = Finish {
            look: brief.ground.look,
            soil: brief.ground.soil,
            wet: brief.wet,
            weathering: brief.weathering,
            puddles,
        };
        Self {
            light: Light {
                sun_direction: toward_sun(azimuth, elevation),
                mood,
                lamp,
            },
            lamp_is_placed: asked.is_some(),
            cameras,
            view,
            ground,
            finish,
            sunk,
            most_ground_triangles: (brief.budget.triangles as usize).min(MOST_GROUND_TRIANGLES),
            heroes,
        }
    }

    /// The heroes as they stand.
    #[must_use]
    pub fn props(&self) -> Vec<Prop<'_>> {
        self.heroes.iter().map(Prop::hero).collect()
    }
}

/// Most triangles of the delivered ground, whatever the budget: 100 MB of them and their corners,
/// which every renderer loads.
const MOST_GROUND_TRIANGLES: usize = 4_000_000;

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
        None => (sighted(camera, ground), 0.0),
    };
    Lamp {
        position: place + left * (reach + LAMP_BESIDE) + DVec3::Y * LAMP_OVER,
        candela: DEFAULT_CANDELA,
        kelvin: DEFAULT_KELVIN,
    }
}

/// Where the middle of the frame meets the level of the ground below the lens.
fn sighted(camera: &Camera, ground: &Ground) -> DVec3 {
    let p = camera.position;
    let over = (p.y - ground.height(p.x, p.z)).max(0.0);
    let sight = camera.rotation * DVec3::NEG_Z;
    let far = camera.focus.unwrap_or(1.0);
    let way = if sight.y < -1e-3 {
        (over / -sight.y).min(far)
    } else {
        far
    };
    let at = p + sight * way;
    DVec3::new(at.x, ground.height(at.x, at.z), at.z)
}
