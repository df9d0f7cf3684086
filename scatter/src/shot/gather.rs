//! Where a pass gathers: fields from 0 to 1 that multiply.

use std::fmt;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::de::{self, Deserializer, Visitor};
use serde::{Deserialize, Serialize, Serializer};
use serde_json::json;

use super::bounds::{DIAMETERS, GRADE, HEIGHTS, SHARE, SMALLEST, key_pattern};
use super::lines::Along;
use super::mask::Mask;
use super::scene::default_roughness;
use crate::units::{Angle, Length};

/// One field, written as an object with one key.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Gather {
    /// In patches of fractal noise.
    Patches(Patches),
    /// On slopes of some steepness.
    Slope(Slope),
    /// Where the ground lies under its mean height nearby.
    Hollows(Surround),
    /// Where the ground lies over its mean height nearby.
    Crests(Surround),
    /// Close to the hero or to pieces of an earlier pass.
    Near(Near),
    /// Away from the hero or from pieces of an earlier pass.
    ClearOf(Reach),
    /// In the gaps between pieces of an earlier pass.
    Between(Reach),
    /// On the sheltered side of the hero or of pieces of an earlier pass, where litter drifts.
    LeeOf(LeeOf),
    /// Along a line of the ground, on one side of it, or between two.
    Along(Along),
    /// Sizes graded by the ground's shape: fines in hollows, coarse pieces on crests. At most one
    /// in a pass.
    Grade(Grade),
    /// As strong as an image says.
    Mask(Mask),
}

impl Gather {
    /// The earlier pass, or `hero`, that the field refers to.
    #[must_use]
    pub fn refers_to(&self) -> Option<&str> {
        match self {
            Self::Near(n) => Some(&n.what),
            Self::ClearOf(r) | Self::Between(r) => Some(&r.what),
            Self::LeeOf(l) => Some(&l.what),
            _ => None,
        }
    }
}

/// Patches from fractal noise.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Patches {
    /// What tells them from other patches of the pass, 1 to 64 of a-z 0-9 - _: their random streams
    /// hang on it. Default their number among the patches of the pass that have no name.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(regex(pattern = key_pattern("")), default)]
    pub name: Option<String>,
    /// Length of the largest patches, 1 mm to 100 km.
    #[schemars(schema_with = "crate::units::positive_length")]
    pub feature: Length,
    /// Share of the ground at full strength, 0 to 1.
    #[schemars(range(min = SHARE.least, max = SHARE.most))]
    pub fill: f64,
    /// Strength of each finer octave over the one before: 0 (smooth) to 1 (broken). Default 0.5.
    #[serde(default = "default_roughness")]
    #[schemars(range(min = SHARE.least, max = SHARE.most))]
    pub roughness: f64,
}

/// Full strength where the slope angle lies between two limits.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Slope {
    /// Least slope angle, 0 to 90 deg.
    pub from: Angle,
    /// Greatest slope angle, at least `from`, to 90 deg.
    pub to: Angle,
}

/// Height against the mean height nearby.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Surround {
    /// Radius that the mean is taken over, 1 mm to 1 km.
    #[schemars(schema_with = "crate::units::positive_length")]
    pub radius: Length,
}

/// Distance to the hero or to pieces of an earlier pass.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Reach {
    /// `hero`, or the name of an earlier pass.
    pub what: String,
    /// Distance from the outline in plan, at least 0, to 1 km. Default 0.
    #[serde(default)]
    #[schemars(schema_with = "crate::units::length_from_zero")]
    pub within: Length,
    /// Smallest pieces of that pass that count. Default 0.5: half the asking piece's own diameter.
    #[serde(default)]
    pub smallest: Smallest,
}

/// Close to the hero or to pieces of an earlier pass: strength 1 at the edge, falling off with the
/// distance from it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Near {
    /// `hero`, or the name of an earlier pass.
    pub what: String,
    /// Distance from the outline in plan at which the field has fallen off, at least 0, to 1 km.
    /// Default 0.
    #[serde(default)]
    #[schemars(schema_with = "crate::units::length_from_zero")]
    pub within: Length,
    /// The same distance in diameters of what is referred to, 0 to 1000; it adds to `within`. A
    /// hero's diameter is that of the disc of its plan area. Default 0.
    #[serde(default)]
    #[schemars(range(min = DIAMETERS.least, max = DIAMETERS.most))]
    pub diameters: f64,
    /// How the field falls off. Default smooth.
    #[serde(default)]
    pub fade: Fade,
    /// Strength beyond the distance, 0 to 1. Default 0.
    #[serde(default)]
    #[schemars(range(min = SHARE.least, max = SHARE.most))]
    pub elsewhere: f64,
    /// Smallest pieces of that pass that count. Default 0.5: half the asking piece's own diameter.
    #[serde(default)]
    pub smallest: Smallest,
}

