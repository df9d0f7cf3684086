//! Pieces of larger octaves: which of them can meet a candidate of a cell, and which hide whole
//! cells.

use super::work::{DEAD, Work};
use crate::field::Here;
use crate::plan::{Ellipse, Placed};

impl<T: Here> Work<'_, T> {
    /// Lists in every cell the elders that reach a candidate there, and marks cells wholly under
    /// one.
    pub(super) fn splat(&mut self, elders: &[Placed]) {
        let (x0, z0) = self.corner();
        for elder in elders {
            let elongation = self.plan.pieces.outlines()[usize::from(elder.piece)].elongation;
            let body = elder.ellipse((x0, z0), elongation, self.plan.reach);
            let reach = body.outer + self.outer_most;
            let Some((c0, c1)) = span(body.x, reach, self.side, self.width) else {
                continue;
            };
            let Some((r0, r1)) = span(body.z, reach, self.side, self.height) else {
                continue;
            };
            let index = self.memory.elders.len() as u32;
            let cover = body.inner + self.inner_least;
            self.memory.elders.push(body);
            for cz in r0..=r1 {
                let (near_z, far_z) = gap(body.z, cz as f64 * self.side, self.side);
                for cx in c0..=c1 {
                    let (near_x, far_x) = gap(body.x, cx as f64 * self.side, self.side);
                    let cell = self.cell(cx, cz);
                    if near_x * near_x + near_z * near_z >= reach * reach
                        || self.memory.marks[cell] & DEAD != 0
                    {
                        continue;
                    }
                    if far_x * far_x + far_z * far_z < cover * cover {
                        self.memory.marks[cell] |= DEAD;
                    }
                    self.memory
                        .elder_links
                        .push((index, self.memory.elder_heads[cell]));
                    self.memory.elder_heads[cell] = self.memory.elder_links.len() as u32 - 1;
                }
            }
        }
    }

    pub(super) fn meets_elder(&self, cell: usize, body: &Ellipse) -> bool {
        let memory = &*self.memory;
        let mut near = memory.listed(memory.elder_heads[cell]);
        near.any(|elder| memory.elders[elder as usize].overlaps(body))
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
