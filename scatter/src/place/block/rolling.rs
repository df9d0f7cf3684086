//! Where a dart comes to lie: as it fell, or rolled off what it meets.

use super::evaluation::Evaluation;
use super::lists::NONE;
use crate::field::Here;
use crate::plan::profile::side;
use crate::plan::stone::{Overlap, Stone, crossings};

/// How much farther than to the border of what it met a stone rolls, over its radius: it ends free
/// of it.
const FREE: f64 = 0.001;

/// And at least so far, nanometres: places are rounded to whole ones.
const LEAST_FREE: f64 = 3.0;

/// Tries at a place that touches two: more changed nothing in the fourth digit of the cover.
const TRIES: usize = 2;

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
pub(super) enum Fate {
    Lies(f64, f64),
    /// Refused by something of its own pass, or of another one.
    Refused {
        foreign: bool,
    },
    Unknown,
}

impl<T: Here> Evaluation<'_, T> {
    /// Where a dart comes to lie, by the rule of corners.
    pub(super) fn roll(&self, stone: &Stone, rolls: bool) -> Fate {
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

    /// The nearest place to one at hand that touches both things of a pair, and the pair's first
    /// thing.
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
        let cell = self.grid.cell_at(x, z);
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
            Thing::Elder(i) => self.scratch.elders.stones[i as usize].foreign,
        };
        Fate::Refused { foreign }
    }

    fn thing(&self, thing: Thing) -> &Stone {
        match thing {
            Thing::Laid(i) => &self.scratch.laid.stones[i as usize].stone,
            Thing::Elder(i) => &self.scratch.elders.stones[i as usize].stone,
        }
    }

    /// Calls `found` with every stone round a cell, until it says to stop.
    fn around_stones(&self, cell: usize, mut found: impl FnMut(Thing, &Stone) -> bool) {
        let scratch = &*self.scratch;
        for elder in scratch.elders.by_cell.of(cell) {
            let stone = &scratch.elders.stones[elder as usize].stone;
            if found(Thing::Elder(elder), stone) {
                return;
            }
        }
        for neighbour in self.grid.around(cell) {
            let mut at = scratch.laid.heads[neighbour];
            while at != NONE {
                let laid = &scratch.laid.stones[at as usize];
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
        let cell = self.grid.cell_at(x, z);
        let mut deepest: Option<(Thing, Overlap)> = None;
        self.around_stones(cell, |thing, other| {
            if let Thing::Elder(i) = thing
                && stone.diameter > self.scratch.elders.stones[i as usize].up_to
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

    /// The exact descent of equal discs.
    pub(super) fn descend(&self, stone: &Stone, rolls: bool) -> Fate {
        let start = (stone.x, stone.z);
        let moves = if rolls { stone.diameter } else { 0.0 };
        if self.near_edge(stone, start.0, start.1) {
            return Fate::Unknown;
        }
        let mut near: Vec<[f64; 2]> = Vec::new();
        let reach = moves + 2.0 * stone.diameter;
        for cell in self.grid.cells_within(start, reach) {
            let mut at = self.scratch.laid.heads[cell];
            while at != NONE {
                let laid = &self.scratch.laid.stones[at as usize];
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
