//! Laying the pieces of a pass that are asked for, on what lies there already.
//!
//! A pass is placed and laid to rest before a later pass looks at it. A piece is asked for because
//! a camera may see it, because something later may lie on it, or because a later pass gathers or
//! keeps clear by it. How it lies is a function of the pieces under it and beside it: of earlier
//! passes, and of those that come before it in its own. So what is asked for is followed down to
//! the ground, in view or not, and laid from below. That makes it the same from every window, with
//! no margin.

use std::cmp::Ordering;
use std::collections::BTreeMap;

use glam::DVec3;
use rayon::prelude::*;
use rustc_hash::{FxHashMap, FxHashSet};

use super::pass_run::PassRun;
use super::run::Run;
use super::settled::{PIN, Refusal};
use super::spans::NEARER_HIGH;
use super::unsettled::Unsettled;
use crate::brief::Lies;
use crate::error;
use crate::place::Strata;
use crate::plan::{NANO, Placed};
use crate::random::join;
use crate::rest::{self, Lying, RigidBody, Standing};
use crate::view;

/// The smallest pieces that a stone lies on, over its own diameter: what is smaller is pressed into
/// the ground.
const STONE_HEEDS: f64 = 0.25;
/// The same for a leaf, which weighs nothing.
const LEAF_HEEDS: f64 = 0.1;
/// How much nearer to the lens than its place a piece on the ground may be, as it is resolved: its
/// middle is off by a few diameters, and the lens a thousand away where that decides.
const NEARER_LOW: f64 = 1.02;
/// Showers that a strewn pass comes down in: a piece lies on those before. So no chain of leaves,
/// each on the one before, is longer than this, and what is out of the frame is laid for its sake
/// only near it. Two leaves that cross come in one shower as often as once in as many; stones,
/// which may not cut into each other, heed the larger ones of their own shower, too, and make
/// longer chains now and then.
const SHOWERS: u64 = 5;
/// Pieces that are looked at together: what is found of each is held until all are laid.
const AT_ONCE: usize = 1 << 15;

/// Most pieces of its own pass that a piece lies on, the nearest ones: a leaf deep in the litter
/// touches no more.
const MOST_OWN: usize = 6;
/// The same for what slides, which may come to lie on any within three diameters: where a pass
/// covers half of the ground that is a dozen.
const MOST_OWN_ASIDE: usize = 16;

/// A pass, and a piece of it with its octave.
type Heeded = (u16, Placed, u8);

/// What pieces ask for below them, by pass: id, piece and octave.
type Below = Vec<BTreeMap<u64, (Placed, u8)>>;

