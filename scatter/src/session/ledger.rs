//! What was asked of a pass on the ground that the frames show, and what came of it.
//!
//! The ground is counted cell by cell of each octave: a cell is shown when a camera sees the ground
//! at its middle, for the sizes that are resolved there. Asked, thrown, laid and refused are
//! counted on the same cells, so whole numbers add up: every dart that was thrown lies or was
//! refused, for one reason.

use glam::DVec3;
use rayon::prelude::*;

use super::run::Run;
use super::settled::Refusal;
use super::shortfall::{AT_REST, shortfall};
use crate::layout::{Refused, Tally};
use crate::place::block::CellCount;
use crate::place::strata::{BlockAt, Blocks};
use crate::plan::{NANO, Placed};
use crate::view;

impl From<Refusal> for Refused {
    fn from(refusal: Refusal) -> Self {
        match refusal {
            Refusal::Removed => Self::Removed,
            Refusal::Slides => Self::Slides,
            Refusal::Meets => Self::CutsIn,
        }
    }
}

/// What is counted on the shown ground of one octave.
#[derive(Debug, Clone, Default)]
struct OctaveCounts {
    cells: u64,
    /// Of what is laid, metres.
    diameters: Vec<f32>,
    asked: f64,
    /// Plan area asked, square metres; the sum of its squares piece by piece, and cell by cell.
    area_asked: f64,
    squares_asked: f64,
    cell_squares: f64,
    no_room: u64,
    kept_clear: u64,
    laid: u64,
    /// Plan area of what is laid, square metres, and the sum of its squares.
    area: f64,
    squares: f64,
    refused: [u64; 3],
}

impl OctaveCounts {
    fn add(mut self, other: &Self) -> Self {
        self.diameters.extend(&other.diameters);
        self.cells += other.cells;
        self.asked += other.asked;
        self.area_asked += other.area_asked;
        self.squares_asked += other.squares_asked;
        self.cell_squares += other.cell_squares;
        self.no_room += other.no_room;
        self.kept_clear += other.kept_clear;
        self.laid += other.laid;
        self.area += other.area;
        self.squares += other.squares;
        for (own, more) in self.refused.iter_mut().zip(other.refused) {
            *own += more;
        }
        self
    }

    /// Variance of the plan area that is missing, by chance alone, metres to the fourth: what lies
    /// is a count of pieces (of a Poisson process, the sum of their squares), and what is asked is
    /// sampled once in each cell. The spread between cells bounds that of a sample in its cell.
    fn variance(&self) -> f64 {
        let even = self.area_asked * self.area_asked / (self.cells as f64).max(1.0);
        let sampled = (self.cell_squares - even).max(0.0);
        self.squares.max(self.squares_asked) + sampled
    }
}

/// One octave of a pass on the shown ground.
#[derive(Debug, Clone)]
pub(super) struct OctaveCount {
    /// Pieces asked for.
    pub(super) asked: f64,
    /// Square metres.
    pub(super) ground: f64,
    /// Of what is laid, metres.
    pub(super) diameters: Vec<f32>,
}

