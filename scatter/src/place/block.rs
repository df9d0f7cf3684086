//! One octave of a pass on one block of cells: the certain part of the endless plane's answer.
//!
//! See [`super`] for the construction and for why the answer is exact. All places inside are nanometres relative to the
//! window's corner: whole numbers below 2^53, so that differences are exact wherever in the world the window lies.

use super::schedule::{MOST_LEVELS, Octave, Outline, SINGLE_PRECISION, Schedule, Throw};
use crate::field::Here;
use crate::plan::{Ellipse, NANO, Placed, Rectangle};
use crate::random::{POISSON_STEP, Stream, cell_key, join, mix, stream, unit};

/// Directions that headings are drawn from: 0.09 degrees apart, finer than a heading is ever seen.
const DIRECTIONS: usize = 4096;

/// How pieces are turned about the ground's normal.
#[derive(Debug, Clone)]
pub struct Headings {
    directions: Vec<[f32; 2]>,
}

impl Headings {
    /// Any heading, all as likely.
    #[must_use]
    pub fn random() -> Self {
        Self::from_angles(|u| u * std::f64::consts::TAU)
    }

    /// Long axes along an azimuth (radians, clockwise from -z seen from above), normally spread about it (standard deviation, radians);
    /// either end may point that way.
    #[must_use]
    pub fn toward(azimuth: f64, spread: f64) -> Self {
        Self::from_angles(|u| {
            let end = if u < 0.5 { 0.0 } else { std::f64::consts::PI };
            let share = (2.0 * u).fract();
            azimuth + end + spread * normal_quantile(share)
        })
    }

    fn from_angles(angle: impl Fn(f64) -> f64) -> Self {
        let directions = (0..DIRECTIONS)
            .map(|i| {
                let a = angle((i as f64 + 0.5) / DIRECTIONS as f64);
                [libm::sin(a) as f32, -libm::cos(a) as f32]
            })
            .collect();
        Self { directions }
    }

    #[inline]
    fn pick(&self, bits: u32) -> [f32; 2] {
        self.directions[(bits as usize * DIRECTIONS) >> 32]
    }
}

/// Standard normal quantile by bisection of the error function: for tables, not for loops. `u` in (0, 1).
fn normal_quantile(u: f64) -> f64 {
    let (mut low, mut high) = (-9.0, 9.0);
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if 0.5 * libm::erfc(-middle / std::f64::consts::SQRT_2) < u {
            low = middle;
        } else {
            high = middle;
        }
    }
    0.5 * (low + high)
}

/// A pass as the placing sees it.
#[derive(Debug)]
pub struct PassPlan {
    /// Octaves and candidates.
    pub schedule: Schedule,
    /// Outlines of the pass's pieces.
    pub outlines: Vec<Outline>,
    /// How its pieces turn.
    pub headings: Headings,
    /// Size of the ground kept free over the size of the piece.
    pub reach: f64,
    /// Key of the pass's streams.
    pub key: u64,
    /// 14 bits that mark the pass in ids.
    pub tag: u16,
}

/// Bits of a cell coordinate in an id: cells that far apart share ids, so one layout's cells must span less.
pub const ID_CELL_BITS: u32 = 20;
/// Bits of an ordinal in an id.
const ID_ORDINAL_BITS: u32 = 6;
/// Bits of an octave in an id: sizes span at most 12 octaves.
const ID_OCTAVE_BITS: u32 = 4;
/// Bits of a pass's tag in an id.
pub const ID_TAG_BITS: u32 = 64 - ID_OCTAVE_BITS - 2 * ID_CELL_BITS - ID_ORDINAL_BITS;
/// Pieces that one cell can name. Spaced pieces of one octave fit far fewer; a strewn cell holds two on average, and more than 64 once
/// in 1e70 cells.
const MOST_PER_CELL: u32 = 1 << ID_ORDINAL_BITS;

/// The id of a piece: (pass, octave, cell, ordinal) side by side, so unique by construction.
#[must_use]
pub fn piece_id(tag: u16, octave: usize, ix: i64, iz: i64, ordinal: u32) -> u64 {
    let cell = |i: i64| (i as u64) & ((1 << ID_CELL_BITS) - 1);
    let mut id = u64::from(tag);
    id = id << ID_OCTAVE_BITS | octave as u64;
    id = id << ID_CELL_BITS | cell(ix);
    id = id << ID_CELL_BITS | cell(iz);
    id << ID_ORDINAL_BITS | u64::from(ordinal)
}

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
}

