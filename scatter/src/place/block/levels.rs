//! Levels 1 and up of equal pieces: ever finer subcells, each with four times the candidates per
//! area, where there is room.
//!
//! Down to [`FINEST_MASKED`] the subcells with room are the clear bits of [`super::cover`]; below
//! it they are listed, and each is tested against the few pieces near it. To drop a subcell is
//! never a choice: only those are dropped in which every candidate would be refused.

use super::cover::ACROSS;
use super::elders::gap;
use super::evaluation::Evaluation;
use super::lists::NONE;
use super::scratch::{CLOSED, DEAD, UNKNOWN};
use super::settle::DoubtRule;
use super::survivors::Draft;
use crate::field::Here;
use crate::place::schedule::MOST_LEVELS;
use crate::plan::{Ellipse, NANO};
use crate::random::{cell_key, join, stream};

/// The level whose subcells are the bits of a word.
const FINEST_MASKED: u32 = ACROSS.ilog2();
/// Certain pieces round a cell that are held for the quick test; more than equal discs can bring
/// into nine cells that matter.
const HELD: usize = 24;
/// Share by which squared distances in single precision may be wrong: 2^-24 a step, a few steps,
/// distances of two cells at most.
const COARSE: f64 = 1e-5;
/// Farther than any piece, squared without overflow: fills up the last four.
const FAR: f32 = 1e18;

/// A subcell that may still have room.
#[derive(Debug, Clone, Copy)]
struct Subcell {
    cell: u32,
    sx: u32,
    sz: u32,
}

/// The certain pieces round one cell.
#[derive(Debug, Default)]
struct Surroundings {
    /// The cell, plus one; 0 for none.
    cell: usize,
    bodies: Vec<Ellipse>,
    /// Places from the cell's corner, in fours.
    x: Vec<f32>,
    z: Vec<f32>,
}

/// Ground that may still have room, below the cells' own bits.
#[derive(Debug, Default)]
pub(super) struct OpenGround {
    active: Vec<Subcell>,
    next: Vec<Subcell>,
    near: Surroundings,
}

impl OpenGround {
    pub(super) fn clear(&mut self) {
        self.active.clear();
        self.near.forget();
    }
}

/// One level: its streams' key, and the candidates per square metre before and after it.
struct Level {
    number: u32,
    key: u64,
    low: f64,
    high: f64,
    /// exp(-mean candidates of a subcell).
    floor: f64,
    /// Squared distances under which a disc is surely refused, and from which on it is surely not.
    refused: f32,
    free: f32,
}

impl Surroundings {
    /// Forgets its cell.
    fn forget(&mut self) {
        self.cell = 0;
    }

    /// Least squared distance to a middle. Four by four: the compiler makes vector steps of it.
    #[inline]
    fn nearest(&self, x: f32, z: f32) -> f32 {
        let mut least = [FAR; 4];
        for (xs, zs) in self.x.chunks_exact(4).zip(self.z.chunks_exact(4)) {
            for lane in 0..4 {
                let (dx, dz) = (xs[lane] - x, zs[lane] - z);
                let square = dx * dx + dz * dz;
                least[lane] = if square < least[lane] {
                    square
                } else {
                    least[lane]
                };
            }
        }
        least.into_iter().fold(FAR, f32::min)
    }
}

