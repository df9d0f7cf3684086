//! Laying stones: darts that meet what lies roll off it, as far as the pass lets them.
//!
//! A dart that meets something moves to where it touches and is free, within its own diameter: first
//! straight out of what it overlaps most; if it overlaps another thing there, to the nearer place that
//! touches both; and once more. Where that does not end free it is refused: it would lie on others.
//! For equal discs the exact steepest descent takes the place of that rule ([`super::descent`]). A share of
//! the darts does not roll: real gravel is half rolled (Tarjus, Viot, Choi and Talbot, Phys. Rev. E 49, 3239,
//! 1994, for the rate between plain and rolling deposition).
//!
//! A dart looks no farther than its own diameter and the size of what it may meet, so the certificate of
//! [`crate::place`] holds: what may be met beyond the border, or may be met in doubt, leaves a dart in doubt, and a dart
//! in doubt may lie anywhere within its diameter.

use super::elders::{gap, span};
use super::work::{DEAD, Draft, NONE, UNKNOWN, Work};
use crate::field::Here;
use crate::plan::profile::{DIRECTIONS, side};
use crate::plan::stone::{Overlap, Stone, crossings};
use crate::plan::stones::{Form, STANCE_DRAWS, Stones, nearest_turn};
use crate::plan::{NANO, Placed};
use crate::random::mix;

/// How much farther than to the border of what it met a stone rolls, over its radius: it ends free of it.
const FREE: f64 = 0.001;
/// And at least so far, nanometres: places are rounded to whole ones.
const LEAST_FREE: f64 = 3.0;
/// Tries at a place that touches two: more changed nothing in the fourth digit of the cover.
const TRIES: usize = 2;

/// A stone that lies in the window.
#[derive(Debug)]
pub(super) struct Laid {
    pub(super) stone: Stone,
    pub(super) draft: Draft,
    pub(super) turn: u8,
    /// The one that was laid before it in its cell.
    pub(super) next: u32,
}

/// What lies already: of larger octaves, or of other passes.
#[derive(Debug)]
pub(super) struct Elder {
    stone: Stone,
    /// The largest asker that it counts for, nanometres.
    up_to: f64,
    /// Whether it is of another pass.
    foreign: bool,
}

/// Where a dart in doubt may lie: a disc that holds all of its outline.
#[derive(Debug)]
pub(super) struct Doubt {
    x: f64,
    z: f64,
    radius: f64,
}

/// Something that a dart meets.
#[derive(Debug, Clone, Copy)]
enum Thing {
    Laid(u32),
    Elder(u32),
}

/// What a dart meets at a place.
struct Met {
    /// What it overlaps most.
    deepest: Option<(Thing, Overlap)>,
    /// Whether it may meet something in doubt, or beyond the border.
    doubt: bool,
}

/// What becomes of a dart.
enum Fate {
    Lies(f64, f64),
    /// Refused by something of its own pass, or of another one.
    Refused {
        foreign: bool,
    },
    Unknown,
}

/// What other passes' stones leave of a cell.
#[derive(Debug, Clone, Copy)]
pub(super) struct Crowding {
    /// Share of it that they leave open.
    pub(super) open: f64,
    /// Darts that it needs over those of open ground, so that as many come to lie on what is left of it as would there: of the octave's
    /// smallest sizes, and of its largest in their widest form.
    small: f64,
    large: f64,
}

impl Crowding {
    pub(super) const NONE: Self = Self {
        open: 1.0,
        small: 1.0,
        large: 1.0,
    };

    /// Darts needed over those of open ground, for a size at a share of the way from the octave's smallest to its largest.
    #[inline]
    pub(super) fn needs(&self, size: f64) -> f64 {
        self.small + (self.large - self.small) * size
    }

    /// The most of it over all sizes.
    pub(super) fn most(&self) -> f64 {
        self.small.max(self.large)
    }
}

/// How many more darts wide forms need, so that they come to lie as often as narrow ones.
pub(super) struct Widths {
    /// By piece and stance: width over the mean, and the darts that it needs over those of a mean one.
    forms: Vec<Vec<(f64, f64)>>,
    /// The most of these.
    pub(super) most: f64,
    /// The widest form over the mean.
    pub(super) widest: f64,
}

