//! What bare ground looks like close up: grains down to the pixel, patches of moisture and colour.
//!
//! Albedos (linear, diffuse), from memory of published ranges: dry sand 0.30-0.40, dry soil
//! 0.15-0.25, wet soil 0.05-0.10, granite 0.20-0.40, dead leaf 0.15-0.30; wet ground is about half
//! as bright.

use glam::{DVec2, FloatExt, Vec2, Vec3A};

use super::noise::{GrainGrade, GrainSample, GrainShape, NoiseSample, fractal, fractal_value};
use super::sample::{mix, mix2, unit};
use crate::brief::Look;
use crate::scene::Finish;

/// What the ground between the pieces is made of, as pictures show it.
#[derive(Debug, Clone, Copy)]
pub(super) struct BareGround {
    look: Look,
    /// Factor on the look's own colours.
    tone: Vec3A,
    /// Factor on the sizes of its grains.
    coarse: f64,
}

/// The ground's surface at a place.
#[derive(Debug, Clone, Copy)]
pub(super) struct Soil {
    /// Linear diffuse albedo.
    pub(super) albedo: Vec3A,
    /// Slope of the small relief along x and z.
    pub(super) slope: Vec2,
    /// Height of the small relief, metres.
    pub(super) height: f32,
    /// What lumps under the grains have of it.
    pub(super) lumps: f32,
    /// Surface roughness, 0..1.
    pub(super) roughness: f32,
}

/// What a ground is made of: grains in grades, lying on each other and on what is between them.
struct Recipe {
    /// Spacing of each grade in metres, from the coarsest; the finest is about a pixel of a
    /// close-up.
    sizes: &'static [f64],
    /// How many of the coarsest grades are flat chips.
    chips: usize,
    /// From the coarsest grade to the finest: share of places that hold a grain.
    fill: [f32; 2],
    /// Height over width.
    dome: [f32; 2],
    /// Colour of the grains.
    color: [[f32; 3]; 2],
    /// Second colour of grains.
    stranger: [[f32; 3]; 2],
    /// Share of the grains that have it.
    strangers: [f32; 2],
    /// What is between the grains, dry and wet.
    dry: [f32; 3],
    wet: [f32; 3],
    /// Spread of brightness between grains (standard deviation of the logarithm, about).
    spread: f32,
    /// Relief under the grains: feature and height in metres.
    lumps: [f32; 2],
}

const SOIL: Recipe = Recipe {
    sizes: &[0.017, 0.008, 0.0036, 0.0016, 0.0007],
    chips: 0,
    fill: [0.10, 0.85],
    dome: [0.55, 0.60],
    color: [[0.135, 0.098, 0.068], [0.150, 0.108, 0.074]],
    stranger: [[0.26, 0.23, 0.19], [0.34, 0.31, 0.26]],
    strangers: [0.15, 0.06],
    dry: [0.155, 0.113, 0.078],
    wet: [0.070, 0.048, 0.032],
    spread: 0.22,
    lumps: [0.06, 0.006],
};

const SAND: Recipe = Recipe {
    sizes: &[0.011, 0.0042, 0.0019, 0.0009, 0.0005],
    chips: 0,
    fill: [0.035, 0.9],
    dome: [0.50, 0.55],
    color: [[0.30, 0.27, 0.23], [0.37, 0.31, 0.23]],
    stranger: [[0.16, 0.15, 0.145], [0.17, 0.13, 0.10]],
    strangers: [0.40, 0.10],
    dry: [0.36, 0.30, 0.22],
    wet: [0.19, 0.15, 0.105],
    spread: 0.20,
    lumps: [0.11, 0.004],
};

const GRAVEL: Recipe = Recipe {
    sizes: &[0.019, 0.010, 0.0055, 0.0026, 0.0012, 0.0006],
    chips: 0,
    fill: [0.40, 0.9],
    dome: [0.50, 0.55],
    color: [[0.235, 0.24, 0.24], [0.22, 0.205, 0.185]],
    stranger: [[0.30, 0.26, 0.21], [0.36, 0.33, 0.28]],
    strangers: [0.24, 0.12],
    dry: [0.20, 0.185, 0.16],
    wet: [0.105, 0.097, 0.085],
    spread: 0.30,
    lumps: [0.09, 0.005],
};

