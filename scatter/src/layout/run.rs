//! The passes of one take on the endless plane, each made where it is asked for, with what it
//! refers to.

use super::earlier::Before;
use super::forms::Forms;
use super::pins::Pins;
use super::planning::{check_sizes, check_tags, peak, tag};
use super::relations::{CLEAR_OF_PINS, What, relations, shapes};
use super::settled::Settled;
use super::settling::{OUTLINE, PILE};
use super::target::PassTarget;
use std::sync::{Arc, PoisonError, RwLock, RwLockReadGuard, RwLockWriteGuard};

use crate::error::Result;
use crate::field::near::Manner;
use crate::field::{ClearShape, Clumps, Gathering, Mask, Outlined, Relation};
use crate::ground::Ground;
use crate::hero::Hero;
use crate::kit::{Piece, Serving};
use crate::place::block::{Headings, PassPlan};
use crate::place::strata::Blocks;
use crate::place::{Amount, Asked, Schedule, Strata};
use crate::plan::profile::side;
use crate::plan::stones::nearest_turn;
use crate::plan::{NANO, Placed, Rectangle, Stone, Stones};
use crate::random::pass_key;
use crate::rest::{self, RigidBody, Standing};
use crate::shot::{self, Gather, Lies, On, Pass, Place, Shot};
use crate::view::View;
use rustc_hash::FxHashSet;

/// Sine of the steepest lean that shadows count with: 30 degrees, about where dry stones and wood
/// begin to slide on each other.
const LEANS: f64 = 0.5;

/// The shot's passes in one take.
pub(super) struct Run<'a> {
    pub(super) ground: &'a Ground,
    pub(super) view: &'a View,
    pub(super) heroes: &'a [Hero],
    pub(super) pins: &'a Pins,
    /// The kit, and its pieces as resting sees them.
    pub(super) pieces: &'a [Piece],
    pub(super) bodies: &'a [Arc<RigidBody>],
    /// Ids of pieces that are taken away by hand.
    pub(super) removed: FxHashSet<u64>,
    /// Whether all that is laid is kept for a dressing to come.
    pub(super) keeps: bool,
    /// Whether what no camera resolves counts as ground.
    pub(super) sketches: bool,
    /// Each pass as it was laid earlier.
    pub(super) before: Vec<Option<Before<'a>>>,
    pub(super) passes: Vec<PassRun<'a>>,
}

/// One pass in one take.
pub(super) struct PassRun<'a> {
    pub(super) pass: &'a Pass,
    pub(super) key: u64,
    /// The pass's pieces in the layout's list.
    pub(super) pieces: Vec<u16>,
    /// Most that a piece reaches from its middle, however it lies, over its diameter.
    pub(super) bare_reach: f64,
    /// Whether a piece that would fall may slide aside: spaced pieces would slide into each other,
    /// leaves cling.
    pub(super) slides: bool,
    /// Most that a piece moves aside as it is laid, over its diameter.
    pub(super) aside: f64,
    /// Most that a piece reaches from its place on the plan, over its diameter.
    pub(super) reach: f64,
    /// Most distance from where a piece was placed to any point of its bounding sphere, but for how
    /// high it lies, over its diameter.
    pub(super) round: f64,
    /// The passes whose pieces its pieces may lie on, itself among them if so, in the shot's order.
    pub(super) beds: Vec<usize>,
    /// The passes whose pieces its pieces must not cut into, though they don't lie on them, itself
    /// among them if so, in the shot's order.
    pub(super) beside: Vec<usize>,
    /// Whether its pieces may lie on pins; else they keep clear of them.
    pub(super) on_pins: bool,
    /// Most height over the ground that its pieces are laid at, metres: on the tallest piece of an
    /// earlier pass, or in a pile of its own. What would lie higher slides off.
    pub(super) lift: f64,
    /// Height of its pieces in their tallest stances over diameter.
    pub(super) stands: f64,
    /// Most height over diameter.
    pub(super) height: f64,
    /// The body of each of its pieces, and its diameter at scale 1, metres.
    bodies: Vec<(&'a RigidBody, f64)>,
    /// Long axis over diameter of each of its pieces.
    pub(super) elongations: Vec<f64>,
    /// Plan area over the square of the diameter of each of its pieces, lying as its mesh does.
    fills: Vec<f64>,
    /// The ellipse of the same axes that holds all of a piece in plan, in any of its stances, over
    /// the one that it was placed by.
    bulges: Vec<f64>,
    /// Height over the ground over diameter of each of its pieces, at its mean burial.
    pub(super) shown: Vec<f64>,
    /// Where its pieces keep apart as stones, their profiles.
    pub(super) stones: Option<Stones>,
    pub(super) strata: RwLock<Strata>,
    /// Its pieces at rest, as far as they were asked for.
    settled: RwLock<Settled>,
    pub(super) gathering: Gathering,
    /// Its images of strengths.
    pub(super) masks: &'a [Mask],
    /// Ground that the shot keeps clear by hand.
    pub(super) shapes: Vec<ClearShape>,
    pub(super) clumps: Option<Clumps>,
    pub(super) relations: Vec<(Relation, What)>,
}

