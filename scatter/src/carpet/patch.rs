//! Tiles from a file: any patch of ground, scaled to the tile.

use std::path::Path;

use glam::{DVec3, Vec3};

use super::mesh::{TileSheet, fines};
use super::{CarpetTiles, TileForm};
use crate::brief::Lies;
use crate::error::{Error, Result};
use crate::input::{self, MODELS};
use crate::kit::library::read_model;
use crate::kit::{MODEL_HINT, Measure, Part, Piece};
use crate::random::text_key;

/// Minimum number of triangles of a patch: with fewer it can't sink towards its rim.
const FEWEST: u64 = 200;
/// The heights that count as a patch's low and high ground, as shares of its vertices.
const RANGE: [f64; 2] = [0.05, 0.95];
/// Minimum range of heights that is assumed, in sides: the sheet lies under the low ground by it.
const FLATTEST: f64 = 0.02;
/// Side of a square of the sheet, in sides.
const SQUARE: f64 = 0.02;
/// Linear colour of the sheet under a patch, seen through its holes only: dry earth (common
/// practice, no source).
const EARTH: DVec3 = DVec3::new(0.14, 0.115, 0.09);

/// Tiles of `side` metres from a file in `folder`, one for each of its root nodes, and what was
/// left out while reading.
///
/// # Errors
/// The file is missing or can't be read, or a patch has too few triangles.
pub fn read(side: f64, file: &str, folder: &Path) -> Result<(CarpetTiles, Vec<String>)> {
    let path = folder.join(file);
    input::require(&path, "carpet.patch", (&MODELS, MODEL_HINT))?;
    let (found, warnings) = read_model(&path, file)?;
    let mut form = TileForm { side, largest: 0.0 };
    let mut scaled = Vec::with_capacity(found.len());
    for found in found {
        let piece = found.piece;
        if piece.triangles() < FEWEST {
            return Err(Error::input(
                "carpet.patch",
                format!(
                    "the patch {:?} of {file} has {} triangles: too few to sink towards its rim",
                    piece.name,
                    piece.triangles()
                ),
                format!("a patch of at least {FEWEST} triangles, evenly spread"),
            ));
        }
        // The round tile fits across its narrow side
        let scale = 2.0 * form.ends() / piece.measure.b_axis;
        let mut heights: Vec<f32> = piece
            .parts
            .iter()
            .flat_map(|p| p.mesh.positions.iter().map(|p| p.y))
            .collect();
        heights.sort_unstable_by(f32::total_cmp);
        let at = |share: f64| f64::from(heights[(share * (heights.len() - 1) as f64) as usize]);
        let [low, high] = RANGE.map(|share| scale * at(share));
        form.largest = form.largest.max(high - low).max(FLATTEST * side);
        scaled.push((piece, scale, low));
    }
    let pieces: Vec<Vec<Piece>> = scaled
        .into_iter()
        .enumerate()
        .map(|(number, (piece, scale, low))| vec![tile(&form, piece, scale, low, number)])
        .collect();
    let tiles = CarpetTiles {
        form,
        octaves: vec![form.largest],
        grains: vec![vec![0]; pieces.len()],
        pieces,
    };
    Ok((tiles, warnings))
}

/// A patch as a tile: round, its middle height at 0, sinking towards the rim, with a sheet under
/// its low ground.
fn tile(form: &TileForm, piece: Piece, scale: f64, low: f64, number: usize) -> Piece {
    let ends = form.ends();
    let middle = low + 0.5 * form.largest;
    let mut parts = piece.parts;
    for part in &mut parts {
        let mesh = &mut part.mesh;
        for p in &mut mesh.positions {
            let q = p.as_dvec3() * scale;
            let out = libm::sqrt(q.x * q.x + q.z * q.z);
            *p = DVec3::new(q.x, q.y - middle + form.sheet(out.min(ends)), q.z).as_vec3();
        }
        let beyond = |i: u32| {
            let p: Vec3 = mesh.positions[i as usize];
            libm::hypot(f64::from(p.x), f64::from(p.z)) > ends
        };
        let (triangles, _) = mesh.indices.as_chunks::<3>();
        let kept = triangles
            .iter()
            .filter(|t| !t.iter().any(|i| beyond(*i)))
            .flatten()
            .copied()
            .collect();
        mesh.indices = kept;
        mesh.drop_unused();
    }
    let sheet = TileSheet {
        form,
        key: text_key("carpet sheet"),
        level: low - middle - 0.5 * form.largest,
        bump: [0.0, form.side],
    };
    parts.push(Part {
        mesh: sheet.mesh(SQUARE * form.side, |_| EARTH),
        material: fines(),
    });
    Piece {
        name: format!("carpet-{number:02}"),
        source: piece.source,
        measure: Measure::of(&parts),
        parts,
        lies: Lies::Rigid,
    }
}