impl Widths {
    /// Of an octave's `steepness`; none where pieces are no stones.
    pub(super) fn new(stones: Option<&Stones>, steepness: f64) -> Self {
        /// More darts for one form are thrown in vain.
        const MOST: f64 = 4.0;
        let of = |stones: &Stones| -> Vec<Vec<(f64, f64)>> {
            let form = |form: &Form| {
                if form.share == 0.0 {
                    return (1.0, 1.0);
                }
                let width = form.mean() / stones.mean;
                (width, libm::pow(width, steepness).min(MOST))
            };
            let piece = |stances: &Vec<Form>| stances.iter().map(form).collect();
            stones.forms().iter().map(piece).collect()
        };
        let forms = stones.map(of).unwrap_or_default();
        let all = || forms.iter().flatten();
        Self {
            most: all().map(|f| f.1).fold(1.0, f64::max),
            widest: all().map(|f| f.0).fold(1.0, f64::max),
            forms,
        }
    }

    /// A form's width over the mean, and the darts that it needs over those of a mean one.
    #[inline]
    pub(super) fn of(&self, piece: u16, stance: u8) -> (f64, f64) {
        let Some(stances) = self.forms.get(usize::from(piece)) else {
            return (1.0, 1.0);
        };
        stances[usize::from(stance).min(stances.len() - 1)]
    }
}

/// Darts needed over those of open ground for stones of a radius and diameter, by how far some places are from other stones.
fn needs(away: &[f64], radius: f64, diameter: f64, roll: f64) -> f64 {
    /// How fewer come free in tight gaps: fitted to beds of a preset's sizes.
    const TIGHT: f64 = 0.22;
    /// Where nothing is open.
    const LEAST_FREE_SHARE: f64 = 0.3;
    /// More darts than this are thrown in vain.
    const MOST: f64 = 8.0;
    let (mut open, mut free, mut edge) = (0.0, 0.0, 0.0);
    for away in away {
        open += f64::from(*away >= 0.0);
        if *away >= radius {
            free += 1.0;
        } else if radius - away < diameter {
            edge += 1.0;
        }
    }
    // The wider the gaps, the more of those that roll off an edge come free of the next one
    let comes_free = if open > 0.0 {
        libm::pow((free + 0.5) / (open + 0.5), TIGHT)
    } else {
        LEAST_FREE_SHARE
    };
    let stays = free + roll * comes_free * edge;
    if open == 0.0 {
        f64::from(stays > 0.0)
    } else {
        (open / f64::max(stays, open / MOST)).min(MOST)
    }
}

