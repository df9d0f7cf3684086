//! The shot's shade as the last pass of its layout.

use rustc_hash::FxHashSet;

use super::planning::tag;
use super::rested::single;
use super::{Dresser, Instance, PassRecord, Refused, Tally};
use crate::error::Result;
use crate::kit::Piece;
use crate::random::pass_key;
use crate::shade::{self, Setting};
use crate::shot::SHADE;

impl Dresser<'_> {
    /// The casters of a take, as pass number `pass`; None if the shot has no shade. What was taken
    /// away by hand goes into `gone`.
    pub(super) fn shade(
        &self,
        take: u64,
        pass: usize,
        gone: &mut FxHashSet<u64>,
    ) -> Result<Option<(PassRecord, Vec<Instance>)>> {
        let Some(asked) = &self.shot.shade else {
            return Ok(None);
        };
        let take = self.shot.takes.get(SHADE).copied().unwrap_or(take);
        let numbers = &self.sprays;
        let sprays: Vec<&Piece> = numbers
            .iter()
            .map(|i| &self.pieces[usize::from(*i)])
            .collect();
        let hung = shade::hang(
            asked,
            &sprays,
            &Setting {
                view: self.view(),
                ground: self.ground(),
                heroes: self.heroes(),
                key: pass_key(take, SHADE),
                tag: tag(SHADE),
                most: self.shot.budget.pieces,
            },
        )?;
        let removed = self.shot.removed();
        let ids = hung.casters.iter().map(|c| c.id);
        gone.extend(ids.filter(|id| removed.contains(id)));
        let casters = hung.casters.iter().filter(|c| !removed.contains(&c.id));
        let mut instances: Vec<Instance> = casters
            .map(|c| {
                let piece = numbers[usize::from(c.piece)];
                let b_axis = self.pieces[usize::from(piece)].measure.b_axis;
                Instance {
                    id: c.id,
                    position: c.position,
                    rotation: single(c.rotation),
                    scale: c.scale as f32,
                    diameter: (b_axis * c.scale) as f32,
                    pass: pass as u16,
                    piece,
                }
            })
            .collect();
        instances.sort_unstable_by_key(|i| (i.piece, i.id));
        let gone = hung.casters.len() - instances.len();
        let refused = [
            (Refused::InFrame, hung.in_frame),
            (Refused::ShadesHero, hung.on_hero),
            (Refused::Removed, gone as u64),
        ];
        let [lit_asked, lit] = hung.figures.lit;
        let triangles = instances
            .iter()
            .map(|i| self.pieces[usize::from(i.piece)].triangles())
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
        let record = PassRecord {
            name: SHADE.to_owned(),
            tally,
        };
        Ok(Some((record, instances)))
    }
}
