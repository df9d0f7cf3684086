//! The shade of a brief as a layer of its layout.

use rustc_hash::FxHashSet;

use super::laid::Laid;
use super::prepared::Prepared;
use crate::brief::{LayerIndex, Shade};
use crate::cancel::Cancel;
use crate::error::Result;
use crate::kit::Piece;
use crate::layout::{Instance, Refused, Tally, single};
use crate::random::Streams;
use crate::shade;

impl Prepared {
    /// The casters of a take, as the layer of a number with its streams. What was taken away by
    /// hand goes into `gone`.
    pub(super) fn casters(
        &self,
        asked: &Shade,
        (layer, streams): (LayerIndex, Streams),
        gone: &mut FxHashSet<u64>,
        cancel: &Cancel,
    ) -> Result<Laid> {
        let pieces = &self.kit.pieces;
        let numbers = &self.kit.library.shade;
        let sprays: Vec<&Piece> = numbers.iter().map(|i| &pieces[usize::from(*i)]).collect();
        let budget = self.brief.budget.pieces;
        let hung = shade::hang(asked, &sprays, &self.scene, streams, budget, cancel)?;
        let removed: FxHashSet<u64> = self.brief.removed.iter().copied().collect();
        let ids = hung.casters.iter().map(|c| c.id);
        gone.extend(ids.filter(|id| removed.contains(id)));
        let casters = hung.casters.iter().filter(|c| !removed.contains(&c.id));
        let instances: Vec<Instance> = casters
            .map(|c| {
                let piece = numbers[usize::from(c.piece)];
                let b_axis = pieces[usize::from(piece)].measure.b_axis;
                Instance {
                    id: c.id,
                    position: c.position,
                    rotation: single(c.rotation),
                    scale: c.scale as f32,
                    diameter: (b_axis * c.scale) as f32,
                    pass: layer,
                    piece,
                }
            })
            .collect();
        let gone = hung.casters.len() - instances.len();
        let refused = [
            (Refused::InFrame, hung.in_frame),
            (Refused::ShadesHero, hung.on_hero),
            (Refused::Removed, gone as u64),
        ];
        let [lit_asked, lit] = hung.figures.lit;
        let triangles = instances
            .iter()
            .map(|i| pieces[usize::from(i.piece)].triangles())
            .sum();
        let tally = Tally {
            asked: hung.casters.len() as u64 + hung.in_frame + hung.on_hero,
            thrown: hung.casters.len() as u64 + hung.in_frame + hung.on_hero,
            laid: instances.len() as u64,
            placed: instances.len() as u64,
            // What is covered of the ground, as the sun sees it
            cover_asked: 1.0 - lit_asked,
            cover: 1.0 - lit,
            triangles,
            full_triangles: triangles,
            refused: refused.into_iter().filter(|(_, n)| *n > 0).collect(),
            shade: Some(hung.figures),
            ..Tally::default()
        };
        Ok(Laid { tally, instances })
    }
}
