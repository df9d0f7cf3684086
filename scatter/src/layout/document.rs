//! What every reader of a `layout.json` does first: its bytes, its form and version, and whether an
//! instance's numbers can be.

use std::fs::File;
use std::io::Read;
use std::path::Path;

use serde::Deserialize;
use serde::de::DeserializeOwned;

use super::space::Conversion;
use crate::brief::{Hand, Space, Unit, Up};
use crate::error::{Error, Result};

/// The name of the form.
pub(crate) const FORMAT: &str = "strew-layout";
/// What the format was called before; such files are read as well.
const FORMER: &str = "scatter-layout";

/// The version of the form that is written and read.
pub(crate) const VERSION: u32 = 1;

/// Largest file that is read, bytes: ten million pieces and more.
const MAX_FILE_BYTES: u64 = 4 << 30;

/// How far from 1 the length of a rotation may be: a quaternion typed with four decimals is nearer.
const UNIT: f64 = 1e-3;

/// Longest list of passes or pieces that an [`Instance`](super::Instance) leads to.
const MOST_LISTED: usize = u16::MAX as usize;

/// What to do about a file that is none.
const HINT: &str = "name a layout.json that `strew dress` wrote";

/// One instance as it stands in the file, in the file's space.
#[derive(Clone, Deserialize)]
pub(crate) struct InstanceLine {
    id: String,
    pub(crate) pass: usize,
    pub(crate) piece: usize,
    pub(crate) position: [f64; 3],
    pub(crate) rotation: [f32; 4],
    pub(crate) scale: f32,
    pub(crate) diameter: f32,
    /// The factor on its piece's colours, where its layer has a tone.
    #[serde(default)]
    pub(crate) tint: Option<[f32; 3]>,
}

/// Largest coordinate, scale and diameter that is no mistake, and what the coordinates have to be.
#[derive(Clone, Copy)]
pub(crate) struct Range {
    pub(crate) most: f64,
    pub(crate) hint: &'static str,
}

/// The space that a layout is written in, by its words; `forward` follows from the others.
#[derive(Deserialize, Default)]
pub(crate) struct SpaceLine {
    #[serde(default)]
    unit: Unit,
    #[serde(default)]
    up: Up,
    #[serde(default)]
    hand: Hand,
}

impl SpaceLine {
    /// The way into the space and back.
    pub(crate) fn way(&self) -> Conversion {
        let Self { unit, up, hand } = *self;
        Conversion::new(Space { unit, up, hand })
    }
}

/// The file's bytes.
pub(crate) fn bytes(path: &Path) -> Result<Vec<u8>> {
    let unreadable =
        |e: std::io::Error| Error::input("", format!("can't read the layout: {e}"), HINT);
    let file = File::open(path).map_err(unreadable)?;
    let mut bytes = Vec::new();
    file.take(MAX_FILE_BYTES + 1)
        .read_to_end(&mut bytes)
        .map_err(unreadable)?;
    if bytes.len() as u64 > MAX_FILE_BYTES {
        let what = format!("the file is larger than {} GiB", MAX_FILE_BYTES >> 30);
        return Err(Error::input("", what, HINT));
    }
    Ok(bytes)
}

/// The document in the file, once it is known to be a layout of this version: another version may
/// have another form.
pub(crate) fn parsed<T: DeserializeOwned>(bytes: &[u8]) -> Result<T> {
    #[derive(Deserialize)]
    struct Head {
        format: Option<String>,
        version: Option<u64>,
    }
    let head: Head = serde_json::from_slice(bytes).map_err(|e| broken(&e))?;
    if !head
        .format
        .is_some_and(|f| [FORMAT, FORMER].contains(&f.as_str()))
    {
        return Err(Error::input("format", "the file is no layout", HINT));
    }
    if head.version != Some(u64::from(VERSION)) {
        let found = head
            .version
            .map_or("no version".into(), |v| format!("version {v}"));
        return Err(Error::input(
            "version",
            format!("the layout has {found}; this program reads version {VERSION}"),
            "dress the shot again with this program",
        ));
    }
    serde_json::from_slice(bytes).map_err(|e| broken(&e))
}

fn broken(e: &serde_json::Error) -> Error {
    let text = e.to_string();
    let end = text.rfind(" at line ").unwrap_or(text.len());
    Error::input(
        format!("line {}, column {}", e.line(), e.column()),
        format!("the layout can't be read: {}", &text[..end]),
        HINT,
    )
}

impl InstanceLine {
    /// Its id, once its numbers are known to be possible; `counts` are those of passes and pieces.
    ///
    /// # Errors
    /// The id is malformed, an index leads to nothing, or a number is out of range; the error names
    /// the `index`th instance.
    pub(crate) fn checked(&self, index: usize, counts: [usize; 2], range: Range) -> Result<u64> {
        let fault = |key: &str, problem: String, hint: &str| {
            Error::input(format!("instances[{index}].{key}"), problem, hint)
        };
        let digits = self.id.len() == 16 && self.id.bytes().all(|b| b.is_ascii_hexdigit());
        let id = u64::from_str_radix(&self.id, 16).ok().filter(|_| digits);
        let id = id.ok_or_else(|| {
            let what = format!("`{}` is no id", self.id);
            fault("id", what, "16 hexadecimal digits")
        })?;
        let indices = [self.pass, self.piece].into_iter().zip(counts);
        for (key, (value, count)) in ["pass", "piece"].into_iter().zip(indices) {
            if value >= count.min(MOST_LISTED) {
                let what = format!("{value} is not in the list of {count}");
                return Err(fault(key, what, "an index from 0"));
            }
        }
        // Written so that what is no number is refused
        if !self.position.iter().all(|v| v.abs() <= range.most) {
            let what = format!("{:?} is out of range", self.position);
            return Err(fault("position", what, range.hint));
        }
        let squares = self.rotation.iter().map(|v| f64::from(*v) * f64::from(*v));
        let length = squares.sum::<f64>().sqrt();
        if (length - 1.0).abs() > UNIT || length.is_nan() {
            let what = format!("{:?} has length {length}", self.rotation);
            return Err(fault("rotation", what, "a unit quaternion x, y, z, w"));
        }
        for (key, value) in [("scale", self.scale), ("diameter", self.diameter)] {
            if !(value > 0.0 && f64::from(value) <= range.most) {
                let what = format!("{value} is out of range");
                return Err(fault(key, what, "a finite number above 0"));
            }
        }
        Ok(id)
    }
}
