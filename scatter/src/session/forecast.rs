//! What a take will surely need, told before anything of it is made.

use std::collections::{BTreeSet, HashSet};

use glam::DVec3;

use super::budget::{Cost, judge};
use super::run::Run;
use crate::error::Result;
use crate::kit::{Piece, PieceIndex};
use crate::place::strata::BlockAt;
use crate::plan::NANO;
use crate::view;

/// A forecast over what is sure of it. Samples and what slides leave it within a half; of a pass
/// that others say where to gather, and whose relations the forecast counts as full, a tenth is
/// taken for sure.
fn sure(related: bool) -> f64 {
    if related { 10.0 } else { 2.0 }
}

/// A pass that is forecast to lay this many of each of its pieces lays each of them: by chance one
/// in e^8, or three thousand, would be left out.
const EACH_IS_LAID: f64 = 8.0;

impl Run<'_> {
    /// Stops a shot that is surely over its budget before anything of it is made. `wanted` are the
    /// blocks of each pass.
    pub(super) fn check_forecast(&self, wanted: &[Vec<BTreeSet<BlockAt>>]) -> Result<()> {
        let mut known = HashSet::new();
        let costs = wanted.iter().enumerate().map(|(index, blocks)| {
            let pieces = self.forecast(index, blocks) / sure(self.is_related(index));
            let pass = self.passes[index].pass;
            let [from, to] = [pass.sizes.from(), pass.sizes.to()];
            let serves = |sizes: Option<[f64; 2]>| {
                pass.stretch || sizes.is_none_or(|[least, most]| least <= to && most >= from)
            };
            let kit = self.kit.library.of_pass[index].iter();
            let kit: Vec<_> = kit
                .filter(|s| serves(s.sizes) && s.share * pieces >= EACH_IS_LAID)
                .filter(|s| known.insert(s.piece))
                .map(|s| self.least(s.piece))
                .collect();
            Cost::new(self.passes[index].name, pieces, kit.into_iter())
        });
        judge(self.brief, &costs.collect::<Vec<_>>(), "at least ")
    }

    /// Pieces that a pass would lay where the cameras need them, were no other pass in its way.
    fn forecast(&self, index: usize, wanted: &[BTreeSet<BlockAt>]) -> f64 {
        /// Blocks that are sampled, and places in all of them together: the needed share of a block
        /// as large as a hundred frames is met within a third.
        const BLOCKS: usize = 64;
        const PLACES: f64 = 1024.0;
        let strata = self.strata(index);
        let mut pieces = 0.0;
        for (octave, blocks) in wanted.iter().enumerate() {
            if blocks.is_empty() {
                continue;
            }
            let layer = &strata.plan.schedule.octaves[octave];
            let side = strata.block_side(octave) as f64 / NANO;
            let every = blocks.len().div_ceil(BLOCKS);
            let sampled = blocks.len().div_ceil(every);
            let across = (PLACES / sampled as f64).sqrt().ceil();
            let mut places = Vec::new();
            for b in blocks.iter().step_by(every) {
                let r = strata.block_rectangle(octave, *b);
                let at = |low: i64, k: f64| low as f64 / NANO + side * (k + 0.5) / across;
                for i in 0..across as usize {
                    places.extend(
                        (0..across as usize).map(|k| [at(r.x0, i as f64), at(r.z0, k as f64)]),
                    );
                }
            }
            let diameter = (layer.from * layer.to).sqrt();
            let needed = |[x, z]: [f64; 2]| {
                let radius = 0.5 * diameter;
                let middle = DVec3::new(x, self.scene.ground.height(x, z) + radius, z);
                let body = view::Body {
                    middle,
                    radius,
                    diameter,
                };
                let crest = view::Crest {
                    top: middle.y + radius,
                    tall: diameter,
                };
                self.scene
                    .view
                    .reason(&body, crest, &self.scene.ground)
                    .is_some()
            };
            let share = self.mean_strength(index, &places, needed);
            pieces += layer.asked * side * side * blocks.len() as f64 * share;
        }
        pieces
    }

    /// The version of a piece of the kit with the fewest triangles.
    fn least(&self, piece: PieceIndex) -> &Piece {
        let details = self.kit.details.as_ref();
        let coarsest = details.map_or(piece, |details| details.coarsest(piece));
        &self.kit.pieces[usize::from(coarsest)]
    }
}
