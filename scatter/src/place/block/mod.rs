//! One octave of a pass on one block of cells: the certain part of the endless plane's answer.
//!
//! See [`super`] for the construction and for why the answer is exact. All places inside are
//! nanometres relative to the window's corner: whole numbers below 2^53, so that differences are
//! exact wherever in the world the window lies.
//!
//! A block is worked out by the parts of this module in turn: `elders` lists the larger pieces,
//! `candidates` draws and sifts what may lie, `settle` lays it in order of rank, `levels` fills the
//! gaps between equal pieces and `cover` knows where none are left. Stones go by `packed`:
//! `elder_stones` lists what lies, `crowding` says how many darts it takes beside that, `rolling`
//! where each comes to lie, and `doubt` what is left open.

mod candidates;
mod cover;
mod crowding;
mod descent;
mod doubt;
mod draws;
mod elder_stones;
mod elders;
mod evaluation;
mod fine_grid;
mod grades;
mod grid;
mod headings;
mod id;
mod laid;
mod levels;
mod lists;
mod packed;
mod rolling;
mod scratch;
mod settle;
mod survivors;

pub use headings::Headings;
pub use id::{ID_CELL_BITS, piece_id};
pub use scratch::Scratch;

use super::choice::Choice;
use super::schedule::{Schedule, Throw};
use crate::field::Here;
use crate::plan::{Placed, Stances, Stones};
use evaluation::Evaluation;

/// A pass as the placing sees it.
#[derive(Debug)]
pub struct PassPlan {
    /// Octaves and candidates.
    pub schedule: Schedule,
    /// The pass's pieces.
    pub pieces: Choice,
    /// How its pieces turn.
    pub headings: Headings,
    /// Size of the ground kept free over the size of the piece.
    pub reach: f64,
    /// The stances that its pieces take.
    pub stances: Stances,
    /// Where its pieces keep apart as stones, their profiles; else they do by their ellipses.
    pub stones: Option<Stones>,
    /// Key of the pass's streams.
    pub key: u64,
    /// 14 bits that mark the pass in ids.
    pub tag: u16,
}

impl PassPlan {
    /// The longest outline of the pass's pieces, length over breadth.
    #[must_use]
    pub fn longest(&self) -> f64 {
        let outlines = self.pieces.outlines().iter();
        outlines.map(|o| o.elongation).fold(1.0, f64::max)
    }

    /// Whether some of its pieces are long, and keep apart by their ellipses.
    #[must_use]
    pub fn has_long_pieces(&self) -> bool {
        self.stones.is_none() && self.longest() > LONG
    }
}

/// Pieces longer than this, over their breadth, are long ones: beside most of a cell that is as
/// long they lie loosely.
const LONG: f64 = 3.0;

/// A rectangle of cells: `x0 <= ix < x1`, `z0 <= iz < z1`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Cells {
    /// First column.
    pub x0: i64,
    /// First row.
    pub z0: i64,
    /// Past the last column.
    pub x1: i64,
    /// Past the last row.
    pub z1: i64,
}

impl Cells {
    /// Grown by `margin` cells on every side.
    #[must_use]
    pub fn grown(&self, margin: i64) -> Self {
        Self {
            x0: self.x0 - margin,
            z0: self.z0 - margin,
            x1: self.x1 + margin,
            z1: self.z1 + margin,
        }
    }

    /// The smallest rectangle that holds all parts; none of no cells if there is no part.
    #[must_use]
    pub fn round(parts: &[Self]) -> Self {
        let least = |of: fn(&Self) -> i64| parts.iter().map(of).min().unwrap_or(0);
        let most = |of: fn(&Self) -> i64| parts.iter().map(of).max().unwrap_or(0);
        Self {
            x0: least(|p| p.x0),
            z0: least(|p| p.z0),
            x1: most(|p| p.x1),
            z1: most(|p| p.z1),
        }
    }
}

/// What an evaluation looked at, margins included.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Count {
    /// Cells looked at.
    pub cells: u64,
    /// Candidates drawn.
    pub candidates: u64,
}

impl Count {
    /// Adds another evaluation's count.
    pub fn add(&mut self, other: &Self) {
        self.cells += other.cells;
        self.candidates += other.candidates;
    }
}

/// What was asked of a cell of the core, and what was refused of what was thrown into it.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct CellCount {
    /// Pieces asked for: the target over the cell, sampled.
    pub asked: f32,
    /// Pieces that met larger ones of their own pass, or would have been hidden under one.
    pub no_room: u16,
    /// Pieces that met what the pass keeps clear of.
    pub kept_clear: u16,
}

/// What is certain on a part of a window.
#[derive(Debug, Clone, PartialEq)]
pub struct Evaluated {
    /// The part's pieces, sorted by cell row, column and rank.
    pub placed: Vec<Placed>,
    /// What was asked and refused, cell by cell of the part, row by row.
    pub cells: Vec<CellCount>,
}

/// What an evaluation is asked for: some parts of an octave's plane, and what is known of larger
/// octaves round them.
#[derive(Debug, Clone, Copy)]
pub struct Window<'a> {
    /// The octave's number.
    pub octave: usize,
    /// What is asked for; the core is the smallest rectangle that holds it.
    pub parts: &'a [Cells],
    /// Cells round the core that are looked at too.
    pub margin: i64,
    /// The pieces of larger octaves that can reach the core with its margin.
    pub elders: &'a [Placed],
}

/// Evaluates a window of `plan`, part by part: None of a part for whose certainty the margin was
/// too narrow.
pub fn evaluate<T: Here>(
    plan: &PassPlan,
    window: &Window<'_>,
    target: &T,
) -> Vec<Option<Evaluated>> {
    evaluate_in(&mut Scratch::default(), plan, window, target).0
}

/// As [`evaluate`], in memory that an earlier evaluation has used. What that holds has no say in
/// the answer.
pub fn evaluate_in<T: Here>(
    scratch: &mut Scratch,
    plan: &PassPlan,
    window: &Window<'_>,
    target: &T,
) -> (Vec<Option<Evaluated>>, Count) {
    let mut work = Evaluation::new(scratch, plan, window, target);
    if !plan.schedule.spaced {
        work.strew_cells();
    } else if let Some(stones) = &plan.stones {
        work.splat_stones(window.elders, stones);
        work.throw_cells(0.0, 0.0);
        work.pack(stones);
    } else {
        work.splat(window.elders);
        match work.layer.throw {
            Throw::BySize { .. } => work.throw_cells(0.0, 0.0),
            Throw::Equal { .. } => {
                work.prepare_cover();
                work.throw_cells(0.0, work.layer.candidates_to_level(0));
                work.throw_levels();
            }
        }
    }
    let evaluated = window.parts.iter();
    let evaluated = evaluated.map(|part| work.is_certain(*part).then(|| work.finish(*part)));
    (evaluated.collect(), work.count)
}
