//! A pass: one kind of dressing.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::bounds::{COVER, OVERLAP, PARENTS, PER_M2, PIECES, SHARE, SPACING, key_pattern};
use super::gather::Gather;
use super::kind::{KINDS, Kind};
use super::lies::Lies;
use super::mix::PassSizes;
use super::rest::Rest;
use super::scene::one;
use crate::color::Family;
use crate::units::Length;

/// Whether a name among a pass's pieces is that of a file: a glTF file or a kit's list.
#[must_use]
pub fn names_file(name: &str) -> bool {
    let extension = std::path::Path::new(name).extension();
    let known = ["glb", "gltf", "json"];
    extension.is_some_and(|e| known.iter().any(|k| e.eq_ignore_ascii_case(k)))
        && !name.contains('\0')
}

/// One kind of dressing. How much is `cover` or `per_m2`, or follows from the mix that `sizes`
/// takes a part of.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(extend("oneOf" = [
    { "required": ["cover"], "properties": { "sizes": { "not": { "required": ["mix"] } } } },
    { "required": ["per_m2"], "properties": { "sizes": { "not": { "required": ["mix"] } } } },
    { "properties": { "sizes": { "required": ["mix"] } }, "not": { "anyOf": [{ "required": ["cover"] }, { "required": ["per_m2"] }] } }
]))]
pub struct Pass {
    /// Name, unique in the shot, 1 to 64 of a-z 0-9 - _; not `hero` or `pins`. The pass's random
    /// streams hang on it.
    #[schemars(regex(pattern = key_pattern("(?!(?:hero|pins)$)")))]
    pub name: String,
    /// What the pass lays, at least one, at most 1000, each as likely as the others: a kind that
    /// the tool grows, a glTF file (`.glb` or `.gltf`; each of its root nodes is a piece) or a
    /// kit's list (`.json`), relative to the shot's folder.
    #[schemars(length(min = PIECES.least, max = PIECES.most), schema_with = "kinds")]
    pub pieces: Vec<String>,
    /// The family of rock that its grown stones are of; this beats the shot's. Default the shot's,
    /// else as each stone is grown.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub stone: Option<Family>,
    /// `packed`: stones close up, rolling off those that they fall on; `spaced`: pieces keep apart;
    /// `strewn`: pieces may cross.
    pub place: Place,
    /// Of a packed pass the share of the stones that roll where they fall on others, 0 to 1; what
    /// does not roll is left out there. At 0 stones stand apart; 0.3 to 0.5 is river gravel; at 1
    /// nearly every stone touches others, as in shingle that a sea has worked. Default 0.6.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = SHARE.least, max = SHARE.most))]
    pub roll: Option<f64>,
    /// Share of the ground's plan area under the pieces where the pass is at full strength, above
    /// 0, to 1.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(range(max = COVER.most), extend("exclusiveMinimum" = COVER.above))]
    pub cover: Option<f64>,
    /// Pieces a square metre where the pass is at full strength, above 0, to 1e9.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(range(max = PER_M2.most), extend("exclusiveMinimum" = PER_M2.above))]
    pub per_m2: Option<f64>,
    /// How large the pieces are: a size law, or a part of one of the shot's mixes.
    pub sizes: PassSizes,
    /// Scales pieces from files beyond their natural sizes where no other piece serves. Default
    /// false: sizes that no piece has by nature are an error.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub stretch: bool,
    /// How pieces from glTF files come to lie: this beats what a kit's list says. Default what the
    /// list says, else `sheet` for a mesh that is one open skin, else `rigid`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lies: Option<Lies>,
    /// Gathers pieces round random parents. Default none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub clumps: Option<Clumps>,
    /// Where the pass is strong; the fields multiply. Default everywhere.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub gather: Vec<Gather>,
    /// How the pieces lie.
    #[serde(default)]
    pub rest: Rest,
    /// Distance kept between spaced pieces, as a multiple of touching, 1 to 4. Default 1.
    #[serde(default = "one")]
    #[schemars(range(min = SPACING.least, max = SPACING.most))]
    pub spacing: f64,
    /// Share of the touching distance by which spaced pieces may overlap, 0 to 0.9. Default 0.
    #[serde(default)]
    #[schemars(range(min = OVERLAP.least, max = OVERLAP.most))]
    pub overlap: f64,
}

fn kinds(_: &mut schemars::SchemaGenerator) -> schemars::Schema {
    schemars::json_schema!({
        "type": "array",
        "items": {
            "type": "string",
            "anyOf": [{ "enum": KINDS }, { "pattern": r"^[^\0]*[^\0/]\.([gG][lL][bB]|[gG][lL][tT][fF]|[jJ][sS][oO][nN])$" }]
        },
        "uniqueItems": true
    })
}

/// How pieces of a pass stand to each other.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Place {
    /// Stones close up: they touch, and small ones tuck in at the foot of large ones.
    Packed,
    /// Pieces keep apart.
    Spaced,
    /// Pieces may cross.
    Strewn,
}

/// Share of the stones of a packed pass that roll, unless it says: closed ground, a little tighter
/// than photographed river gravel in its sand (0.3 to 0.5).
const CLOSED_ROLLS: f64 = 0.6;

impl Pass {
    /// Whether it grows stones.
    #[must_use]
    pub fn grows_stones(&self) -> bool {
        let kinds = self.pieces.iter().filter_map(|name| Kind::named(name));
        kinds.into_iter().any(Kind::is_stone)
    }

    /// Share of its stones that roll off what they fall on, 0..=1.
    #[must_use]
    pub fn rolls(&self) -> f64 {
        match self.place {
            Place::Packed => self.roll.unwrap_or(CLOSED_ROLLS),
            Place::Spaced | Place::Strewn => 0.0,
        }
    }
}

/// A cluster process: parents at random, offspring round them with a Gaussian spread (Thomas 1949).
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Clumps {
    /// Parents a square metre, above 0, to 1e6.
    #[schemars(range(max = PARENTS.most), extend("exclusiveMinimum" = PARENTS.above))]
    pub parents_per_m2: f64,
    /// Standard deviation of the distance from the parent along each axis, above zero, to 1 km.
    #[schemars(schema_with = "crate::units::positive_length")]
    pub spread: Length,
    /// Share of the pieces that belong to clumps; the others are anywhere. 0 to 1. Default 1.
    #[serde(default = "one")]
    #[schemars(range(min = SHARE.least, max = SHARE.most))]
    pub share: f64,
}
