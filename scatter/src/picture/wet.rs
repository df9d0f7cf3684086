//! Where it is wet, and what that does to a surface: a film of water over it, darker and glossier.
//!
//! Albedo after Lekner and Dorf 1988 (`color::wet`), with a front reflection of its own over it
//! (refractive index 1.33). How the film is spread is by eye.

use glam::{DVec2, FloatExt, Vec3A};

use super::noise::fractal;
use super::surface::ShadingPoint;
use crate::brief::Wet;
use crate::color::{self, WATER_F0};
use crate::scene::Finish;

/// What is wet at a place.
#[derive(Debug, Clone, Copy)]
pub(super) struct WetPlace {
    wet: Wet,
    /// See [`Finish::puddles`].
    puddles: Option<f64>,
}

/// A place that may be wet.
#[derive(Debug, Clone, Copy)]
pub(super) struct WetSpot {
    /// World x and z.
    pub(super) plan: DVec2,
    /// World y.
    pub(super) height: f64,
    /// How far below the mean about it the ground there is, metres, where puddles are asked for.
    pub(super) hollow: f64,
    /// How far over the ground it is, metres.
    pub(super) over: f64,
    /// How far the mesh looks up, -1..1.
    pub(super) up: f32,
    /// Side of what is looked at, metres.
    pub(super) footprint: f32,
}

/// Water on a surface.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct WaterFilm {
    /// Share of the surface that is wet, 0..1.
    pub(super) cover: f32,
    /// Whether it stands: how level and smooth the water is, 0..1.
    pub(super) pool: f32,
}

/// Roughness of a film that follows what it lies on: a width of reflection (its square) of 0.07,
/// within the 0.02 to 0.1 of wet stone (from memory).
const FILM_ROUGHNESS: f32 = 0.26;
/// The same of standing water, as smooth as surfaces here can be.
const POOL_ROUGHNESS: f32 = 0.15;
/// How much of the small relief a film fills: it rounds it (by eye).
const FILLED: f32 = 0.45;
/// Wet soil over what its albedo says: light goes deeper into what is porous, where more of it is
/// lost (Twomey, Bohren and Mergenthaler 1986: the direction; 0.8 to 1 as a range, from memory).
const POROUS: f32 = 0.9;
/// Standard deviation of the noise that dew lies by, as measured.
const DEW_NOISE: f32 = 0.23;
/// How far round a puddle the ground is damp, as a depth of the hollow, metres (by eye).
const RIM: f64 = 0.004;

impl WetPlace {
    /// That of a place, if anything is wet there.
    pub(super) fn of(finish: &Finish) -> Option<Self> {
        finish.wet.map(|wet| Self {
            wet,
            puddles: finish.puddles,
        })
    }

    /// Whether there are puddles: then a spot needs its hollow.
    pub(super) fn has_puddles(&self) -> bool {
        self.puddles.is_some()
    }

    /// The water at a spot.
    pub(super) fn film(&self, spot: &WetSpot) -> WaterFilm {
        let finest = f64::from(spot.footprint.max(0.0004)) * 2.0;
        // Where a surface stands up, the front runs over it as over the ground at its foot
        let broad = fractal(spot.plan, 0.07, finest, 0.6, 21).value;
        // Water dries in patches of 1 to 5 mm (from memory)
        let patch = fractal(
            spot.plan + DVec2::splat(0.37 * spot.height),
            0.005,
            finest,
            0.6,
            22,
        );
        let patch = patch.value;
        let mut cover = 0.0_f32;
        if let Some(level) = self.wet.level {
            let above = (spot.height - level) as f32;
            let top = (self.wet.ragged as f32) * (0.55 + 0.8 * broad + 0.25 * patch).max(0.05);
            let up = if self.wet.ragged > 0.0 {
                above.smoothstep(1.02 * top, 0.75 * top)
            } else {
                f32::from(above <= 0.0)
            };
            cover = cover.max(if above <= 0.0 { 1.0 } else { up });
        }
        if self.wet.dew > 0.0 {
            // As many patches as are asked for: the noise's quantile there, as if it were normal
            // (0.6 of the logit is about the probit)
            let dew = self.wet.dew as f32;
            let much = DEW_NOISE * 0.6 * libm::logf(dew / (1.0 - dew).max(1e-6));
            let much = much + 0.9 * broad + 0.5 * patch;
            let open = spot.up.smoothstep(-0.25, 0.15);
            cover = cover.max(much.smoothstep(-0.06, 0.06) * open);
        }
        let mut pool = 0.0;
        if let Some(depth) = self.puddles {
            // The water's own level is that far below the mean about it
            let water = (spot.hollow - depth - spot.over) as f32;
            let rim = RIM as f32 * (0.8 + 1.2 * broad + 0.5 * patch).max(0.1);
            cover = cover.max(water.smoothstep(-rim, -0.4 * rim));
            pool = water.smoothstep(0.0, 0.0006) * f32::from(spot.over <= 0.0);
        }
        WaterFilm { cover, pool }
    }
}