impl<'a> Run<'a> {
    /// Plans the passes of a take. `kits[i]` is what pass i may take of the pieces, whose bodies
    /// are given with them, `masks[i]` its images.
    pub(super) fn new(
        shot: &'a Shot,
        take: u64,
        (ground, view): (&'a Ground, &'a View),
        (heroes, pins): (&'a [Hero], &'a Pins),
        (pieces, bodies): (&'a [Piece], &'a [Arc<RigidBody>]),
        kits: &[Vec<Serving>],
        masks: &'a [Vec<Mask>],
    ) -> Result<Self> {
        check_tags(shot, pins)?;
        let mut talls: Vec<Tall> = Vec::new();
        let passes = shot.passes.iter().enumerate().zip(kits).zip(masks).map(
            |(((index, pass), kit), masks)| {
                // A pass with a take of its own keeps it, whatever the others do
                let take = shot.takes.get(&pass.name).copied().unwrap_or(take);
                let key = pass_key(take, &pass.name);
                let measures = || kit.iter().map(|s| &pieces[usize::from(s.piece)].measure);
                let Forms {
                    choice,
                    stances,
                    stones,
                } = Forms::of((index, pass), kit, pieces, bodies)?;
                let clumps = pass
                    .clumps
                    .map(|c| Clumps::new(key, c.parents_per_m2, c.spread.metres(), c.share))
                    .filter(|c| !c.is_even());
                let ask = shot.ask(index);
                let sizes = ask.sizes.law();
                let gathering = Gathering::new(pass, key, ground, &sizes);
                let grows = kit
                    .iter()
                    .all(|s| bodies[usize::from(s.piece)].lies == Lies::Rooted);
                let on_pins = pass.place == Place::Strewn && pass.rest.on == On::Settled && !grows;
                let mut relations = relations(shot, index, heroes);
                if !on_pins && !pins.all.is_empty() {
                    relations.push((CLEAR_OF_PINS, What::Pins));
                }
                let spaced = pass.place != Place::Strewn;
                let amount = match ask.amount {
                    shot::Amount::Cover(c) => Amount::Cover(c),
                    shot::Amount::PerM2(n) => Amount::PerSquareMetre(n),
                };
                let reach = pass.spacing * (1.0 - pass.overlap);
                let varies = !gathering.is_flat()
                    || !masks.is_empty()
                    || clumps.is_some()
                    || relations.iter().any(|(r, _)| r.manner != Manner::ClearOf);
                check_sizes(pass, index, &sizes, kit, &choice)?;
                let asked = Asked {
                    peak: peak(
                        clumps.as_ref(),
                        gathering.most_crowd(),
                        amount,
                        &sizes,
                        &choice,
                        spaced,
                    ),
                    sizes,
                    amount,
                    pieces: choice.clone(),
                    spaced,
                    roll: stones.as_ref().map(|s| s.roll),
                    longest: stones.as_ref().map(|s| 2.0 * s.outer),
                    reach,
                    varies,
                };
                let headings = pass.rest.heading.map_or_else(Headings::random, |h| {
                    Headings::toward(h.toward.radians(), h.spread.radians())
                });
                let over_b = |of: fn(&RigidBody) -> f64| {
                    let each = kit.iter().map(|s| {
                        let i = usize::from(s.piece);
                        of(&bodies[i]) / pieces[i].measure.b_axis
                    });
                    each.fold(0.0, f64::max)
                };
                let rigid = kit
                    .iter()
                    .any(|s| bodies[usize::from(s.piece)].lies == Lies::Rigid);
                let slides = rigid && !spaced;
                let aside = rest::DRIFT + if slides { rest::SLIDE } else { 0.0 };
                let bare_reach = over_b(|b| b.reach);
                let round = over_b(|b| b.aside + b.radius) + aside;
                let beds = beds(shot, index, &talls, grows);
                let beside = beside(shot, index, &talls, grows, &beds);
                let stands_over_b = over_b(RigidBody::stands);
                let stands = stands_over_b * ask.sizes.range()[1];
                let earlier = beds.iter().filter(|j| **j != index).map(|j| &talls[*j]);
                let lift = earlier.map(|t| t.stands).fold(0.0, f64::max)
                    + if beds.contains(&index) {
                        PILE * stands
                    } else {
                        0.0
                    };
                talls.push(Tall { grows, stands });
                let profiles = stones.clone();
                let plan = PassPlan {
                    schedule: Schedule::new(&asked),
                    pieces: choice,
                    headings,
                    reach,
                    stances,
                    stones,
                    key,
                    tag: tag(&pass.name),
                };
                Ok(PassRun {
                    pass,
                    key,
                    pieces: kit.iter().map(|s| s.piece).collect(),
                    bare_reach,
                    slides,
                    aside,
                    reach: bare_reach + aside,
                    round,
                    lift,
                    stands: stands_over_b,
                    beds,
                    beside,
                    on_pins,
                    bodies: kit
                        .iter()
                        .map(|s| usize::from(s.piece))
                        .map(|i| (&*bodies[i], pieces[i].measure.b_axis))
                        .collect(),
                    height: measures().map(|m| m.flatness).fold(0.0, f64::max),
                    fills: measures().map(|m| m.plan_fill).collect(),
                    elongations: measures().map(|m| m.elongation).collect(),
                    bulges: kit
                        .iter()
                        .map(|s| usize::from(s.piece))
                        .map(|i| {
                            let measure = &pieces[i].measure;
                            bodies[i].bulge(0.5 * measure.b_axis, measure.elongation)
                        })
                        .collect(),
                    shown: measures()
                        .map(|m| m.flatness * (1.0 - 0.5 * (pass.rest.bury[0] + pass.rest.bury[1])))
                        .collect(),
                    stones: profiles,
                    strata: RwLock::new(Strata::new(plan)),
                    settled: RwLock::default(),
                    gathering,
                    masks,
                    shapes: shapes(shot, pass),
                    clumps,
                    relations,
                })
            },
        );
        let passes: Vec<PassRun<'a>> = passes.collect::<Result<_>>()?;
        Ok(Self {
            ground,
            view,
            heroes,
            pins,
            pieces,
            bodies,
            removed: shot.removed().into_iter().collect(),
            keeps: false,
            sketches: false,
            before: passes.iter().map(|_| None).collect(),
            passes,
        })
    }

