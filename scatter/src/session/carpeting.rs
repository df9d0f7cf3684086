//! The carpet of a brief as a layer of its layout.

use std::path::Path;

use rustc_hash::FxHashSet;

use super::dressing::Laid;
use super::prepared::Prepared;
use super::rested::single;
use crate::brief::{Brief, CARPET, Grains, LayerIndex};
use crate::cancel::Cancel;
use crate::carpet::{self, CarpetTiles, Figures, TileForm};
use crate::error::{Error, Result};
use crate::kit::{Kind, Piece, PieceIndex};
use crate::layout::{Instance, Tally};
use crate::random::Streams;

/// The tiles of a brief, whose meshes stand in the layout's list of pieces.
#[derive(Debug, Clone)]
pub(super) struct KitCarpet {
    /// Without their meshes.
    tiles: CarpetTiles,
    /// For each tile, where each octave stands in the list of pieces.
    numbers: Vec<Vec<PieceIndex>>,
}

impl KitCarpet {
    /// Grows or reads the tiles and puts them behind the pieces; gives what was left out while
    /// reading, too. None if the brief has no carpet.
    ///
    /// # Errors
    /// The patch can't be read, or there are more than 65,535 pieces with the tiles.
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

impl Prepared {
    /// The tiles of a take, as the layer of a number with its streams. What was taken away by hand
    /// goes into `gone`.
    pub(super) fn carpet_tiles(
        &self,
        (layer, streams): (LayerIndex, Streams),
        gone: &mut FxHashSet<u64>,
        cancel: &Cancel,
    ) -> Result<Laid> {
        let Some(KitCarpet { tiles, numbers }) = &self.kit.carpet else {
            return Ok(Laid::default());
        };
        let mut figures = self.carpet().unwrap_or_default();
        let budget = self.brief.budget.pieces;
        let laid = carpet::lay(tiles, numbers.len(), &self.scene, streams, budget, cancel)?;
        let removed: FxHashSet<u64> = self.brief.removed.iter().copied().collect();
        let ids = laid.iter().map(|t| t.id);
        gone.extend(ids.filter(|id| removed.contains(id)));
        let kept = laid.iter().filter(|t| !removed.contains(&t.id));
        let mut instances = Vec::with_capacity(laid.len());
        let mut triangles = 0;
        for t in kept {
            let piece = numbers[t.variant][t.octave];
            let mesh = &self.kit.pieces[usize::from(piece)];
            figures.tiles += u64::from(t.octave == 0);
            figures.grains += tiles.grains[t.variant][t.octave];
            triangles += mesh.triangles();
            instances.push(Instance {
                id: t.id,
                position: t.position,
                rotation: single(t.rotation),
                scale: t.scale as f32,
                diameter: (mesh.measure.b_axis * t.scale) as f32,
                pass: layer,
                piece,
            });
        }
        let tally = Tally {
            asked: laid.len() as u64,
            placed: instances.len() as u64,
            cover_asked: 1.0,
            cover: 1.0,
            triangles,
            full_triangles: triangles,
            carpet: Some(figures),
            ..Tally::default()
        };
        Ok(Laid { tally, instances })
    }
}
