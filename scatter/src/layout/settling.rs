//! Which pieces have to be laid so that those in view lie as they do, and laying them.
//!
//! A piece lies on what is under it: on earlier pieces of its own pass and on pieces of earlier passes. So what a layout needs is what the
//! cameras see, all that lies under that, and so on down to the ground. The set is found on the plan, from the last pass to the first;
//! then pieces are laid from the first pass to the last. How a piece lies follows from the places of
//! what is under it alone, so it is the same from every window, and nothing needs a margin.

use std::cmp::Ordering;
use std::collections::BTreeSet;
use std::sync::{Arc, PoisonError, RwLock};

use glam::DVec3;
use rayon::prelude::*;
use rustc_hash::{FxHashMap, FxHashSet};

use super::earlier::Before;
use super::run::{PassRun, Run};
use crate::error;
use crate::ground::Ground;
use crate::kit::Piece;
use crate::place::Strata;
use crate::place::strata::BlockAt;
use crate::plan::{NANO, Placed};
use crate::random::join;
use crate::rest::{self, Body, Manner};
use crate::view::{self, View};

/// The smallest pieces that a stone lies on, over its own diameter: what is smaller is pressed into the ground.
const STONE_HEEDS: f64 = 0.25;
/// The same for a leaf, which weighs nothing.
const LEAF_HEEDS: f64 = 0.1;
/// How much nearer to the lens than its place a piece on the ground may be, as it is resolved: its middle is off by a few diameters,
/// and the lens a thousand away where that decides.
const NEARER_LOW: f64 = 1.02;
/// The same for a piece that lies on others: as high as a boulder.
pub(super) const NEARER_HIGH: f64 = 1.25;
/// Most layers of a strewn pass that lie on each other, counted in its pieces' largest height; what would lie higher slides off.
pub(super) const PILE: f64 = 2.0;

/// A piece that has to be laid.
#[derive(Debug, Clone)]
pub(super) struct Asked {
    pub(super) placed: Placed,
    pub(super) octave: u8,
    /// Whether a camera may see it; else something in view may lie on it.
    pub(super) in_view: bool,
    /// Whether something of a later pass may lie on it.
    pub(super) needed: bool,
    /// Most height over the ground that it is laid at, metres.
    pub(super) most: f64,
    /// Where in its pass's list begins what it heeds: first what may be under it, pins last, then what may be beside it.
    pub(super) heeds: usize,
    pub(super) under: u32,
    pub(super) beside: u32,
}

/// What has to be laid of a pass.
#[derive(Debug, Default)]
pub(super) struct AskedPass {
    /// In the order in which they are laid.
    pub(super) pieces: Vec<Asked>,
    /// What the pieces heed, pass and id, or [`PIN`] and number, in a fixed order for each piece.
    heeded: Vec<(u16, u64)>,
}

impl AskedPass {
    /// What may be under a piece.
    pub(super) fn under(&self, asked: &Asked) -> &[(u16, u64)] {
        &self.heeded[asked.heeds..][..asked.under as usize]
    }

    /// All that a piece heeds.
    pub(super) fn heeded(&self, asked: &Asked) -> &[(u16, u64)] {
        &self.heeded[asked.heeds..][..(asked.under + asked.beside) as usize]
    }

    /// What may be beside a piece, not to be cut into.
    pub(super) fn beside(&self, asked: &Asked) -> &[(u16, u64)] {
        &self.heeded[asked.heeds + asked.under as usize..][..asked.beside as usize]
    }
}

/// Blocks of each octave of a pass.
pub(super) type Blocks = Vec<BTreeSet<BlockAt>>;

/// Stands for the pins where a pass is named: more passes than a shot may have.
pub(super) const PIN: u16 = u16::MAX;

/// What a piece heeds.
#[derive(Debug, Clone, Default)]
pub(super) struct Found {
    /// Pass, piece and octave of what may be under it.
    pub(super) under: Vec<(u16, Placed, u8)>,
    /// Numbers of the pins that may be under it.
    pub(super) pins: Vec<u32>,
    /// What may be beside it.
    pub(super) beside: Vec<(u16, Placed, u8)>,
}

/// Showers that a strewn pass comes down in: a piece lies on those before. So no chain of leaves, each on the one before, is longer than
/// this, and what is out of the frame is laid for its sake only near it. Two leaves that cross come in one shower as often as once in as many;
/// stones, which may not cut into each other, heed the larger ones of their own shower, too, and make longer chains now and then.
const SHOWERS: u64 = 5;
/// Candidates looked at together: what is found of each is held until all are.
const AT_ONCE: usize = 1 << 14;

