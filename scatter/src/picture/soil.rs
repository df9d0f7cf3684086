//! What bare ground looks like close up: grains down to the pixel, patches of moisture and colour.
//!
//! Albedos (linear, diffuse), from memory of published ranges: dry sand 0.30-0.40, dry soil 0.15-0.25, wet soil
//! 0.05-0.10, granite 0.20-0.40, dead leaf 0.15-0.30; wet ground is about half as bright.

use glam::{DVec2, Vec2, Vec3A};

use super::noise::{Grain, Grains, Relief, Shape, fractal};
use super::sample::{mix, mix2, unit};

/// What the ground between the pieces is made of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum GroundLook {
    /// Brown crumbs and fine earth.
    #[default]
    Soil,
    /// Grains of about a millimetre.
    Sand,
    /// Small stones in sand.
    Gravel,
    /// Bare bedrock.
    Rock,
    /// Broken leaf and needle mould.
    Litter,
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
    /// Surface roughness, 0..1.
    pub(super) roughness: f32,
}

/// Sizes of grain and their colours.
struct Recipe {
    /// From the coarsest.
    layers: &'static [Layer],
    dry: [f32; 3],
    wet: [f32; 3],
    /// Spread of brightness between grains (standard deviation of the logarithm, about).
    spread: f32,
    /// Relief under the grains: feature and height in metres.
    lumps: [f32; 2],
}

/// One size of grain in a recipe.
struct Layer {
    grains: Grains,
    /// Colour of the grains.
    color: [f32; 3],
    /// Second colour, and the share of grains that have it.
    stranger: ([f32; 3], f32),
}

const fn layer(
    size: f64,
    fill: f32,
    dome: f32,
    color: [f32; 3],
    stranger: ([f32; 3], f32),
) -> Layer {
    Layer {
        grains: Grains {
            size,
            fill,
            dome,
            shape: Shape::Round,
            salt: (size * 1e6) as u32,
        },
        color,
        stranger,
    }
}

/// The same with flat chips.
const fn chips(
    size: f64,
    fill: f32,
    dome: f32,
    color: [f32; 3],
    stranger: ([f32; 3], f32),
) -> Layer {
    let mut made = layer(size, fill, dome, color, stranger);
    made.grains.shape = Shape::Chip;
    made
}

const SOIL: Recipe = Recipe {
    layers: &[
        layer(
            0.017,
            0.10,
            0.55,
            [0.135, 0.098, 0.068],
            ([0.26, 0.23, 0.19], 0.15),
        ),
        layer(
            0.008,
            0.34,
            0.60,
            [0.145, 0.104, 0.071],
            ([0.24, 0.20, 0.16], 0.08),
        ),
        layer(
            0.0036,
            0.55,
            0.60,
            [0.150, 0.108, 0.074],
            ([0.30, 0.27, 0.23], 0.06),
        ),
        layer(
            0.0016,
            0.75,
            0.60,
            [0.150, 0.108, 0.074],
            ([0.34, 0.31, 0.26], 0.06),
        ),
    ],
    dry: [0.155, 0.113, 0.078],
    wet: [0.070, 0.048, 0.032],
    spread: 0.22,
    lumps: [0.06, 0.006],
};

const SAND: Recipe = Recipe {
    layers: &[
        layer(
            0.011,
            0.035,
            0.5,
            [0.30, 0.27, 0.23],
            ([0.16, 0.15, 0.145], 0.4),
        ),
        layer(
            0.0042,
            0.07,
            0.5,
            [0.33, 0.285, 0.225],
            ([0.17, 0.15, 0.13], 0.3),
        ),
        layer(
            0.0019,
            0.45,
            0.55,
            [0.36, 0.305, 0.225],
            ([0.15, 0.12, 0.10], 0.10),
        ),
        layer(
            0.0009,
            0.9,
            0.55,
            [0.37, 0.31, 0.23],
            ([0.17, 0.13, 0.10], 0.10),
        ),
    ],
    dry: [0.36, 0.30, 0.22],
    wet: [0.19, 0.15, 0.105],
    spread: 0.20,
    lumps: [0.11, 0.004],
};

const GRAVEL: Recipe = Recipe {
    layers: &[
        layer(
            0.019,
            0.40,
            0.5,
            [0.235, 0.24, 0.24],
            ([0.30, 0.26, 0.21], 0.22),
        ),
        layer(
            0.010,
            0.62,
            0.5,
            [0.225, 0.23, 0.23],
            ([0.31, 0.28, 0.24], 0.25),
        ),
        layer(
            0.0055,
            0.75,
            0.5,
            [0.22, 0.22, 0.215],
            ([0.36, 0.34, 0.31], 0.18),
        ),
        layer(
            0.0026,
            0.85,
            0.55,
            [0.22, 0.21, 0.195],
            ([0.36, 0.33, 0.28], 0.15),
        ),
        layer(
            0.0012,
            0.9,
            0.55,
            [0.22, 0.205, 0.185],
            ([0.36, 0.33, 0.28], 0.12),
        ),
    ],
    dry: [0.20, 0.185, 0.16],
    wet: [0.105, 0.097, 0.085],
    spread: 0.30,
    lumps: [0.09, 0.005],
};

