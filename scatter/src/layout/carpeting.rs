//! The shot's carpet as a pass of its layout.

use std::path::Path;

use rustc_hash::FxHashSet;

use super::planning::tag;
use super::rested::single;
use super::{Dresser, Instance, PassRecord, Tally};
use crate::carpet::{self, CarpetTiles, Figures, Setting, TileForm};
use crate::error::{Error, Result};
use crate::kit::{Kind, Piece};
use crate::random::pass_key;
use crate::shot::{CARPET, Shot, TILE_VARIANTS};

/// A shot's tiles, whose meshes stand in the layout's list of pieces.
#[derive(Debug, Clone)]
pub(super) struct Carpet {
    /// Without their meshes.
    tiles: CarpetTiles,
    /// For each tile, where each octave stands in the list of pieces.
    numbers: Vec<Vec<u16>>,
}

impl Carpet {
    /// Grows or reads a shot's tiles and puts them behind the pieces; gives what was left out while
    /// reading, too. None if the shot has no carpet.
    ///
    /// # Errors
    /// The patch can't be read, or there are more than 65,535 pieces with the tiles.
    pub(super) fn new(
        shot: &Shot,
        folder: &Path,
        pieces: &mut Vec<Piece>,
    ) -> Result<Option<(Self, Vec<String>)>> {
        let Some(asked) = &shot.carpet else {
            return Ok(None);
        };
        let side = asked.side();
        let (mut tiles, warnings) = match (&asked.patch, &asked.sizes) {
            (Some(patch), _) => carpet::read(side, patch, folder)?,
            (None, Some(sizes)) => {
                let law = sizes.law();
                let form = TileForm {
                    side,
                    largest: law.to(),
                };
                let kinds: Vec<Kind> = asked.grains.iter().filter_map(|n| Kind::named(n)).collect();
                let variants = asked.variants.unwrap_or(TILE_VARIANTS);
                (carpet::grow(form, &kinds, &law, variants), Vec::new())
            }
            (None, None) => return Ok(None),
        };
        let mut numbers = Vec::with_capacity(tiles.pieces.len());
        for octaves in std::mem::take(&mut tiles.pieces) {
            let mut of_tile = Vec::with_capacity(octaves.len());
            for mut tile in octaves {
                while pieces.iter().any(|p| p.name == tile.name) {
                    tile.name.push_str("-tile");
                }
                of_tile.push(u16::try_from(pieces.len()).map_err(|_| {
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
}

impl Dresser<'_> {
    /// How much lower than [`Dresser::ground`] the ground is drawn where the shot's carpet lies on
    /// it, metres; 0 without one.
    #[must_use]
    pub fn ground_sunk(&self) -> f64 {
        self.carpet.as_ref().map_or(0.0, |c| c.sunk())
    }

    /// What is known of the carpet before it is laid: nothing counted yet. None if the shot has no
    /// carpet.
    pub(super) fn carpet_figures(&self) -> Option<Figures> {
        self.carpet.as_ref().map(|c| Figures {
            tile: c.tiles.form.side,
            sunk: c.sunk(),
            tiles: 0,
            grains: 0,
        })
    }

    /// The tiles of a take, as pass number `pass`; None if the shot has no carpet. What was taken
    /// away by hand goes into `gone`.
    pub(super) fn carpet(
        &self,
        take: u64,
        pass: usize,
        gone: &mut FxHashSet<u64>,
    ) -> Result<Option<(PassRecord, Vec<Instance>)>> {
        let (Some(Carpet { tiles, numbers }), Some(mut figures)) =
            (self.carpet.as_deref(), self.carpet_figures())
        else {
            return Ok(None);
        };
        let take = self.shot.takes.get(CARPET).copied().unwrap_or(take);
        let laid = carpet::lay(
            tiles,
            numbers.len(),
            &Setting {
                view: self.view(),
                ground: self.ground(),
                key: pass_key(take, CARPET),
                tag: tag(CARPET),
                most: self.shot.budget.pieces,
            },
        )?;
        let removed = self.shot.removed();
        let ids = laid.iter().map(|t| t.id);
        gone.extend(ids.filter(|id| removed.contains(id)));
        let kept = laid.iter().filter(|t| !removed.contains(&t.id));
        let mut instances = Vec::with_capacity(laid.len());
        let mut triangles = 0;
        for t in kept {
            let piece = numbers[t.variant][t.octave];
            let mesh = &self.pieces[usize::from(piece)];
            figures.tiles += u64::from(t.octave == 0);
            figures.grains += tiles.grains[t.variant][t.octave];
            triangles += mesh.triangles();
            instances.push(Instance {
                id: t.id,
                position: t.position,
                rotation: single(t.rotation),
                scale: t.scale as f32,
                diameter: (mesh.measure.b_axis * t.scale) as f32,
                pass: pass as u16,
                piece,
            });
        }
        instances.sort_unstable_by_key(|i| (i.piece, i.id));
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
        let record = PassRecord {
            name: CARPET.to_owned(),
            tally,
        };
        Ok(Some((record, instances)))
    }
}
