//! The shot document: parse, check, schema. Knows no algorithm.
//!
//! [`Shot::read`] and [`Shot::parse`] give a checked document or an error that names the file and
//! the place of every fault. The types are the document's own form; what is "one of two" there has
//! a method that gives the one.

pub(crate) mod bounds;
mod camera;
mod carpet;
mod check;
mod delivery;
mod form;
mod gather;
mod hand;
mod keep;
mod kind;
mod lies;
mod light;
mod lines;
mod mask;
mod mix;
mod pass;
mod preset;
mod rest;
mod scene;
mod shade;
mod sizes;
mod wet;

use std::collections::BTreeMap;
use std::fs::File;
use std::io::Read;
use std::path::Path;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

pub use camera::{Between, Camera, CameraKey, Film};
pub use carpet::{CARPET, Carpet, GRAINS, TILE_GRAINS, TILE_VARIANTS};
pub(crate) use check::Faults;
pub use delivery::{Budget, Deliver, Format, Hand, Include, Resolve, Space, Split, Unit, Up};
pub(crate) use form::read as read_form;
pub use gather::{Fade, Gather, Grade, LeeOf, Near, Patches, Reach, Slope, Smallest, Surround};
pub use hand::{Clear, Disc, PINS, Pin, Polygon, Rectangle, id as piece_id};
pub use keep::Keep;
pub use kind::{KINDS, Kind};
pub use lies::Lies;
pub(crate) use light::DUSK_END_DEG;
pub use light::{DEFAULT_CANDELA, DEFAULT_KELVIN};
pub use light::{Date, Day, Lamp, Light, Mood, Sun};
pub use lines::{Along, Line, LineSide, Press};
pub use mask::Mask;
pub(crate) use mix::Shares;
pub use mix::{Mix, MixPart, PassSizes};
pub use pass::{Clumps, Pass, Place, names_file};
pub use preset::Preset;
pub use rest::{Heading, Lean, On, Pose, Rest, Stand};
pub(crate) use scene::default_steepest;
pub use scene::{Ground, GroundMesh, HeightImage, Hero, Look, Plane, Relief, SoilLook};
pub use shade::{HeroLight, SHADE, Shade};
pub use sizes::Sizes;
pub use wet::{Weathering, Wet};

use crate::color::Family;
use crate::error::{Error, Result};
use bounds::{BY_HAND, CAMERAS, KEPT, LONG_NAME, MIXES, PASSES, key_pattern};

/// Largest document that is read, in bytes: a thousand times a rich shot.
pub const MAX_FILE_BYTES: u64 = 16 << 20;

/// Largest coordinate along an axis in metres. Positions stay on a lattice of a nanometre up to
/// here.
pub const MAX_COORDINATE_M: f64 = 130e3;

/// A shot: cameras, ground, hero, light, passes, limits and delivery.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Shot {
    /// Where the schema of this document is, for editors. Not used.
    #[serde(rename = "$schema", default, skip_serializing_if = "Option::is_none")]
    pub schema: Option<String>,
    /// The shot's name, 1 to 128 characters.
    #[serde(rename = "shot")]
    #[schemars(length(min = LONG_NAME.least, max = LONG_NAME.most))]
    pub name: String,
    /// The seed: each take is another layout of the same shot. Default 1.
    #[serde(default = "first_take")]
    pub take: u64,
    /// Passes that have a take of their own: the pass's name and its take. Default none.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub takes: BTreeMap<String, u64>,
    /// Takes that were liked, at most 1000. Default none.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schemars(length(max = KEPT.most))]
    pub keep: Vec<Keep>,
    /// Cameras, at least one, at most 64; the layout serves all.
    #[schemars(length(min = CAMERAS.least, max = CAMERAS.most))]
    pub cameras: Vec<Camera>,
    /// The ground. Default a level plane through the origin.
    #[serde(default)]
    pub ground: Ground,
    /// What the shot is about. Default nothing.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub hero: Vec<Hero>,
    /// The family of rock that all grown stones are of: those of passes and pins each in a colour
    /// of its own, those of the carpet in their mean. Default as each stone is grown.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub stone: Option<Family>,
    /// What lights it.
    #[serde(default)]
    pub light: Light,
    /// What is wet; only pictures show it. Default nothing.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub wet: Option<Wet>,
    /// What time left on surfaces; only pictures show it. Default nothing.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub weathering: Option<Weathering>,
    /// Ground made of small dense tiles of grains. Default none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub carpet: Option<Carpet>,
    /// Dappled light of leaves outside the frame. Default none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub shade: Option<Shade>,
    /// Populations of sizes that passes take parts of, by name (1 to 64 of a-z 0-9 - _); at most
    /// 1000. Default none.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    #[schemars(extend("maxProperties" = MIXES.most, "propertyNames" = { "pattern": key_pattern("") }))]
    pub mixes: BTreeMap<String, Mix>,
    /// Kinds of dressing, in the order that they are laid; at most 1000. Default none.
    #[serde(default)]
    #[schemars(length(max = PASSES.most))]
    pub passes: Vec<Pass>,
    /// Pieces put in their places by hand, at most 10000. Default none.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schemars(length(max = BY_HAND.most))]
    pub pins: Vec<Pin>,
    /// Ground kept clear by hand, at most 10000 shapes. Default none.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schemars(length(max = BY_HAND.most))]
    pub clear: Vec<Clear>,
    /// Ids of pieces taken away by hand, at most 10000. Default none.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schemars(length(max = BY_HAND.most), inner(regex(pattern = "^[0-9a-fA-F]{16}$")))]
    pub remove: Vec<String>,
    /// What is too fine to make.
    #[serde(default)]
    pub resolve: Resolve,
    /// What the renderer can hold.
    #[serde(default)]
    pub budget: Budget,
    /// What is written.
    #[serde(default)]
    pub deliver: Deliver,
}

