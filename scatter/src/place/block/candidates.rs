//! Candidates: how many a cell draws, where they lie, and which of them are wanted and not refused
//! by what lay before.

use super::crowding::Crowding;
use super::evaluation::Evaluation;
use super::grades::Bound;
use super::scratch::DEAD;
use super::settle::DoubtRule;
use super::survivors::Draft;
use crate::field::{Graded, Here};
use crate::plan::{NANO, Placed, Rectangle};
use crate::random::{POISSON_STEP, cell_key, join, mix, stream, unit};

impl<T: Here> Evaluation<'_, T> {
    /// Counts what is asked on a cell: by one sample of the target in each, or where that costs
    /// much in one of a few. `open` is the share of the cell that what stones roll off leaves.
    fn survey_cell(&mut self, cx: usize, cz: usize, key: u64, open: impl FnOnce(&mut Self) -> f64) {
        /// Cells that a sample of the target stands for, where it is asked for each piece by meshes
        /// and outlines.
        const EVERY: u64 = 4;
        if !self.grid.in_core(cx, cz) {
            return;
        }
        let cell = self.grid.cell(cx, cz);
        let asked = self.layer.asked * self.grid.side * self.grid.side / (NANO * NANO);
        if self.target.is_flat() {
            self.scratch.counts[cell].asked = asked as f32;
            return;
        }
        let draw = mix(key ^ 0x5e7);
        let every = if self.plan.stones.is_some() { 1 } else { EVERY };
        if draw.is_multiple_of(every) {
            let (x0, z0) = self.grid.corner();
            let at = |cell: usize, bits: u64| {
                cell as i64 * self.layer.side + (unit(bits) * self.grid.side) as i64
            };
            let (x, z) = (x0 + at(cx, mix(draw)), z0 + at(cz, mix(draw ^ 1)));
            let d = self.layer.diameter(unit(mix(draw ^ 2)));
            let target = self.target.asked(x, z, d);
            if target <= 0.0 {
                return;
            }
            let target = target * open(self);
            let graded = self.target.graded(x, z, d);
            self.scratch.counts[cell].asked =
                (every as f64 * asked * target * graded.strength) as f32;
        }
    }

    /// The target's bound on one of `parts` x `parts` equal parts of a cell, as far as the schedule
    /// can follow it.
    fn most(&self, (cx, cz): (usize, usize), (px, pz): (u32, u32), parts: u32) -> f64 {
        if self.target.is_flat() {
            return 1.0;
        }
        let (x0, z0) = self.grid.corner();
        let edge = |corner: i64, cell: usize, part: u32| {
            corner
                + cell as i64 * self.layer.side
                + self.layer.side * i64::from(part) / i64::from(parts)
        };
        let rectangle = Rectangle {
            x0: edge(x0, cx, px),
            z0: edge(z0, cz, pz),
            x1: edge(x0, cx, px + 1),
            z1: edge(z0, cz, pz + 1),
        };
        self.target.most(rectangle).min(self.darts.cap)
    }

    /// Parts along a cell's side in which the target's bound is near the target itself.
    fn parts(&self) -> u32 {
        /// Parts span at most this share of the length over which the target changes: its bound is
        /// then within a third of it.
        const FINE: f64 = 0.5;
        /// Finer parts would cost more than the candidates they save.
        const MOST_PARTS: f64 = 8.0;
        libm::ceil(self.grid.side / (FINE * self.target.grain())).clamp(1.0, MOST_PARTS) as u32
    }

    /// The target at a place, as far as the schedule can follow it.
    #[inline]
    pub(super) fn target_at(&self, x: i64, z: i64, diameter: f64) -> f64 {
        if self.target.is_flat() {
            1.0
        } else {
            self.target.at(x, z, diameter).min(self.darts.cap)
        }
    }

    /// Candidates per asked piece at a place: as many as the crowd round it needs, which may be
    /// thinner than the place's own target.
    fn tries_at(
        &self,
        (x, z): (i64, i64),
        diameter: f64,
        u: f64,
        target: f64,
        graded: Graded,
    ) -> f64 {
        let own = self.own_tries(u, target, graded);
        if self.target.is_flat() || own < CROWDED {
            return own;
        }
        // Grading changes slowly: it is the same round the place
        let around = self.target_around(x, z, diameter);
        self.own_tries(u, around, graded).min(own)
    }

    /// Candidates per asked piece where the crowd is as a target makes it.
    fn own_tries(&self, u: f64, target: f64, graded: Graded) -> f64 {
        let crowd = (target * graded.crowd).min(self.darts.cap);
        self.plan.schedule.tries(self.octave, crowd, u)
    }

    /// Candidates per square metre of equal pieces at a place, by the crowd round it.
    pub(super) fn candidates_at(&self, x: i64, z: i64, diameter: f64, target: f64) -> f64 {
        let schedule = &self.plan.schedule;
        let own = schedule.candidates(self.octave, target);
        if self.target.is_flat() || own < CROWDED * target * self.layer.asked {
            return own;
        }
        let around = self.target_around(x, z, diameter);
        if around <= 0.0 {
            return target * self.layer.asked;
        }
        (target / around * schedule.candidates(self.octave, around)).min(own)
    }

    /// Mean target where a piece's neighbours lie: four places at three quarters of the distance of
    /// touching.
    fn target_around(&self, x: i64, z: i64, diameter: f64) -> f64 {
        let away = (0.75 * NANO * self.plan.reach * diameter) as i64;
        let sides = [(away, 0), (-away, 0), (0, away), (0, -away)];
        0.25 * sides
            .iter()
            .map(|(dx, dz)| self.target_at(x + dx, z + dz, diameter))
            .sum::<f64>()
    }

    /// Level 0: candidates of every live cell, then the survivors by rank. `low..high` are the
    /// candidates per square metre before and after the level, for equal pieces.
    pub(super) fn throw_cells(&mut self, low: f64, high: f64) {
        let layer_key = join(join(self.plan.key, self.octave as u64), 0);
        let equal = high > low;
        let parts = if equal { 1 } else { self.parts() };
        let area = self.grid.side * self.grid.side / (NANO * NANO) / f64::from(parts * parts);
        // The same draw as with a varying target, without an exponential a cell
        let flat_mean = self.part_mean(1.0, low, high, area);
        let flat_floor = libm::exp(-flat_mean);
        for cz in 0..self.grid.height {
            for cx in 0..self.grid.width {
                let cell = self.grid.cell(cx, cz);
                let (ix, iz) = (
                    self.grid.window.x0 + cx as i64,
                    self.grid.window.z0 + cz as i64,
                );
                let key = cell_key(layer_key, ix, iz);
                // Worked out where something is wanted alone
                let mut crowd: Option<Crowding> = None;
                self.survey_cell(cx, cz, key, |work| crowd.insert(work.crowding(cx, cz)).open);
                self.count.cells += 1;
                if self.scratch.marks[cell] & DEAD != 0 {
                    continue;
                }
                let mut draws = stream(key);
                for part in (0..parts).flat_map(|pz| (0..parts).map(move |px| (px, pz))) {
                    let most = self.most((cx, cz), part, parts);
                    if most <= 0.0 {
                        // No later level finds anything wanted here either
                        if parts == 1 {
                            self.scratch.marks[cell] |= DEAD;
                        }
                        continue;
                    }
                    let crowding = *crowd.get_or_insert_with(|| self.crowding(cx, cz));
                    let area = area * crowding.most() * self.darts.widths.most;
                    // Equal pieces have nothing to grade
                    let bound = if equal { None } else { self.grade_bound(most) };
                    let number = if self.target.is_flat()
                        && flat_mean <= POISSON_STEP
                        && self.plan.stones.is_none()
                    {
                        draws.poisson_below(flat_floor)
                    } else if let Some(bound) = bound {
                        draws.poisson(self.layer.asked * area * bound.whole)
                    } else {
                        draws.poisson(self.part_mean(most, low, high, area))
                    };
                    for _ in 0..number {
                        let (place, other) = (draws.bits(), draws.bits());
                        self.count.candidates += 1;
                        let place = in_part(place, part, parts);
                        let part = PartBounds {
                            most,
                            bound,
                            crowding,
                        };
                        self.throw_one((cell, cx, cz), place, other, part, (low, high));
                    }
                }
            }
        }
        if self.plan.stones.is_none() {
            self.settle(DoubtRule::Piece);
        }
    }

    /// One candidate of level 0: cheap refusals come before the target is looked at.
    #[inline]
    fn throw_one(
        &mut self,
        at: (usize, usize, usize),
        place: u64,
        other: u64,
        PartBounds {
            most,
            bound,
            crowding,
        }: PartBounds,
        (low, high): (f64, f64),
    ) {
        let schedule = &self.plan.schedule;
        let equal = high > low;
        let tries = schedule.most_tries(self.octave, most);
        let share = size_share(other);
        let Some(draft) = self.draft(at, place, other, |_, _, _, _, _, _| true) else {
            return;
        };
        let thin = thin_share(other) * self.drawn_over(&draft, crowding);
        // No place of the part wants more than the part's bound
        let drawn_in_vain = bound.map_or_else(
            || thin * tries >= schedule.tries(self.octave, most, share),
            |b| thin * b.whole >= b.at(share),
        );
        if !equal && drawn_in_vain {
            return;
        }
        if !self.target.is_flat() || equal {
            let (x0, z0) = self.grid.corner();
            let (x, z, d) = (
                x0 + draft.x as i64,
                z0 + draft.z as i64,
                self.layer.diameter(share),
            );
            let target = self.target_at(x, z, d);
            let mut graded = Graded::EVEN;
            let mut thrown = most * tries;
            if let Some(bound) = bound {
                thrown = bound.whole;
                graded = self.target.graded(x, z, d);
            }
            // The crowd round a place only takes from what the place itself asks for, and costs
            // four looks at the target
            let wanted = if equal {
                let drawn = thin * (high - low);
                drawn < schedule.candidates(self.octave, target) - low
                    && drawn < self.candidates_at(x, z, d, target) - low
            } else {
                let drawn = thin * thrown;
                drawn < target * graded.strength * self.own_tries(share, target, graded)
                    && drawn
                        < target * graded.strength * self.tries_at((x, z), d, share, target, graded)
            };
            if !wanted {
                return;
            }
        }
        self.admit(&draft, other);
    }

    /// Mean candidates on a part of a cell whose target is at most `most`; `area` in square metres.
    fn part_mean(&self, most: f64, low: f64, high: f64, area: f64) -> f64 {
        if high > low {
            let wanted = self.plan.schedule.candidates(self.octave, most);
            if wanted > 0.0 {
                (high - low) * area
            } else {
                0.0
            }
        } else {
            self.layer.asked * area * most * self.plan.schedule.most_tries(self.octave, most)
        }
    }

    /// Turns two draws into a candidate of a cell, when it is wanted. `wanted` is told place,
    /// diameter, share of the sizes below it, and a uniform draw to thin by.
    #[inline]
    pub(super) fn draft(
        &self,
        (cell, cx, cz): (usize, usize, usize),
        place: u64,
        other: u64,
        wanted: impl Fn(&Self, i64, i64, f64, f64, f64) -> bool,
    ) -> Option<Draft> {
        let local = |cell: usize, bits: u64| {
            cell as i64 * self.layer.side
                + ((u128::from(bits) * self.layer.side as u128) >> 32) as i64
        };
        let (x, z) = (local(cx, place >> 32), local(cz, place & 0xffff_ffff));
        let size_share = size_share(other);
        let thin = thin_share(other);
        let diameter = self.layer.diameter(size_share);
        let (x0, z0) = self.grid.corner();
        if !wanted(self, x0 + x, z0 + z, diameter, size_share, thin) {
            return None;
        }
        let look = mix(place ^ other.rotate_left(17));
        Some(Draft {
            x: x as f64,
            z: z as f64,
            cell: cell as u32,
            // The diameter is a single-precision number from here on: what is tested is what is
            // delivered
            diameter: diameter as f32,
            look: look as u32,
            piece: self.plan.pieces.pick(diameter, (look >> 32) as u32),
        })
    }

    /// Keeps a candidate as a survivor when no elder and nothing that must stay clear refuses it.
    /// `other` is the draw that ranks it.
    #[inline]
    pub(super) fn admit(&mut self, draft: &Draft, other: u64) {
        if self.plan.stones.is_none()
            && !self.scratch.elders.by_cell.is_empty(draft.cell as usize)
            && self.meets_elder(draft.cell as usize, &self.body(draft))
        {
            self.count_refused(draft.cell, false);
            return;
        }
        if !self.target.is_flat() {
            let (x0, z0) = self.grid.corner();
            let placed = Placed {
                x: x0 + draft.x as i64,
                z: z0 + draft.z as i64,
                id: 0,
                diameter: draft.diameter,
                along: self.heading(draft),
                piece: draft.piece,
                stance: 0,
                sunk: 0,
            };
            if self.target.refuses(&placed) {
                // Ground under what must stay clear was not asked for
                let diameter = f64::from(draft.diameter);
                if self.target.asked(placed.x, placed.z, diameter) > 0.0 {
                    self.count_refused(draft.cell, true);
                }
                return;
            }
        }
        // Larger before smaller, and among equals at random: the leading bits decide the size, the
        // others are free
        let rank = u64::from(u32::MAX - (other >> 32) as u32) << 32 | u64::from(other as u32);
        self.scratch.survivors.add(rank, draft);
    }

    /// Strewn pieces: every wanted candidate lies. How many there are and where they are is drawn
    /// from two streams: more of them are the same ones and others.
    pub(super) fn strew_cells(&mut self) {
        let layer_key = join(join(self.plan.key, self.octave as u64), 0);
        let parts = self.parts();
        let asked = self.layer.asked * self.grid.side * self.grid.side
            / (NANO * NANO)
            / f64::from(parts * parts);
        for cz in 0..self.grid.height {
            for cx in 0..self.grid.width {
                let (ix, iz) = (
                    self.grid.window.x0 + cx as i64,
                    self.grid.window.z0 + cz as i64,
                );
                let key = cell_key(layer_key, ix, iz);
                self.survey_cell(cx, cz, key, |_| 1.0);
                self.count.cells += 1;
                let cell = self.grid.cell(cx, cz);
                for part in (0..parts).flat_map(|pz| (0..parts).map(move |px| (px, pz))) {
                    let most = self.most((cx, cz), part, parts);
                    let bound = self.grade_bound(most);
                    let most = bound.map_or(most, |b| b.whole);
                    let own = join(key, u64::from(part.1 * parts + part.0));
                    let (mut counts, mut draws) = (stream(own), stream(join(own, PLACES)));
                    for _ in 0..counts.poisson(asked * most) {
                        let (place, other) = (draws.bits(), draws.bits());
                        self.count.candidates += 1;
                        let place = in_part(place, part, parts);
                        let drawn =
                            self.draft((cell, cx, cz), place, other, |s, x, z, d, share, thin| {
                                if bound.is_none_or(|b| thin * most < b.at(share)) {
                                    let graded = s.target.graded(x, z, d);
                                    thin * most < s.target_at(x, z, d) * graded.strength
                                } else {
                                    false
                                }
                            });
                        if let Some(draft) = drawn {
                            self.admit(&draft, other);
                        }
                    }
                }
            }
        }
        let drafts = std::mem::take(&mut self.scratch.survivors.drafts);
        for draft in &drafts {
            let body = self.body(draft);
            self.keep(draft, body, false);
        }
        self.scratch.survivors.drafts = drafts;
    }
}

/// Bounds of a part of a cell.
#[derive(Clone, Copy)]
struct PartBounds {
    /// Of the target.
    most: f64,
    /// Of target x strength x candidates a piece, where sizes are graded.
    bound: Option<Bound>,
    /// Of other passes' stones.
    crowding: Crowding,
}

/// The share of the octave's numbers that is smaller than a candidate.
fn size_share(other: u64) -> f64 {
    f64::from((other >> 32) as u32) * (1.0 / 4_294_967_296.0)
}

/// The uniform draw that a candidate is thinned by.
fn thin_share(other: u64) -> f64 {
    f64::from(other as u32) * (1.0 / 4_294_967_296.0)
}

/// A draw of a place in a cell, moved into one of the cell's parts.
fn in_part(place: u64, (px, pz): (u32, u32), parts: u32) -> u64 {
    let nest = |bits: u64, part: u32| ((u64::from(part) << 32) | bits) / u64::from(parts);
    (nest(place >> 32, px) << 32) | nest(place & 0xffff_ffff, pz)
}

/// Tells the stream of places from that of numbers.
const PLACES: u64 = 1;

/// Candidates per piece up to which the crowd round a place is not looked at: it could change them
/// by less than a tenth.
const CROWDED: f64 = 1.1;