impl Run<'_> {
    /// Lays pieces of a pass, whose ground has been evaluated, with all that they lie on.
    ///
    /// # Errors
    /// When what is under them can't be placed.
    pub(super) fn settle(&self, pass: usize, pieces: Vec<(Placed, u8)>) -> error::Result<()> {
        self.settle_some(pass, pieces, false)
    }

    /// Lays those of some pieces of a pass that a camera may see.
    ///
    /// # Errors
    /// As [`Run::settle`].
    pub(super) fn settle_seen(&self, pass: usize, pieces: Vec<(Placed, u8)>) -> error::Result<()> {
        self.settle_some(pass, pieces, true)
    }

    fn settle_some(
        &self,
        pass: usize,
        mut pieces: Vec<(Placed, u8)>,
        if_seen: bool,
    ) -> error::Result<()> {
        {
            let settled = self.settled(pass);
            pieces.retain(|(p, _)| !settled.holds(p.id));
        }
        for some in pieces.chunks(AT_ONCE) {
            let asked = self.ask_all(pass, some, if_seen)?;
            self.lay_all(pass, asked);
            self.cancel.check()?;
        }
        Ok(())
    }

    /// Asks for some pieces and for all that they heed of their own pass, and lays what they heed
    /// of earlier ones. In the order in which they are laid.
    fn ask_all(
        &self,
        pass: usize,
        some: &[(Placed, u8)],
        if_seen: bool,
    ) -> error::Result<Vec<Unsettled>> {
        let mut known = FxHashSet::default();
        let mut all: Vec<Unsettled> = Vec::new();
        let mut below: Below = vec![BTreeMap::new(); pass + 1];
        let mut more = some.to_vec();
        let mut if_seen = if_seen;
        while !more.is_empty() {
            {
                let settled = self.settled(pass);
                more.retain(|(p, _)| !settled.holds(p.id) && known.insert(p.id));
            }
            self.cancel.check()?;
            self.ensure_under(pass, &more)?;
            let found: Vec<(Unsettled, Vec<Heeded>)> = more
                .par_iter()
                .map(|(p, _)| {
                    self.cancel.check()?;
                    Ok(self.ask(pass, p, if_seen))
                })
                .collect::<error::Result<_>>()?;
            more.clear();
            for (asked, heeded) in found {
                all.push(asked);
                for (other, placed, octave) in heeded {
                    if usize::from(other) == pass {
                        more.push((placed, octave));
                    } else {
                        below[usize::from(other)].insert(placed.id, (placed, octave));
                    }
                }
            }
            more.sort_unstable_by_key(|(p, _)| p.id);
            more.dedup_by_key(|(p, _)| p.id);
            // What others of the pass lie on is laid, seen or not
            if_seen = false;
        }
        for (other, pieces) in below.into_iter().enumerate() {
            self.settle(other, pieces.into_values().collect())?;
        }
        all.par_sort_unstable_by(|a, b| self.order(pass, &a.placed, &b.placed));
        Ok(all)
    }

    /// Evaluates the ground round some pieces, of the passes that they heed.
    fn ensure_under(&self, pass: usize, pieces: &[(Placed, u8)]) -> error::Result<()> {
        let run = &self.passes[pass];
        for other in run.heeds.beds.iter().chain(&run.heeds.beside).copied() {
            let round = self.round(pass, pieces, other);
            self.ensure(other, &round)?;
        }
        Ok(())
    }

    /// Asks for a piece: finds what it heeds. The ground round it has to be evaluated.
    fn ask(&self, pass: usize, placed: &Placed, if_seen: bool) -> (Unsettled, Vec<Heeded>) {
        let run = &self.passes[pass];
        let mut heeded: Vec<Heeded> = Vec::new();
        for other in &run.heeds.beds {
            let first = heeded.len();
            self.find(pass, placed, *other, &mut heeded);
            let most_own = if run.heeds.slides {
                MOST_OWN_ASIDE
            } else {
                MOST_OWN
            };
            if *other == pass && heeded.len() - first > most_own {
                let off = |q: &Placed| {
                    let (dx, dz) = ((q.x - placed.x) as f64, (q.z - placed.z) as f64);
                    (dx * dx + dz * dz) / f64::from(q.diameter + placed.diameter)
                };
                heeded[first..].sort_unstable_by(|(_, a, _), (_, b, _)| {
                    off(a).total_cmp(&off(b)).then(a.id.cmp(&b.id))
                });
                heeded.truncate(first + most_own);
            }
            heeded[first..].sort_unstable_by_key(|(_, q, _)| q.id);
        }
        let below = heeded.len();
        for other in &run.heeds.beside {
            let first = heeded.len();
            self.find(pass, placed, *other, &mut heeded);
            heeded[first..].sort_unstable_by_key(|(_, q, _)| q.id);
        }
        let (pins, _) = self.pins_under(run, placed);
        let id = |(other, q, _): &Heeded| (*other, q.id);
        let pins = pins.iter().map(|n| (PIN, u64::from(*n)));
        let asked = Unsettled {
            placed: *placed,
            if_seen,
            under: heeded[..below].iter().map(id).chain(pins).collect(),
            beside: heeded[below..].iter().map(id).collect(),
        };
        (asked, heeded)
    }

    /// Adds the pieces of another pass, or earlier ones of its own, that a piece may touch.
    fn find(&self, pass: usize, placed: &Placed, other: usize, all: &mut Vec<Heeded>) {
        let run = &self.passes[pass];
        let strata = self.strata(other);
        let smallest = self.heeds(run, placed);
        let of = &self.passes[other];
        touching(run, placed, of, &strata, smallest, |q, octave| {
            if other != pass || self.comes_before(pass, q, placed) {
                all.push((other as u16, *q, octave));
            }
        });
    }

    /// Lays what was asked for, layer by layer: each heeds earlier layers only.
    fn lay_all(&self, pass: usize, asked: Vec<Unsettled>) {
        let layers = self.layers(pass, &asked);
        self.settled_mut(pass).reserve(asked.len());
        for layer in layers {
            let laid: Vec<_> = layer
                .par_iter()
                .map(|i| {
                    if self.cancel.is_cancelled() {
                        return (Err(Refusal::Removed), false);
                    }
                    self.lay_again(pass, &asked[*i as usize])
                })
                .collect();
            let mut settled = self.settled_mut(pass);
            for (i, laid) in layer.into_iter().zip(laid) {
                let a = &asked[i as usize];
                let (under, beside): (&[_], &[_]) = if self.keeps {
                    (&a.under, &a.beside)
                } else {
                    (&[], &[])
                };
                settled.add(a.placed, laid, under, beside);
            }
        }
    }

    /// As in an earlier dressing, if nothing that it heeds has changed; else anew. With it, whether
    /// it lies as it did.
    fn lay_again(&self, pass: usize, asked: &Unsettled) -> (Result<Standing, Refusal>, bool) {
        let before = self.before[pass].as_ref();
        let is_there = !self.removed.contains(&asked.placed.id);
        let same = |other: u16, id: u64| {
            let settled = self.settled(usize::from(other));
            settled.find(id).is_some_and(|l| l.same)
        };
        let known = before
            .filter(|_| is_there)
            .and_then(|b| b.lies(asked, same));
        if let Some(standing) = known {
            return (standing, true);
        }
        let standing = self.lay_piece(pass, asked);
        let was = before.and_then(|b| b.standing(&asked.placed));
        (standing, was == Some(standing))
    }

    /// The numbers of the pieces that are laid, in layers: each heeds earlier layers only.
    fn layers(&self, pass: usize, asked: &[Unsettled]) -> Vec<Vec<u32>> {
        let numbers: FxHashMap<u64, u32> = asked
            .iter()
            .zip(0u32..)
            .map(|(a, i)| (a.placed.id, i))
            .collect();
        let own = |a: &Unsettled| -> Vec<u32> {
            let heeded = a.under.iter().chain(&a.beside);
            heeded
                .filter(|(other, _)| usize::from(*other) == pass)
                .filter_map(|(_, id)| numbers.get(id).copied())
                .collect()
        };
        let own: Vec<Vec<u32>> = asked.par_iter().map(own).collect();
        // How high a piece can lie was a guess when it was asked for
        let mut wanted: Vec<bool> = asked
            .par_iter()
            .map(|a| !a.if_seen || self.is_in_reach(pass, a))
            .collect();
        // What is below a piece of its own pass comes before it in the list
        for i in (0..wanted.len()).rev() {
            if wanted[i] {
                for n in &own[i] {
                    wanted[*n as usize] = true;
                }
            }
        }
        let mut layer_of = vec![0u32; asked.len()];
        let mut layers: Vec<Vec<u32>> = Vec::new();
        for i in (0..asked.len()).filter(|i| wanted[*i]) {
            let below = own[i].iter().map(|n| layer_of[*n as usize] + 1);
            let layer = below.max().unwrap_or(0);
            layer_of[i] = layer;
            if layers.len() <= layer as usize {
                layers.resize(layer as usize + 1, Vec::new());
            }
            layers[layer as usize].push(i as u32);
        }
        layers
    }

    /// Whether a camera may need a piece as high as it can lie on what is below it.
    fn is_in_reach(&self, pass: usize, asked: &Unsettled) -> bool {
        let run = &self.passes[pass];
        let placed = &asked.placed;
        if self.may_be_seen(run, placed, 0.0, false) {
            return true;
        }
        if asked.under.is_empty() {
            return false;
        }
        let most = self.most(pass, placed, &asked.under);
        self.may_be_seen(run, placed, most, true)
    }

    /// A piece that another one heeds, if it lies.
    pub(super) fn lying(&self, (other, id): (u16, u64)) -> Option<Lying<'_>> {
        if other == PIN {
            let pin = &self.pins.all[id as usize];
            let body = &self.kit.bodies[usize::from(pin.piece)];
            return Some(Lying::new(body, pin.standing));
        }
        let other = usize::from(other);
        let settled = self.settled(other);
        let lies = settled.find(id)?;
        let standing = lies.standing.ok()?;
        let (body, _) = self.body(&self.passes[other], &lies.placed);
        Some(Lying::new(body, standing))
    }

    /// Whether a piece heeds another one of its own pass: what fell in an earlier shower, and of
    /// its own one a stone the larger ones.
    fn comes_before(&self, pass: usize, other: &Placed, piece: &Placed) -> bool {
        match self.shower(pass, other).cmp(&self.shower(pass, piece)) {
            Ordering::Less => true,
            Ordering::Equal => {
                let run = &self.passes[pass];
                (run.is_spaced() || run.heeds.slides) && larger(other, piece).is_lt()
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
        let run = &self.passes[pass];
        if run.is_spaced() {
            0
        } else {
            join(run.key, placed.id) % SHOWERS
        }
    }

    /// The body and the b-axis of a placed piece.
    pub(super) fn body(&self, run: &PassRun<'_>, placed: &Placed) -> (&RigidBody, f64) {
        let number = usize::from(run.kit.pieces[usize::from(placed.piece)]);
        (
            &self.kit.bodies[number],
            self.kit.pieces[number].measure.b_axis,
        )
    }

    /// The smallest diameter that a piece lies on, metres.
    pub(super) fn heeds(&self, run: &PassRun<'_>, placed: &Placed) -> f64 {
        let diameter = f64::from(placed.diameter);
        let smallest = heeded(self.body(run, placed).0) * diameter;
        if !self.brief.sketch {
            return smallest;
        }
        let (x, z) = (placed.x as f64 / NANO, placed.z as f64 / NANO);
        let footprint = self.scene.view.finest_footprint(&view::Body {
            middle: DVec3::new(x, self.scene.ground.height(x, z), z),
            radius: diameter,
            diameter,
        });
        smallest.max(footprint)
    }

    /// Whether a camera may need a piece that lies up to `lift` metres over the ground and has
    /// moved aside if it `lies_on` something.
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
        let aside = if lies_on {
            run.spans.aside
        } else {
            rest::DRIFT
        };
        let body = view::Body {
            middle: DVec3::new(x, self.scene.ground.height(x, z) + 0.5 * lift, z),
            radius: ((body.aside + body.radius) / b_axis + aside) * diameter + 0.5 * lift,
            // And may be nearer to the lens than that place
            diameter: diameter * if lies_on { NEARER_HIGH } else { NEARER_LOW },
        };
        self.scene
            .view
            .may_need(&body, run.tall(diameter), &self.scene.ground)
    }
}

