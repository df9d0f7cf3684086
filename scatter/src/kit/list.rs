//! The list of a kit: which files hold its pieces, and what an artist says of each.

use std::io::Read;
use std::path::Path;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::frame::Up;
use crate::error::{Error, ErrorKind, Result};
use crate::input;
use crate::shot::{self, Lies};
use crate::units::Length;

/// Maximum length of a list, bytes: about a thousand for each piece.
const MAX_LIST_BYTES: u64 = 16 << 20;

/// Maximum number of pieces of a list.
pub const MAX_PIECES: usize = 10_000;

/// The pieces of a kit, as `strew kit --out` writes them and an artist edits them. A pass names
/// the file among its `pieces`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct KitList {
    /// `strew-kit`.
    pub format: String,
    /// 1.
    pub version: u32,
    /// The pieces, at least one, at most 10000.
    #[schemars(length(min = 1, max = 10_000))]
    pub pieces: Vec<ListedPiece>,
}

/// One piece of a kit.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ListedPiece {
    /// Name, for people and deliveries.
    pub name: String,
    /// glTF file (`.glb` or `.gltf`), relative to the list's folder.
    pub file: String,
    /// Name of the root node to take of a file that holds several pieces. Default all of the file.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub node: Option<String>,
    /// How it comes to lie. Default `sheet` if its mesh is one open skin, else `rigid`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lies: Option<Lies>,
    /// Smallest and largest natural diameter (b-axis). Default 0.8 to 1.25 of its own.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(schema_with = "crate::units::positive_length_pair")]
    pub sizes: Option<[Length; 2]>,
    /// How often it is taken, beside the others of the list, above 0, to 1000. Default 1.
    #[serde(default = "one")]
    #[schemars(range(max = 1000.0), extend("exclusiveMinimum" = 0))]
    pub share: f64,
    /// Which of the file's directions is up. Default +y.
    #[serde(default)]
    pub up: Up,
    /// What a length in the file is multiplied with to give metres, above 0, to 1000000. Default 1.
    #[serde(default = "one")]
    #[schemars(range(max = 1e6), extend("exclusiveMinimum" = 0))]
    pub scale: f64,
}

fn one() -> f64 {
    1.0
}

impl ListedPiece {
    /// A whole file as a piece, with the defaults.
    #[must_use]
    pub fn new(name: String, file: String) -> Self {
        Self {
            name,
            file,
            node: None,
            lies: None,
            sizes: None,
            share: 1.0,
            up: Up::PlusY,
            scale: 1.0,
        }
    }
}

impl KitList {
    /// The name of the format, as a list states it.
    pub const FORMAT: &str = "strew-kit";
    /// What the format was called before; such lists are read as well.
    const FORMER: &str = "scatter-kit";
    /// The version that is read and written.
    pub const VERSION: u32 = 1;

    /// A list of pieces.
    #[must_use]
    pub fn new(pieces: Vec<ListedPiece>) -> Self {
        Self {
            format: Self::FORMAT.to_owned(),
            version: Self::VERSION,
            pieces,
        }
    }

    /// Reads and checks the list in a file.
    ///
    /// # Errors
    /// The file can't be read, is no list of this version, or asks for what can't be.
    pub fn read(path: &Path) -> Result<Self> {
        let mut text = String::new();
        let opened = input::open(path);
        let read = opened.and_then(|f| f.take(MAX_LIST_BYTES + 1).read_to_string(&mut text));
        read.map_err(|e| {
            let mut error = Error::io(path, "can't read the kit", &e, "name a kit's list in JSON");
            error.kind = ErrorKind::Input;
            error
        })?;
        Self::parse(&text).map_err(|e| e.in_file(path))
    }

    /// Reads and checks a list.
    ///
    /// # Errors
    /// The text is no list of this version, or asks for what can't be.
    pub fn parse(text: &str) -> Result<Self> {
        if text.len() as u64 > MAX_LIST_BYTES {
            let hint = "lists up to 16 MiB are read";
            return Err(Error::input("", "the list is too long", hint));
        }
        let list: Self = shot::read_form(text)?;
        list.check()?;
        Ok(list)
    }

    fn check(&self) -> Result<()> {
        let known = [Self::FORMAT, Self::FORMER].contains(&self.format.as_str());
        if !known || self.version != Self::VERSION {
            return Err(Error::input(
                "format",
                format!(
                    "the document is {:?} of version {}",
                    short(&self.format),
                    self.version
                ),
                format!(
                    "a kit's list has \"format\": {:?}, \"version\": {}",
                    Self::FORMAT,
                    Self::VERSION
                ),
            ));
        }
        if self.pieces.is_empty() || self.pieces.len() > MAX_PIECES {
            let problem = format!("{} pieces", self.pieces.len());
            return Err(Error::input(
                "pieces",
                problem,
                format!("1 to {MAX_PIECES}"),
            ));
        }
        for (i, piece) in self.pieces.iter().enumerate() {
            let at = |key: &str| format!("pieces[{i}].{key}");
            let bad = |key, problem: String, hint: &str| Err(Error::input(at(key), problem, hint));
            if piece.name.trim().is_empty() {
                return bad("name", "the piece has no name".into(), "a short text");
            }
            if !is_model(&piece.file) || piece.file.contains('\0') {
                let problem = format!("{:?} names no glTF file", short(&piece.file));
                return bad(
                    "file",
                    problem,
                    "a .glb or .gltf file, relative to the list's folder",
                );
            }
            if let Some([from, to]) = piece.sizes.map(|s| s.map(Length::metres))
                && !(from > 0.0 && from <= to && to <= shot::MAX_COORDINATE_M)
            {
                let problem = format!("{from} m to {to} m");
                return bad("sizes", problem, "from above zero, and at most to");
            }
            if !(piece.share > 0.0 && piece.share <= 1000.0) {
                return bad("share", piece.share.to_string(), "above 0, to 1000");
            }
            if !(piece.scale > 0.0 && piece.scale <= 1e6) {
                return bad(
                    "scale",
                    piece.scale.to_string(),
                    "above 0, to 1000000; 0.01 for a file in centimetres",
                );
            }
        }
        Ok(())
    }
}

fn short(text: &str) -> String {
    text.chars().take(120).collect()
}

/// Whether a name is that of a glTF file.
#[must_use]
pub fn is_model(name: &str) -> bool {
    has_extension(name, &["glb", "gltf"])
}

/// Whether a name is that of a kit's list.
#[must_use]
pub fn is_list(name: &str) -> bool {
    has_extension(name, &["json"])
}

fn has_extension(name: &str, known: &[&str]) -> bool {
    let extension = Path::new(name).extension();
    extension.is_some_and(|e| known.iter().any(|k| e.eq_ignore_ascii_case(k)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lists_under_the_former_name_are_read() {
        let list = KitList::new(vec![ListedPiece::new("jug".into(), "jug.glb".into())]);
        let text = serde_json::to_string(&list).unwrap();
        let former = text.replace("strew-kit", "scatter-kit");
        assert_ne!(former, text);
        let read = KitList::parse(&former).unwrap();
        assert_eq!(read.pieces, list.pieces);
        let other = text.replace("strew-kit", "strow-kit");
        let error = KitList::parse(&other).unwrap_err().to_string();
        assert!(error.contains("\"format\": \"strew-kit\""), "{error}");
    }
}