/// What happened on a block, counted over its core.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Count {
    /// Cells looked at, margin included.
    pub cells: u64,
    /// Candidates drawn, margin included.
    pub candidates: u64,
    /// Pieces asked for: the target over the core.
    pub asked: f64,
    /// Of those, pieces that the schedule knows to find no room.
    pub full: f64,
    /// Of those, pieces that what must stay clear refused.
    pub clear: f64,
}

impl Count {
    /// Adds another block's count.
    pub fn add(&mut self, other: &Self) {
        self.cells += other.cells;
        self.candidates += other.candidates;
        self.asked += other.asked;
        self.full += other.full;
        self.clear += other.clear;
    }
}

/// The pieces of a block's core, sorted by cell row, column and rank, and what was counted.
pub type Evaluated = (Vec<Placed>, Count);

/// Evaluates octave `octave` of `plan` on `core` with a margin of `margin` cells. `elders` are the pieces of larger octaves
/// (with their semi-axes of kept-free ground, in nanometres of the world) that can reach the grown window.
/// None when the margin was too narrow for certainty.
pub fn evaluate<T: Here>(
    plan: &PassPlan,
    octave: usize,
    core: Cells,
    margin: i64,
    elders: &[Placed],
    target: &T,
) -> Option<Evaluated> {
    let mut work = Work::new(plan, octave, core, margin, target);
    if plan.schedule.spaced {
        work.splat(elders);
        let (low, high) = match &work.layer.throw {
            Throw::BySize { .. } => (0.0, 0.0),
            Throw::Equal { .. } => (0.0, work.layer.candidates_to_level(0)),
        };
        work.throw_cells(low, high);
        if matches!(work.layer.throw, Throw::Equal { .. }) {
            work.throw_levels();
        }
        if !work.is_certain() {
            return None;
        }
    } else {
        work.strew_cells();
    }
    Some(work.finish())
}

/// Candidates per piece up to which the crowd round a place is not looked at: it could change them by less than a tenth.
const CROWDED: f64 = 1.1;

/// Marks of a cell.
const DEAD: u8 = 1;
const UNKNOWN: u8 = 2;

/// No index.
const NONE: u32 = u32::MAX;

/// A kept or unknown piece in a cell's list.
struct Kept {
    body: Ellipse,
    next: u32,
    cell: u32,
    unknown: bool,
    diameter: f32,
    piece: u16,
}

/// A candidate that no elder refused.
struct Survivor {
    body: Ellipse,
    cell: u32,
    diameter: f32,
    piece: u16,
}

/// A subcell that may still have room.
#[derive(Clone, Copy)]
struct Subcell {
    cell: u32,
    sx: u32,
    sz: u32,
}

struct Work<'a, T> {
    plan: &'a PassPlan,
    octave: usize,
    layer: &'a Octave,
    target: &'a T,
    core: Cells,
    window: Cells,
    width: usize,
    height: usize,
    side: f64,
    /// Largest semi-axis of kept-free ground in this octave, nanometres.
    outer_most: f64,
    /// Most that the schedule can follow of a target: strewn pieces follow any.
    cap: f64,
    /// Smallest semi-axis of kept-free ground in this octave, nanometres.
    inner_least: f64,
    marks: Vec<u8>,
    elders: Vec<Ellipse>,
    elder_heads: Vec<u32>,
    elder_links: Vec<(u32, u32)>,
    heads: Vec<u32>,
    kept: Vec<Kept>,
    survivors: Vec<Survivor>,
    order: Vec<(u64, u32)>,
    count: Count,
}

