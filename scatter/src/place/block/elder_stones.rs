//! What lies already where stones are thrown: larger ones of the pass, and those of other passes.

use super::elders::{gap, span};
use super::evaluation::Evaluation;
use super::scratch::DEAD;
use crate::field::Here;
use crate::plan::stone::Stone;
use crate::plan::stones::{Stones, nearest_turn};
use crate::plan::{NANO, Placed};

/// What lies already: of larger octaves, or of other passes.
#[derive(Debug)]
pub(super) struct ElderStone {
    pub(super) stone: Stone,
    /// The largest asker that it counts for, nanometres.
    pub(super) up_to: f64,
    /// Whether it is of another pass.
    pub(super) foreign: bool,
}

impl<T: Here> Evaluation<'_, T> {
    /// Lists in every cell the larger stones and those of other passes that reach a dart there.
    pub(super) fn splat_stones(&mut self, elders: &[Placed], stones: &Stones) {
        let (x0, z0) = self.grid.corner();
        for placed in elders {
            let place = ((placed.x - x0) as f64, (placed.z - z0) as f64);
            let turn = nearest_turn(placed.along);
            let stone = Stone::of(placed, place, turn, stones, self.plan.reach);
            self.splat_stone(stone, f64::INFINITY, false);
        }
        for foreign in self.target.foreign() {
            let place = ((foreign.x - x0) as f64, (foreign.z - z0) as f64);
            self.splat_stone(foreign.stone.at(place.0, place.1), foreign.up_to, true);
        }
    }

    fn splat_stone(&mut self, stone: Stone, up_to: f64, foreign: bool) {
        let reach = stone.outer + self.semi_axes.most;
        let Some((c0, c1)) = span(stone.x, reach, self.grid.side, self.grid.width) else {
            return;
        };
        let Some((r0, r1)) = span(stone.z, reach, self.grid.side, self.grid.height) else {
            return;
        };
        let index = self.scratch.elders.stones.len() as u32;
        // Deeper under it no dart comes free
        let deep = stone.least() - NANO * self.layer.to;
        for cz in r0..=r1 {
            let (near_z, far_z) = gap(stone.z, cz as f64 * self.grid.side, self.grid.side);
            for cx in c0..=c1 {
                let (near_x, far_x) = gap(stone.x, cx as f64 * self.grid.side, self.grid.side);
                if near_x * near_x + near_z * near_z >= reach * reach {
                    continue;
                }
                let cell = self.grid.cell(cx, cz);
                if deep > 0.0
                    && far_x * far_x + far_z * far_z < deep * deep
                    && up_to >= NANO * self.layer.to
                {
                    self.scratch.marks[cell] |= DEAD;
                }
                self.scratch.elders.by_cell.add(cell, index);
            }
        }
        self.scratch.elders.stones.push(ElderStone {
            stone,
            up_to,
            foreign,
        });
    }
}