/// Most pieces of its own pass that a piece lies on, the nearest ones: a leaf deep in the litter touches no more.
const MOST_OWN: usize = 6;
/// The same for what slides, which may come to lie on any within three diameters: where a pass covers half of the ground that is a dozen.
const MOST_OWN_ASIDE: usize = 16;

/// Outlines over the ones of pieces as they stand on level ground: they lean and move a little as they are laid.
pub(super) const OUTLINE: f64 = 1.05;

/// What settling needs to know.
pub(super) struct Settling<'a> {
    pub(super) run: &'a Run<'a>,
    pub(super) ground: &'a Ground,
    pub(super) view: &'a View,
    pub(super) pieces: &'a [Piece],
    pub(super) bodies: &'a [Arc<Body>],
    /// Ids of pieces that are taken away by hand.
    pub(super) removed: FxHashSet<u64>,
    /// Whether all that is laid is kept for a dressing to come.
    pub(super) keeps: bool,
    /// Whether what no camera resolves counts as ground.
    pub(super) sketches: bool,
    /// Most height that the pieces looked at so far are laid at, by pass and id.
    pub(super) heights: RwLock<Vec<FxHashMap<u64, f64>>>,
}

impl Settling<'_> {
    /// Finds what has to be laid, pass by pass; `wanted[pass][octave]` are the blocks in view, evaluated already, and `before` the passes
    /// as they were laid earlier.
    pub(super) fn asked(
        &self,
        wanted: &[Blocks],
        before: &[Option<Before<'_>>],
    ) -> error::Result<Vec<AskedPass>> {
        let count = self.run.passes.len();
        let mut under: Vec<FxHashMap<u64, (Placed, u8)>> = vec![FxHashMap::default(); count];
        let mut all: Vec<AskedPass> = (0..count).map(|_| AskedPass::default()).collect();
        for pass in (0..count).rev() {
            let before = before[pass].as_ref();
            let mut asked = AskedPass::default();
            let mut more: Vec<(Placed, u8)> =
                std::mem::take(&mut under[pass]).into_values().collect();
            let needed: FxHashSet<u64> = more.iter().map(|(p, _)| p.id).collect();
            let mut known = FxHashSet::default();
            // What is under a piece of the same pass is asked for in turn
            let mut take = |found: Vec<(Asked, Found)>, more: &mut Vec<(Placed, u8)>| {
                for (mut piece, found) in found {
                    piece.heeds = asked.heeded.len();
                    let id = |(other, q, _): &(u16, Placed, u8)| (*other, q.id);
                    let pins = found.pins.iter().map(|n| (PIN, u64::from(*n)));
                    let below = found.under.iter().map(id).chain(pins);
                    let all = below.chain(found.beside.iter().map(id));
                    asked.heeded.extend(all);
                    for (other, placed, octave) in found.under.into_iter().chain(found.beside) {
                        if usize::from(other) == pass {
                            more.push((placed, octave));
                        } else {
                            under[usize::from(other)].insert(placed.id, (placed, octave));
                        }
                    }
                    asked.pieces.push(piece);
                }
            };
            if let Some(found) = before.and_then(Before::in_view) {
                known.extend(found.iter().map(|(a, _)| a.placed.id));
                take(found, &mut more);
            } else {
                let candidates = self.candidates(pass, &wanted[pass]);
                self.ensure_under(pass, candidates.iter().map(|(p, _)| *p).collect())?;
                for some in candidates.chunks(AT_ONCE) {
                    let found = self.in_view(pass, some);
                    known.extend(found.iter().map(|(a, _)| a.placed.id));
                    take(found, &mut more);
                }
            }
            while !more.is_empty() {
                more.retain(|(p, _)| known.insert(p.id));
                more.sort_unstable_by_key(|(p, _)| p.id);
                let mut found = Vec::new();
                more.retain(|(p, _)| match before.and_then(|b| b.asked(p, false)) {
                    Some(known) => {
                        found.push(known);
                        false
                    }
                    None => true,
                });
                self.ensure_under(pass, more.iter().map(|(p, _)| *p).collect())?;
                found.par_extend(
                    more.par_iter()
                        .map(|(p, octave)| self.ask(pass, p, *octave, false)),
                );
                more.clear();
                take(found, &mut more);
            }
            for piece in &mut asked.pieces {
                piece.needed = needed.contains(&piece.placed.id);
            }
            asked
                .pieces
                .par_sort_unstable_by(|a, b| self.order(pass, &a.placed, &b.placed));
            all[pass] = asked;
        }
        Ok(all)
    }

    /// The body and the b-axis of a placed piece.
    pub(super) fn body(&self, run: &PassRun<'_>, placed: &Placed) -> (&Body, f64) {
        let number = usize::from(run.pieces[usize::from(placed.piece)]);
        (&self.bodies[number], self.pieces[number].measure.b_axis)
    }

    /// The pieces of the blocks in view that a camera may see, if they lie as high as any of the pass can.
    fn candidates(&self, pass: usize, wanted: &Blocks) -> Vec<(Placed, u8)> {
        let run = &self.run.passes[pass];
        let strata = self.run.strata(pass);
        let blocks: Vec<(usize, BlockAt)> = wanted
            .iter()
            .enumerate()
            .flat_map(|(octave, set)| set.iter().map(move |b| (octave, *b)))
            .collect();
        let found: Vec<Vec<(Placed, u8)>> = blocks
            .par_iter()
            .map(|(octave, at)| {
                let placed = strata.block(*octave, *at).iter();
                let seen = placed.filter(|p| {
                    self.may_be_seen(run, p, 0.0, false)
                        || run.lift > 0.0 && self.may_be_seen(run, p, run.lift, true)
                        || self.may_be_seen_on_pins(pass, p)
                });
                seen.map(|p| (*p, *octave as u8)).collect()
            })
            .collect();
        found.into_iter().flatten().collect()
    }

    /// The candidates that a camera may see, if they lie as high as they can.
    fn in_view(&self, pass: usize, candidates: &[(Placed, u8)]) -> Vec<(Asked, Found)> {
        let run = &self.run.passes[pass];
        candidates
            .par_iter()
            .filter_map(|(p, octave)| {
                let asked = self.ask(pass, p, *octave, true);
                let high = asked.0.under > 0;
                let seen = self.may_be_seen(run, p, 0.0, false)
                    || high && self.may_be_seen(run, p, asked.0.most, true);
                seen.then_some(asked)
            })
            .collect()
    }

    /// Whether a camera may need a piece that lies up to `lift` metres over the ground and has moved aside if it `lies_on` something.
    pub(super) fn may_be_seen(
        &self,
        run: &PassRun<'_>,
        placed: &Placed,
        lift: f64,
        lies_on: bool,
    ) -> bool {
        let (x, z) = (placed.x as f64 / NANO, placed.z as f64 / NANO);
        let diameter = f64::from(placed.diameter);
        let (body, b_axis) = self.body(run, placed);
        let aside = if lies_on { run.aside } else { rest::DRIFT };
        let body = view::Body {
            middle: DVec3::new(x, self.ground.height(x, z) + 0.5 * lift, z),
            radius: ((body.aside + body.radius) / b_axis + aside) * diameter + 0.5 * lift,
            // And may be nearer to the lens than that place
            diameter: diameter * if lies_on { NEARER_HIGH } else { NEARER_LOW },
        };
        self.view.may_need(&body, run.tall(diameter), self.ground)
    }

    /// Asks for a piece: finds what may be under it. The ground round it has to be evaluated.
    fn ask(&self, pass: usize, placed: &Placed, octave: u8, in_view: bool) -> (Asked, Found) {
        let run = &self.run.passes[pass];
        let heights = self.heights.read().unwrap_or_else(PoisonError::into_inner);
        let mut found = Found::default();
        let mut most: f64 = 0.0;
        for other in &run.beds {
            let all = &mut found.under;
            let first = all.len();
            self.find(pass, placed, *other, all);
            let most_own = if run.slides { MOST_OWN_ASIDE } else { MOST_OWN };
            if *other == pass && all.len() - first > most_own {
                let off = |q: &Placed| {
                    let (dx, dz) = ((q.x - placed.x) as f64, (q.z - placed.z) as f64);
                    (dx * dx + dz * dz) / f64::from(q.diameter + placed.diameter)
                };
                all[first..].sort_unstable_by(|(_, a, _), (_, b, _)| {
                    off(a).total_cmp(&off(b)).then(a.id.cmp(&b.id))
                });
                all.truncate(first + most_own);
            }
            all[first..].sort_unstable_by_key(|(_, q, _)| q.id);
            if *other != pass {
                let tops = all[first..].iter();
                most = tops
                    .map(|(_, q, _)| self.top(*other, q, &heights))
                    .fold(most, f64::max);
            }
        }
        for other in &run.beside {
            let first = found.beside.len();
            self.find(pass, placed, *other, &mut found.beside);
            found.beside[first..].sort_unstable_by_key(|(_, q, _)| q.id);
        }
        let (pins, high) = self.pins_under(run, placed);
        found.pins = pins;
        let asked = Asked {
            placed: *placed,
            octave,
            in_view,
            needed: false,
            most: self.most(pass, placed, most, high),
            heeds: 0,
            under: (found.under.len() + found.pins.len()) as u32,
            beside: found.beside.len() as u32,
        };
        (asked, found)
    }

    /// Adds the pieces of another pass, or earlier ones of its own, that a piece may touch.
    fn find(&self, pass: usize, placed: &Placed, other: usize, all: &mut Vec<(u16, Placed, u8)>) {
        let run = &self.run.passes[pass];
        let strata = self.run.strata(other);
        let smallest = self.heeds(run, placed);
        let of = &self.run.passes[other];
        self.touching(run, placed, of, &strata, smallest, |q, octave| {
            if other != pass || self.comes_before(pass, q, placed) {
                all.push((other as u16, *q, octave));
            }
        });
    }

    /// Calls `found` with every piece of a bed that may be under a piece, and its octave.
    pub(super) fn touching(
        &self,
        run: &PassRun<'_>,
        placed: &Placed,
        bed: &PassRun<'_>,
        strata: &Strata,
        smallest: f64,
        mut found: impl FnMut(&Placed, u8),
    ) {
        // Leaves of one pass move for what is before it, not for each other: where they were placed decides
        let still = std::ptr::eq(run, bed) && !run.slides;
        let aside = |r: &PassRun<'_>| if still { 0.0 } else { r.aside * NANO };
        let outline = |r: &PassRun<'_>, p: &Placed| {
            let mut outline = p.ellipse((placed.x, placed.z), r.elongation(p), r.outline(p));
            outline.outer += aside(r) * f64::from(p.diameter);
            outline.inner += aside(r) * f64::from(p.diameter);
            outline
        };
        let own_outline = outline(run, placed);
        let reach_of = |r: &PassRun<'_>| r.bare_reach * NANO + aside(r);
        let own = reach_of(run) * f64::from(placed.diameter);
        for (octave, layer) in strata.plan.schedule.octaves.iter().enumerate() {
            if layer.to < smallest {
                continue;
            }
            let reach = own + reach_of(bed) * layer.to;
            strata.near(octave, (placed.x, placed.z), reach as i64 + 1, |q| {
                let both = own + reach_of(bed) * f64::from(q.diameter);
                let (dx, dz) = ((q.x - placed.x) as f64, (q.z - placed.z) as f64);
                if f64::from(q.diameter) >= smallest
                    && dx * dx + dz * dz < both * both
                    && own_outline.overlaps(&outline(bed, q))
                {
                    found(q, octave as u8);
                }
            });
        }
    }

    /// Whether a piece heeds another one of its own pass: what fell in an earlier shower, and of its own one a stone the larger ones.
    fn comes_before(&self, pass: usize, other: &Placed, piece: &Placed) -> bool {
        match self.shower(pass, other).cmp(&self.shower(pass, piece)) {
            Ordering::Less => true,
            Ordering::Equal => {
                let run = &self.run.passes[pass];
                (run.is_spaced() || run.slides) && larger(other, piece).is_lt()
            }
            Ordering::Greater => false,
        }
    }

    /// The order in which the pieces of one pass are laid.
    fn order(&self, pass: usize, a: &Placed, b: &Placed) -> Ordering {
        let showers = self.shower(pass, a).cmp(&self.shower(pass, b));
        showers.then_with(|| larger(a, b))
    }

    /// Which shower of its pass a piece comes down in; spaced ones come all at once.
    fn shower(&self, pass: usize, placed: &Placed) -> u64 {
        let run = &self.run.passes[pass];
        if run.is_spaced() {
            0
        } else {
            join(run.key, placed.id) % SHOWERS
        }
    }

    /// The smallest diameter that a piece lies on, metres.
    pub(super) fn heeds(&self, run: &PassRun<'_>, placed: &Placed) -> f64 {
        let diameter = f64::from(placed.diameter);
        let smallest = heeded(self.body(run, placed).0) * diameter;
        if !self.sketches {
            return smallest;
        }
        let (x, z) = (placed.x as f64 / NANO, placed.z as f64 / NANO);
        let footprint = self.view.finest_footprint(&view::Body {
            middle: DVec3::new(x, self.ground.height(x, z), z),
            radius: diameter,
            diameter,
        });
        smallest.max(footprint)
    }
}

/// The smallest diameter that a body lies on, over its own.
fn heeded(body: &Body) -> f64 {
    match body.manner {
        Manner::Sheet => LEAF_HEEDS,
        Manner::Rigid | Manner::Rooted => STONE_HEEDS,
    }
}

/// Larger before smaller, equal ones by id.
fn larger(a: &Placed, b: &Placed) -> Ordering {
    b.diameter.total_cmp(&a.diameter).then(a.id.cmp(&b.id))
}