impl<'a, T: Here> Work<'a, T> {
    fn new(plan: &'a PassPlan, octave: usize, core: Cells, margin: i64, target: &'a T) -> Self {
        let layer = &plan.schedule.octaves[octave];
        let margin = if plan.schedule.spaced { margin } else { 0 };
        let window = core.grown(margin);
        let (width, height) = (
            (window.x1 - window.x0) as usize,
            (window.z1 - window.z0) as usize,
        );
        let longest = plan
            .outlines
            .iter()
            .map(|o| o.elongation)
            .fold(1.0, f64::max);
        let half = 0.5 * NANO * plan.reach;
        Self {
            plan,
            octave,
            layer,
            target,
            core,
            window,
            width,
            height,
            side: layer.side as f64,
            cap: if plan.schedule.spaced {
                plan.schedule.peak
            } else {
                f64::INFINITY
            },
            outer_most: half * layer.to * longest * SINGLE_PRECISION,
            inner_least: half * layer.from / SINGLE_PRECISION,
            marks: vec![0; width * height],
            elders: Vec::new(),
            elder_heads: vec![NONE; width * height],
            elder_links: Vec::new(),
            heads: vec![NONE; width * height],
            kept: Vec::new(),
            survivors: Vec::new(),
            order: Vec::new(),
            count: Count::default(),
        }
    }

    /// The window's corner in the world, nanometres.
    fn corner(&self) -> (i64, i64) {
        (
            self.window.x0 * self.layer.side,
            self.window.z0 * self.layer.side,
        )
    }

    fn cell(&self, cx: usize, cz: usize) -> usize {
        cz * self.width + cx
    }

    fn in_core(&self, cx: usize, cz: usize) -> bool {
        let (ix, iz) = (self.window.x0 + cx as i64, self.window.z0 + cz as i64);
        ix >= self.core.x0 && ix < self.core.x1 && iz >= self.core.z0 && iz < self.core.z1
    }

    /// Lists in every cell the elders that reach a candidate there, and marks cells wholly under one.
    fn splat(&mut self, elders: &[Placed]) {
        let (x0, z0) = self.corner();
        for elder in elders {
            let elongation = self.plan.outlines[elder.piece as usize].elongation;
            let body = elder.ellipse((x0, z0), elongation, self.plan.reach);
            let reach = body.outer + self.outer_most;
            let Some((c0, c1)) = span(body.x, reach, self.side, self.width) else {
                continue;
            };
            let Some((r0, r1)) = span(body.z, reach, self.side, self.height) else {
                continue;
            };
            let index = self.elders.len() as u32;
            let cover = body.inner + self.inner_least;
            self.elders.push(body);
            for cz in r0..=r1 {
                let (near_z, far_z) = gap(body.z, cz as f64 * self.side, self.side);
                for cx in c0..=c1 {
                    let (near_x, far_x) = gap(body.x, cx as f64 * self.side, self.side);
                    let cell = cz * self.width + cx;
                    if near_x * near_x + near_z * near_z >= reach * reach
                        || self.marks[cell] & DEAD != 0
                    {
                        continue;
                    }
                    if far_x * far_x + far_z * far_z < cover * cover {
                        self.marks[cell] |= DEAD;
                    }
                    self.elder_links.push((index, self.elder_heads[cell]));
                    self.elder_heads[cell] = self.elder_links.len() as u32 - 1;
                }
            }
        }
    }

