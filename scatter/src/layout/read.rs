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
use super::tint::Tints;
use crate::brief::{CARPET, LayerIndex, MAX_COORDINATE_M};
use crate::carpet;
use crate::color::{Family, LayerTone};
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
    /// The family of rock that its stones are of.
    stone: Option<Family>,
    /// The one colour of all its pieces, linear.
    color: Option<[f32; 3]>,
}

impl PassLine {
    /// What colours its pieces take.
    fn tone(&self) -> Option<LayerTone> {
        let even = self.color.map(LayerTone::Even);
        self.stone.map(LayerTone::Stone).or(even)
    }
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
    for (i, line) in document.passes.iter().enumerate() {
        let unlike = |color: &[f32; 3]| color.iter().any(|c| !(0.0..=1.0).contains(c));
        if line.color.as_ref().is_some_and(unlike) {
            return Err(Error::input(
                format!("passes[{i}].color"),
                format!("{:?} is no colour", line.color.unwrap_or_default()),
                "linear red, green and blue, each 0 to 1",
            ));
        }
    }
    let passes = document.passes.into_iter().enumerate().map(|(i, line)| {
        let of_pass = || instances.iter().filter(|p| usize::from(p.pass) == i);
        let carpet = known.carpet.filter(|_| line.name == CARPET);
        PassRecord {
            tone: line.tone(),
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
    let tints: Vec<_> = document.instances.iter().map(|line| line.tint).collect();
    let layout = Layout {
        shot: document.shot,
        take: document.take,
        cameras: known.cameras.to_vec(),
        passes: passes.collect(),
        pieces: Arc::new(pieces),
        instances,
        mixes: Vec::new(),
        warnings: Vec::new(),
    };
    check_tints(&layout, &tints)?;
    Ok(layout)
}

/// How far a tint in a file may be from what it is reckoned to be, of itself: it is written with
/// four decimals.
const TINT_TOLERANCE: f32 = 2e-3;

/// Tints follow from a layer's tone and an instance's id: those that a file tells must be these, or
/// a picture would not show what the file says.
fn check_tints(layout: &Layout, told: &[Option<[f32; 3]>]) -> Result<()> {
    if told.iter().all(Option::is_none) {
        return Ok(());
    }
    let tints = Tints::of(layout);
    for (i, (instance, told)) in layout.instances.iter().zip(told).enumerate() {
        let Some(told) = told else { continue };
        let known = tints.tint(instance);
        let near = |known: [f32; 3]| {
            let pairs = known.into_iter().zip(*told);
            pairs
                .into_iter()
                .all(|(k, t)| (k - t).abs() <= TINT_TOLERANCE * (1.0 + k))
        };
        if !known.is_some_and(near) {
            return Err(Error::input(
                format!("instances[{i}].tint"),
                format!("{told:?} is not what its pass's `stone` or `color` gives"),
                "leave `tint` out, or name another family in the pass's `stone`",
            ));
        }
    }
    Ok(())
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
