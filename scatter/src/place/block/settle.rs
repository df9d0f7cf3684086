//! Laying: survivors in order of rank, each against what lies already.

use super::elders::gap;
use super::work::{CLOSED, Draft, NONE, UNKNOWN, Work};
use crate::field::Here;
use crate::plan::Ellipse;

/// Survivors below which sorting in one go beats spreading them by their leading bits first.
const FEW: usize = 64;
/// Pieces in doubt of one cell beyond which it is closed: a longer list costs more than the
/// certainty that it could still give.
const CROWD_OF_DOUBT: usize = 4;

/// How doubts are kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Doubt {
    /// As pieces in doubt, all of them: no cell is closed yet.
    Piece,
    /// As pieces in doubt, but crowded cells are closed.
    Crowd,
    /// By closing their cells.
    Cell,
}

impl<T: Here> Work<'_, T> {
    /// Lays the survivors in order of rank.
    pub(super) fn settle(&mut self, doubt: Doubt) {
        self.sort_survivors();
        let order = std::mem::take(&mut self.memory.order);
        for (_, index) in &order {
            let draft = self.memory.survivors[*index as usize];
            self.settle_one(&draft, doubt);
        }
        self.memory.order = order;
        self.memory.order.clear();
        self.memory.survivors.clear();
    }

    fn settle_one(&mut self, draft: &Draft, manner: Doubt) {
        let body = self.body(draft);
        let cell = draft.cell as usize;
        let mut doubt = self.near_border(&body);
        if self.meets_kept(cell, &body, &mut doubt) {
            self.count_refused(draft.cell, false);
            return;
        }
        for neighbour in self.around(cell) {
            if manner != Doubt::Piece && self.memory.marks[neighbour] & CLOSED != 0 {
                doubt |= self.reaches_cell(&body, neighbour);
            }
        }
        if !doubt {
            self.keep(draft, body, false);
            self.mark_cover(draft);
            return;
        }
        self.memory.marks[cell] |= UNKNOWN;
        let close = match manner {
            Doubt::Piece => false,
            Doubt::Crowd => self.is_crowded(cell),
            Doubt::Cell => true,
        };
        if close {
            self.memory.marks[cell] |= CLOSED;
        } else {
            self.keep(draft, body, true);
        }
    }

    /// Whether a body in a cell meets a piece that is certain to lie; `doubt` is set where it meets
    /// one that may.
    fn meets_kept(&self, cell: usize, body: &Ellipse, doubt: &mut bool) -> bool {
        let kept = &self.memory.kept;
        let mut meets = |at: u32| {
            let other = &kept[at as usize];
            let overlaps = other.body.overlaps(body);
            *doubt |= overlaps && other.unknown;
            overlaps && !other.unknown
        };
        if self.fine {
            let mut crowded = false;
            let met = self.memory.fine.any(body, &mut crowded, meets);
            *doubt |= crowded;
            return met;
        }
        for neighbour in self.around(cell) {
            let mut at = self.memory.heads[neighbour];
            while at != NONE {
                if meets(at) {
                    return true;
                }
                at = kept[at as usize].next;
            }
        }
        false
    }

    /// Whether a cell holds as many pieces in doubt as it may.
    pub(super) fn is_crowded(&self, cell: usize) -> bool {
        let mut number = 0;
        let mut at = self.memory.heads[cell];
        while at != NONE {
            let kept = &self.memory.kept[at as usize];
            number += usize::from(kept.unknown);
            at = kept.next;
        }
        number >= CROWD_OF_DOUBT
    }

    /// Whether a piece somewhere in a cell could meet the body.
    fn reaches_cell(&self, body: &Ellipse, cell: usize) -> bool {
        let (cx, cz) = self.column_row(cell as u32);
        let (gx, _) = gap(body.x, cx as f64 * self.side, self.side);
        let (gz, _) = gap(body.z, cz as f64 * self.side, self.side);
        let reach = body.outer + self.outer_most;
        gx * gx + gz * gz < reach * reach
    }

    /// Whether something beyond the window could reach the body.
    fn near_border(&self, body: &Ellipse) -> bool {
        let reach = body.outer + self.outer_most;
        let (right, top) = (
            self.side * self.width as f64,
            self.side * self.height as f64,
        );
        body.x < reach || body.z < reach || right - body.x < reach || top - body.z < reach
    }

    /// Sorts by rank: ranks are spread evenly, so their leading bits nearly sort them (bucket sort:
    /// Knuth, The Art of Computer Programming, 5.2.5), about one to a bucket.
    pub(super) fn sort_survivors(&mut self) {
        let memory = &mut *self.memory;
        let number = memory.order.len();
        if number < FEW {
            memory.order.sort_unstable_by_key(|(rank, _)| *rank);
            return;
        }
        let bits = number.ilog2();
        let bucket = |rank: u64| (rank >> (64 - bits)) as usize;
        memory.starts.clear();
        memory.starts.resize((1 << bits) + 1, 0);
        for (rank, _) in &memory.order {
            memory.starts[bucket(*rank) + 1] += 1;
        }
        let mut sum = 0;
        for start in &mut memory.starts {
            sum += *start;
            *start = sum;
        }
        memory.spare.clear();
        memory.spare.resize(number, (0, 0));
        for item in &memory.order {
            let at = &mut memory.starts[bucket(item.0)];
            memory.spare[*at as usize] = *item;
            *at += 1;
        }
        // Each start has moved to its bucket's end
        let mut first = 0;
        for end in &memory.starts {
            let last = *end as usize;
            if last > first + 1 {
                memory.spare[first..last].sort_unstable_by_key(|(rank, _)| *rank);
            }
            first = first.max(last);
        }
        std::mem::swap(&mut memory.order, &mut memory.spare);
    }
}