impl<T: Here> Work<'_, T> {
    /// Lists in every cell the larger stones and those of other passes that reach a dart there.
    pub(super) fn splat_stones(&mut self, elders: &[Placed], stones: &Stones) {
        let (x0, z0) = self.corner();
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
        let reach = stone.outer + self.outer_most;
        let Some((c0, c1)) = span(stone.x, reach, self.side, self.width) else {
            return;
        };
        let Some((r0, r1)) = span(stone.z, reach, self.side, self.height) else {
            return;
        };
        let index = self.memory.elder_stones.len() as u32;
        // Deeper under it no dart comes free
        let deep = stone.least() - NANO * self.layer.to;
        for cz in r0..=r1 {
            let (near_z, far_z) = gap(stone.z, cz as f64 * self.side, self.side);
            for cx in c0..=c1 {
                let (near_x, far_x) = gap(stone.x, cx as f64 * self.side, self.side);
                if near_x * near_x + near_z * near_z >= reach * reach {
                    continue;
                }
                let cell = self.cell(cx, cz);
                if deep > 0.0
                    && far_x * far_x + far_z * far_z < deep * deep
                    && up_to >= NANO * self.layer.to
                {
                    self.memory.marks[cell] |= DEAD;
                }
                self.memory
                    .elder_links
                    .push((index, self.memory.elder_heads[cell]));
                self.memory.elder_heads[cell] = self.memory.elder_links.len() as u32 - 1;
            }
        }
        self.memory.elder_stones.push(Elder {
            stone,
            up_to,
            foreign,
        });
    }

    /// What other passes' stones leave of a cell, by sixteen places of it.
    pub(super) fn crowding(&self, cx: usize, cz: usize) -> Crowding {
        /// Places along a cell's side.
        const ACROSS: usize = 4;
        /// Height of a stone over the ground, over its diameter: flat by a third, and sunk by a quarter.
        const EXPOSED: f64 = 0.5;
        let Some(stones) = &self.plan.stones else {
            return Crowding::NONE;
        };
        let memory = &*self.memory;
        let all = memory.listed(memory.elder_heads[self.cell(cx, cz)]);
        let foreign = all
            .map(|i| &memory.elder_stones[i as usize])
            .filter(|elder| elder.foreign);
        let at =
            |cell: usize, k: usize| (cell as f64 + (k as f64 + 0.5) / ACROSS as f64) * self.side;
        let exposed = EXPOSED * NANO * self.layer.diameter(0.5);
        // As far as the widest stone of the octave is free
        let widest = self.plan.reach * stones.mean * NANO * self.layer.to * self.widths.widest;
        let mut away = [widest; ACROSS * ACROSS];
        for elder in foreign {
            for (i, away) in away.iter_mut().enumerate() {
                let (x, z) = (at(cx, i % ACROSS), at(cz, i / ACROSS));
                *away = elder.stone.away((x, z), exposed, *away);
            }
        }
        let needs = |diameter: f64| {
            let diameter = NANO * diameter;
            needs(
                &away,
                self.plan.reach * stones.mean * diameter,
                diameter,
                stones.roll,
            )
        };
        let open = away.iter().filter(|away| **away >= 0.0).count();
        Crowding {
            open: open as f64 / away.len() as f64,
            small: needs(self.layer.from),
            large: needs(self.layer.to * self.widths.widest),
        }
    }

    /// Lays the survivors in order of rank.
    pub(super) fn pack(&mut self, stones: &Stones) {
        self.sort_survivors();
        let order = std::mem::take(&mut self.memory.order);
        let cells = self.memory.marks.len();
        self.memory.doubt_heads.clear();
        self.memory.doubt_heads.resize(cells, NONE);
        let exact = self.round && self.layer.from == self.layer.to;
        for (_, index) in &order {
            let mut draft = self.memory.survivors[*index as usize];
            let turn = self.plan.headings.turn(draft.look);
            let rolls = f64::from(rolls_by(draft.look)) < stones.roll * 65536.0;
            let placed = self.thrown(&draft);
            let place = (draft.x, draft.z);
            let stone = Stone::thrown(&placed, place, usize::from(turn), stones, self.plan.reach);
            let fate = if exact {
                self.descend(&stone, rolls)
            } else {
                self.roll(&stone, rolls)
            };
            let start = draft.cell;
            match fate {
                Fate::Lies(x, z) if (x, z) != place && !self.may_lie(&placed, (x, z), turn) => {
                    self.count_refused(start, true);
                }
                Fate::Lies(x, z) => {
                    (draft.x, draft.z) = (x, z);
                    draft.cell = self.cell_at(x, z) as u32;
                    let head = &mut self.memory.heads[draft.cell as usize];
                    let next = *head;
                    *head = self.memory.laid.len() as u32;
                    self.memory.laid.push(Laid {
                        stone: stone.at(x, z).lying(
                            &placed,
                            usize::from(turn),
                            stones,
                            self.plan.reach,
                        ),
                        draft,
                        turn,
                        next,
                    });
                }
                Fate::Refused { foreign } => self.count_refused(start, foreign),
                Fate::Unknown if rolls && !self.has_room(&stone) => {
                    self.count_refused(start, false);
                }
                Fate::Unknown => self.leave_in_doubt(&stone, rolls),
            }
        }
        self.memory.order = order;
        self.memory.order.clear();
        self.memory.survivors.clear();
    }

    /// Whether a stone may lie where it rolled to: where the pass is wanted at all, and not in what it keeps clear of.
    fn may_lie(&self, placed: &Placed, (x, z): (f64, f64), turn: u8) -> bool {
        if self.target.is_flat() {
            return true;
        }
        let (x0, z0) = self.corner();
        let there = Placed {
            x: x0 + x as i64,
            z: z0 + z as i64,
            along: heading(turn),
            ..*placed
        };
        let diameter = f64::from(there.diameter);
        self.target.at(there.x, there.z, diameter) > 0.0 && !self.target.refuses(&there)
    }

    /// Where a dart comes to lie, by the rule of corners.
    fn roll(&self, stone: &Stone, rolls: bool) -> Fate {
        let start = (stone.x, stone.z);
        let met = self.meets(stone, start, !rolls);
        let Some((mut first, depth)) = met.deepest else {
            return if met.doubt {
                Fate::Unknown
            } else {
                self.lies(stone, start)
            };
        };
        if !rolls {
            return self.refused(first);
        }
        if met.doubt {
            return Fate::Unknown;
        }
        let out = depth.depth + free(stone);
        let [u, v] = side(depth.toward);
        let mut place = whole((start.0 + out * u, start.1 + out * v));
        let mut second = None;
        for _ in 0..=TRIES {
            if !within(stone, place) {
                return self.refused(first);
            }
            let met = self.meets(stone, place, false);
            if met.doubt {
                return Fate::Unknown;
            }
            let Some((next, _)) = met.deepest else {
                return self.lies(stone, place);
            };
            let before = second.map(|second| (second, next));
            let pairs = [Some((first, next)), before];
            let Some((corner, with)) = self.touches_both(stone, place, pairs) else {
                return self.refused(next);
            };
            place = corner;
            (first, second) = (with, Some(next));
        }
        self.refused(first)
    }

    /// The nearest place to one at hand that touches both things of a pair, and the pair's first thing.
    fn touches_both(
        &self,
        stone: &Stone,
        near: (f64, f64),
        pairs: [Option<(Thing, Thing)>; 2],
    ) -> Option<((f64, f64), Thing)> {
        let mut best: Option<((f64, f64), Thing)> = None;
        let mut least = f64::INFINITY;
        for (one, other) in pairs.into_iter().flatten() {
            let (a, b) = (self.thing(one), self.thing(other));
            let grown = |of: &Stone| of.no_fit(stone).map(|h| h + free(stone));
            crossings((&grown(a), (a.x, a.z)), (&grown(b), (b.x, b.z)), |x, z| {
                let (dx, dz) = (x - near.0, z - near.1);
                let square = dx * dx + dz * dz;
                if square < least {
                    least = square;
                    best = Some((whole((x, z)), one));
                }
            });
        }
        best
    }

    /// Lies at a free place, unless it would be hidden there under something larger.
    fn lies(&self, stone: &Stone, (x, z): (f64, f64)) -> Fate {
        let cell = self.cell_at(x, z);
        let mut hidden = None;
        self.around_stones(cell, |thing, other| {
            if other.diameter > stone.diameter && other.hides(stone, x, z) {
                hidden = Some(thing);
            }
            false
        });
        hidden.map_or(Fate::Lies(x, z), |thing| self.refused(thing))
    }

    fn refused(&self, by: Thing) -> Fate {
        let foreign = match by {
            Thing::Laid(_) => false,
            Thing::Elder(i) => self.memory.elder_stones[i as usize].foreign,
        };
        Fate::Refused { foreign }
    }

    fn thing(&self, thing: Thing) -> &Stone {
        match thing {
            Thing::Laid(i) => &self.memory.laid[i as usize].stone,
            Thing::Elder(i) => &self.memory.elder_stones[i as usize].stone,
        }
    }

    /// Calls `found` with every stone round a cell, until it says to stop.
    fn around_stones(&self, cell: usize, mut found: impl FnMut(Thing, &Stone) -> bool) {
        let memory = &*self.memory;
        let mut link = memory.elder_heads[cell];
        while link != NONE {
            let (elder, next) = memory.elder_links[link as usize];
            if found(
                Thing::Elder(elder),
                &memory.elder_stones[elder as usize].stone,
            ) {
                return;
            }
            link = next;
        }
        for neighbour in self.around(cell) {
            let mut at = memory.heads[neighbour];
            while at != NONE {
                let laid = &memory.laid[at as usize];
                if found(Thing::Laid(at), &laid.stone) {
                    return;
                }
                at = laid.next;
            }
        }
    }

    /// What a stone meets at a place. With `any` the first thing that it meets will do.
    fn meets(&self, stone: &Stone, (x, z): (f64, f64), any: bool) -> Met {
        if self.near_edge(stone, x, z) {
            // Certain only if something in the window refuses it
            if !any {
                return Met {
                    deepest: None,
                    doubt: true,
                };
            }
        }
        let cell = self.cell_at(x, z);
        let mut deepest: Option<(Thing, Overlap)> = None;
        self.around_stones(cell, |thing, other| {
            if let Thing::Elder(i) = thing
                && stone.diameter > self.memory.elder_stones[i as usize].up_to
            {
                return false;
            }
            if any && other.surely_meets(stone, x, z) {
                let overlap = Overlap {
                    depth: 0.0,
                    toward: 0,
                };
                deepest = Some((thing, overlap));
                return true;
            }
            if let Some(overlap) = other.overlap(stone, x, z)
                && deepest.is_none_or(|(_, d)| overlap.depth > d.depth)
            {
                deepest = Some((thing, overlap));
                return any;
            }
            false
        });
        if any && deepest.is_some() {
            return Met {
                deepest,
                doubt: false,
            };
        }
        let doubt = self.near_edge(stone, x, z) || self.meets_doubt(stone, (x, z), 0.0);
        Met { deepest, doubt }
    }

    /// Whether a doubt reaches a stone anywhere within so far of a place.
    fn meets_doubt(&self, stone: &Stone, (x, z): (f64, f64), moves: f64) -> bool {
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

    /// Whether something beyond the window, or thrown there, could meet a stone at a place.
    fn near_edge(&self, stone: &Stone, x: f64, z: f64) -> bool {
        let rolls = self.plan.stones.as_ref().is_some_and(|s| s.roll > 0.0);
        let moves = if rolls { NANO * self.layer.to } else { 0.0 };
        let reach = stone.outer + self.outer_most + moves;
        let (right, top) = (
            self.side * self.width as f64,
            self.side * self.height as f64,
        );
        x < reach || z < reach || right - x < reach || top - z < reach
    }

    /// Marks where a dart in doubt may lie.
    fn leave_in_doubt(&mut self, stone: &Stone, rolls: bool) {
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

    /// The cell of a place in the window.
    fn cell_at(&self, x: f64, z: f64) -> usize {
        let column = |v: f64, most: usize| ((v / self.side).max(0.0) as usize).min(most - 1);
        self.cell(column(x, self.width), column(z, self.height))
    }

    /// The exact descent of equal discs.
    fn descend(&self, stone: &Stone, rolls: bool) -> Fate {
        let start = (stone.x, stone.z);
        let moves = if rolls { stone.diameter } else { 0.0 };
        if self.near_edge(stone, start.0, start.1) {
            return Fate::Unknown;
        }
        let mut near: Vec<[f64; 2]> = Vec::new();
        let reach = moves + 2.0 * stone.diameter;
        for cell in self.cells_within(start, reach) {
            let mut at = self.memory.heads[cell];
            while at != NONE {
                let laid = &self.memory.laid[at as usize];
                near.push([laid.stone.x, laid.stone.z]);
                at = laid.next;
            }
        }
        match super::descent::descend(&near, [start.0, start.1], stone.diameter, moves) {
            Some([x, z]) => {
                // What is free where it was thrown looks no farther
                let about = if (x, z) == start { 0.0 } else { moves };
                if self.meets_doubt(stone, start, about) {
                    Fate::Unknown
                } else {
                    Fate::Lies(x, z)
                }
            }
            None if self.meets_doubt(stone, start, moves) => Fate::Unknown,
            None => Fate::Refused { foreign: false },
        }
    }

    /// The cells that a disc about a place touches.
    fn cells_within(
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

    /// Whether there may be room for a stone within its diameter, beside what surely lies: if not it is refused, whatever
    /// else lies there. The free place nearest to where it was thrown is there, or straight away from one thing, or in the
    /// corner of two; discs inside of all outlines are asked, so room may be found where there is none, and never the
    /// other way.
    fn has_room(&self, stone: &Stone) -> bool {
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
        let mut link = memory.elder_heads[self.cell_at(start[0], start[1])];
        while link != NONE {
            let (elder, next) = memory.elder_links[link as usize];
            let elder = &memory.elder_stones[elder as usize];
            if stone.diameter <= elder.up_to {
                let other = &elder.stone;
                near.push(([other.x, other.z], other.least() + stone.least()));
            }
            link = next;
        }
        super::descent::is_room(&near, start, moves)
    }
}

/// What a stone rolls farther than to the border.
fn free(stone: &Stone) -> f64 {
    (FREE * 0.5 * stone.diameter).max(LEAST_FREE)
}

fn whole((x, z): (f64, f64)) -> (f64, f64) {
    (libm::rint(x), libm::rint(z))
}

/// Whether a place is within the stone's own diameter of where it was thrown.
fn within(stone: &Stone, (x, z): (f64, f64)) -> bool {
    let (dx, dz) = (x - stone.x, z - stone.z);
    dx * dx + dz * dz < stone.diameter * stone.diameter
}

/// Direction of a heading in plan.
pub(super) fn heading(turn: u8) -> [f32; 2] {
    DIRECTIONS[usize::from(turn)].map(|v| v as f32)
}

/// The draws of a candidate's look: its heading takes the leading bits, these are mixed from all.
fn own_draws(look: u32) -> u64 {
    mix(u64::from(look) ^ 0x57a2)
}

fn rolls_by(look: u32) -> u16 {
    own_draws(look) as u16
}

/// The draw of a candidate's stance, below [`STANCE_DRAWS`].
pub(super) fn stance_by(look: u32) -> u32 {
    (own_draws(look) >> 16) as u32 & (STANCE_DRAWS - 1)
}

/// How far a candidate is sunk, in 255ths.
pub(super) fn sunk_by(look: u32) -> u8 {
    (own_draws(look) >> 32) as u8
}