/// How a field falls off with distance.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Fade {
    /// Slowly at first, fastest half-way.
    #[default]
    Smooth,
    /// Not at all up to the distance: a ring.
    Even,
    /// Fastest at first, with a long tail: a halo.
    Steep,
}

/// The sheltered side of what stands in the wind. Shelter reaches as far as the wind's wake, which
/// goes with the height over the ground.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct LeeOf {
    /// `hero`, or the name of an earlier pass.
    pub what: String,
    /// Azimuth that the wind comes from, clockwise from -z seen from above.
    pub wind_from: Angle,
    /// Where shelter ends, in heights of what shelters, above 0, to 100. Default 6.
    #[serde(default = "default_heights")]
    #[schemars(range(max = HEIGHTS.most), extend("exclusiveMinimum" = HEIGHTS.above))]
    pub heights: f64,
    /// Strength in the open, 0 to 1. Default 0.2.
    #[serde(default = "default_open")]
    #[schemars(range(min = SHARE.least, max = SHARE.most))]
    pub elsewhere: f64,
    /// Smallest pieces of that pass that count. Default 0.5: half the asking piece's own diameter.
    #[serde(default)]
    pub smallest: Smallest,
}

/// Drifts behind stones and posts thin out within five to eight times their height (common
/// practice, no source).
fn default_heights() -> f64 {
    6.0
}

/// A fifth of the litter stays in the open (by eye).
fn default_open() -> f64 {
    0.2
}

/// Sizes graded by height against the mean height nearby. The pass's size law over the whole ground
/// and its cover at each place stay as they are: only who lies where changes.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Grade {
    /// Radius that the mean height is taken over, 1 mm to 1 km.
    #[schemars(schema_with = "crate::units::positive_length")]
    pub radius: Length,
    /// Median size in hollows (the lowest fifth of the ground) over that on crests (the highest
    /// fifth), above 0, to 1; as a pebble count on a grid gives it, so each piece counts by its
    /// cover. A size law too narrow for it gives what it can. Default 0.5.
    #[serde(default = "default_ratio")]
    #[schemars(range(max = GRADE.most), extend("exclusiveMinimum" = GRADE.above))]
    pub ratio: f64,
}

/// Enough to be seen at a glance (by eye).
fn default_ratio() -> f64 {
    0.5
}

/// The smallest diameter that a relation looks at: a number is a share of the asking piece's own
/// diameter, a text is a length.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Smallest {
    /// Share of the asking piece's diameter, above 0, to 1000.
    Share(f64),
    /// A diameter, above zero.
    Length(Length),
}

/// Half a piece's own diameter: what is smaller gives way to it.
const DEFAULT_SHARE: f64 = 0.5;

impl Default for Smallest {
    fn default() -> Self {
        Self::Share(DEFAULT_SHARE)
    }
}

impl Smallest {
    /// The smallest diameter that counts for a piece of `diameter` metres, in metres.
    #[must_use]
    pub fn metres(self, diameter: f64) -> f64 {
        match self {
            Self::Share(share) => share * diameter,
            Self::Length(length) => length.metres(),
        }
    }
}

const SMALLEST_FORM: &str = "a number (a share of the asking piece's own diameter, such as 0.5) or a length as text, such as \"4 mm\"";

impl Serialize for Smallest {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        match self {
            Self::Share(share) => serializer.serialize_f64(*share),
            Self::Length(length) => length.serialize(serializer),
        }
    }
}

impl<'de> Deserialize<'de> for Smallest {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Typed;
        impl Visitor<'_> for Typed {
            type Value = Smallest;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str(SMALLEST_FORM)
            }

            fn visit_str<E: de::Error>(self, text: &str) -> Result<Smallest, E> {
                Length::parse(text)
                    .map(Smallest::Length)
                    .map_err(|_| E::custom(format!("found {text:?}; expected {SMALLEST_FORM}")))
            }

            fn visit_f64<E: de::Error>(self, share: f64) -> Result<Smallest, E> {
                Ok(Smallest::Share(share))
            }

            fn visit_u64<E: de::Error>(self, share: u64) -> Result<Smallest, E> {
                Ok(Smallest::Share(share as f64))
            }

            fn visit_i64<E: de::Error>(self, share: i64) -> Result<Smallest, E> {
                Ok(Smallest::Share(share as f64))
            }
        }
        deserializer.deserialize_any(Typed)
    }
}

impl JsonSchema for Smallest {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        "Smallest".into()
    }

    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        let length = crate::units::positive_length(generator);
        let text = length.pointer("/anyOf/1").cloned().unwrap_or_default();
        let number = json!({
            "type": "number",
            "exclusiveMinimum": SMALLEST.above,
            // Whole, as a person writes it
            "maximum": SMALLEST.most as u64
        });
        json_schema!({
            "description": SMALLEST_FORM,
            "anyOf": [number, text]
        })
    }
}
