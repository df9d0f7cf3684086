//! Ground and hero as the document has them.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::bounds::{LINES, SCALE, SHARE, key_pattern};
use super::lines::Line;
use crate::color;
use crate::units::{Angle, Length};

/// The ground: `plane`, `relief`, `image` or `mesh`, where it ends, and what it looks like in the
/// picture.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(extend("oneOf" = [
    { "required": ["plane"] }, { "required": ["relief"] }, { "required": ["image"] }, { "required": ["mesh"] }
]))]
pub struct Ground {
    /// A flat ground through the origin.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub plane: Option<Plane>,
    /// A ground with hills and hollows from fractal noise.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub relief: Option<Relief>,
    /// A ground from an image of heights.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub image: Option<HeightImage>,
    /// A ground from a mesh.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mesh: Option<GroundMesh>,
    /// Size along x and z, centred on the origin, above zero; the ground ends there. Default
    /// endless, or where its file ends.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(schema_with = "crate::units::positive_length_pair")]
    pub extent: Option<[Length; 2]>,
    /// Lines on it, by name (1 to 64 of a-z 0-9 - _); at most 1000. Passes gather along them with
    /// `along`, and they may press the ground down. Default none.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    #[schemars(extend("maxProperties" = LINES.most, "propertyNames" = { "pattern": key_pattern("") }))]
    pub lines: BTreeMap<String, Line>,
    /// What the bare ground looks like; only the picture uses it. Default soil.
    #[serde(default)]
    pub look: Look,
    /// The colour and the grain of the soil between the pieces, in pictures and for the ground as
    /// delivered; a carpet takes the colour, too. Default the look's.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub soil: Option<SoilLook>,
}

/// The soil between the pieces.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(extend("minProperties" = 1))]
pub struct SoilLook {
    /// Its colour where it is dry: `dark-brown`, `brown`, `yellow-brown`, `red`, `grey` or `pale`,
    /// or a colour of sRGB such as "#8a7358". Default the look's.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub colour: Option<color::SoilTone>,
    /// Diameter of the grains that most of it is of, 0.1 to 30 mm. Default the look's.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(schema_with = "crate::units::positive_length", default)]
    pub grain: Option<Length>,
}

impl Default for Ground {
    fn default() -> Self {
        Self {
            plane: Some(Plane::default()),
            relief: None,
            image: None,
            mesh: None,
            extent: None,
            lines: BTreeMap::new(),
            look: Look::default(),
            soil: None,
        }
    }
}

/// A flat ground.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Plane {
    /// Slope angle, 0 to 80 deg. Default 0.
    #[serde(default)]
    pub tilt: Angle,
    /// Azimuth that the ground falls toward, clockwise from -z seen from above. Default 0.
    #[serde(default)]
    pub toward: Angle,
}

/// A ground from fractal noise, on a slope if `tilt` is set.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Relief {
    /// Height from the low ground to the high, at least 0, to 1 km.
    #[schemars(schema_with = "crate::units::length_from_zero")]
    pub height: Length,
    /// Length of the largest hills and hollows, 1 mm to 100 km.
    #[schemars(schema_with = "crate::units::positive_length")]
    pub feature: Length,
    /// Strength of each finer octave over the one before: 0 (smooth) to 1 (broken). Default 0.5.
    #[serde(default = "default_roughness")]
    #[schemars(range(min = SHARE.least, max = SHARE.most))]
    pub roughness: f64,
    /// Slope angle of the whole, 0 to 80 deg. Default 0.
    #[serde(default)]
    pub tilt: Angle,
    /// Azimuth that the whole falls toward, clockwise from -z seen from above. Default 0.
    #[serde(default)]
    pub toward: Angle,
}

/// A ground from an image of heights: cubics through its pixels, so that the normals are
/// continuous. Beyond the image there is no ground.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct HeightImage {
    /// PNG (grey, 16-bit for fine steps) or OpenEXR, relative to the shot's folder. Its top lies
    /// toward -z, its left toward -x.
    #[schemars(length(min = 1))]
    pub file: String,
    /// Size along x and z from border to border of the image, above zero, to 260 km; its pixels
    /// must come out square.
    #[schemars(schema_with = "crate::units::positive_length_pair")]
    pub extent: [Length; 2],
    /// Where its middle lies: x, z. Default the origin.
    #[serde(default)]
    pub at: [Length; 2],
    /// Heights of black and of white, of 0 and of 1 in an EXR; within 100 km. Needed with PNG;
    /// without it an EXR holds metres.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub heights: Option<[Length; 2]>,
}

/// A ground from a mesh: the upper side under each place. Where no face looks up there is no
/// ground.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct GroundMesh {
    /// glTF file (`.glb` or `.gltf`), relative to the shot's folder.
    #[schemars(length(min = 1))]
    pub file: String,
    /// Where its origin lies: x, y (up), z. Default the origin.
    #[serde(default)]
    pub at: [Length; 3],
    /// Turn about the upright, clockwise seen from above. Default 0.
    #[serde(default)]
    pub turn: Angle,
    /// Uniform scale, above 0, to 1000000. Default 1.
    #[serde(default = "one")]
    #[schemars(range(max = SCALE.most), extend("exclusiveMinimum" = SCALE.above))]
    pub scale: f64,
    /// Steepest slope that holds pieces, above 0, to 90 deg: what is steeper is a wall. Default 60
    /// deg.
    #[serde(default = "default_steepest")]
    #[schemars(schema_with = "crate::units::positive_angle")]
    pub steepest: Angle,
    /// Looks for the ground under this height: below a roof, a crown or an overhang. Default the
    /// highest ground.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub under: Option<Length>,
}

/// Steeper than any heap of stones lies (angles of repose reach about 45 degrees), less than a
/// wall.
pub(crate) fn default_steepest() -> Angle {
    Angle::from_degrees(60.0)
}

/// Each octave half as strong as the one before: the usual fractal noise.
pub(super) fn default_roughness() -> f64 {
    0.5
}

/// What bare ground looks like.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Look {
    /// Brown earth.
    #[default]
    Soil,
    /// Pale sand.
    Sand,
    /// Mixed fine gravel.
    Gravel,
    /// Bare rock.
    Rock,
    /// Rotted leaves and needles.
    Litter,
}

/// Something that the shot is about.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Hero {
    /// glTF file (`.glb` or `.gltf`), relative to the shot's folder.
    #[schemars(length(min = 1))]
    pub file: String,
    /// Where its origin stands: x, y (up), z; y counts from the ground under it.
    pub at: [Length; 3],
    /// Turn about the upright, clockwise seen from above. Default 0.
    #[serde(default)]
    pub turn: Angle,
    /// Uniform scale, above 0, to 1000000. Default 1.
    #[serde(default = "one")]
    #[schemars(range(max = SCALE.most), extend("exclusiveMinimum" = SCALE.above))]
    pub scale: f64,
    /// Ground kept clear round its outline in plan, at least 0, to 1 km. Default 0: only under it.
    #[serde(default)]
    #[schemars(schema_with = "crate::units::length_from_zero")]
    pub clear: Length,
    /// How deep it stands in the ground, at least 0, to 1 km. Default 0.
    #[serde(default)]
    #[schemars(schema_with = "crate::units::length_from_zero")]
    pub sink: Length,
}

pub(super) fn one() -> f64 {
    1.0
}
