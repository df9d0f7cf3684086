//! The fields of a pass that need nothing but the world, multiplied.

use glam::FloatExt;

use super::Graded;
use super::along::LineField;
use super::grade::{Grading, MOST_CROWD};
use crate::brief::{Field, Pass};
use crate::ground::Ground;
use crate::noise::Fractal;
use crate::random::{join, text_key};

/// Patches fade out over this share of the ground that they do not fill.
const PATCH_EDGE: f64 = 0.3;
/// Slopes fade over this angle at either end, radians: 3 degrees.
const SLOPE_EDGE: f64 = 0.052_36;

/// The fields of a pass that depend on the place alone.
#[derive(Debug, Clone, Default)]
pub struct Gathering {
    fields: Vec<PlaceField>,
    grading: Option<Grading>,
}

#[derive(Debug, Clone)]
enum PlaceField {
    Patches { noise: Fractal, fill: f64 },
    Slope { from: f64, to: f64 },
    Crests { radius: f64, low: f64, high: f64 },
    Hollows { radius: f64, low: f64, high: f64 },
    Along(LineField),
}

impl PlaceField {
    /// Whether it looks at one place alone.
    fn is_cheap(&self) -> bool {
        match self {
            Self::Patches { .. } | Self::Slope { .. } | Self::Along(_) => true,
            Self::Crests { .. } | Self::Hollows { .. } => false,
        }
    }

    /// Its strength at a place in metres, 0..=1.
    fn at(&self, ground: &Ground, x: f64, z: f64) -> f64 {
        match self {
            Self::Patches { noise, fill } => patch(noise.share(noise.at(x, z)[0]), *fill),
            Self::Slope { from, to } => {
                let angle = libm::acos(ground.normal(x, z).y.clamp(-1.0, 1.0));
                rise(angle, from - SLOPE_EDGE, *from) * (1.0 - rise(angle, *to, to + SLOPE_EDGE))
            }
            Self::Crests { radius, low, high } => {
                rise(ground.above_mean(x, z, *radius), *low, *high)
            }
            Self::Hollows { radius, low, high } => {
                1.0 - rise(ground.above_mean(x, z, *radius), *low, *high)
            }
            Self::Along(field) => field.at(x, z),
        }
    }
}

impl Gathering {
    /// The fields of a pass whose streams have the key `key`, but for those that refer to other
    /// passes or heroes, and for its images.
    #[must_use]
    pub fn new(pass: &Pass, key: u64, ground: &Ground) -> Self {
        let mut all = Self::default();
        for field in &pass.fields {
            match field {
                Field::Patches {
                    name,
                    feature,
                    fill,
                    roughness,
                } => all.fields.push(PlaceField::Patches {
                    noise: Fractal::new(join(key, text_key(name)), *feature, *roughness),
                    fill: *fill,
                }),
                Field::Slope { from, to } => all.fields.push(PlaceField::Slope {
                    from: *from,
                    to: *to,
                }),
                // A plane has neither hollows nor crests: the field says nothing there
                Field::Crests { radius } if ground.has_relief() => {
                    let [low, high] = ground.crest_range(*radius);
                    all.fields.push(PlaceField::Crests {
                        radius: *radius,
                        low,
                        high,
                    });
                }
                Field::Hollows { radius } if ground.has_relief() => {
                    let [low, high] = ground.crest_range(*radius);
                    all.fields.push(PlaceField::Hollows {
                        radius: *radius,
                        low,
                        high,
                    });
                }
                Field::Crests { .. } | Field::Hollows { .. } => {}
                Field::Grade { radius, ratio } => {
                    all.grading = Grading::new(ground, *radius, *ratio, &pass.sizes);
                }
                Field::Along(along) => {
                    all.fields
                        .extend(LineField::new(along, ground).map(PlaceField::Along));
                }
                Field::Related(_) | Field::Mask(_) => {}
            }
        }
        all
    }

    /// Whether the fields are 1 everywhere and sizes are not graded.
    #[must_use]
    pub fn is_flat(&self) -> bool {
        self.fields.is_empty() && self.grading.is_none()
    }

    /// How sizes are graded at a place in metres, for a diameter in metres.
    #[must_use]
    pub fn graded(&self, ground: &Ground, x: f64, z: f64, diameter: f64) -> Graded {
        self.grading
            .as_ref()
            .map_or(Graded::EVEN, |g| g.at(ground, x, z, diameter))
    }

    /// How a diameter (metres) is graded from the lowest ground to the highest; empty where sizes
    /// are not graded.
    #[must_use]
    pub fn grades(&self, diameter: f64) -> Vec<Graded> {
        self.grading
            .as_ref()
            .map_or_else(Vec::new, |g| g.all(diameter))
    }

    /// Maximum factor, at least 1, by which grading can raise the crowd of larger pieces over the
    /// mean crowd.
    #[must_use]
    pub fn most_crowd(&self) -> f64 {
        self.grading.as_ref().map_or(1.0, |_| MOST_CROWD)
    }

    /// Product of the fields at a place in metres, 0..=1.
    #[must_use]
    pub fn at(&self, ground: &Ground, x: f64, z: f64) -> f64 {
        // At most places the cheap ones already say that nothing is wanted; the others look at the
        // ground all round
        let cheap = self.fields.iter().filter(|f| f.is_cheap());
        let mut product = 1.0;
        for field in cheap.chain(self.fields.iter().filter(|f| !f.is_cheap())) {
            product *= field.at(ground, x, z);
            if product <= 0.0 {
                return 0.0;
            }
        }
        product
    }
}

/// Strength of patches that fill a share of the ground, where `share` of the ground has weaker
/// noise.
fn patch(share: f64, fill: f64) -> f64 {
    let from = 1.0 - fill;
    if from <= 0.0 {
        1.0
    } else {
        rise(share, from * (1.0 - PATCH_EDGE), from)
    }
}

/// 0 up to `low`, 1 from `high` on, smooth between.
fn rise(value: f64, low: f64, high: f64) -> f64 {
    // Also of a range without width, such as that of ground without crests
    if value >= high {
        return 1.0;
    }
    value.smoothstep(low, high)
}