/// Calls `found` with every piece of a bed that may be under a piece, and its octave.
fn touching(
    run: &PassRun<'_>,
    placed: &Placed,
    bed: &PassRun<'_>,
    strata: &Strata,
    smallest: f64,
    mut found: impl FnMut(&Placed, u8),
) {
    // Leaves of one pass move for what is before it, not for each other: where they were placed
    // decides
    let still = std::ptr::eq(run, bed) && !run.heeds.slides;
    let aside = |r: &PassRun<'_>| if still { 0.0 } else { r.spans.aside * NANO };
    let outline = |r: &PassRun<'_>, p: &Placed| {
        let mut outline = p.ellipse((placed.x, placed.z), r.elongation(p), r.outline(p));
        outline.outer += aside(r) * f64::from(p.diameter);
        outline.inner += aside(r) * f64::from(p.diameter);
        outline
    };
    let own_outline = outline(run, placed);
    let reach_of = |r: &PassRun<'_>| r.spans.from_middle * NANO + aside(r);
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

/// The smallest diameter that a body lies on, over its own.
fn heeded(body: &RigidBody) -> f64 {
    match body.lies {
        Lies::Sheet => LEAF_HEEDS,
        Lies::Rigid | Lies::Rooted => STONE_HEEDS,
    }
}

/// Larger before smaller, equal ones by id.
fn larger(a: &Placed, b: &Placed) -> Ordering {
    b.diameter.total_cmp(&a.diameter).then(a.id.cmp(&b.id))
}
