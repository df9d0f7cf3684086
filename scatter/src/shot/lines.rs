//! Lines on the ground as the document has them: tracks, tide lines, the foot of a kerb.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::bounds::LINE_POINTS;
use crate::units::Length;

/// A line on the plan.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Line {
    /// Places that it goes through, x and z: 2 to 10000 of them, no two the same one after the other.
    #[schemars(length(min = LINE_POINTS.least, max = LINE_POINTS.most))]
    pub points: Vec<[Length; 2]>,
    /// Whether it bends smoothly through its points. Default false: straight from one to the next.
    #[serde(default)]
    pub smooth: bool,
    /// Whether it goes on from its last point to its first. Default false.
    #[serde(default)]
    pub closed: bool,
    /// How it presses the ground down, as a wheel or many feet do. Default not at all.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub press: Option<Press>,
}

/// Ground pressed down along a line: a level bed over two fifths of the width, and banks beside it.
/// Pieces, pictures and the delivered ground all have it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Press {
    /// How far its bed lies under the ground, at least 0, to 1 km.
    #[schemars(schema_with = "crate::units::length_from_zero")]
    pub depth: Length,
    /// From edge to edge, 1 mm to 1 km.
    #[schemars(schema_with = "crate::units::positive_length")]
    pub width: Length,
}

/// Along a line of the ground: strength 1 on it, falling off with the distance from it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Along {
    /// Name of a line in `ground.lines`.
    pub line: String,
    /// Name of another: strength is 1 everywhere between the two, and falls off beyond them.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub and: Option<String>,
    /// Distance in plan at which the field has fallen off, above 0, to 1 km.
    #[schemars(schema_with = "crate::units::positive_length")]
    pub within: Length,
    /// On which side of the line, as it runs from its first point. Default both.
    #[serde(default)]
    pub side: LineSide,
    /// Distance from the line of where the field is strongest, at least 0, to 1 km. Default 0.
    #[serde(default)]
    #[schemars(schema_with = "crate::units::length_from_zero")]
    pub offset: Length,
    /// How the field falls off. Default smooth.
    #[serde(default)]
    pub fade: super::Fade,
    /// Strength beyond the distance, 0 to 1. Default 0.
    #[serde(default)]
    #[schemars(range(min = super::bounds::SHARE.least, max = super::bounds::SHARE.most))]
    pub elsewhere: f64,
}

/// A side of a line, seen from above, going from its first point to its last.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum LineSide {
    /// Either side.
    #[default]
    Both,
    /// The left.
    Left,
    /// The right.
    Right,
}
