//! Reads `layout.json` back, with the meshes of the kit that it was laid out with.

use std::path::Path;
use std::sync::Arc;

use glam::DVec3;
use serde::Deserialize;

use super::document::{self, InstanceLine, Range, SpaceLine};
use super::instance::Instance;
use super::result::{Layout, PassRecord};
use super::space::Conversion;
use super::tally::Tally;
use crate::brief::{CARPET, LayerIndex, MAX_COORDINATE_M};
use crate::carpet;
use crate::error::{Error, Result};
use crate::kit::{Piece, PieceIndex, simpler};
use crate::optics::Camera;

/// Metres, as a shot may have them.
const RANGE: Range = Range {
    most: MAX_COORDINATE_M,
    hint: "metres, at most 130 km from the origin along each axis",
};

#[derive(Deserialize)]
struct Document {
    #[serde(default)]
    space: SpaceLine,
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

/// Reads the layout in the file at `path`. Cameras and meshes are those of the shot that it was
/// made from.
///
/// # Errors
/// The file can't be read, is no layout of version 1, names pieces that the kit has not, or holds
/// numbers that can't be: of the first such instance.
pub fn read(path: &Path, known: ShotParts<'_>) -> Result<Layout> {
    read_inner(path, known).map_err(|e| e.in_file(path))
}

/// What the shot of a layout says that its file does not.
#[derive(Debug, Clone, Copy)]
pub struct ShotParts<'a> {
    /// The shot's cameras.
    pub cameras: &'a [Camera],
    /// Its kit.
    pub pieces: &'a [Piece],
    /// Its carpet, before it is laid.
    pub carpet: Option<carpet::Figures>,
}

fn read_inner(path: &Path, known: ShotParts<'_>) -> Result<Layout> {
    let bytes = document::bytes(path)?;
    let document: Document = document::parsed(&bytes)?;
    drop(bytes);
    assemble(document, known)
}

/// Joins the document with the kit.
fn assemble(document: Document, known: ShotParts<'_>) -> Result<Layout> {
    let kit = known.pieces;
    let pieces = pieces_of(&document.pieces, kit)?;
    let counts = [document.passes.len(), pieces.len()];
    let way = document.space.way();
    let instances = document
        .instances
        .iter()
        .enumerate()
        .map(|(i, line)| instance(line, i, counts, &way))
        .collect::<Result<Vec<_>>>()?;
    check_ids(&instances)?;
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
        let carpet = known.carpet.filter(|_| line.name == CARPET);
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
        cameras: known.cameras.to_vec(),
        passes: passes.collect(),
        pieces: Arc::new(pieces),
        instances,
        mixes: Vec::new(),
        warnings: Vec::new(),
    })
}

/// The kit's pieces that lines name.
fn pieces_of(lines: &[PieceLine], kit: &[Piece]) -> Result<Vec<Piece>> {
    let mut pieces = Vec::with_capacity(lines.len());
    for (i, line) in lines.iter().enumerate() {
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
    Ok(pieces)
}

/// No two pieces have one id.
fn check_ids(instances: &[Instance]) -> Result<()> {
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
    Ok(())
}

/// One instance, its numbers checked and in Strew's own space. `counts` are those of passes and
/// pieces.
fn instance(
    line: &InstanceLine,
    index: usize,
    counts: [usize; 2],
    way: &Conversion,
) -> Result<Instance> {
    // What comes from another unit is a hair beside the lattice
    let metres = way.point_back(DVec3::from_array(line.position));
    let mut own = line.clone();
    own.position = metres.to_array().map(|x| (x * 1e9).round() / 1e9);
    Ok(Instance {
        id: own.checked(index, counts, RANGE)?,
        position: DVec3::from_array(own.position),
        rotation: way.rotation_back(line.rotation),
        scale: line.scale,
        diameter: way.metres(f64::from(line.diameter)) as f32,
        // Checked: no list is longer
        pass: LayerIndex::new(line.pass as u16),
        piece: PieceIndex::new(line.piece as u16),
    })
}