impl<T: Here> Evaluation<'_, T> {
    /// Throws level after level until there is no room, or as many were thrown as the target needs.
    pub(super) fn throw_levels(&mut self) {
        let schedule = &self.plan.schedule;
        let flat = self.target.is_flat();
        let peak = schedule.candidates(self.octave, if flat { 1.0 } else { schedule.peak });
        for number in 1..=MOST_LEVELS {
            let low = self.layer.candidates_to_level(number - 1);
            if peak <= low {
                break;
            }
            let level = self.level(number, low, peak);
            if number <= FINEST_MASKED {
                if number == 1 {
                    self.close_border();
                }
                self.throw_masked(&level);
                self.settle(DoubtRule::Crowd);
            } else {
                if number == FINEST_MASKED + 1 {
                    self.list_active();
                }
                if self.scratch.open.active.is_empty() {
                    break;
                }
                self.throw_listed(&level);
                self.settle(DoubtRule::Cell);
            }
        }
    }

    fn level(&self, number: u32, low: f64, peak: f64) -> Level {
        let high = self.layer.candidates_to_level(number).min(peak);
        let size = self.grid.side / f64::from(1u32 << number);
        let octave_key = join(self.plan.key, self.octave as u64);
        let (inner, outer) = (2.0 * self.semi_axes.least, 2.0 * self.semi_axes.most);
        Level {
            number,
            key: join(octave_key, u64::from(number)),
            low,
            high,
            floor: libm::exp(-(high - low) * size * size / (NANO * NANO)),
            refused: (inner * inner * (1.0 - COARSE)) as f32,
            free: (outer * outer * (1.0 + COARSE)) as f32,
        }
    }

    /// Closes the cells along the window's border, where everything is in doubt, and those that
    /// hold much doubt already.
    fn close_border(&mut self) {
        for cz in 0..self.grid.height {
            let edge_row = cz == 0 || cz + 1 == self.grid.height;
            for cx in 0..self.grid.width {
                let cell = self.grid.cell(cx, cz);
                let edge = edge_row || cx == 0 || cx + 1 == self.grid.width;
                let open =
                    self.scratch.marks[cell] & DEAD == 0 && self.scratch.cover.words[cell] != !0;
                if open && (edge || self.is_crowded(cell)) {
                    self.scratch.marks[cell] |= UNKNOWN | CLOSED;
                }
            }
        }
    }

    /// One level by masks.
    fn throw_masked(&mut self, level: &Level) {
        self.scratch.open.near.forget();
        for cz in 0..self.grid.height {
            for cx in 0..self.grid.width {
                let cell = self.grid.cell(cx, cz);
                let free = !self.scratch.cover.words[cell];
                if free == 0 || self.scratch.marks[cell] & (DEAD | CLOSED) != 0 {
                    continue;
                }
                let mut subcells = with_room(free, level.number);
                while subcells != 0 {
                    let bit = subcells.trailing_zeros();
                    subcells &= subcells - 1;
                    let fold = FINEST_MASKED - level.number;
                    let (sx, sz) = ((bit % ACROSS as u32) >> fold, (bit / ACROSS as u32) >> fold);
                    self.throw_subcell(level, (cx, cz), (sx, sz));
                }
            }
        }
    }

    /// Lists the free bits of all cells for the levels below; from there on a cell in doubt is
    /// closed.
    fn list_active(&mut self) {
        for cz in 0..self.grid.height {
            for cx in 0..self.grid.width {
                let cell = self.grid.cell(cx, cz);
                if self.scratch.marks[cell] & UNKNOWN != 0 {
                    self.scratch.marks[cell] |= CLOSED;
                }
                if self.scratch.marks[cell] & (DEAD | CLOSED) != 0 {
                    continue;
                }
                let mut free = !self.scratch.cover.words[cell];
                while free != 0 {
                    let bit = free.trailing_zeros();
                    free &= free - 1;
                    self.scratch.open.active.push(Subcell {
                        cell: cell as u32,
                        sx: bit % ACROSS as u32,
                        sz: bit / ACROSS as u32,
                    });
                }
            }
        }
    }

    /// One level by the list: splits its subcells, drops covered ones, throws into the others, and
    /// lists them.
    fn throw_listed(&mut self, level: &Level) {
        let size = self.grid.side / f64::from(1u32 << level.number);
        let active = std::mem::take(&mut self.scratch.open.active);
        let mut next = std::mem::take(&mut self.scratch.open.next);
        next.clear();
        self.scratch.open.near.forget();
        let mut meeting: Vec<(f64, f64, f64)> = Vec::new();
        // Where in the new list the cell at hand starts
        let (mut listed, mut start) = (NONE, 0);
        // Closed after the sweep: doubt must not run through open ground
        let mut closing = Vec::new();
        for sub in &active {
            let cell = sub.cell as usize;
            if listed != sub.cell {
                self.leave_open_ground(level, listed, start, &mut next, &mut closing);
                (listed, start) = (sub.cell, next.len());
            }
            if self.scratch.marks[cell] & CLOSED != 0 {
                continue;
            }
            let (cx, cz) = self.grid.column_row(sub.cell);
            let side = self.grid.side;
            let corner = move |sx: u32, sz: u32| {
                (
                    cx as f64 * side + f64::from(sx) * size,
                    cz as f64 * side + f64::from(sz) * size,
                )
            };
            self.gather(cell);
            // Only a piece that hides part of the subcell can hide a quarter of it
            let (x, z) = corner(2 * sub.sx, 2 * sub.sz);
            meeting.clear();
            meeting.extend(self.scratch.open.near.bodies.iter().filter_map(|b| {
                let (nx, _) = gap(b.x, x, 2.0 * size);
                let (nz, _) = gap(b.z, z, 2.0 * size);
                // Places are rounded down to whole nanometres: two of them for the corner
                let reach = b.inner + self.semi_axes.least - 2.0;
                (nx * nx + nz * nz < reach * reach).then_some((b.x, b.z, reach * reach))
            }));
            for quarter in 0..4 {
                let (sx, sz) = (2 * sub.sx + (quarter & 1), 2 * sub.sz + (quarter >> 1));
                let (x, z) = corner(sx, sz);
                let covered = meeting.iter().any(|(bx, bz, square)| {
                    let (_, fx) = gap(*bx, x, size);
                    let (_, fz) = gap(*bz, z, size);
                    fx * fx + fz * fz < *square
                });
                if !covered {
                    next.push(Subcell {
                        cell: sub.cell,
                        sx,
                        sz,
                    });
                    self.throw_subcell(level, (cx, cz), (sx, sz));
                }
            }
        }
        self.leave_open_ground(level, listed, start, &mut next, &mut closing);
        for cell in closing {
            self.scratch.marks[cell as usize] |= UNKNOWN | CLOSED;
        }
        self.scratch.open.active = next;
        self.scratch.open.next = active;
    }

    /// Takes a cell off the list when most of it is still open this late: pieces are not wanted
    /// there or must stay clear, and its subcells would grow fourfold a level. Where a full pass
    /// meets such ground, the cells along the edge stop at the cover of this level.
    fn leave_open_ground(
        &self,
        level: &Level,
        cell: u32,
        start: usize,
        next: &mut Vec<Subcell>,
        closing: &mut Vec<u32>,
    ) {
        /// By then 1024 candidates a disc area were thrown: cover 0.5388 of 0.547, and a cell of
        /// full ground has a few open subcells.
        const LATE: u32 = 5;
        /// Far more than full ground leaves open.
        const MOST_OPEN: usize = 64;
        if cell == NONE || level.number < LATE || next.len() - start <= MOST_OPEN {
            return;
        }
        next.truncate(start);
        // Beside ground in doubt it is not known how open the cell is
        if self
            .grid
            .around(cell as usize)
            .into_iter()
            .any(|n| self.scratch.marks[n] & CLOSED != 0)
        {
            closing.push(cell);
        }
    }

    /// Gathers the certain pieces and elders round a cell, unless they are at hand.
    fn gather(&mut self, cell: usize) {
        if self.scratch.open.near.cell == cell + 1 {
            return;
        }
        let (cx, cz) = self.grid.column_row(cell as u32);
        let around = self.grid.around(cell);
        let scratch = &mut *self.scratch;
        let near = &mut scratch.open.near;
        near.cell = cell + 1;
        near.bodies.clear();
        near.x.clear();
        near.z.clear();
        for neighbour in around {
            let mut at = scratch.laid.heads[neighbour];
            while at != NONE {
                let kept = &scratch.laid.ellipses[at as usize];
                if !kept.unknown {
                    near.bodies.push(kept.body);
                }
                at = kept.next;
            }
        }
        let (x0, z0) = (cx as f64 * self.grid.side, cz as f64 * self.grid.side);
        for body in near.bodies.iter().take(HELD) {
            near.x.push((body.x - x0) as f32);
            near.z.push((body.z - z0) as f32);
        }
        let fours = near.x.len().next_multiple_of(4);
        near.x.resize(fours, FAR);
        near.z.resize(fours, FAR);
        // Elders are larger: they hide, but the quick test is for pieces of this octave
        let elders = &scratch.elders;
        let bodies = elders.by_cell.of(cell);
        near.bodies
            .extend(bodies.map(|elder| elders.ellipses[elder as usize]));
    }

    /// Throws into one subcell.
    fn throw_subcell(&mut self, level: &Level, (cx, cz): (usize, usize), (sx, sz): (u32, u32)) {
        self.count.cells += 1;
        let shift = level.number;
        let global =
            |first: i64, cell: usize, sub: u32| ((first + cell as i64) << shift) + i64::from(sub);
        let mut draws = stream(cell_key(
            level.key,
            global(self.grid.window.x0, cx, sx),
            global(self.grid.window.z0, cz, sz),
        ));
        let cell = self.grid.cell(cx, cz);
        let cover = self.scratch.cover.words[cell];
        let number = draws.poisson_below(level.floor);
        for _ in 0..number {
            let (place, other) = (draws.bits(), draws.bits());
            self.count.candidates += 1;
            // The subcell's number leads, the draw fills the bits below it
            let nest = |sub: u32, bits: u64| u64::from(sub) << (32 - shift) | bits >> shift;
            let (px, pz) = (nest(sx, place >> 32), nest(sz, place & 0xffff_ffff));
            let top = |bits: u64| bits >> (32 - FINEST_MASKED);
            if cover >> (top(pz) * ACROSS as u64 + top(px)) & 1 != 0 {
                continue;
            }
            let drawn = self.draft(
                (cell, cx, cz),
                px << 32 | pz,
                other,
                |s, x, z, d, _, thin| {
                    let target = s.target_at(x, z, d);
                    thin * (level.high - level.low) < s.candidates_at(x, z, d, target) - level.low
                },
            );
            let Some(draft) = drawn else { continue };
            self.gather(cell);
            if !self.meets_near(level, &draft, (cx, cz)) {
                self.admit(&draft, other);
            }
        }
    }

    /// Whether a candidate meets a certain piece of the gathered.
    fn meets_near(&self, level: &Level, draft: &Draft, (cx, cz): (usize, usize)) -> bool {
        let near = &self.scratch.open.near;
        let nearest = near.nearest(
            (draft.x - cx as f64 * self.grid.side) as f32,
            (draft.z - cz as f64 * self.grid.side) as f32,
        );
        if nearest < level.refused {
            return true;
        }
        if nearest >= level.free && near.bodies.len() <= near.x.len() {
            return false;
        }
        let body = self.body(draft);
        near.bodies.iter().any(|b| b.overlaps(&body))
    }
}

/// The first bit of every subcell of a level in which some bit is set.
fn with_room(free: u64, level: u32) -> u64 {
    match level {
        1 => {
            let rows = free | free >> 8;
            let rows = rows | rows >> 16;
            let columns = rows | rows >> 1;
            (columns | columns >> 2) & 0x0000_0011_0000_0011
        }
        2 => {
            let rows = free | free >> 8;
            (rows | rows >> 1) & 0x0055_0055_0055_0055
        }
        _ => free,
    }
}
