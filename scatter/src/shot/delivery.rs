//! Limits and delivery as the document has them.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::units::Bytes;

/// What is too fine to make.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Resolve {
    /// Finest footprint of a piece in pixels, above 0, to 64. Default 0.5.
    #[serde(default = "half_a_pixel")]
    #[schemars(range(max = 64.0), extend("exclusiveMinimum" = 0))]
    pub pixels: f64,
    /// Also leaves out what the lens blurs away; needs the cameras' `focus` and `stop`. Default false.
    #[serde(default)]
    pub defocus: bool,
}

/// Half a pixel: what is smaller vanishes in the renderer's pixel filter.
fn half_a_pixel() -> f64 {
    0.5
}

impl Default for Resolve {
    fn default() -> Self {
        Self {
            pixels: half_a_pixel(),
            defocus: false,
        }
    }
}

/// What the renderer can hold. A shot that needs more stops before it is made.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Budget {
    /// Most pieces, at least 1. Default 5000000.
    #[serde(default = "five_million")]
    #[schemars(range(min = 1))]
    pub pieces: u64,
    /// Most triangles in the meshes that the renderer holds, at least 1. Default 200000000.
    #[serde(default = "two_hundred_million")]
    #[schemars(range(min = 1))]
    pub triangles: u64,
    /// Most render memory, at least 1 byte. Default 8 GB.
    #[serde(default = "eight_gigabytes")]
    pub memory: Bytes,
}

/// About 0.6 GB of instances in a path tracer.
fn five_million() -> u64 {
    5_000_000
}

/// Two orders above what a kit holds: stops a runaway, not a rich shot.
fn two_hundred_million() -> u64 {
    200_000_000
}

/// The memory of a common graphics card.
fn eight_gigabytes() -> Bytes {
    Bytes::new(8_000_000_000)
}

impl Default for Budget {
    fn default() -> Self {
        Self {
            pieces: five_million(),
            triangles: two_hundred_million(),
            memory: eight_gigabytes(),
        }
    }
}

/// What is written, and in which space.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Deliver {
    /// File formats, at least one. Default glb and json.
    #[serde(rename = "as", default = "both")]
    #[schemars(length(min = 1), extend("uniqueItems" = true))]
    pub formats: Vec<Format>,
    /// Unit and axes of the delivery.
    #[serde(default)]
    pub space: Space,
}

fn both() -> Vec<Format> {
    vec![Format::Glb, Format::Json]
}

impl Default for Deliver {
    fn default() -> Self {
        Self {
            formats: both(),
            space: Space::default(),
        }
    }
}

/// A file format.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "kebab-case")]
pub enum Format {
    /// `layout.glb`: glTF 2.0 binary with EXT_mesh_gpu_instancing.
    Glb,
    /// `layout.json`: the scatter-layout format.
    Json,
}

/// Unit and axes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Space {
    /// Unit of length. Default m.
    #[serde(default)]
    pub unit: Unit,
    /// Axis that points up. Default +y.
    #[serde(default)]
    pub up: Up,
    /// Handedness. Default right.
    #[serde(default)]
    pub hand: Hand,
}

/// Unit of length of a delivery.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
pub enum Unit {
    /// Metre.
    #[default]
    #[serde(rename = "m")]
    Metre,
}

/// Axis that points up in a delivery.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
pub enum Up {
    /// +y.
    #[default]
    #[serde(rename = "+y")]
    PlusY,
}

/// Handedness of a delivery.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
pub enum Hand {
    /// Right-handed.
    #[default]
    #[serde(rename = "right")]
    Right,
}
