//! Darts in doubt: what they might do to others, and when they are refused all the same.

use super::elders::span;
use super::work::{NONE, UNKNOWN, Work};
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

impl<T: Here> Work<'_, T> {
    /// Whether something beyond the window, or thrown there, could meet a stone at a place.
    pub(super) fn near_edge(&self, stone: &Stone, x: f64, z: f64) -> bool {
        let rolls = self.plan.stones.as_ref().is_some_and(|s| s.roll > 0.0);
        let moves = if rolls { NANO * self.layer.to } else { 0.0 };
        let reach = stone.outer + self.outer_most + moves;
        let (right, top) = (
            self.side * self.width as f64,
            self.side * self.height as f64,
        );
        x < reach || z < reach || right - x < reach || top - z < reach
    }

    /// Whether a doubt reaches a stone anywhere within so far of a place.
    pub(super) fn meets_doubt(&self, stone: &Stone, (x, z): (f64, f64), moves: f64) -> bool {
        if self.memory.doubts.is_empty() {
            return false;
        }
        let own = moves + stone.outer;
        self.cells_within((x, z), own).any(|cell| {
            let mut link = self.memory.doubt_heads[cell];
            while link != NONE {
                let (index, next) = self.memory.doubt_links[link as usize];
                let doubt = &self.memory.doubts[index as usize];
                let (dx, dz) = (doubt.x - x, doubt.z - z);
                let reach = doubt.radius + own;
                if dx * dx + dz * dz < reach * reach {
                    return true;
                }
                link = next;
            }
            false
        })
    }

    /// Marks where a dart in doubt may lie.
    pub(super) fn leave_in_doubt(&mut self, stone: &Stone, rolls: bool) {
        let moves = if rolls { stone.diameter } else { 0.0 };
        let index = self.memory.doubts.len() as u32;
        let radius = moves + stone.outer;
        self.memory.doubts.push(Doubt {
            x: stone.x,
            z: stone.z,
            radius,
        });
        let cells = |reach: f64| {
            let columns = span(stone.x, reach, self.side, self.width);
            let rows = span(stone.z, reach, self.side, self.height);
            columns.zip(rows)
        };
        if let Some(((c0, c1), (r0, r1))) = cells(radius) {
            for cz in r0..=r1 {
                for cx in c0..=c1 {
                    let cell = self.cell(cx, cz);
                    let head = self.memory.doubt_heads[cell];
                    self.memory.doubt_heads[cell] = self.memory.doubt_links.len() as u32;
                    self.memory.doubt_links.push((index, head));
                }
            }
        }
        if let Some(((c0, c1), (r0, r1))) = cells(moves) {
            for cz in r0..=r1 {
                for cx in c0..=c1 {
                    let cell = self.cell(cx, cz);
                    self.memory.marks[cell] |= UNKNOWN;
                }
            }
        }
    }

    /// The cells that a disc about a place touches.
    pub(super) fn cells_within(
        &self,
        (x, z): (f64, f64),
        reach: f64,
    ) -> impl Iterator<Item = usize> + use<'_, T> {
        let columns = span(x, reach, self.side, self.width);
        let rows = span(z, reach, self.side, self.height);
        let both = columns.zip(rows).into_iter();
        both.flat_map(move |((c0, c1), (r0, r1))| {
            (r0..=r1).flat_map(move |cz| (c0..=c1).map(move |cx| self.cell(cx, cz)))
        })
    }

    /// Whether there may be room for a stone within its diameter, beside what surely lies: if not
    /// it is refused, whatever else lies there. The free place nearest to where it was thrown is
    /// there, or straight away from one thing, or in the corner of two; discs inside of all
    /// outlines are asked, so room may be found where there is none, and never the other way.
    pub(super) fn has_room(&self, stone: &Stone) -> bool {
        let start = [stone.x, stone.z];
        let moves = stone.diameter;
        let mut near: Vec<([f64; 2], f64)> = Vec::new();
        let reach = moves + self.outer_most + stone.outer;
        let memory = &*self.memory;
        for cell in self.cells_within((start[0], start[1]), reach) {
            let mut at = memory.heads[cell];
            while at != NONE {
                let laid = &memory.laid[at as usize];
                near.push((
                    [laid.stone.x, laid.stone.z],
                    laid.stone.least() + stone.least(),
                ));
                at = laid.next;
            }
        }
        for elder in memory.listed(memory.elder_heads[self.cell_at(start[0], start[1])]) {
            let elder = &memory.elder_stones[elder as usize];
            if stone.diameter <= elder.up_to {
                let other = &elder.stone;
                near.push(([other.x, other.z], other.least() + stone.least()));
            }
        }
        super::descent::is_room(&near, start, moves)
    }
}
