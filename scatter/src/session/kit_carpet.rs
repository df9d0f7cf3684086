//! The tiles of a carpet as pieces of the kit.

use std::path::Path;

use rustc_hash::FxHashSet;

use crate::brief::{Brief, CARPET, Grains};
use crate::cancel::Cancel;
use crate::carpet::{self, CarpetTiles, Figures, TileForm};
use crate::error::{Error, Result};
use crate::kit::{Kind, Piece, PieceIndex, simpler};

/// The tiles of a brief, whose meshes stand in the layout's list of pieces.
#[derive(Debug, Clone)]
pub(super) struct KitCarpet {
    /// Without their meshes.
    pub(super) tiles: CarpetTiles,
    /// For each tile, where each octave stands in the list of pieces.
    pub(super) numbers: Vec<Vec<PieceIndex>>,
}

impl KitCarpet {
    /// Grows or reads the tiles and puts them behind the pieces; gives what was left out while
    /// reading, too. None if the brief has no carpet.
    ///
    /// # Errors
    /// The patch can't be read, there are more than 65,535 pieces with the tiles, or this build makes
    /// no simpler grains.
    pub(super) fn new(
        brief: &Brief,
        folder: &Path,
        pieces: &mut Vec<Piece>,
        cancel: &Cancel,
    ) -> Result<Option<(Self, Vec<String>)>> {
        let Some(asked) = brief.carpet() else {
            return Ok(None);
        };
        let side = asked.tile;
        let (mut tiles, warnings) = match &asked.grains {
            Grains::Patch(patch) => carpet::read(side, patch, folder)?,
            Grains::Grown {
                kinds,
                sizes,
                variants,
            } => {
                simpler::check_made("carpet.grains")?;
                let form = TileForm {
                    side,
                    largest: sizes.to(),
                };
                let kinds: Vec<Kind> = kinds.iter().filter_map(|n| Kind::named(n)).collect();
                (
                    carpet::grow(form, &kinds, sizes, *variants, cancel)?,
                    Vec::new(),
                )
            }
        };
        let mut names: FxHashSet<String> = pieces.iter().map(|p| p.name.clone()).collect();
        let mut numbers = Vec::with_capacity(tiles.pieces.len());
        for octaves in std::mem::take(&mut tiles.pieces) {
            let mut of_tile = Vec::with_capacity(octaves.len());
            for mut tile in octaves {
                while !names.insert(tile.name.clone()) {
                    tile.name.push_str("-tile");
                }
                of_tile.push(PieceIndex::of(pieces.len()).ok_or_else(|| {
                    let hint = "fewer tiles, or fewer pieces";
                    Error::input(CARPET, "with its tiles the shot passes 65,535 pieces", hint)
                })?);
                pieces.push(tile);
            }
            numbers.push(of_tile);
        }
        Ok(Some((Self { tiles, numbers }, warnings)))
    }

    /// How much lower the ground is drawn under it, metres.
    pub(super) fn sunk(&self) -> f64 {
        self.tiles.form.sunk()
    }

    /// What is known of it before it is laid: nothing counted yet.
    pub(super) fn figures(&self) -> Figures {
        Figures {
            tile: self.tiles.form.side,
            sunk: self.sunk(),
            tiles: 0,
            grains: 0,
        }
    }
}
