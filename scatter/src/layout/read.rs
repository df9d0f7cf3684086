//! Reads `layout.json` back, with the meshes of the kit that it was laid out with.

use std::fs::File;
use std::io::{BufReader, Read};
use std::path::Path;
use std::sync::Arc;

use glam::{DVec3, Quat};
use serde::Deserialize;

use super::{Dresser, Instance, Layout, PassRecord, Tally};
use crate::error::{Error, Result};
use crate::kit::{Piece, simpler};
use crate::shot::{CARPET, MAX_COORDINATE_M};

/// The version of the form that is read.
const VERSION: u64 = 1;

/// Largest file that is read, bytes: ten million pieces and more.
const MAX_FILE_BYTES: u64 = 4 << 30;

/// How far from 1 the length of a rotation may be: a quaternion typed with four decimals is nearer.
const UNIT: f32 = 1e-3;

#[derive(Deserialize)]
struct Head {
    format: Option<String>,
    version: Option<u64>,
    space: Option<Axes>,
}

/// The space that a layout is written in.
#[derive(Deserialize)]
struct Axes {
    unit: String,
    up: String,
    hand: String,
}

#[derive(Deserialize)]
struct Document {
    shot: String,
    take: u64,
    pieces: Vec<PieceLine>,
    passes: Vec<PassLine>,
    instances: Vec<InstanceLine>,
}

#[derive(Deserialize)]
struct PieceLine {
    name: String,
    triangles: u64,
}

#[derive(Deserialize)]
struct PassLine {
    name: String,
    #[serde(default)]
    asked: u64,
    #[serde(default)]
    cover: f64,
}

#[derive(Deserialize)]
struct InstanceLine {
    id: String,
    pass: u16,
    piece: u16,
    position: [f64; 3],
    rotation: [f32; 4],
    scale: f32,
    diameter: f32,
}

/// Reads the layout in the file at `path`. Cameras and meshes are those of the shot that `dresser` was made for.
///
/// # Errors
/// The file can't be read, is no layout of version 1, names pieces that the kit has not, or holds numbers that can't be: of
/// the first such instance.
pub fn read(path: &Path, dresser: &Dresser<'_>) -> Result<Layout> {
    read_inner(path, dresser).map_err(|e| e.in_file(path))
}

fn read_inner(path: &Path, dresser: &Dresser<'_>) -> Result<Layout> {
    let hint = "name a layout.json that `scatter dress` wrote";
    let unreadable =
        |e: &std::io::Error| Error::input("", format!("can't read the layout: {e}"), hint);
    let file = File::open(path).map_err(|e| unreadable(&e))?;
    let mut text = Vec::new();
    BufReader::new(file)
        .take(MAX_FILE_BYTES + 1)
        .read_to_end(&mut text)
        .map_err(|e| unreadable(&e))?;
    if text.len() as u64 > MAX_FILE_BYTES {
        let what = format!("the file is larger than {} GiB", MAX_FILE_BYTES >> 30);
        return Err(Error::input("", what, hint));
    }
    // What it is comes before what is in it: another version may have another form
    let broken = |e: &serde_json::Error| {
        let place = format!("line {}, column {}", e.line(), e.column());
        let text = e.to_string();
        let end = text.rfind(" at line ").unwrap_or(text.len());
        Error::input(
            place,
            format!("the layout can't be read: {}", &text[..end]),
            hint,
        )
    };
    let head: Head = serde_json::from_slice(&text).map_err(|e| broken(&e))?;
    if head.format.as_deref() != Some("scatter-layout") {
        return Err(Error::input("format", "the file is no layout", hint));
    }
    if head.version != Some(VERSION) {
        let found = head
            .version
            .map_or("no version".into(), |v| format!("version {v}"));
        return Err(Error::input(
            "version",
            format!("the layout has {found}; this program reads version {VERSION}"),
            "dress the shot again with this program",
        ));
    }
    // A layout delivered for another engine's axes would be shown on its side without a word
    if let Some(Axes { unit, up, hand }) = &head.space
        && [unit.as_str(), up, hand] != ["m", "+y", "right"]
    {
        return Err(Error::input(
            "space",
            format!(
                "the layout is in {unit}, {up} up, {hand}-handed; it is read in m, +y up, right-handed"
            ),
            "dress the shot again without `deliver.space`",
        ));
    }
    let document: Document = serde_json::from_slice(&text).map_err(|e| broken(&e))?;
    drop(text);
    assemble(document, dresser)
}

