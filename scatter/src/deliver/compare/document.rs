//! A `layout.json` as far as comparing asks: read without its shot and its kit.

use std::collections::BTreeMap;
use std::fs::File;
use std::io::Read;
use std::path::Path;
use std::sync::Arc;

use glam::DVec3;
use serde::Deserialize;

use super::Placed;
use crate::deliver::json::VERSION;
use crate::deliver::space::Conversion;
use crate::error::{Error, Result};
use crate::kit::simpler::full_name;
use crate::shot::Space;

/// Largest file that is read, bytes: ten million pieces and more.
const MAX_FILE_BYTES: u64 = 4 << 30;

/// How far from 1 the length of a rotation may be: a quaternion typed with four decimals is nearer.
const UNIT: f64 = 1e-3;

/// Largest coordinate and largest scale that is no mistake.
const MOST: f64 = 1e9;

/// What to do about a file that is none.
const HINT: &str = "name a layout.json that `scatter dress` wrote";

/// A layout to compare.
#[derive(Debug, Clone, PartialEq)]
pub struct Document {
    /// The shot's name.
    pub shot: String,
    /// The take.
    pub take: u64,
    /// Names of its passes, in order.
    pub passes: Vec<Arc<str>>,
    /// Its pieces by id.
    pub placed: BTreeMap<u64, Placed>,
}

#[derive(Deserialize)]
struct Head {
    format: Option<String>,
    version: Option<u64>,
}

#[derive(Deserialize)]
struct Body {
    shot: String,
    take: u64,
    #[serde(default)]
    space: SpaceLine,
    pieces: Vec<Named>,
    passes: Vec<Named>,
    instances: Vec<Line>,
}

/// The space's words; `forward` follows from the others.
#[derive(Deserialize, Default)]
struct SpaceLine {
    #[serde(default)]
    unit: crate::shot::Unit,
    #[serde(default)]
    up: crate::shot::Up,
    #[serde(default)]
    hand: crate::shot::Hand,
}

#[derive(Deserialize)]
struct Named {
    name: String,
}

#[derive(Deserialize)]
struct Line {
    id: String,
    pass: usize,
    piece: usize,
    position: [f64; 3],
    rotation: [f32; 4],
    scale: f32,
    diameter: f32,
}

/// Reads the layout in the file at `path`.
///
/// # Errors
/// [`Kind::Input`](crate::error::Kind::Input): the file can't be read, is no layout of this version, or holds what can't be:
/// an id twice or malformed, an index to nothing, a number out of range. Says where.
pub fn read(path: &Path) -> Result<Document> {
    bytes_of(path)
        .and_then(|bytes| parse(&bytes))
        .map_err(|e| e.in_file(path))
}

fn bytes_of(path: &Path) -> Result<Vec<u8>> {
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

fn parse(bytes: &[u8]) -> Result<Document> {
    // What it is comes before what is in it: another version may have another form
    let head: Head = serde_json::from_slice(bytes).map_err(|e| broken(&e))?;
    if head.format.as_deref() != Some("scatter-layout") {
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
    let body: Body = serde_json::from_slice(bytes).map_err(|e| broken(&e))?;
    let way = Conversion::new(Space {
        unit: body.space.unit,
        up: body.space.up,
        hand: body.space.hand,
    });
    let names =
        |list: Vec<Named>| -> Vec<Arc<str>> { list.into_iter().map(|n| n.name.into()).collect() };
    let passes = names(body.passes);
    // Another version of a piece is the same piece
    let pieces = body.pieces.iter().map(|n| full_name(&n.name).into());
    let pieces: Vec<Arc<str>> = pieces.collect();
    let mut placed: BTreeMap<u64, Placed> = BTreeMap::new();
    for (i, line) in body.instances.iter().enumerate() {
        let (id, one) = instance(line, i, [&passes, &pieces], &way)?;
        if placed.insert(id, one).is_some() {
            return Err(Error::input(
                format!("instances[{i}].id"),
                format!("the id {id:016x} is there already"),
                "each piece has its own id; leave out the copy",
            ));
        }
    }
    Ok(Document {
        shot: body.shot,
        take: body.take,
        passes,
        placed,
    })
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

fn instance(
    line: &Line,
    index: usize,
    [passes, pieces]: [&[Arc<str>]; 2],
    way: &Conversion,
) -> Result<(u64, Placed)> {
    let fault = |key: &str, problem: String, hint: &str| {
        Error::input(format!("instances[{index}].{key}"), problem, hint)
    };
    let digits = line.id.len() == 16 && line.id.bytes().all(|b| b.is_ascii_hexdigit());
    let id = u64::from_str_radix(&line.id, 16)
        .ok()
        .filter(|_| digits)
        .ok_or_else(|| {
            let what = format!("{:?} is no id", line.id);
            fault("id", what, "16 hexadecimal digits")
        })?;
    let named = |key: &str, list: &[Arc<str>], at: usize| {
        list.get(at).cloned().ok_or_else(|| {
            let what = format!("{at} is not in the list of {}", list.len());
            fault(key, what, "an index from 0")
        })
    };
    let position = DVec3::from_array(line.position);
    // Written so that what is no number is refused
    if !position.abs().cmple(DVec3::splat(MOST)).all() {
        let what = format!("{:?} is out of range", line.position);
        return Err(fault("position", what, "three finite numbers"));
    }
    let length = line
        .rotation
        .iter()
        .map(|v| f64::from(*v) * f64::from(*v))
        .sum::<f64>()
        .sqrt();
    if (length - 1.0).abs() > UNIT || length.is_nan() {
        let what = format!("{:?} has length {length}", line.rotation);
        return Err(fault("rotation", what, "a unit quaternion x, y, z, w"));
    }
    for (key, value) in [("scale", line.scale), ("diameter", line.diameter)] {
        if !(value > 0.0 && f64::from(value) <= MOST) {
            let what = format!("{value} is out of range");
            return Err(fault(key, what, "a finite number above 0"));
        }
    }
    let one = Placed {
        pass: named("pass", passes, line.pass)?,
        piece: named("piece", pieces, line.piece)?,
        position: way.point_back(position),
        rotation: way.rotation_back(line.rotation),
        scale: line.scale,
        diameter: way.metres(f64::from(line.diameter)) as f32,
    };
    Ok((id, one))
}
