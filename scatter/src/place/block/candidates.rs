//! Candidates: how many a cell draws, where they lie, and which of them are wanted and not refused by what lay before.

use super::settle::Doubt;
use super::work::{DEAD, Draft, NONE, Work};
use crate::field::Here;
use crate::plan::{NANO, Placed, Rectangle};
use crate::random::{POISSON_STEP, cell_key, join, mix, stream, unit};

impl<T: Here> Work<'_, T> {
    /// The target's bound on a cell, and what is asked there (by one sample in sixteen cells where it varies).
    fn survey_cell(&mut self, cx: usize, cz: usize, key: u64) -> f64 {
        /// Cells a sample of the target stands for.
        const EVERY: u64 = 16;
        let (ix, iz) = (self.window.x0 + cx as i64, self.window.z0 + cz as i64);
        let area = self.side * self.side / (NANO * NANO);
        let asked = self.layer.asked * area;
        if self.target.is_flat() {
            if self.in_core(cx, cz) {
                self.count.asked += asked;
                self.count.full += asked * (1.0 - self.plan.schedule.kept_share(self.octave, 1.0));
            }
            return 1.0;
        }
        let draw = mix(key ^ 0x5e7);
        if draw.is_multiple_of(EVERY) && self.in_core(cx, cz) {
            let x = ix * self.layer.side + ((unit(mix(draw)) * self.side) as i64);
            let z = iz * self.layer.side + ((unit(mix(draw ^ 1)) * self.side) as i64);
            let d = self.layer.diameter(unit(mix(draw ^ 2)));
            let asked = EVERY as f64 * asked * self.target.at(x, z, d);
            let target = self.target_at(x, z, d);
            let room = EVERY as f64 * self.layer.asked * area * target;
            self.count.asked += asked;
            self.count.full += asked - room * self.plan.schedule.kept_share(self.octave, target);
        }
        let (x, z) = (ix * self.layer.side, iz * self.layer.side);
        let end = self.layer.side - 1;
        self.target
            .most(Rectangle {
                x0: x,
                z0: z,
                x1: x + end,
                z1: z + end,
            })
            .min(self.cap)
    }

    /// The target at a place, as far as the schedule can follow it.
    #[inline]
    pub(super) fn target_at(&self, x: i64, z: i64, diameter: f64) -> f64 {
        if self.target.is_flat() {
            1.0
        } else {
            self.target.at(x, z, diameter).min(self.cap)
        }
    }

    /// Candidates per asked piece at a place: as many as the crowd round it needs, which may be thinner than the place's own target.
    fn tries_at(&self, x: i64, z: i64, diameter: f64, u: f64, target: f64) -> f64 {
        let schedule = &self.plan.schedule;
        let own = schedule.tries(self.octave, target, u);
        if self.target.is_flat() || own < CROWDED {
            return own;
        }
        schedule
            .tries(self.octave, self.target_around(x, z, diameter), u)
            .min(own)
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

    /// Mean target where a piece's neighbours lie: four places at three quarters of the distance of touching.
    fn target_around(&self, x: i64, z: i64, diameter: f64) -> f64 {
        let away = (0.75 * NANO * self.plan.reach * diameter) as i64;
        let sides = [(away, 0), (-away, 0), (0, away), (0, -away)];
        0.25 * sides
            .iter()
            .map(|(dx, dz)| self.target_at(x + dx, z + dz, diameter))
            .sum::<f64>()
    }

    /// Level 0: candidates of every live cell, then the survivors by rank. `low..high` are the candidates per square metre before and
    /// after the level, for equal pieces.
    pub(super) fn throw_cells(&mut self, low: f64, high: f64) {
        let layer_key = join(join(self.plan.key, self.octave as u64), 0);
        let area = self.side * self.side / (NANO * NANO);
        let equal = high > low;
        // The same draw as with a varying target, without an exponential a cell
        let flat_mean = self.cell_mean(1.0, low, high, area);
        let flat_floor = libm::exp(-flat_mean);
        for cz in 0..self.height {
            for cx in 0..self.width {
                let cell = self.cell(cx, cz);
                let (ix, iz) = (self.window.x0 + cx as i64, self.window.z0 + cz as i64);
                let key = cell_key(layer_key, ix, iz);
                let most = self.survey_cell(cx, cz, key);
                self.count.cells += 1;
                if self.memory.marks[cell] & DEAD != 0 || most <= 0.0 {
                    continue;
                }
                let mut draws = stream(key);
                let tries = if equal {
                    1.0
                } else {
                    self.plan.schedule.most_tries(self.octave, most)
                };
                let number = if self.target.is_flat() && flat_mean <= POISSON_STEP {
                    draws.poisson_below(flat_floor)
                } else {
                    draws.poisson(self.cell_mean(most, low, high, area))
                };
                for _ in 0..number {
                    let (place, other) = (draws.bits(), draws.bits());
                    self.count.candidates += 1;
                    let drawn = self.draft((cell, cx, cz), place, other, |s, x, z, d, u, thin| {
                        let target = s.target_at(x, z, d);
                        if equal {
                            thin * (high - low) < s.candidates_at(x, z, d, target) - low
                        } else {
                            thin * most * tries < target * s.tries_at(x, z, d, u, target)
                        }
                    });
                    if let Some(draft) = drawn {
                        self.admit(&draft, other, (cx, cz));
                    }
                }
            }
        }
        self.settle(Doubt::Piece);
    }

    /// Mean candidates in a cell whose target is at most `most`.
    fn cell_mean(&self, most: f64, low: f64, high: f64, area: f64) -> f64 {
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

    /// Turns two draws into a candidate of a cell, when it is wanted. `wanted` is told place, diameter, share of the sizes below it, and
    /// a uniform draw to thin by.
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
        let thin = f64::from(other as u32) * (1.0 / 4_294_967_296.0);
        let diameter = self.layer.diameter(size_share);
        let (x0, z0) = self.corner();
        if !wanted(self, x0 + x, z0 + z, diameter, size_share, thin) {
            return None;
        }
        let look = mix(place ^ other.rotate_left(17));
        Some(Draft {
            x: x as f64,
            z: z as f64,
            cell: cell as u32,
            // The diameter is a single-precision number from here on: what is tested is what is delivered
            diameter: diameter as f32,
            look: look as u32,
            piece: (((look >> 32) * self.plan.outlines.len() as u64) >> 32) as u16,
        })
    }

    /// Keeps a candidate as a survivor when no elder and nothing that must stay clear refuses it. `other` is the draw that ranks it.
    #[inline]
    pub(super) fn admit(&mut self, draft: &Draft, other: u64, (cx, cz): (usize, usize)) {
        if self.memory.elder_heads[draft.cell as usize] != NONE
            && self.meets_elder(draft.cell as usize, &self.body(draft))
        {
            return;
        }
        if !self.target.is_flat() {
            let (x0, z0) = self.corner();
            let placed = Placed {
                x: x0 + draft.x as i64,
                z: z0 + draft.z as i64,
                id: 0,
                diameter: draft.diameter,
                along: self.plan.headings.pick(draft.look),
                piece: draft.piece,
            };
            if self.target.refuses(&placed) {
                if self.in_core(cx, cz) {
                    let target = self.target_at(placed.x, placed.z, f64::from(draft.diameter));
                    self.count.clear += 1.0
                        / self
                            .plan
                            .schedule
                            .tries(self.octave, target, size_share(other));
                }
                return;
            }
        }
        // Larger before smaller, and among equals at random: the leading bits decide the size, the others are free
        let rank = u64::from(u32::MAX - (other >> 32) as u32) << 32 | u64::from(other as u32);
        self.memory
            .order
            .push((rank, self.memory.survivors.len() as u32));
        self.memory.survivors.push(*draft);
    }

    /// Strewn pieces: every wanted candidate lies.
    pub(super) fn strew_cells(&mut self) {
        let layer_key = join(join(self.plan.key, self.octave as u64), 0);
        let area = self.side * self.side / (NANO * NANO);
        for cz in 0..self.height {
            for cx in 0..self.width {
                let (ix, iz) = (self.window.x0 + cx as i64, self.window.z0 + cz as i64);
                let key = cell_key(layer_key, ix, iz);
                let most = self.survey_cell(cx, cz, key);
                self.count.cells += 1;
                let mut draws = stream(key);
                let number = draws.poisson(self.layer.asked * area * most);
                let cell = self.cell(cx, cz);
                for _ in 0..number {
                    let (place, other) = (draws.bits(), draws.bits());
                    self.count.candidates += 1;
                    let drawn = self.draft((cell, cx, cz), place, other, |s, x, z, d, _, thin| {
                        thin * most < s.target_at(x, z, d)
                    });
                    if let Some(draft) = drawn {
                        self.admit(&draft, other, (cx, cz));
                    }
                }
            }
        }
        let drafts = std::mem::take(&mut self.memory.survivors);
        for draft in &drafts {
            let body = self.body(draft);
            self.keep(draft, body, false);
        }
        self.memory.survivors = drafts;
    }
}

/// The share of the octave's numbers that is smaller than a candidate.
fn size_share(other: u64) -> f64 {
    f64::from((other >> 32) as u32) * (1.0 / 4_294_967_296.0)
}

/// Candidates per piece up to which the crowd round a place is not looked at: it could change them by less than a tenth.
const CROWDED: f64 = 1.1;
