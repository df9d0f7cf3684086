//! A carpet of grains as the document has it.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::bounds::VARIANTS;
use super::sizes::Sizes;
use crate::units::Length;

/// The name of the pass that the carpet is delivered as.
pub const CARPET: &str = "carpet";

/// Kinds that a carpet's grains can be grown as.
pub const GRAINS: [&str; 4] = ["rock", "cobble", "pebble", "bark-flake"];

/// Ground made of small dense tiles of grains, laid over all ground that is seen. Either `grains`
/// with `sizes`, or a `patch` with `tile`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(extend("oneOf" = [
    { "required": ["grains", "sizes"], "not": { "required": ["patch"] } },
    { "required": ["patch", "tile"], "not": { "anyOf": [{ "required": ["grains"] }, { "required": ["sizes"] }, { "required": ["variants"] }] } }
]))]
pub struct Carpet {
    /// Kinds of grain, each as likely as the others: rock, cobble, pebble, bark-flake, at any size.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schemars(schema_with = "grains")]
    pub grains: Vec<String>,
    /// How large the grains are, by intermediate diameter; the largest at most 16 times the
    /// smallest.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sizes: Option<Sizes>,
    /// A glTF file (`.glb` or `.gltf`) of a patch of ground, scaled to the tile whatever its size
    /// in life; each of its root nodes is a tile.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub patch: Option<String>,
    /// Distance between the middles of neighbouring tiles, 6 to 64 times the largest grain. Default
    /// 20 times.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(schema_with = "crate::units::positive_length", default)]
    pub tile: Option<Length>,
    /// How many different tiles are grown, 3 to 24. Default 6.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = VARIANTS.least, max = VARIANTS.most))]
    pub variants: Option<u32>,
}

/// The default of [`Carpet::tile`], in largest grains: some 300 of the largest in one tile, and it
/// still follows the ground.
pub const TILE_GRAINS: f64 = 20.0;

/// The default of [`Carpet::variants`].
pub const TILE_VARIANTS: u32 = 6;

fn grains(_: &mut schemars::SchemaGenerator) -> schemars::Schema {
    schemars::json_schema!({
        "type": "array",
        "minItems": 1,
        "items": { "type": "string", "enum": GRAINS },
        "uniqueItems": true
    })
}

impl Carpet {
    /// Distance between the middles of neighbouring tiles, metres; 0 if the document gives neither
    /// it nor grains.
    #[must_use]
    pub fn side(&self) -> f64 {
        let largest = self.sizes.map_or(0.0, |s| s.range()[1]);
        self.tile.map_or(TILE_GRAINS * largest, Length::metres)
    }
}
