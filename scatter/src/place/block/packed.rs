//! Laying stones: darts that meet what lies roll off it, as far as the pass lets them.
//!
//! A dart that meets something moves to where it touches and is free, within its own diameter:
//! first straight out of what it overlaps most; if it overlaps another thing there, to the nearer
//! place that touches both; and once more. Where that does not end free it is refused: it would lie
//! on others. For equal discs the exact steepest descent takes the place of that rule
//! ([`super::descent`]). A share of the darts does not roll: real gravel is half rolled (Tarjus,
//! Viot, Choi and Talbot, Phys. Rev. E 49, 3239, 1994, for the rate between plain and rolling
//! deposition).
//!
//! A dart looks no farther than its own diameter and the size of what it may meet, so the
//! certificate of [`crate::place`] holds: what may be met beyond the border, or may be met in
//! doubt, leaves a dart in doubt, and a dart in doubt may lie anywhere within its diameter.

use super::draws::{heading, rolls_by};
use super::evaluation::Evaluation;
use super::laid::LaidStone;
use super::rolling::Fate;
use super::survivors::Draft;
use crate::field::Here;
use crate::plan::stone::Stone;
use crate::plan::{Placed, Stones};

impl<T: Here> Evaluation<'_, T> {
    /// Lays the survivors in order of rank.
    pub(super) fn pack(&mut self, stones: &Stones) {
        self.scratch.survivors.sort();
        let order = std::mem::take(&mut self.scratch.survivors.order);
        let cells = self.scratch.marks.len();
        self.scratch.doubts.prepare(cells);
        let exact = self.round && self.layer.from == self.layer.to;
        let mut refused = 0;
        for (_, index) in &order {
            let mut draft = self.scratch.survivors.drafts[*index as usize];
            let at = || self.metres(draft.x, draft.z);
            let turn = self.plan.headings.turn(draft.look, at);
            let rolls = f64::from(rolls_by(draft.look)) < stones.roll * 65536.0;
            let placed = self.thrown(&draft);
            let place = (draft.x, draft.z);
            let stone = Stone::thrown(&placed, place, usize::from(turn), stones, self.plan.reach);
            let fate = if exact {
                self.descend(&stone, rolls)
            } else {
                self.roll(&stone, rolls)
            };
            let start = draft.cell;
            match fate {
                Fate::Lies(x, z) if (x, z) != place && !self.may_lie(&placed, (x, z), turn) => {
                    refused += 1;
                    self.count_refused(start, true);
                }
                Fate::Lies(x, z) => {
                    (draft.x, draft.z) = (x, z);
                    let stone = stone.at(x, z);
                    let stone = stone.lying(&placed, usize::from(turn), stones, self.plan.reach);
                    self.lay(stone, draft, turn);
                }
                Fate::Refused { foreign } => {
                    refused += 1;
                    self.count_refused(start, foreign);
                }
                Fate::Unknown if rolls && !self.has_room(&stone) => {
                    refused += 1;
                    self.count_refused(start, false);
                }
                Fate::Unknown => self.leave_in_doubt(&stone, rolls),
            }
        }
        debug_assert_eq!(
            order.len(),
            self.scratch.laid.stones.len() + self.scratch.doubts.len() + refused,
            "every dart has one fate"
        );
        self.scratch.survivors.order = order;
        self.scratch.survivors.clear();
    }

    /// Lays a stone in the cell of its place.
    fn lay(&mut self, stone: Stone, mut draft: Draft, turn: u8) {
        draft.cell = self.grid.cell_at(draft.x, draft.z) as u32;
        let head = &mut self.scratch.laid.heads[draft.cell as usize];
        let next = *head;
        *head = self.scratch.laid.stones.len() as u32;
        self.scratch.laid.stones.push(LaidStone {
            stone,
            draft,
            turn,
            next,
        });
    }

    /// Whether a stone may lie where it rolled to: where the pass is wanted at all, and not in what
    /// it keeps clear of.
    fn may_lie(&self, placed: &Placed, (x, z): (f64, f64), turn: u8) -> bool {
        if self.target.is_flat() {
            return true;
        }
        let (x0, z0) = self.grid.corner();
        let there = Placed {
            x: x0 + x as i64,
            z: z0 + z as i64,
            along: heading(turn),
            ..*placed
        };
        let diameter = f64::from(there.diameter);
        self.target.at(there.x, there.z, diameter) > 0.0 && !self.target.refuses(&there)
    }
}
