//! What the ground in view hangs on, asked for before anything is placed.
//!
//! A pass goes by larger pieces of its own and by earlier passes that it gathers at or keeps clear
//! of. All of that is asked for where it is needed, whoever asks. Asked for beforehand, it is
//! placed in one go, in large groups of blocks; bit by bit, every rim of a few blocks would be
//! placed with a margin round it. What pieces lie on is asked for piece by piece: most of it is
//! there by then.

use super::run::Run;
use super::target::PassTarget;
use crate::field::Target;
use crate::place::strata::Blocks;

impl Run<'_> {
    /// By pass, the wanted blocks and those that they hang on.
    pub(super) fn ask_ahead(&self, wanted: &[Blocks]) -> Vec<Blocks> {
        let mut asked = wanted.to_vec();
        for pass in (0..asked.len()).rev() {
            self.strata(pass).add_elders(&mut asked[pass]);
            self.ask_related(pass, &mut asked);
        }
        asked
    }

    /// Adds the blocks of earlier passes that those of a pass look at.
    fn ask_related(&self, pass: usize, asked: &mut [Blocks]) {
        let target = PassTarget { run: self, pass };
        let strata = self.strata(pass);
        for (octave, layer) in strata.plan.schedule.octaves.iter().enumerate() {
            let sizes = [layer.from, layer.to];
            let blocks = asked[pass][octave].iter().copied();
            let blocks =
                blocks.filter(|b| !target.is_void(strata.block_rectangle(octave, *b), sizes));
            let windows = strata.windows(octave, blocks);
            for (other, blocks) in target.looks_at(&windows, sizes) {
                for (all, more) in asked[other].iter_mut().zip(blocks) {
                    all.extend(more);
                }
            }
        }
    }
}
