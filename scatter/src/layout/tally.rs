//! What was asked of a pass and what came of it.

use std::collections::BTreeSet;

use super::rested::Rested;
use super::run::Run;
use super::{Dresser, Tally};
use crate::place::block::Count;
use crate::place::strata::BlockAt;
use crate::plan::NANO;

impl Dresser<'_> {
    /// Asked and got. Blocks are coarser than what the cameras need: what is asked and refused on an octave's blocks is counted in
    /// the share of the octave's pieces that came to be laid: those that the layout holds and those that would not lie.
    pub(super) fn tally(
        &self,
        run: &Run<'_>,
        index: usize,
        wanted: &[BTreeSet<BlockAt>],
        rested: &Rested,
    ) -> Tally {
        let strata = run.strata(index);
        let schedule = &strata.plan.schedule;
        let mut needed = Count::default();
        let (mut cover, mut cover_asked) = (0.0, 0.0);
        for (octave, blocks) in wanted.iter().enumerate() {
            let side = strata.block_side(octave) as f64 / NANO;
            let area = side * side * blocks.len() as f64;
            let mut count = Count::default();
            let (mut made, mut covered) = (0u64, 0.0);
            for at in blocks {
                count.add(&strata.count(octave, *at));
                for p in strata.block(octave, *at) {
                    made += 1;
                    covered += strata.plan.pieces.outlines()[usize::from(p.piece)].fill
                        * f64::from(p.diameter)
                        * f64::from(p.diameter);
                }
            }
            if made == 0 {
                continue;
            }
            cover += covered / area;
            cover_asked +=
                count.asked * schedule.octaves[octave].mean_square * schedule.fill / area;
            let share = rested.by_octave[octave] as f64 / made as f64;
            needed.asked += count.asked * share;
            needed.full += count.full * share;
            needed.clear += count.clear * share;
        }
        // Strewn pieces hide each other: the covered share of the Boolean model
        let union = |sum: f64| {
            if schedule.spaced {
                sum
            } else {
                1.0 - libm::exp(-sum)
            }
        };
        let triangles = rested
            .instances
            .iter()
            .map(|i| self.pieces[usize::from(i.piece)].triangles())
            .sum();
        let refused = [
            ("full", needed.full),
            ("clear", needed.clear),
            ("slides", rested.slides as f64),
            ("meets", rested.meets as f64),
        ]
        .map(|(reason, count)| (reason.to_string(), count.max(0.0).round() as u64));
        Tally {
            asked: needed.asked.round() as u64,
            placed: rested.instances.len() as u64,
            cover_asked: union(cover_asked),
            cover: union(cover * rested.lies),
            triangles,
            full_triangles: rested.full_triangles,
            refused: refused
                .into_iter()
                .filter(|(_, count)| *count > 0)
                .collect(),
            carpet: None,
            shade: None,
        }
    }
}
