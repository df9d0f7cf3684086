//! What lies far off: the air before it, and the ground beyond what is dressed.
//!
//! Koschmieder, "Theorie der horizontalen Sichtweite", 1924: contrast against the sky of the horizon
//! falls as exp(-3.912 d / V), to 2 % at the visibility V.

use glam::{FloatExt, Vec3A};

use super::light::Sky;
use super::soil::BareGround;
use super::world::TracedKit;
use crate::layout::{Layout, Tints};
use crate::optics::Camera;
use crate::scene::Mood;

/// Contrast that is just seen, as Koschmieder has it: ln 0.02.
const JUST_SEEN: f32 = 3.912;

/// Visibility in metres: clear air 20 km, under clouds and at dusk 10 km (the ranges of the
/// international code: clear 10 to 20 km, very clear beyond; from memory).
fn visibility(mood: Mood) -> f32 {
    match mood {
        Mood::Sun | Mood::GoldenHour | Mood::Night => 20_000.0,
        Mood::Overcast | Mood::Dusk => 10_000.0,
        Mood::Even => f32::INFINITY,
    }
}

/// From this share of the camera's far limit the bare ground takes the colour of the dressed one:
/// pieces end at the limit, and colour that began there would be a line.
const FADES_FROM: f32 = 0.7;
/// Most of the ground that what is dressed is taken to cover beyond the limit.
const MOST_COVER: f32 = 0.95;

/// What lies far off.
#[derive(Debug, Clone, Copy)]
pub(super) struct Distance {
    /// Height of the lens over the ground, metres.
    above: f32,
    /// Farthest depth of the dressing, metres.
    limit: f32,
    /// Share of light that a metre of air takes.
    thick: f32,
    /// Albedo of bare ground, and of what lies on it; its cover.
    bare: Vec3A,
    dressed: Vec3A,
    cover: f32,
}

impl Distance {
    /// Beyond the far limit of `camera`, which is `above` metres over the ground.
    pub(super) fn new(
        (layout, tints): (&Layout, &Tints),
        kit: &TracedKit,
        (camera, above): (&Camera, f64),
        bare: BareGround,
        mood: Mood,
    ) -> Self {
        // Leaves that hang are not on the ground
        let lies = |index: usize| {
            layout
                .passes
                .get(index)
                .is_none_or(|p| p.tally.shade.is_none())
        };
        let (mut sum, mut area) = (Vec3A::ZERO, 0.0);
        let lying = layout.instances.iter();
        for instance in lying.filter(|i| lies(usize::from(i.pass))) {
            let share = instance.diameter * instance.diameter;
            let tint = tints.tint(instance).map_or(Vec3A::ONE, Vec3A::from);
            sum += kit.mean_color(usize::from(instance.piece)) * tint * share;
            area += share;
        }
        let tallies = layout.passes.iter().map(|p| &p.tally);
        let cover: f64 = tallies
            .filter(|t| t.shade.is_none())
            .map(|t| if t.carpet.is_some() { 1.0 } else { t.cover })
            .sum();
        Self {
            above: above.max(0.0) as f32,
            limit: camera.far as f32,
            thick: JUST_SEEN / visibility(mood),
            bare: bare.mean_color(),
            dressed: if area > 0.0 { sum / area } else { Vec3A::ZERO },
            cover: if area > 0.0 {
                (cover as f32).min(MOST_COVER)
            } else {
                0.0
            },
        }
    }

    /// The colour of bare ground `metres` from the lens, `bare` where nothing lies.
    pub(super) fn ground(&self, bare: Vec3A, metres: f32) -> Vec3A {
        if metres < FADES_FROM * self.limit {
            return bare;
        }
        let fade = metres.smoothstep(FADES_FROM * self.limit, self.limit);
        bare.lerp(self.dressed, fade * self.cover)
    }

    /// Light through `metres` of air, from what is seen in `direction`.
    pub(super) fn hazed(&self, sky: &Sky, direction: Vec3A, light: Vec3A, metres: f32) -> Vec3A {
        let through = libm::expf(-self.thick * metres);
        light * through + sky.horizon(direction) * (1.0 - through)
    }

    /// Radiance of what is seen under the horizon where the ground's mesh has ended: level ground
    /// as far as the ray goes.
    pub(super) fn beyond(&self, sky: &Sky, direction: Vec3A) -> Vec3A {
        let metres = self.above / (-direction.y).max(1e-6);
        let albedo = self.bare.lerp(self.dressed, self.cover);
        self.hazed(sky, direction, sky.on_level_ground() * albedo, metres)
    }
}