    /// The pass's pieces at rest.
    pub(super) fn settled(&self, pass: usize) -> RwLockReadGuard<'_, Settled> {
        self.passes[pass]
            .settled
            .read()
            .unwrap_or_else(PoisonError::into_inner)
    }

    pub(super) fn settled_mut(&self, pass: usize) -> RwLockWriteGuard<'_, Settled> {
        self.passes[pass]
            .settled
            .write()
            .unwrap_or_else(PoisonError::into_inner)
    }

    /// The pass's evaluated ground.
    pub(super) fn strata(&self, pass: usize) -> RwLockReadGuard<'_, Strata> {
        self.passes[pass]
            .strata
            .read()
            .unwrap_or_else(PoisonError::into_inner)
    }

    /// The pins that reach into a plan rectangle, with all that they take of the ground: what lies
    /// under an overhang may stand up into it.
    pub(super) fn pins_round(&self, r: Rectangle) -> Vec<Outlined> {
        let mut near: Vec<u32> = self.pins.near(r).collect();
        near.sort_unstable();
        let outlined = |i: u32| {
            let outlines = self.pins.all[i as usize].outlines.as_ref()?;
            let corners = outlines.below(f64::INFINITY).to_vec();
            Some(Outlined::hull(corners, outlines.height()))
        };
        near.into_iter().filter_map(outlined).collect()
    }

    /// Takes over evaluated ground of the same pass.
    pub(super) fn give_strata(&self, pass: usize, strata: Strata) {
        *self.strata_mut(pass) = strata;
    }

    /// The passes' names with their evaluated ground and their pieces at rest.
    pub(super) fn into_passes(self) -> Vec<(String, Strata, Settled)> {
        let all = self.passes.into_iter();
        all.map(|p| {
            let strata = p
                .strata
                .into_inner()
                .unwrap_or_else(PoisonError::into_inner);
            let settled = p
                .settled
                .into_inner()
                .unwrap_or_else(PoisonError::into_inner);
            (p.pass.name.clone(), strata, settled)
        })
        .collect()
    }

    fn strata_mut(&self, pass: usize) -> RwLockWriteGuard<'_, Strata> {
        self.passes[pass]
            .strata
            .write()
            .unwrap_or_else(PoisonError::into_inner)
    }

    /// Makes the wanted blocks of a pass and all that they refer to.
    pub(super) fn ensure(&self, pass: usize, wanted: &Blocks) -> Result<()> {
        self.strata_mut(pass)
            .ensure(wanted, &PassTarget { run: self, pass })
    }

    /// Mean over places, metres, of the fields that depend on the place alone, 0..=1. A place that
    /// is not `needed` counts as 0.
    pub(super) fn mean_strength(
        &self,
        pass: usize,
        places: &[[f64; 2]],
        needed: impl Fn([f64; 2]) -> bool,
    ) -> f64 {
        let pass = &self.passes[pass];
        let strength = |p: &[f64; 2]| {
            if needed(*p) {
                pass.strength(self.ground, p[0], p[1])
            } else {
                0.0
            }
        };
        places.iter().map(strength).sum::<f64>() / places.len().max(1) as f64
    }

    /// Whether other passes or heroes say where a pass gathers, beyond ground that they keep clear.
    pub(super) fn is_related(&self, pass: usize) -> bool {
        let relations = &self.passes[pass].relations;
        relations.iter().any(|(r, _)| r.manner != Manner::ClearOf)
    }
}

