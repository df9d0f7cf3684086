//! Work done by hand: pieces put in their places, ground kept clear, pieces taken away.

use std::collections::HashSet;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::Shot;
use super::bounds::{CORNERS, LONG_NAME, SHARE};
use crate::units::{Angle, Length};

/// What a layout calls its pins, as it calls a pass by its name.
pub const PINS: &str = "pins";

/// A piece that was put in its place by hand. It is delivered there in every take, whatever the
/// cameras resolve. It lies on its most stable side, on the ground and on the pins before it;
/// spaced passes and what grows keep clear of it, strewn pieces lie on it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Pin {
    /// The piece: one of a kind or of a file by its name, such as `rock-03`; a kind or a file
    /// stands for its first piece. A piece of a file by its name needs a pass or a pin that names
    /// the file.
    #[schemars(length(min = LONG_NAME.least, max = LONG_NAME.most))]
    pub piece: String,
    /// Place on the plan: x, z; at most 130 km from the origin.
    pub at: [Length; 2],
    /// Intermediate axis, 0.1 mm to 100 m.
    #[schemars(schema_with = "crate::units::positive_length")]
    pub diameter: Length,
    /// Azimuth of its long axis, clockwise from -z seen from above. Default 0.
    #[serde(default)]
    pub heading: Angle,
    /// Share of its height that is sunk in the ground, 0 to 1. Default 0.2.
    #[serde(default = "default_bury")]
    #[schemars(range(min = SHARE.least, max = SHARE.most))]
    pub bury: f64,
}

/// The middle of what passes bury by themselves.
fn default_bury() -> f64 {
    0.2
}

impl Shot {
    /// Ids of the pieces that are taken away by hand.
    #[must_use]
    pub fn removed(&self) -> HashSet<u64> {
        self.remove.iter().filter_map(|text| id(text)).collect()
    }
}

/// Ground that is kept clear, on the plan: one shape, written as an object with one key.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Clear {
    /// A disc.
    Disc(Disc),
    /// A rectangle.
    Box(Rectangle),
    /// A polygon.
    Polygon(Polygon),
}

impl Clear {
    /// The passes that keep clear of it; all where none is named.
    #[must_use]
    pub fn passes(&self) -> &[String] {
        match self {
            Self::Disc(s) => &s.passes,
            Self::Box(s) => &s.passes,
            Self::Polygon(s) => &s.passes,
        }
    }
}

/// A disc on the plan.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Disc {
    /// Its middle: x, z.
    pub at: [Length; 2],
    /// Its radius, above zero, to 1 km.
    #[schemars(schema_with = "crate::units::positive_length")]
    pub radius: Length,
    /// Passes that keep clear of it. Default all.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub passes: Vec<String>,
}

/// A rectangle on the plan.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Rectangle {
    /// Its middle: x, z.
    pub at: [Length; 2],
    /// Its sides along x and z before it is turned, above zero, to 1 km.
    #[schemars(schema_with = "crate::units::positive_length_pair")]
    pub size: [Length; 2],
    /// Turn about its middle, clockwise seen from above. Default 0.
    #[serde(default)]
    pub turn: Angle,
    /// Passes that keep clear of it. Default all.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub passes: Vec<String>,
}

/// A polygon on the plan, convex or not; its sides must not cross.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Polygon {
    /// Its corners in order round it, either way: x, z; 3 to 1000.
    #[schemars(length(min = CORNERS.least, max = CORNERS.most))]
    pub corners: Vec<[Length; 2]>,
    /// Passes that keep clear of it. Default all.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub passes: Vec<String>,
}

/// The id of a piece as a layout writes it: 16 hexadecimal digits.
#[must_use]
pub fn id(text: &str) -> Option<u64> {
    let digits = text.len() == 16 && text.bytes().all(|b| b.is_ascii_hexdigit());
    digits.then(|| u64::from_str_radix(text, 16).ok()).flatten()
}
