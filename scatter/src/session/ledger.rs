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
use crate::brief::Place;
use crate::layout::{Refused, Shortfall, Tally};
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

/// A pass that is short of its cover by more than this is told of.
const SHORT: f64 = 0.03;
/// Standard errors that chance explains.
const CHANCE: f64 = 2.0;

/// What is counted on the shown ground of one octave.
#[derive(Debug, Clone, Default)]
struct OctaveCounts {
    cells: u64,
    /// Of what is laid, metres.
    diameters: Vec<f32>,
    asked: f64,
    /// Plan area asked, square metres.
    area_asked: f64,
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

/// Refusals at rest, in the order of [`OctaveCounts::refused`].
const AT_REST: [Refused; 3] = [Refused::Slides, Refused::CutsIn, Refused::Removed];

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
            variance += counted.squares / (ground * ground);
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
        tally.shortfall = shortfall(pass.place, &tally, variance.sqrt());
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
            counted.area_asked += f64::from(asked) * share * square * schedule.fill;
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

/// What is short of a pass, if more is than a little; `error` is the standard error of its cover.
fn shortfall(place: Place, tally: &Tally, error: f64) -> Option<Shortfall> {
    let missing = tally.cover_asked - tally.cover;
    if tally.cover_asked <= 0.0 || missing <= SHORT * tally.cover_asked {
        return None;
    }
    let share = missing / tally.cover_asked;
    let mut reasons = tally.refused.clone();
    reasons.sort_by_key(|(_, count)| std::cmp::Reverse(*count));
    // Darts are thrown for those that find no room: only what is thrown in vain beyond that is
    // missing
    let at_rest = reasons
        .iter()
        .find(|(r, n)| AT_REST.contains(r) && *n as f64 >= SHORT * tally.asked as f64);
    let by_chance = missing <= CHANCE * error;
    let because = match at_rest.or(reasons.first()) {
        Some((reason, _)) if at_rest.is_some() || !by_chance => Some(*reason),
        _ => None,
    };
    let cure = match (because, place) {
        (Some(Refused::NoRoom), Place::Packed { .. }) => {
            "ask for less `cover`, a wider range of `sizes`, or more `roll`"
        }
        (Some(Refused::NoRoom), Place::Spaced | Place::Strewn) => {
            "ask for less `cover` or a wider range of `sizes`, or let stones close up with `place` `packed`"
        }
        (Some(Refused::KeptClear), _) => "ask for less `within`, or smaller pieces",
        (Some(Refused::Slides), _) => {
            "ask for more to make up for it, let `rest.pose` be `any`, or sink them with `rest.bury`"
        }
        (Some(Refused::CutsIn), _) => {
            "let them lie on it: leave `clear_of` out, or ask for less `cover`"
        }
        (Some(Refused::Removed), _) => "`remove` names them",
        (Some(Refused::InFrame | Refused::ShadesHero), _) => "raise the sun, or the `softness`",
        (None, _) => "another take has more, or fewer",
    };
    Some(Shortfall {
        share,
        because,
        cure: cure.to_owned(),
    })
}