impl PassRun<'_> {
    /// Whether its pieces keep apart.
    pub(super) fn is_spaced(&self) -> bool {
        self.pass.place != Place::Strewn
    }

    /// Most height over the ground that a shadow of its pieces is followed from, metres: what lies
    /// as high as they can, in the tallest stance, leaning. Pins that they lie on are not counted.
    pub(super) fn tall(&self, diameter: f64) -> f64 {
        self.lift + (self.stands + LEANS * self.bare_reach) * diameter
    }

    /// A laid piece as fields see it: its outline as it lies.
    pub(super) fn outlined(&self, placed: &Placed, standing: &Standing) -> Outlined {
        let piece = usize::from(placed.piece);
        let (body, _) = self.bodies[piece];
        let diameter = f64::from(placed.diameter);
        let corners = body
            .outline(standing)
            .unwrap_or_else(|| placed.polygon(self.elongations[piece]));
        Outlined::piece(corners, self.shown[piece] * diameter, diameter)
    }

    /// A laid piece as stones of other passes meet it: the middle of its plan in nanometres, and
    /// what it keeps free about that.
    pub(super) fn as_stone(&self, placed: &Placed, standing: &Standing) -> (i64, i64, Stone) {
        let nano = |v: f64| libm::rint(v * NANO) as i64;
        let (body, _) = self.bodies[usize::from(placed.piece)];
        if let Some(stones) = &self.stones {
            let last = body.stances.len() - 1;
            let stance = &body.stances[usize::from(placed.stance).min(last)];
            let middle = standing.position + standing.rotation * (stance.middle * standing.scale);
            let turn = nearest_turn(placed.along);
            let stone = Stone::of(placed, (0.0, 0.0), turn, stones, 1.0);
            return (nano(middle.x), nano(middle.z), stone);
        }
        let outlined = self.outlined(placed, standing);
        let ([mx, mz], _) = outlined.disc();
        let (x, z) = (mx as i64, mz as i64);
        let figure = std::array::from_fn(|k| {
            let [u, v] = side(k);
            let far = outlined.corners().iter().map(|c| {
                let (dx, dz) = ((c[0] - x) as f64, (c[1] - z) as f64);
                dx * u + dz * v
            });
            far.fold(0.0, f64::max) as f32
        });
        let diameter = NANO * f64::from(placed.diameter);
        let stone = Stone::wall((0.0, 0.0), diameter, NANO * outlined.height(), figure);
        (x, z, stone)
    }

    /// Plan area of a placed piece in the stance that it takes, square metres.
    pub(super) fn plan_area(&self, placed: &Placed) -> f64 {
        let piece = usize::from(placed.piece);
        let (body, b_axis) = self.bodies[piece];
        let square = f64::from(placed.diameter) * f64::from(placed.diameter);
        let stance = body.stances.get(usize::from(placed.stance));
        let fill = stance.map_or(self.fills[piece], |s| s.area / (b_axis * b_axis));
        fill * square
    }

    /// The ellipse that holds all of a placed piece in plan as it may lie, over the one that it was
    /// placed by.
    pub(super) fn outline(&self, placed: &Placed) -> f64 {
        OUTLINE * self.bulges[usize::from(placed.piece)]
    }

    /// Long axis over diameter of a placed piece.
    pub(super) fn elongation(&self, placed: &Placed) -> f64 {
        self.elongations[usize::from(placed.piece)]
    }
}