/// Joins the document with the kit.
fn assemble(document: Document, dresser: &Dresser<'_>) -> Result<Layout> {
    let kit = dresser.pieces();
    let mut pieces = Vec::with_capacity(document.pieces.len());
    for (i, line) in document.pieces.iter().enumerate() {
        let found = kit.iter().find(|p| p.name == line.name);
        let piece = found.ok_or_else(|| {
            let hint = if line.name == simpler::full_name(&line.name) {
                "name the shot that the layout was made from"
            } else {
                "name the shot that the layout was made from, with the same `resolve.triangle_pixels`"
            };
            let problem = format!("the shot's kit has no piece `{}`", line.name);
            Error::input(format!("pieces[{i}].name"), problem, hint)
        })?;
        if piece.triangles() != line.triangles {
            return Err(Error::input(
                format!("pieces[{i}].triangles"),
                format!(
                    "`{}` has {} triangles in the layout, {} in the kit",
                    line.name,
                    line.triangles,
                    piece.triangles()
                ),
                "dress the shot again with this program",
            ));
        }
        pieces.push(piece.clone());
    }
    let counts = [document.passes.len(), pieces.len()];
    let instances = document
        .instances
        .iter()
        .enumerate()
        .map(|(i, line)| instance(line, i, counts))
        .collect::<Result<Vec<_>>>()?;
    let mut ids: Vec<(u64, usize)> = instances
        .iter()
        .enumerate()
        .map(|(i, p)| (p.id, i))
        .collect();
    ids.sort_unstable();
    if let Some(pair) = ids.windows(2).find(|pair| pair[0].0 == pair[1].0) {
        return Err(Error::input(
            format!("instances[{}].id", pair[1].1),
            format!("instances[{}] has the same id", pair[0].1),
            "each piece has its own id; leave out the copy",
        ));
    }
    let full: Vec<u64> = pieces
        .iter()
        .map(|piece: &Piece| {
            let name = simpler::full_name(&piece.name);
            let full = kit.iter().find(|p| p.name == name);
            full.unwrap_or(piece).triangles()
        })
        .collect();
    let passes = document.passes.into_iter().enumerate().map(|(i, line)| {
        let of_pass = || instances.iter().filter(|p| usize::from(p.pass) == i);
        let carpet = dresser.carpet_figures().filter(|_| line.name == CARPET);
        PassRecord {
            name: line.name,
            tally: Tally {
                asked: line.asked,
                placed: of_pass().count() as u64,
                cover: line.cover,
                triangles: of_pass()
                    .map(|p| pieces[usize::from(p.piece)].triangles())
                    .sum(),
                full_triangles: of_pass().map(|p| full[usize::from(p.piece)]).sum(),
                carpet,
                ..Tally::default()
            },
        }
    });
    Ok(Layout {
        shot: document.shot,
        take: document.take,
        cameras: dresser.cameras().to_vec(),
        passes: passes.collect(),
        pieces: Arc::new(pieces),
        instances,
    })
}

/// One instance, its numbers checked. `counts` are those of passes and pieces.
fn instance(line: &InstanceLine, index: usize, counts: [usize; 2]) -> Result<Instance> {
    let fail = |key: &str, problem: String, hint: &str| {
        Err(Error::input(
            format!("instances[{index}].{key}"),
            problem,
            hint,
        ))
    };
    let id = u64::from_str_radix(&line.id, 16);
    let Ok(id) = id
        .map_err(|_| ())
        .and_then(|id| (line.id.len() == 16).then_some(id).ok_or(()))
    else {
        return fail(
            "id",
            format!("`{}` is no id", line.id),
            "16 hexadecimal digits",
        );
    };
    for (key, value, count) in [
        ("pass", line.pass, counts[0]),
        ("piece", line.piece, counts[1]),
    ] {
        if usize::from(value) >= count {
            return fail(
                key,
                format!("{value} is not in the list of {count}"),
                "an index from 0",
            );
        }
    }
    if line
        .position
        .iter()
        .any(|v| v.is_nan() || v.abs() > MAX_COORDINATE_M)
    {
        let hint = "metres, at most 130 km from the origin along each axis";
        return fail(
            "position",
            format!("{:?} is out of range", line.position),
            hint,
        );
    }
    let length = Quat::from_array(line.rotation).length();
    if (length - 1.0).abs() > UNIT || length.is_nan() {
        let what = format!("{:?} has length {length}", line.rotation);
        return fail("rotation", what, "a unit quaternion x, y, z, w");
    }
    for (key, value) in [("scale", line.scale), ("diameter", line.diameter)] {
        if !(value > 0.0 && f64::from(value) <= MAX_COORDINATE_M) {
            return fail(
                key,
                format!("{value} is out of range"),
                "a finite number above 0",
            );
        }
    }
    Ok(Instance {
        id,
        position: DVec3::from_array(line.position),
        rotation: line.rotation,
        scale: line.scale,
        diameter: line.diameter,
        pass: line.pass,
        piece: line.piece,
    })
}
