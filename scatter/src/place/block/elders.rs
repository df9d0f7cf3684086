//! Pieces of larger octaves: which of them can meet a candidate of a cell, and which hide whole
//! cells.

use super::elder_stones::ElderStone;
use super::evaluation::Evaluation;
use super::lists::CellLists;
use super::scratch::DEAD;
use crate::field::Here;
use crate::plan::{Ellipse, Placed};

/// What lies already: larger pieces of the pass, and where its pieces are stones those of other
/// passes too.
#[derive(Debug, Default)]
pub(super) struct Elders {
    pub(super) ellipses: Vec<Ellipse>,
    pub(super) stones: Vec<ElderStone>,
    /// By cell, those that reach a candidate there.
    pub(super) by_cell: CellLists,
}

impl Elders {
    pub(super) fn clear(&mut self, cells: usize) {
        self.ellipses.clear();
        self.stones.clear();
        self.by_cell.clear(cells);
    }
}

impl<T: Here> Evaluation<'_, T> {
    /// Lists in every cell the elders that reach a candidate there, and marks cells wholly under
    /// one.
    pub(super) fn splat(&mut self, elders: &[Placed]) {
        let (x0, z0) = self.grid.corner();
        for elder in elders {
            let elongation = self.plan.pieces.outlines()[usize::from(elder.piece)].elongation;
            let body = elder.ellipse((x0, z0), elongation, self.plan.reach);
            let reach = body.outer + self.semi_axes.most;
            let Some((c0, c1)) = span(body.x, reach, self.grid.side, self.grid.width) else {
                continue;
            };
            let Some((r0, r1)) = span(body.z, reach, self.grid.side, self.grid.height) else {
                continue;
            };
            let index = self.scratch.elders.ellipses.len() as u32;
            let cover = body.inner + self.semi_axes.least;
            self.scratch.elders.ellipses.push(body);
            for cz in r0..=r1 {
                let (near_z, far_z) = gap(body.z, cz as f64 * self.grid.side, self.grid.side);
                for cx in c0..=c1 {
                    let (near_x, far_x) = gap(body.x, cx as f64 * self.grid.side, self.grid.side);
                    let cell = self.grid.cell(cx, cz);
                    if near_x * near_x + near_z * near_z >= reach * reach
                        || self.scratch.marks[cell] & DEAD != 0
                    {
                        continue;
                    }
                    if far_x * far_x + far_z * far_z < cover * cover {
                        self.scratch.marks[cell] |= DEAD;
                    }
                    self.scratch.elders.by_cell.add(cell, index);
                }
            }
        }
    }

    pub(super) fn meets_elder(&self, cell: usize, body: &Ellipse) -> bool {
        let elders = &self.scratch.elders;
        let mut near = elders.by_cell.of(cell);
        near.any(|elder| elders.ellipses[elder as usize].overlaps(body))
    }
}

/// Cells from first to last that an interval about `at` touches, or None outside the window.
pub(super) fn span(at: f64, reach: f64, side: f64, cells: usize) -> Option<(usize, usize)> {
    let first = libm::floor((at - reach) / side).max(0.0);
    let last = libm::floor((at + reach) / side).min(cells as f64 - 1.0);
    (first <= last).then_some((first as usize, last as usize))
}

/// Least and greatest distance from `at` to the interval of length `side` that starts at `start`.
#[inline]
pub(super) fn gap(at: f64, start: f64, side: f64) -> (f64, f64) {
    let (below, above) = (start - at, at - start - side);
    (
        below.max(above).max(0.0),
        (at - start).abs().max((at - start - side).abs()),
    )
}