fn first_take() -> u64 {
    1
}

impl Shot {
    /// Reads and checks the shot in the file at `path`.
    ///
    /// # Errors
    /// The file can't be read or is larger than [`MAX_FILE_BYTES`], or as [`Shot::parse`].
    pub fn read(path: &Path) -> Result<Self> {
        let text = read_text(path)?;
        Self::parse(&text, path)
    }

    /// Reads and checks the shot in `text`; `file` is only named in errors.
    ///
    /// # Errors
    /// The text is no JSON, has not the form of a shot (first fault), or asks for what can't be
    /// (all faults).
    pub fn parse(text: &str, file: &Path) -> Result<Self> {
        let shot: Self = form::read(text).map_err(|e| e.in_file(file))?;
        shot.check().map_err(|e| e.in_file(file))?;
        Ok(shot)
    }

    /// Checks what the document's form can't say: ranges, names, references.
    ///
    /// # Errors
    /// All faults at once.
    pub fn check(&self) -> Result<()> {
        check::shot(self)
    }

    /// Names of what can be held, shown or left out by itself: the passes, and the carpet and the
    /// shade if there are any.
    pub fn pass_names(&self) -> impl Iterator<Item = &str> {
        let carpet = self.carpet.as_ref().map(|_| CARPET);
        let shade = self.shade.map(|_| SHADE);
        let passes = self.passes.iter().map(|p| p.name.as_str());
        passes.chain(carpet).chain(shade)
    }

    /// SHA-256 of the document as parsed, in lower-case hexadecimal: two files that say the same
    /// have the same digest.
    #[must_use]
    pub fn digest(&self) -> String {
        // Keys of a `Value` are sorted, so the order in the file does not count.
        let canonical = serde_json::to_value(Self {
            schema: None,
            ..self.clone()
        })
        .unwrap_or_default()
        .to_string();
        Sha256::digest(canonical.as_bytes())
            .iter()
            .map(|byte| format!("{byte:02x}"))
            .collect()
    }
}

/// JSON Schema (draft 2020-12) of the shot document.
#[must_use]
pub fn schema() -> serde_json::Value {
    let mut schema = schemars::schema_for!(Shot);
    schema.insert("title".into(), "strew shot".into());
    schema.to_value()
}

/// Text of the file at `path`, if it is no larger than a shot may be.
fn read_text(path: &Path) -> Result<String> {
    let unreadable = |e: &std::io::Error| {
        if e.kind() == std::io::ErrorKind::NotFound {
            let (problem, hint) = crate::input::missing_shot(path);
            return Error::input("", problem, hint).in_file(path);
        }
        let mut error = Error::io(path, "can't read the shot", e, "name a shot file in JSON");
        error.kind = crate::error::ErrorKind::Input;
        error
    };
    let file = File::open(path).map_err(|e| unreadable(&e))?;
    let mut bytes = Vec::new();
    file.take(MAX_FILE_BYTES + 1)
        .read_to_end(&mut bytes)
        .map_err(|e| unreadable(&e))?;
    if bytes.len() as u64 > MAX_FILE_BYTES {
        return Err(Error::input(
            "",
            format!("the file is larger than {} MiB", MAX_FILE_BYTES >> 20),
            "name a shot file in JSON",
        )
        .in_file(path));
    }
    String::from_utf8(bytes).map_err(|e| {
        let before = &e.as_bytes()[..e.utf8_error().valid_up_to()];
        let line = before.iter().filter(|b| **b == b'\n').count() + 1;
        Error::input(
            format!("line {line}"),
            "the text is not UTF-8",
            "save the shot as JSON in UTF-8",
        )
        .in_file(path)
    })
}

#[cfg(test)]
mod tests;
