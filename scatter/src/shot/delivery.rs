//! Limits and delivery as the document has them.

use std::str::FromStr;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::bounds::{LEAST_BUDGET, PIXELS, TRIANGLE_PIXELS};
use crate::error::{Error, Result};
use crate::units::Bytes;

/// What is too fine to make.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Resolve {
    /// Finest footprint of a piece in pixels, above 0, to 64. Default 0.5.
    #[serde(default = "half_a_pixel")]
    #[schemars(range(max = PIXELS.most), extend("exclusiveMinimum" = PIXELS.above))]
    pub pixels: f64,
    /// Also leaves out what the lens blurs away; needs the cameras' `focus` and `stop`. Default
    /// false.
    #[serde(default)]
    pub defocus: bool,
    /// Side of a triangle on screen in pixels, above 0, to 1000: pieces whose triangles are finer
    /// are delivered in simpler versions whose triangles come near it. Default none: every piece in
    /// full.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(
        range(max = TRIANGLE_PIXELS.most),
        extend("exclusiveMinimum" = TRIANGLE_PIXELS.above)
    )]
    pub triangle_pixels: Option<f64>,
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
            triangle_pixels: None,
        }
    }
}

/// What the renderer can hold. A shot that needs more stops before it is made.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Budget {
    /// Most pieces, at least 1. Default 5000000.
    #[serde(default = "five_million")]
    #[schemars(range(min = LEAST_BUDGET))]
    pub pieces: u64,
    /// Most triangles in the meshes that the renderer holds, at least 1. Default 200000000.
    #[serde(default = "two_hundred_million")]
    #[schemars(range(min = LEAST_BUDGET))]
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
#[schemars(extend("not" = {
    "required": ["as", "space"],
    "properties": {
        "as": { "contains": { "const": "usda" } },
        "space": { "required": ["hand"], "properties": { "hand": { "const": "left" } } }
    }
}))]
pub struct Deliver {
    /// File formats, at least one. Default glb and json.
    #[serde(rename = "as", default = "both")]
    #[schemars(length(min = 1), extend("uniqueItems" = true))]
    pub formats: Vec<Format>,
    /// What the scene formats (glb, glb-nodes, usda) hold beside the pieces. Default the cameras.
    #[serde(default = "the_cameras")]
    #[schemars(extend("uniqueItems" = true))]
    pub include: Vec<Include>,
    /// How the pieces are split into files. Default all in one file a format.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub split: Option<Split>,
    /// Unit and axes of json, csv and usda. glTF has its own: metres, +y up, right-handed.
    #[serde(default)]
    pub space: Space,
    /// Whether the report lists in which frames the moving cameras see each piece first and last.
    /// Default false.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub seen: bool,
}

fn both() -> Vec<Format> {
    vec![Format::Glb, Format::Json]
}

fn the_cameras() -> Vec<Include> {
    vec![Include::Cameras]
}

impl Default for Deliver {
    fn default() -> Self {
        Self {
            formats: both(),
            include: the_cameras(),
            split: None,
            space: Space::default(),
            seen: false,
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
    /// `layout-nodes.glb`: glTF 2.0 binary with a node an instance, for readers without the
    /// extension.
    GlbNodes,
    /// `layout.usda`: OpenUSD text with a PointInstancer a pass.
    Usda,
    /// `layout.json`: the strew-layout format.
    Json,
    /// `layout.csv`: one instance a line under a header.
    Csv,
}

impl Format {
    /// Every format.
    pub const ALL: [Self; 5] = [Self::Glb, Self::GlbNodes, Self::Usda, Self::Json, Self::Csv];

    /// The format's name in shot documents and options.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Glb => "glb",
            Self::GlbNodes => "glb-nodes",
            Self::Usda => "usda",
            Self::Json => "json",
            Self::Csv => "csv",
        }
    }
}

impl FromStr for Format {
    type Err = Error;

    fn from_str(text: &str) -> Result<Self> {
        Self::ALL
            .into_iter()
            .find(|format| format.name() == text)
            .ok_or_else(|| {
                let known = Self::ALL.map(Self::name).join(", ");
                Error::input(
                    "",
                    format!("unknown format {text:?}"),
                    format!("the formats are {known}"),
                )
            })
    }
}

/// What a scene holds beside the pieces.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "kebab-case")]
pub enum Include {
    /// The shot's cameras.
    Cameras,
    /// The ground that the cameras see, as a mesh.
    Ground,
    /// The heroes, where they stand.
    Hero,
    /// The sun, by night the moon, and the lamp if the shot places one.
    Sun,
}

/// How the pieces of a delivery are split into files.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Split {
    /// A file a pass: `layout.NAME.glb` and so on. `layout.glb` holds what is no pass;
    /// `layout.usda` draws the passes' files in as its sublayers.
    Passes,
}

/// Unit and axes. +x is to the right in each; what is forward follows from the two words.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Space {
    /// Unit of length. Default m.
    #[serde(default)]
    pub unit: Unit,
    /// Axis that points up. Default +y.
    #[serde(default)]
    pub up: Up,
    /// Handedness. Default right; usda has no left.
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
    /// Centimetre.
    #[serde(rename = "cm")]
    Centimetre,
    /// Millimetre.
    #[serde(rename = "mm")]
    Millimetre,
    /// Inch: 25.4 mm.
    #[serde(rename = "in")]
    Inch,
}

/// Axis that points up in a delivery.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
pub enum Up {
    /// +y.
    #[default]
    #[serde(rename = "+y")]
    PlusY,
    /// +z.
    #[serde(rename = "+z")]
    PlusZ,
}

/// Handedness of a delivery.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
pub enum Hand {
    /// Right-handed.
    #[default]
    #[serde(rename = "right")]
    Right,
    /// Left-handed.
    #[serde(rename = "left")]
    Left,
}
