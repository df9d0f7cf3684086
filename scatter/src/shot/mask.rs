//! Images that say where a pass is strong.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::bounds::SHARE;
use super::scene::one;
use crate::units::Length;

/// An image of strengths: laid on the plan by `extent`, or painted over a camera's frame by
/// `camera`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(extend("oneOf" = [
    { "required": ["extent"] }, { "required": ["camera"], "not": { "required": ["at"] } }
]))]
pub struct Mask {
    /// PNG or OpenEXR, relative to the shot's folder; its grey counts, 0 to 1.
    #[schemars(length(min = 1))]
    pub file: String,
    /// Size on the plan along x and z from border to border of the image, whose top lies toward -z
    /// and whose left toward -x. Above zero, to 260 km; its pixels must come out square.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(schema_with = "crate::units::positive_length_pair")]
    pub extent: Option<[Length; 2]>,
    /// Where its middle lies on the plan: x, z. Default the origin.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub at: Option<[Length; 2]>,
    /// Name of the camera whose frame it is painted over, in its first frame if it moves. The image
    /// has the frame's aspect.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub camera: Option<String>,
    /// Strength where the image is black, 0 to 1. Default 0.
    #[serde(default)]
    #[schemars(range(min = SHARE.least, max = SHARE.most))]
    pub black: f64,
    /// Strength where the image is white, 0 to 1. Default 1.
    #[serde(default = "one")]
    #[schemars(range(min = SHARE.least, max = SHARE.most))]
    pub white: f64,
    /// Strength beyond the image: off its extent, or where its camera does not look. 0 to 1.
    /// Default 1.
    #[serde(default = "one")]
    #[schemars(range(min = SHARE.least, max = SHARE.most))]
    pub outside: f64,
}