const ROCK: Recipe = Recipe {
    layers: &[
        layer(
            0.0032,
            0.55,
            0.05,
            [0.27, 0.26, 0.25],
            ([0.10, 0.10, 0.105], 0.25),
        ),
        layer(
            0.0018,
            0.7,
            0.05,
            [0.25, 0.235, 0.22],
            ([0.36, 0.34, 0.32], 0.2),
        ),
    ],
    dry: [0.26, 0.25, 0.235],
    wet: [0.12, 0.115, 0.11],
    spread: 0.12,
    lumps: [0.05, 0.005],
};

const LITTER: Recipe = Recipe {
    layers: &[
        chips(
            0.034,
            0.30,
            0.10,
            [0.175, 0.115, 0.062],
            ([0.24, 0.18, 0.11], 0.20),
        ),
        chips(
            0.021,
            0.50,
            0.12,
            [0.155, 0.10, 0.055],
            ([0.22, 0.16, 0.095], 0.20),
        ),
        chips(
            0.012,
            0.70,
            0.16,
            [0.13, 0.085, 0.048],
            ([0.21, 0.155, 0.10], 0.15),
        ),
        chips(
            0.0065,
            0.75,
            0.22,
            [0.105, 0.07, 0.042],
            ([0.19, 0.14, 0.09], 0.12),
        ),
        layer(
            0.003,
            0.8,
            0.45,
            [0.09, 0.06, 0.038],
            ([0.17, 0.13, 0.085], 0.10),
        ),
    ],
    dry: [0.085, 0.058, 0.038],
    wet: [0.045, 0.032, 0.022],
    spread: 0.35,
    lumps: [0.07, 0.008],
};

impl GroundLook {
    fn recipe(self) -> &'static Recipe {
        match self {
            Self::Soil => &SOIL,
            Self::Sand => &SAND,
            Self::Gravel => &GRAVEL,
            Self::Rock => &ROCK,
            Self::Litter => &LITTER,
        }
    }

    /// Diffuse albedo of the ground as a whole, for the exposure.
    pub(super) fn mean_albedo(self) -> f32 {
        let [r, g, b] = self.recipe().dry;
        super::light::luminance(Vec3A::new(r, g, b))
    }

    /// Lumps under the grains, heights in metres.
    fn lumps(self, p: DVec2, finest: f64) -> Relief {
        let recipe = self.recipe();
        let [feature, height] = recipe.lumps;
        let n = fractal(p, f64::from(feature), finest, 0.5, 11);
        Relief {
            value: n.value * height,
            slope: n.slope * height,
        }
    }

    /// Height of grains and of lumps down to 2 cm, metres: for shadows between grains.
    pub(super) fn height(self, p: DVec2, footprint: f32) -> f32 {
        let top = self
            .recipe()
            .layers
            .iter()
            .take(3)
            .filter(|l| l.grains.size as f32 > 1.5 * footprint)
            .filter_map(|l| l.grains.top(p))
            .fold(0.0_f32, |top, g| top.max(g.height));
        self.lumps(p, 0.02).value + top
    }

    /// The surface at `p` (world x and z), seen with pixels `footprint` metres wide. Grains smaller than the pixel are
    /// left out: they are the pixel's colour.
    pub(super) fn at(self, p: DVec2, footprint: f32) -> Soil {
        let recipe = self.recipe();
        let finest = f64::from(footprint.max(0.0004)) * 2.0;

        // Patches of moisture and of tone, 0.1 to 1 m
        let patch = fractal(p, 0.9, finest.max(0.02), 0.6, 3).value;
        let tone = fractal(p, 0.45, finest.max(0.03), 0.55, 5).value;
        let wet = smooth(0.0, 0.8, patch);

        // The topmost grain, coarse over fine
        let lumps = self.lumps(p, finest);
        let mut top: Option<(Grain, &Layer)> = None;
        for layer in recipe.layers {
            if (layer.grains.size as f32) < 1.5 * footprint {
                break;
            }
            if let Some(g) = layer.grains.top(p)
                && top.is_none_or(|(t, _)| g.height > t.height)
            {
                top = Some((g, layer));
            }
        }
        let dry = Vec3A::from(recipe.dry);
        let (mut color, slope, height) = match top {
            Some((g, layer)) => {
                let (stranger, share) = layer.stranger;
                let base = if unit(mix2(g.id, 1)) < share {
                    stranger
                } else {
                    layer.color
                };
                let s = recipe.spread * spread(g.id);
                // Deep between grains less light gets in than the smooth mesh knows
                let deep = 0.70 + 0.30 * smooth(0.0, 0.2 * layer.grains.size as f32, g.height);
                (Vec3A::from(base) * ((1.0 + s) * deep), g.slope, g.height)
            }
            None => (dry * 0.75, Vec2::ZERO, 0.0),
        };
        // Every surface is mottled a little within
        let mottle = fractal(p, 0.006, finest, 0.7, 7);
        color *= 1.0 + 0.12 * mottle.value + 0.14 * tone;
        let dark = Vec3A::from(recipe.wet) / dry;
        color *= Vec3A::ONE.lerp(dark, wet * 0.7);
        Soil {
            albedo: color.clamp(Vec3A::splat(0.02), Vec3A::splat(0.8)),
            slope: slope + lumps.slope + mottle.slope * 0.0002,
            height: height + self.lumps(p, 0.02).value,
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

/// 0 below `from`, 1 above `to`, smooth between.
fn smooth(from: f32, to: f32, x: f32) -> f32 {
    let t = ((x - from) / (to - from)).clamp(0.0, 1.0);
    t * t * (3.0 - 2.0 * t)
}
