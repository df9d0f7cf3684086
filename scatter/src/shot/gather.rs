//! Where a pass gathers: fields from 0 to 1 that multiply.

use std::fmt;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::de::{self, Deserializer, Visitor};
use serde::{Deserialize, Serialize, Serializer};

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
    Near(Reach),
    /// Away from the hero or from pieces of an earlier pass.
    ClearOf(Reach),
    /// In the gaps between pieces of an earlier pass.
    Between(Reach),
    /// As strong as an image says.
    Mask(Mask),
}

impl Gather {
    /// The earlier pass, or `hero`, that the field refers to.
    #[must_use]
    pub fn refers_to(&self) -> Option<&str> {
        match self {
            Self::Near(r) | Self::ClearOf(r) | Self::Between(r) => Some(&r.what),
            _ => None,
        }
    }
}

/// Patches from fractal noise.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Patches {
    /// Length of the largest patches, 1 mm to 100 km.
    #[schemars(schema_with = "crate::units::positive_length")]
    pub feature: Length,
    /// Share of the ground at full strength, 0 to 1.
    #[schemars(range(min = 0.0, max = 1.0))]
    pub fill: f64,
    /// Strength of each finer octave over the one before: 0 (smooth) to 1 (broken). Default 0.5.
    #[serde(default = "default_roughness")]
    #[schemars(range(min = 0.0, max = 1.0))]
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

/// The smallest diameter that a relation looks at: a number is a share of the asking piece's own diameter, a text is
/// a length.
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
        json_schema!({
            "description": SMALLEST_FORM,
            "anyOf": [{ "type": "number", "exclusiveMinimum": 0, "maximum": 1000 }, text]
        })
    }
}