    fn meets_elder(&self, cell: usize, body: &Ellipse) -> bool {
        let mut link = self.elder_heads[cell];
        while link != NONE {
            let (elder, next) = self.elder_links[link as usize];
            if self.elders[elder as usize].overlaps(body) {
                return true;
            }
            link = next;
        }
        false
    }

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
        if draw % EVERY == 0 && self.in_core(cx, cz) {
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
    fn target_at(&self, x: i64, z: i64, diameter: f64) -> f64 {
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
    fn candidates_at(&self, x: i64, z: i64, diameter: f64, target: f64) -> f64 {
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
    fn throw_cells(&mut self, low: f64, high: f64) {
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
                if self.marks[cell] & DEAD != 0 || most <= 0.0 {
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
                    self.consider(cell, cx, cz, place, other, |s, x, z, d, u, thin| {
                        let target = s.target_at(x, z, d);
                        if equal {
                            thin * (high - low) < s.candidates_at(x, z, d, target) - low
                        } else {
                            thin * most * tries < target * s.tries_at(x, z, d, u, target)
                        }
                    });
                }
            }
        }
        self.settle(false);
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

    /// Turns two draws into a candidate of a cell and keeps it as a survivor when it is wanted and no elder refuses it.
    #[inline]
    fn consider(
        &mut self,
        cell: usize,
        cx: usize,
        cz: usize,
        place: u64,
        other: u64,
        wanted: impl Fn(&Self, i64, i64, f64, f64, f64) -> bool,
    ) {
        self.count.candidates += 1;
        let local = |cell: usize, bits: u64| {
            cell as i64 * self.layer.side
                + ((u128::from(bits) * self.layer.side as u128) >> 32) as i64
        };
        let (x, z) = (local(cx, place >> 32), local(cz, place & 0xffff_ffff));
        let rank = (other >> 32) as u32;
        let size_share = f64::from(rank) * (1.0 / 4_294_967_296.0);
        let thin = f64::from(other as u32) * (1.0 / 4_294_967_296.0);
        let diameter = self.layer.diameter(size_share);
        let (x0, z0) = self.corner();
        if !wanted(self, x0 + x, z0 + z, diameter, size_share, thin) {
            return;
        }
        let look = mix(place ^ other.rotate_left(17));
        let piece = ((look >> 32) * self.plan.outlines.len() as u64 >> 32) as u16;
        // The diameter is a single-precision number from here on: what is tested is what is delivered
        let diameter = diameter as f32;
        let inner = 0.5 * NANO * self.plan.reach * f64::from(diameter);
        let body = Ellipse {
            x: x as f64,
            z: z as f64,
            outer: inner * self.plan.outlines[piece as usize].elongation,
            inner,
            along: self.plan.headings.pick(look as u32),
        };
        if self.meets_elder(cell, &body) {
            return;
        }
        if !self.target.is_flat() {
            let placed = Placed {
                x: x0 + x,
                z: z0 + z,
                id: 0,
                diameter,
                along: body.along,
                piece,
            };
            if self.target.refuses(&placed) {
                if self.in_core(cx, cz) {
                    let target = self.target_at(placed.x, placed.z, f64::from(diameter));
                    self.count.clear +=
                        1.0 / self.plan.schedule.tries(self.octave, target, size_share);
                }
                return;
            }
        }
        self.order.push((
            u64::from(u32::MAX - rank) << 32 | u64::from(other as u32),
            self.survivors.len() as u32,
        ));
        self.survivors.push(Survivor {
            body,
            cell: cell as u32,
            diameter,
            piece,
        });
    }

    /// Lays the survivors in order of rank. With `by_cell` doubts spread to whole cells, since pieces of coming levels are not known
    /// there.
    fn settle(&mut self, by_cell: bool) {
        let mut order = std::mem::take(&mut self.order);
        order.sort_unstable_by_key(|(rank, _)| *rank);
        for (_, index) in &order {
            let survivor = &self.survivors[*index as usize];
            let (body, cell) = (survivor.body, survivor.cell as usize);
            let (cx, cz) = (cell % self.width, cell / self.width);
            let mut doubt = self.near_border(&body);
            let mut lost = false;
            'cells: for nz in cz.saturating_sub(1)..=(cz + 1).min(self.height - 1) {
                for nx in cx.saturating_sub(1)..=(cx + 1).min(self.width - 1) {
                    let neighbour = nz * self.width + nx;
                    let mut at = self.heads[neighbour];
                    while at != NONE {
                        let other = &self.kept[at as usize];
                        if other.body.overlaps(&body) {
                            if other.unknown {
                                doubt = true;
                            } else {
                                lost = true;
                                break 'cells;
                            }
                        }
                        at = other.next;
                    }
                    if by_cell && self.marks[neighbour] & UNKNOWN != 0 {
                        let (gx, _) = gap(body.x, nx as f64 * self.side, self.side);
                        let (gz, _) = gap(body.z, nz as f64 * self.side, self.side);
                        let reach = body.outer + self.outer_most;
                        doubt |= gx * gx + gz * gz < reach * reach;
                    }
                }
            }
            if lost {
                continue;
            }
            if doubt {
                self.marks[cell] |= UNKNOWN;
                if by_cell {
                    continue;
                }
            }
            let survivor = &self.survivors[*index as usize];
            let kept = Kept {
                body,
                next: self.heads[cell],
                cell: cell as u32,
                unknown: doubt,
                diameter: survivor.diameter,
                piece: survivor.piece,
            };
            self.heads[cell] = self.kept.len() as u32;
            self.kept.push(kept);
        }
        order.clear();
        self.order = order;
        self.survivors.clear();
    }

    /// Whether something beyond the window could reach the body.
    fn near_border(&self, body: &Ellipse) -> bool {
        let reach = body.outer + self.outer_most;
        let (right, top) = (
            self.side * self.width as f64,
            self.side * self.height as f64,
        );
        body.x < reach || body.z < reach || right - body.x < reach || top - body.z < reach
    }

    /// Levels 1 and up of equal pieces: ever finer subcells, each with four times the candidates per area, where there is room.
    fn throw_levels(&mut self) {
        let mut active: Vec<Subcell> = (0..self.width * self.height)
            .filter(|c| self.marks[*c] & DEAD == 0)
            .map(|c| Subcell {
                cell: c as u32,
                sx: 0,
                sz: 0,
            })
            .collect();
        let schedule = &self.plan.schedule;
        let peak = schedule.candidates(
            self.octave,
            if self.target.is_flat() {
                1.0
            } else {
                schedule.peak
            },
        );
        for level in 1..=MOST_LEVELS {
            let (low, high) = (
                self.layer.candidates_to_level(level - 1),
                self.layer.candidates_to_level(level),
            );
            if peak <= low || active.is_empty() {
                break;
            }
            active = self.throw_level(level, low, high.min(peak), &active);
            self.settle(true);
        }
    }

    /// One level: splits the active subcells, drops covered ones, throws into the others, and gives them back.
    fn throw_level(&mut self, level: u32, low: f64, high: f64, active: &[Subcell]) -> Vec<Subcell> {
        let key = join(join(self.plan.key, self.octave as u64), u64::from(level));
        let size = self.side / f64::from(1u32 << level);
        let floor = libm::exp(-(high - low) * size * size / (NANO * NANO));
        let mut next = Vec::with_capacity(active.len() * 2);
        let mut near: Vec<Ellipse> = Vec::with_capacity(32);
        let mut gathered = NONE;
        for sub in active {
            let cell = sub.cell as usize;
            if self.marks[cell] & UNKNOWN != 0 {
                continue;
            }
            let (cx, cz) = (cell % self.width, cell / self.width);
            if gathered != sub.cell {
                gathered = sub.cell;
                self.gather(cx, cz, &mut near);
            }
            for quarter in 0..4 {
                let (sx, sz) = (2 * sub.sx + (quarter & 1), 2 * sub.sz + (quarter >> 1));
                let (x, z) = (
                    cx as f64 * self.side + f64::from(sx) * size,
                    cz as f64 * self.side + f64::from(sz) * size,
                );
                let covered = near.iter().any(|b| {
                    let (_, fx) = gap(b.x, x, size);
                    let (_, fz) = gap(b.z, z, size);
                    let reach = b.inner + self.inner_least;
                    fx * fx + fz * fz < reach * reach
                });
                if covered {
                    continue;
                }
                self.count.cells += 1;
                next.push(Subcell {
                    cell: sub.cell,
                    sx,
                    sz,
                });
                self.throw_subcell(key, level, low, high, floor, (cx, cz), (sx, sz), &near);
            }
        }
        next
    }

    /// The certain pieces and elders near a cell.
    fn gather(&self, cx: usize, cz: usize, near: &mut Vec<Ellipse>) {
        near.clear();
        for nz in cz.saturating_sub(1)..=(cz + 1).min(self.height - 1) {
            for nx in cx.saturating_sub(1)..=(cx + 1).min(self.width - 1) {
                let mut at = self.heads[self.cell(nx, nz)];
                while at != NONE {
                    let kept = &self.kept[at as usize];
                    if !kept.unknown {
                        near.push(kept.body);
                    }
                    at = kept.next;
                }
            }
        }
        let mut link = self.elder_heads[self.cell(cx, cz)];
        while link != NONE {
            let (elder, next) = self.elder_links[link as usize];
            near.push(self.elders[elder as usize]);
            link = next;
        }
    }

    #[expect(
        clippy::too_many_arguments,
        reason = "the innermost step of a level; a struct would only rename the loop's variables"
    )]
    fn throw_subcell(
        &mut self,
        key: u64,
        level: u32,
        low: f64,
        high: f64,
        floor: f64,
        (cx, cz): (usize, usize),
        (sx, sz): (u32, u32),
        near: &[Ellipse],
    ) {
        let global =
            |first: i64, cell: usize, sub: u32| ((first + cell as i64) << level) + i64::from(sub);
        let mut draws: Stream = stream(cell_key(
            key,
            global(self.window.x0, cx, sx),
            global(self.window.z0, cz, sz),
        ));
        let number = draws.poisson_below(floor);
        for _ in 0..number {
            let (place, other) = (draws.bits(), draws.bits());
            // The subcell's number leads, the draw fills the bits below it
            let nest = |sub: u32, bits: u64| u64::from(sub) << (32 - level) | bits >> level;
            let place = nest(sx, place >> 32) << 32 | nest(sz, place & 0xffff_ffff);
            let before = self.survivors.len();
            self.consider(
                self.cell(cx, cz),
                cx,
                cz,
                place,
                other,
                |s, x, z, d, _, thin| {
                    let target = s.target_at(x, z, d);
                    thin * (high - low) < s.candidates_at(x, z, d, target) - low
                },
            );
            if self.survivors.len() > before {
                let body = self.survivors[before].body;
                if near.iter().any(|b| b.overlaps(&body)) {
                    self.survivors.pop();
                    self.order.pop();
                }
            }
        }
    }

    /// Strewn pieces: every wanted candidate lies.
    fn strew_cells(&mut self) {
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
                    self.consider(cell, cx, cz, place, other, |s, x, z, d, _, thin| {
                        thin * most < s.target_at(x, z, d)
                    });
                }
            }
        }
        for survivor in self.survivors.drain(..) {
            let Survivor {
                body,
                cell,
                diameter,
                piece,
            } = survivor;
            self.kept.push(Kept {
                body,
                next: NONE,
                cell,
                unknown: false,
                diameter,
                piece,
            });
        }
    }

    fn is_certain(&self) -> bool {
        let margin = (self.core.x0 - self.window.x0) as usize;
        (margin..self.height - margin).all(|cz| {
            (margin..self.width - margin).all(|cx| self.marks[self.cell(cx, cz)] & UNKNOWN == 0)
        })
    }

    /// The core's pieces by cell, each with its id.
    fn finish(self) -> Evaluated {
        let (x0, z0) = self.corner();
        let core: Vec<&Kept> = self
            .kept
            .iter()
            .filter(|k| self.in_core(k.cell as usize % self.width, k.cell as usize / self.width))
            .collect();
        let mut order: Vec<(u32, u32)> = core
            .iter()
            .enumerate()
            .map(|(i, k)| (k.cell, i as u32))
            .collect();
        order.sort_unstable();
        let mut placed = Vec::with_capacity(order.len());
        let (mut last, mut ordinal) = (NONE, 0);
        for (cell, index) in order {
            let kept = core[index as usize];
            ordinal = if cell == last { ordinal + 1 } else { 0 };
            last = cell;
            if ordinal >= MOST_PER_CELL {
                continue;
            }
            let (cx, cz) = (cell as usize % self.width, cell as usize / self.width);
            placed.push(Placed {
                x: x0 + kept.body.x as i64,
                z: z0 + kept.body.z as i64,
                id: piece_id(
                    self.plan.tag,
                    self.octave,
                    self.window.x0 + cx as i64,
                    self.window.z0 + cz as i64,
                    ordinal,
                ),
                diameter: kept.diameter,
                along: kept.body.along,
                piece: kept.piece,
            });
        }
        (placed, self.count)
    }
}

/// Cells from first to last that an interval about `at` touches, or None outside the window.
fn span(at: f64, reach: f64, side: f64, cells: usize) -> Option<(usize, usize)> {
    let first = libm::floor((at - reach) / side).max(0.0);
    let last = libm::floor((at + reach) / side).min(cells as f64 - 1.0);
    (first <= last).then_some((first as usize, last as usize))
}

/// Least and greatest distance from `at` to the interval of length `side` that starts at `start`.
#[inline]
fn gap(at: f64, start: f64, side: f64) -> (f64, f64) {
    let (below, above) = (start - at, at - start - side);
    (
        below.max(above).max(0.0),
        (at - start).abs().max((at - start - side).abs()),
    )
}