const ROCK: Recipe = Recipe {
    sizes: &[0.0032, 0.0018, 0.0009],
    chips: 0,
    fill: [0.55, 0.7],
    dome: [0.05, 0.05],
    color: [[0.27, 0.26, 0.25], [0.25, 0.235, 0.22]],
    stranger: [[0.10, 0.10, 0.105], [0.36, 0.34, 0.32]],
    strangers: [0.25, 0.2],
    dry: [0.26, 0.25, 0.235],
    wet: [0.12, 0.115, 0.11],
    spread: 0.12,
    lumps: [0.05, 0.005],
};

const LITTER: Recipe = Recipe {
    sizes: &[0.034, 0.021, 0.012, 0.0065, 0.003, 0.0012],
    chips: 4,
    fill: [0.30, 0.8],
    dome: [0.10, 0.50],
    color: [[0.175, 0.115, 0.062], [0.085, 0.057, 0.036]],
    stranger: [[0.24, 0.18, 0.11], [0.16, 0.12, 0.08]],
    strangers: [0.20, 0.10],
    dry: [0.085, 0.058, 0.038],
    wet: [0.045, 0.032, 0.022],
    spread: 0.35,
    lumps: [0.07, 0.008],
};

impl Recipe {
    /// Interpolates between the values of the coarsest grade and of the finest.
    fn along(&self, grade: usize, [coarse, fine]: [f32; 2]) -> f32 {
        let steps = self.sizes.len().saturating_sub(1).max(1);
        coarse + (fine - coarse) * grade as f32 / steps as f32
    }

    /// The same between two colours.
    fn color(&self, grade: usize, [coarse, fine]: [[f32; 3]; 2]) -> Vec3A {
        Vec3A::from(coarse).lerp(Vec3A::from(fine), self.along(grade, [0.0, 1.0]))
    }

    /// The grades that a pixel of this side shows, coarse to fine; `coarse` times their own sizes.
    fn shown(&self, footprint: f32, coarse: f64) -> impl Iterator<Item = (usize, GrainGrade)> {
        let grades = self.sizes.iter().enumerate();
        grades
            .map(move |(grade, size)| (grade, size * coarse))
            .take_while(move |(_, size)| *size as f32 >= 1.5 * footprint)
            .map(|(grade, size)| {
                let grains = GrainGrade {
                    size,
                    fill: self.along(grade, self.fill),
                    dome: self.along(grade, self.dome),
                    shape: if grade < self.chips {
                        GrainShape::Chip
                    } else {
                        GrainShape::Round
                    },
                    salt: (size * 1e6) as u32,
                };
                (grade, grains)
            })
    }
}

impl BareGround {
    /// That of a place.
    pub(super) fn of(finish: &Finish) -> Self {
        let plain = Self {
            look: finish.look,
            tone: Vec3A::ONE,
            coarse: 1.0,
        };
        let Some(soil) = finish.soil else {
            return plain;
        };
        let recipe = plain.recipe();
        let over = |albedo: [f32; 3]| Vec3A::from(albedo) / Vec3A::from(recipe.dry);
        // Most of what is seen is of the grade one finer than the middle
        let own = recipe.sizes[recipe.sizes.len() / 2];
        Self {
            tone: soil.albedo.map_or(Vec3A::ONE, over),
            coarse: soil.grain.map_or(1.0, |grain| grain / own),
            ..plain
        }
    }