impl Run<'_> {
    /// What was asked and got on the ground that the frames show, as a whole and octave by octave.
    /// `wanted` are the pass's blocks in view.
    pub(super) fn ledger(&self, index: usize, wanted: &Blocks) -> (Tally, Vec<OctaveCount>) {
        let strata = self.strata(index);
        let spaced = strata.plan.schedule.spaced;
        let mut tally = Tally::default();
        let mut octaves = Vec::new();
        let (mut all, mut cover_asked, mut cover, mut variance) =
            (OctaveCounts::default(), 0.0, 0.0, 0.0);
        for (octave, blocks) in wanted.iter().enumerate() {
            let blocks: Vec<BlockAt> = blocks.iter().copied().collect();
            let counted: Vec<OctaveCounts> = blocks
                .par_iter()
                .map(|at| self.count_block(index, octave, *at))
                .collect();
            // In the order of the blocks: how threads share the work would decide the last digits
            // of the sums
            let counted = counted
                .iter()
                .fold(OctaveCounts::default(), OctaveCounts::add);
            let side = strata.plan.schedule.octaves[octave].side as f64 / NANO;
            let ground = side * side * counted.cells as f64;
            octaves.push(OctaveCount {
                asked: counted.asked,
                ground,
                diameters: counted.diameters.clone(),
            });
            if counted.cells == 0 {
                continue;
            }
            cover_asked += counted.area_asked / ground;
            cover += counted.area / ground;
            variance += counted.variance() / (ground * ground);
            tally.ground = tally.ground.max(ground);
            all = all.add(&counted);
        }
        // Strewn pieces hide each other: the covered share of the Boolean model (Matheron 1975)
        let union = |sum: f64| if spaced { sum } else { 1.0 - libm::exp(-sum) };
        tally.asked = all.asked.round() as u64;
        tally.laid = all.laid;
        tally.cover_asked = union(cover_asked);
        tally.cover = union(cover);
        let placing = [
            (Refused::NoRoom, all.no_room),
            (Refused::KeptClear, all.kept_clear),
        ];
        let resting = AT_REST.into_iter().zip(all.refused);
        tally.refused = placing
            .into_iter()
            .chain(resting)
            .filter(|(_, count)| *count > 0)
            .collect();
        tally.thrown = tally.laid + tally.refused.iter().map(|(_, n)| n).sum::<u64>();
        let pass = self.passes[index].pass;
        tally.shortfall = shortfall(pass, &tally, variance.sqrt());
        (tally, octaves)
    }

    /// Counts the shown cells of a block.
    fn count_block(&self, index: usize, octave: usize, at: BlockAt) -> OctaveCounts {
        let pass = &self.passes[index];
        let strata = self.strata(index);
        let schedule = &strata.plan.schedule;
        let layer = &schedule.octaves[octave];
        let (cells, counts) = strata.cell_counts(octave, at);
        let mut counted = OctaveCounts::default();
        // The least diameter that is resolved at each cell; infinite where it is not shown
        let middle = libm::sqrt(layer.from * layer.to);
        let least: Vec<f64> = (0..(cells * cells) as usize)
            .map(|i| {
                let (cx, cz) = (
                    at.1 * cells + i as i64 % cells,
                    at.0 * cells + i as i64 / cells,
                );
                let place = |c: i64| (c as f64 + 0.5) * layer.side as f64 / NANO;
                self.resolved(place(cx), place(cz), middle)
            })
            .collect();
        for (i, least) in least.iter().enumerate() {
            if *least > layer.to {
                continue;
            }
            let CellCount {
                asked,
                no_room,
                kept_clear,
            } = counts.get(i).copied().unwrap_or_default();
            let (share, square) = layer.resolved(*least);
            counted.cells += 1;
            counted.asked += f64::from(asked) * share;
            let area = square * schedule.fill;
            let area_asked = f64::from(asked) * share * area;
            counted.area_asked += area_asked;
            counted.squares_asked += area_asked * area;
            counted.cell_squares += area_asked * area_asked;
            if *least <= middle {
                counted.no_room += u64::from(no_room);
                counted.kept_clear += u64::from(kept_clear);
            }
        }
        let settled = self.settled(index);
        let cell_of = |p: &Placed| {
            let cx = p.x.div_euclid(layer.side) - at.1 * cells;
            let cz = p.z.div_euclid(layer.side) - at.0 * cells;
            (cz * cells + cx) as usize
        };
        for placed in strata.block(octave, at) {
            let seen = least.get(cell_of(placed));
            if seen.is_none_or(|least| f64::from(placed.diameter) < *least) {
                continue;
            }
            match settled.find(placed.id).map(|l| l.standing) {
                Some(Ok(_)) => {
                    let area = pass.plan_area(placed);
                    counted.laid += 1;
                    counted.diameters.push(placed.diameter);
                    counted.area += area;
                    counted.squares += area * area;
                }
                Some(Err(refusal)) => {
                    let at = AT_REST.iter().position(|r| *r == Refused::from(refusal));
                    counted.refused[at.unwrap_or(0)] += 1;
                }
                // Nearer to the edge of what is resolved than its cell's middle
                None => {}
            }
        }
        counted
    }

    /// The least diameter of a piece that a frame resolves on the ground at a place, metres;
    /// infinite where none shows it.
    fn resolved(&self, x: f64, z: f64, diameter: f64) -> f64 {
        if !self.scene.ground.holds(x, z) {
            return f64::INFINITY;
        }
        self.scene.view.finest_shown(&view::Body {
            middle: DVec3::new(x, self.scene.ground.height(x, z), z),
            radius: 0.5 * diameter,
            diameter,
        })
    }
}
