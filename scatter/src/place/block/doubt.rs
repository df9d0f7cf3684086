//! Darts in doubt: what they might do to others, and when they are refused all the same.

use super::elders::span;
use super::evaluation::Evaluation;
use super::lists::{CellLists, NONE};
use super::scratch::UNKNOWN;
use crate::field::Here;
use crate::plan::NANO;
use crate::plan::stone::Stone;

/// Where a dart in doubt may lie: a disc that holds all of its outline.
#[derive(Debug)]
pub(super) struct Doubt {
    x: f64,
    z: f64,
    radius: f64,
}

/// The darts in doubt of a window.
#[derive(Debug, Default)]
pub(super) struct Doubts {
    all: Vec<Doubt>,
    /// By cell, those that reach it.
    by_cell: CellLists,
}

impl Doubts {
    pub(super) fn clear(&mut self) {
        self.all.clear();
    }

    /// Makes room for lists of so many cells: where pieces are no stones there are none.
    pub(super) fn prepare(&mut self, cells: usize) {
        self.by_cell.clear(cells);
    }

    pub(super) fn len(&self) -> usize {
        self.all.len()
    }
}

impl<T: Here> Evaluation<'_, T> {
    /// Whether something beyond the window, or thrown there, could meet a stone at a place.
    pub(super) fn near_edge(&self, stone: &Stone, x: f64, z: f64) -> bool {
        let rolls = self.plan.stones.as_ref().is_some_and(|s| s.roll > 0.0);
        let moves = if rolls { NANO * self.layer.to } else { 0.0 };
        let reach = stone.outer + self.semi_axes.most + moves;
        let (right, top) = self.grid.ends();
        x < reach || z < reach || right - x < reach || top - z < reach
    }

    /// Whether a doubt reaches a stone anywhere within so far of a place.
    pub(super) fn meets_doubt(&self, stone: &Stone, (x, z): (f64, f64), moves: f64) -> bool {
        let doubts = &self.scratch.doubts;
        if doubts.all.is_empty() {
            return false;
        }
        let own = moves + stone.outer;
        self.grid.cells_within((x, z), own).any(|cell| {
            doubts.by_cell.of(cell).any(|index| {
                let doubt = &doubts.all[index as usize];
                let (dx, dz) = (doubt.x - x, doubt.z - z);
                let reach = doubt.radius + own;
                dx * dx + dz * dz < reach * reach
            })
        })
    }

    /// Marks where a dart in doubt may lie.
    pub(super) fn leave_in_doubt(&mut self, stone: &Stone, rolls: bool) {
        let moves = if rolls { stone.diameter } else { 0.0 };
        let index = self.scratch.doubts.all.len() as u32;
        let radius = moves + stone.outer;
        self.scratch.doubts.all.push(Doubt {
            x: stone.x,
            z: stone.z,
            radius,
        });
        let cells = |reach: f64| {
            let columns = span(stone.x, reach, self.grid.side, self.grid.width);
            let rows = span(stone.z, reach, self.grid.side, self.grid.height);
            columns.zip(rows)
        };
        if let Some(((c0, c1), (r0, r1))) = cells(radius) {
            for cz in r0..=r1 {
                for cx in c0..=c1 {
                    let cell = self.grid.cell(cx, cz);
                    self.scratch.doubts.by_cell.add(cell, index);
                }
            }
        }
        if let Some(((c0, c1), (r0, r1))) = cells(moves) {
            for cz in r0..=r1 {
                for cx in c0..=c1 {
                    let cell = self.grid.cell(cx, cz);
                    self.scratch.marks[cell] |= UNKNOWN;
                }
            }
        }
    }

    /// Whether there may be room for a stone within its diameter, beside what surely lies: if not
    /// it is refused, whatever else lies there. The free place nearest to where it was thrown is
    /// there, or straight away from one thing, or in the corner of two; discs inside of all
    /// outlines are asked, so room may be found where there is none, and never the other way.
    pub(super) fn has_room(&self, stone: &Stone) -> bool {
        let start = [stone.x, stone.z];
        let moves = stone.diameter;
        let mut near: Vec<([f64; 2], f64)> = Vec::new();
        let reach = moves + self.semi_axes.most + stone.outer;
        let scratch = &*self.scratch;
        for cell in self.grid.cells_within((start[0], start[1]), reach) {
            let mut at = scratch.laid.heads[cell];
            while at != NONE {
                let laid = &scratch.laid.stones[at as usize];
                near.push((
                    [laid.stone.x, laid.stone.z],
                    laid.stone.least() + stone.least(),
                ));
                at = laid.next;
            }
        }
        let cell = self.grid.cell_at(start[0], start[1]);
        for elder in scratch.elders.by_cell.of(cell) {
            let elder = &scratch.elders.stones[elder as usize];
            if stone.diameter <= elder.up_to {
                let other = &elder.stone;
                near.push(([other.x, other.z], other.least() + stone.least()));
            }
        }
        super::descent::is_room(&near, start, moves)
    }
}
