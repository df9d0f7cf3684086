//! Laying: survivors in order of rank, each against what lies already.

use super::elders::gap;
use super::evaluation::Evaluation;
use super::lists::NONE;
use super::scratch::{CLOSED, UNKNOWN};
use super::survivors::Draft;
use crate::field::Here;
use crate::plan::Ellipse;

/// Pieces in doubt of one cell beyond which it is closed: a longer list costs more than the
/// certainty that it could still give.
const CROWD_OF_DOUBT: usize = 4;

/// How doubts are kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum DoubtRule {
    /// As pieces in doubt, all of them: no cell is closed yet.
    Piece,
    /// As pieces in doubt, but crowded cells are closed.
    Crowd,
    /// By closing their cells.
    Cell,
}

impl<T: Here> Evaluation<'_, T> {
    /// Lays the survivors in order of rank.
    pub(super) fn settle(&mut self, doubt: DoubtRule) {
        self.scratch.survivors.sort();
        let order = std::mem::take(&mut self.scratch.survivors.order);
        for (_, index) in &order {
            let draft = self.scratch.survivors.drafts[*index as usize];
            self.settle_one(&draft, doubt);
        }
        self.scratch.survivors.order = order;
        self.scratch.survivors.clear();
    }

    fn settle_one(&mut self, draft: &Draft, manner: DoubtRule) {
        let body = self.body(draft);
        let cell = draft.cell as usize;
        let mut doubt = self.near_border(&body);
        if self.meets_kept(cell, &body, &mut doubt) {
            self.count_refused(draft.cell, false);
            return;
        }
        for neighbour in self.grid.around(cell) {
            if manner != DoubtRule::Piece && self.scratch.marks[neighbour] & CLOSED != 0 {
                doubt |= self.reaches_cell(&body, neighbour);
            }
        }
        if !doubt {
            self.keep(draft, body, false);
            self.mark_cover(draft);
            return;
        }
        self.scratch.marks[cell] |= UNKNOWN;
        let close = match manner {
            DoubtRule::Piece => false,
            DoubtRule::Crowd => self.is_crowded(cell),
            DoubtRule::Cell => true,
        };
        if close {
            self.scratch.marks[cell] |= CLOSED;
        } else {
            self.keep(draft, body, true);
        }
    }

    /// Whether a body in a cell meets a piece that is certain to lie; `doubt` is set where it meets
    /// one that may.
    fn meets_kept(&self, cell: usize, body: &Ellipse, doubt: &mut bool) -> bool {
        let kept = &self.scratch.laid.ellipses;
        let mut meets = |at: u32| {
            let other = &kept[at as usize];
            let overlaps = other.body.overlaps(body);
            *doubt |= overlaps && other.unknown;
            overlaps && !other.unknown
        };
        if self.fine {
            let mut crowded = false;
            let met = self.scratch.laid.fine.any(body, &mut crowded, meets);
            *doubt |= crowded;
            return met;
        }
        for neighbour in self.grid.around(cell) {
            let mut at = self.scratch.laid.heads[neighbour];
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
        let mut at = self.scratch.laid.heads[cell];
        while at != NONE {
            let kept = &self.scratch.laid.ellipses[at as usize];
            number += usize::from(kept.unknown);
            at = kept.next;
        }
        number >= CROWD_OF_DOUBT
    }

    /// Whether a piece somewhere in a cell could meet the body.
    fn reaches_cell(&self, body: &Ellipse, cell: usize) -> bool {
        let (cx, cz) = self.grid.column_row(cell as u32);
        let (gx, _) = gap(body.x, cx as f64 * self.grid.side, self.grid.side);
        let (gz, _) = gap(body.z, cz as f64 * self.grid.side, self.grid.side);
        let reach = body.outer + self.semi_axes.most;
        gx * gx + gz * gz < reach * reach
    }

    /// Whether something beyond the window could reach the body.
    fn near_border(&self, body: &Ellipse) -> bool {
        let reach = body.outer + self.semi_axes.most;
        let (right, top) = self.grid.ends();
        body.x < reach || body.z < reach || right - body.x < reach || top - body.z < reach
    }
}