/// How high the pieces of a pass stand, metres.
struct Tall {
    /// Whether all of them grow: nothing lies on them.
    grows: bool,
    stands: f64,
}

/// The passes whose pieces those of a pass may lie on.
fn beds(shot: &Shot, index: usize, before: &[Tall], grows: bool) -> Vec<usize> {
    let pass = &shot.passes[index];
    if grows || pass.rest.on == On::Ground {
        return Vec::new();
    }
    // What a pass keeps clear of, it does not lie on
    let clear = |j: &usize| {
        pass.gather
            .iter()
            .any(|g| matches!(g, Gather::ClearOf(r) if r.what == shot.passes[*j].name))
    };
    let mut beds: Vec<usize> = (0..index)
        .filter(|j| !before[*j].grows && !clear(j))
        .collect();
    if pass.place == Place::Strewn {
        beds.push(index);
    }
    beds
}

/// The passes whose pieces those of a pass must not cut into: those that they keep clear of, and
/// their own.
fn beside(shot: &Shot, index: usize, before: &[Tall], grows: bool, beds: &[usize]) -> Vec<usize> {
    let pass = &shot.passes[index];
    if grows || pass.rest.on == On::Ground {
        return Vec::new();
    }
    let own = pass.place != Place::Strewn && pass.spacing * (1.0 - pass.overlap) >= 1.0;
    let all = (0..index).filter(|j| !before[*j].grows && !beds.contains(j));
    all.chain(own.then_some(index)).collect()
}