    fn recipe(self) -> &'static Recipe {
        match self.look {
            // Brown crumbs and fine earth
            Look::Soil => &SOIL,
            // Grains of about a millimetre
            Look::Sand => &SAND,
            // Small stones in sand
            Look::Gravel => &GRAVEL,
            // Bare bedrock
            Look::Rock => &ROCK,
            // Broken leaf and needle mould
            Look::Litter => &LITTER,
        }
    }

    /// Diffuse albedo of the ground as a whole, for the exposure.
    pub(super) fn mean_albedo(self) -> f32 {
        let [r, g, b] = self.recipe().dry;
        super::light::luminance(Vec3A::new(r, g, b) * self.tone)
    }

    /// Diffuse albedo of the ground as a whole.
    pub(super) fn mean_color(self) -> Vec3A {
        Vec3A::from_array(self.recipe().dry) * self.tone
    }

    /// Lumps under the grains, heights in metres.
    fn lumps(self, p: DVec2, finest: f64) -> NoiseSample {
        let recipe = self.recipe();
        let [feature, height] = recipe.lumps;
        let n = fractal(p, f64::from(feature), finest, 0.5, 11);
        NoiseSample {
            value: n.value * height,
            slope: n.slope * height,
        }
    }

    /// Height of lumps down to 2 cm, metres: finer ones don't shade each other.
    pub(super) fn lumps_height(self, p: DVec2) -> f32 {
        let [feature, height] = self.recipe().lumps;
        fractal_value(p, f64::from(feature), 0.02, 0.5, 11) * height
    }

    /// Height of the three coarsest grades of grains that may rise above `over`, metres over the
    /// lumps: for shadows between grains.
    pub(super) fn grains_over(self, p: DVec2, over: f32, footprint: f32) -> f32 {
        let shown = self.recipe().shown(footprint, self.coarse).take(3);
        shown
            .filter(|(_, grains)| grains.tallest() > over)
            .filter_map(|(_, grains)| grains.top(p))
            .fold(0.0_f32, |top, g| top.max(g.height))
    }

    /// The colour of a stone's foot where fines of the ground cling to it, `over` times their usual
    /// height above the ground.
    pub(super) fn silted(self, base: Vec3A, p: DVec2, over: f32, footprint: f32) -> Vec3A {
        if over >= 2.0 {
            return base;
        }
        let finest = f64::from(footprint.max(0.0004)) * 2.0;
        let ragged = fractal_value(p, 0.014, finest, 0.65, 13);
        let much = 0.8 * (1.0 - (over + 1.1 * ragged).smoothstep(-0.2, 1.0));
        base.lerp(
            Vec3A::from(self.recipe().dry) * self.tone * (0.85 + 0.3 * ragged),
            much,
        )
    }

    /// The surface at `p` (world x and z), seen with pixels `footprint` metres wide. Grains smaller
    /// than the pixel are left out: they are the pixel's colour.
    pub(super) fn at(self, p: DVec2, footprint: f32) -> Soil {
        let recipe = self.recipe();
        let finest = f64::from(footprint.max(0.0004)) * 2.0;

        // Patches of moisture and of tone, 0.1 to 1 m
        let patch = fractal_value(p, 0.9, finest.max(0.02), 0.6, 3);
        let tone = fractal_value(p, 0.45, finest.max(0.03), 0.55, 5);
        let wet = patch.smoothstep(0.0, 0.8);

        // The topmost grain, coarse over fine
        let lumps = self.lumps(p, finest);
        let mut top: Option<(GrainSample, usize)> = None;
        for (grade, grains) in recipe.shown(footprint, self.coarse) {
            if let Some(g) = grains.top(p)
                && top.is_none_or(|(t, _)| g.height > t.height)
            {
                top = Some((g, grade));
            }
        }
        let dry = Vec3A::from(recipe.dry);
        let (mut color, slope, height) = match top {
            Some((g, grade)) => {
                let strange = unit(mix2(g.id, 1)) < recipe.along(grade, recipe.strangers);
                let pair = if strange {
                    recipe.stranger
                } else {
                    recipe.color
                };
                let s = recipe.spread * spread(g.id);
                // Deep between grains less light gets in than the smooth mesh knows
                let size = (recipe.sizes[grade] * self.coarse) as f32;
                let deep = 0.70 + 0.30 * g.height.smoothstep(0.0, 0.2 * size);
                (
                    recipe.color(grade, pair) * ((1.0 + s) * deep),
                    g.slope,
                    g.height,
                )
            }
            None => (dry * 0.75, Vec2::ZERO, 0.0),
        };
        // Every surface is mottled a little within
        let mottle = fractal(p, 0.006, finest, 0.7, 7);
        color *= 1.0 + 0.12 * mottle.value + 0.14 * tone;
        let dark = Vec3A::from(recipe.wet) / dry;
        let broad = self.lumps_height(p);
        color *= self.tone * Vec3A::ONE.lerp(dark, wet * 0.7);
        Soil {
            albedo: color.clamp(Vec3A::splat(0.02), Vec3A::splat(0.8)),
            slope: slope + lumps.slope + mottle.slope * 0.0002,
            height: height + broad,
            lumps: broad,
            roughness: 0.95 - 0.15 * wet,
        }
    }
}

/// About normal, mean 0, deviation 1, within 2.5 (sum of three even numbers).
fn spread(id: u32) -> f32 {
    let a = mix(id ^ 0x1b87_3593);
    let b = mix(a);
    let c = mix(b);
    2.0 * (unit(a) + unit(b) + unit(c) - 1.5)
}
