//! A `layout.json` as far as comparing asks: read without its shot and its kit.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;

use glam::{DVec3, Vec3};
use serde::Deserialize;

use super::ComparedPiece;
use crate::deliver::space::Conversion;
use crate::error::{Error, Result};
use crate::kit::simpler::full_name;
use crate::layout::document::{self, InstanceLine, Range, SpaceLine};

/// Whatever the unit.
const RANGE: Range = Range {
    most: 1e9,
    hint: "three finite numbers",
};

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
    pub placed: BTreeMap<u64, ComparedPiece>,
}

#[derive(Deserialize)]
struct LayoutLines {
    shot: String,
    take: u64,
    #[serde(default)]
    space: SpaceLine,
    pieces: Vec<PieceSize>,
    passes: Vec<Named>,
    instances: Vec<InstanceLine>,
}

#[derive(Deserialize)]
struct Named {
    name: String,
}

#[derive(Deserialize)]
struct PieceSize {
    name: String,
    /// In the file's space.
    #[serde(default)]
    size: [f32; 3],
}

/// A piece's name, and its extents in metres along Strew's axes.
type KnownPiece = (Arc<str>, Vec3);

/// Reads the layout in the file at `path`.
///
/// # Errors
/// [`ErrorKind::Input`](crate::error::ErrorKind::Input): the file can't be read, is no layout of
/// this version, or holds what can't be: an id twice or malformed, an index to nothing, a number
/// out of range. Says where.
pub fn read(path: &Path) -> Result<Document> {
    document::bytes(path)
        .and_then(|bytes| parse(&bytes))
        .map_err(|e| e.in_file(path))
}

fn parse(bytes: &[u8]) -> Result<Document> {
    let body: LayoutLines = document::parsed(bytes)?;
    let way = body.space.way();
    let names =
        |list: Vec<Named>| -> Vec<Arc<str>> { list.into_iter().map(|n| n.name.into()).collect() };
    let passes = names(body.passes);
    // Another version of a piece is the same piece
    let pieces = body.pieces.iter();
    let pieces: Vec<KnownPiece> = pieces
        .map(|p| (full_name(&p.name).into(), way.extents_back(p.size)))
        .collect();
    let mut placed: BTreeMap<u64, ComparedPiece> = BTreeMap::new();
    for (i, line) in body.instances.iter().enumerate() {
        let (id, one) = instance(line, i, (&passes, &pieces), &way)?;
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

fn instance(
    line: &InstanceLine,
    index: usize,
    (passes, pieces): (&[Arc<str>], &[KnownPiece]),
    way: &Conversion,
) -> Result<(u64, ComparedPiece)> {
    let id = line.checked(index, [passes.len(), pieces.len()], RANGE)?;
    let one = ComparedPiece {
        pass: passes[line.pass].clone(),
        piece: pieces[line.piece].0.clone(),
        position: way.point_back(DVec3::from_array(line.position)),
        rotation: way.rotation_back(line.rotation),
        scale: line.scale,
        diameter: way.metres(f64::from(line.diameter)) as f32,
        size: pieces[line.piece].1,
    };
    Ok((id, one))
}