impl WaterFilm {
    /// What is lit where this film lies on `dry`, which is `of_ground` or not; `plain` is the mesh's
    /// own normal.
    pub(super) fn over(self, dry: ShadingPoint, plain: Vec3A, of_ground: bool) -> ShadingPoint {
        // Metal takes no water in
        let cover = self.cover * (1.0 - dry.metallic);
        if cover <= 0.0 {
            return dry;
        }
        // The film's own reflection is taken off when it is lit
        let wet = |base: f32| color::wet(base) / (1.0 - WATER_F0);
        let base = dry.base;
        let mut under = Vec3A::new(wet(base.x), wet(base.y), wet(base.z));
        if of_ground {
            under *= POROUS;
        }
        let smooth = FILM_ROUGHNESS.lerp(POOL_ROUGHNESS, self.pool);
        let filled = dry.normal.lerp(plain, FILLED * cover);
        let level = filled.lerp(Vec3A::Y, self.pool);
        ShadingPoint {
            base: base.lerp(under, cover),
            roughness: dry.roughness.lerp(smooth, cover),
            wet: cover,
            normal: level.normalize_or(dry.normal),
            ..dry
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn place(wet: Wet) -> WetPlace {
        WetPlace { wet, puddles: None }
    }

    /// A spot of level ground.
    fn spot(k: u32, height: f64) -> WetSpot {
        WetSpot {
            plan: DVec2::new(0.013 * f64::from(k % 50), 0.017 * f64::from(k / 50)),
            height,
            hollow: 0.0,
            over: 0.0,
            up: 1.0,
            footprint: 0.0005,
        }
    }

    /// Mean cover over 2500 spots of a square of 65 by 85 cm.
    fn mean(place: &WetPlace, height: f64) -> f32 {
        let covers = (0..2500).map(|k| place.film(&spot(k, height)).cover);
        covers.sum::<f32>() / 2500.0
    }

    const DRY: Wet = Wet {
        level: None,
        ragged: 0.03,
        hollows: 0.0,
        dew: 0.0,
    };

    #[test]
    fn a_band_is_wet_below_and_dry_above_with_a_ragged_top_between() {
        let band = place(Wet {
            level: Some(0.1),
            ..DRY
        });
        assert_eq!(mean(&band, 0.1), 1.0);
        assert_eq!(mean(&band, 0.145), 0.0);
        let between = mean(&band, 0.115);
        assert!((0.2..0.8).contains(&between), "{between}");
    }

    #[test]
    fn dew_wets_about_the_share_that_is_asked_for_and_nothing_that_looks_down() {
        for dew in [0.25, 0.5, 0.75, 1.0] {
            let wetted = place(Wet { dew, ..DRY });
            let got = mean(&wetted, 0.0);
            assert!((f64::from(got) - dew).abs() < 0.12, "{dew}: {got}");
            let below = WetSpot {
                up: -0.5,
                ..spot(3, 0.0)
            };
            assert_eq!(wetted.film(&below).cover, 0.0);
        }
    }
}
