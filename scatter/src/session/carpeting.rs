//! The carpet of a brief as a layer of its layout.

use rustc_hash::FxHashSet;

use super::kit_carpet::KitCarpet;
use super::laid::Laid;
use super::prepared::Prepared;
use crate::brief::LayerIndex;
use crate::cancel::Cancel;
use crate::carpet;
use crate::error::Result;
use crate::layout::{Instance, Tally, single};
use crate::random::Streams;

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
