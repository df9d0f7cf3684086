//! How an octave's plane is cut: into blocks, each kept once, and groups of them that are evaluated
//! together.
//!
//! What is certain in one window is certain in all, so neither has a say in the answer: they only
//! decide what it costs. Small blocks waste little at a frame's ragged edge, large groups little in
//! margins.

use std::collections::BTreeMap;

use super::block::{Cells, PassPlan};
use super::schedule::Throw;
use super::strata::BlockAt;

/// Of an octave laid largest first. One cell is the largest distance at which two pieces meet;
/// chains of refusals die out by about eight times a cell, and what the margin misses is evaluated
/// again with twice of it.
const BY_SIZE: Tiling = Tiling {
    block: 16,
    margin: 2,
};
/// The same for equal pieces, whose later levels add links to the chains.
const EQUAL: Tiling = Tiling {
    block: 32,
    margin: 5,
};
/// Margin of long pieces that lie loosely: two of them meet at the distance of a cell only end to
/// end, and nearly always much nearer.
const LOOSE: i64 = 1;
/// Most candidates a piece of what lies loosely: where more are thrown, half the margin left so
/// much in doubt that evaluating it again cost what was saved.
const LOOSE_TRIES: f64 = 1.5;
/// Stones that roll may lie a diameter from where they fell, and so hang on more of what is round
/// them, the farther the fuller the ground is. By most candidates a piece: measured, such a margin
/// leaves less than one block in ten in doubt.
const ROLLING: [(f64, i64); 3] = [(1.2, 2), (2.0, 3), (f64::INFINITY, 4)];
/// Most cells along the side of a block of stones that roll.
const ROLLING_BLOCK: i64 = 16;
/// A block of large pieces has fewer cells, down to this many along its side: a frame of close-up
/// ground is a few metres wide, and what is beyond its edge is laid in vain.
const LEAST_BLOCK: i64 = 2;
/// Side of a block that wastes little at such a frame's edge, nanometres.
const SMALL: i64 = 250_000_000;
/// Margins along a group's side: it is then one and a half times its size with them.
const GROUP_MARGINS: i64 = 8;
/// Least cells along a group's side.
const LEAST_GROUP: i64 = 48;

/// How an octave's plane is cut. Lengths in cells.
#[derive(Debug, Clone, Copy)]
pub(super) struct Tiling {
    /// Side of a block.
    pub(super) block: i64,
    /// What is evaluated round a group.
    pub(super) margin: i64,
}

impl Tiling {
    pub(super) fn of(plan: &PassPlan, octave: usize) -> Self {
        let schedule = &plan.schedule;
        let layer = &schedule.octaves[octave];
        let rolls = plan.stones.as_ref().is_some_and(|s| s.roll > 0.0);
        let most = match layer.throw {
            Throw::BySize { .. } if rolls => {
                let tries = schedule.most_tries(octave, 1.0);
                Self {
                    block: ROLLING_BLOCK,
                    margin: ROLLING[ROLLING.partition_point(|(most, _)| *most < tries)].1,
                }
            }
            Throw::BySize { .. }
                if plan.has_long_pieces() && schedule.most_tries(octave, 1.0) < LOOSE_TRIES =>
            {
                Self {
                    margin: LOOSE,
                    ..BY_SIZE
                }
            }
            Throw::BySize { .. } => BY_SIZE,
            Throw::Equal { .. } => EQUAL,
        };
        Self {
            block: (SMALL / layer.side).clamp(LEAST_BLOCK, most.block),
            ..most
        }
    }

    /// The cells of a block.
    fn cells(self, (bz, bx): BlockAt) -> Cells {
        Cells {
            x0: bx * self.block,
            z0: bz * self.block,
            x1: (bx + 1) * self.block,
            z1: (bz + 1) * self.block,
        }
    }

    /// Groups of neighbours among some blocks.
    pub(super) fn groups(self, blocks: impl IntoIterator<Item = BlockAt>) -> Vec<Group> {
        let across = (GROUP_MARGINS * self.margin).max(LEAST_GROUP) / self.block;
        let across = across.max(1);
        let mut groups: BTreeMap<BlockAt, Vec<BlockAt>> = BTreeMap::new();
        for at in blocks {
            let group = (at.0.div_euclid(across), at.1.div_euclid(across));
            groups.entry(group).or_default().push(at);
        }
        let groups = groups.into_values();
        groups
            .map(|blocks| Group {
                parts: blocks.iter().map(|at| self.cells(*at)).collect(),
                blocks,
            })
            .collect()
    }
}

/// Neighbouring blocks of an octave; at least one.
#[derive(Debug)]
pub(super) struct Group {
    pub(super) blocks: Vec<BlockAt>,
    /// The cells of each.
    pub(super) parts: Vec<Cells>,
}

impl Group {
    /// The cells that hold all of its blocks.
    pub(super) fn cells(&self) -> Cells {
        Cells::round(&self.parts)
    }
}
