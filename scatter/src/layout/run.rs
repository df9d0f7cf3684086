//! The passes of one take on the endless plane, each made where it is asked for, with what it refers to.

use super::pins::{self, Pins};
use super::settling::PILE;
use std::collections::BTreeSet;
use std::sync::{Arc, PoisonError, RwLock, RwLockReadGuard, RwLockWriteGuard};

use crate::error::{Error, Fault, Kind, Result};
use crate::field::clumps::Heaps;
use crate::field::near::{Manner, Neighbours};
use crate::field::{Clumps, Gathering, Graded, Here, Mask, Outlined, Relation, Shape, Target};
use crate::ground::Ground;
use crate::hero::Hero;
use crate::kit::{Piece, Serving};
use crate::place::block::{Headings, ID_TAG_BITS, PassPlan};
use crate::place::strata::BlockAt;
use crate::place::{Amount, Asked, Candidate, Choice, Outline, Schedule, Strata};
use crate::plan::{NANO, Placed, Rectangle};
use crate::random::{pass_key, text_key};
use crate::rest::{self, Body};
use crate::shot::{self, CARPET, Gather, On, Pass, Place, SHADE, Shot, Sizes, Smallest};
use crate::size::SizeLaw;
use crate::units::Length;

/// The shot's passes in one take.
pub(super) struct Run<'a> {
    ground: &'a Ground,
    heroes: &'a [Hero],
    pub(super) pins: &'a Pins,
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
    /// Whether a piece that would fall may slide aside: spaced pieces would slide into each other, leaves cling.
    pub(super) slides: bool,
    /// Most that a piece moves aside as it is laid, over its diameter.
    pub(super) aside: f64,
    /// Most that a piece reaches from its place on the plan, over its diameter.
    pub(super) reach: f64,
    /// The passes whose pieces its pieces may lie on, itself among them if so, in the shot's order.
    pub(super) beds: Vec<usize>,
    /// The passes whose pieces its pieces must not cut into, though they don't lie on them, itself among them if so, in the shot's order.
    pub(super) beside: Vec<usize>,
    /// Whether its pieces may lie on pins; else they keep clear of them.
    pub(super) on_pins: bool,
    /// Most height over the ground that its pieces are laid at, metres: on the tallest piece of an earlier pass, or in a pile of its own.
    /// What would lie higher slides off.
    pub(super) lift: f64,
    /// Most height over diameter.
    height: f64,
    /// Long axis over diameter of each of its pieces.
    elongations: Vec<f64>,
    /// Height over the ground over diameter of each of its pieces, at its mean burial.
    shown: Vec<f64>,
    strata: RwLock<Strata>,
    gathering: Gathering,
    /// Its images of strengths.
    masks: &'a [Mask],
    /// Ground that the shot keeps clear by hand.
    shapes: Vec<Shape>,
    clumps: Option<Clumps>,
    relations: Vec<(Relation, What)>,
}

impl PassRun<'_> {
    /// Product of the fields that depend on the place alone, 0..=1; the place in metres.
    fn strength(&self, ground: &Ground, x: f64, z: f64) -> f64 {
        let strength = self.gathering.at(ground, x, z);
        let masks = self.masks.iter();
        masks.fold(strength, |strength, mask| {
            if strength > 0.0 {
                strength * mask.at(ground, x, z)
            } else {
                0.0
            }
        })
    }
}

/// What a relation refers to.
#[derive(Debug, Clone, Copy)]
enum What {
    Pass(usize),
    /// One hero, for the ground that it keeps clear.
    Hero(usize),
    /// All heroes.
    Heroes,
    /// All pins.
    Pins,
}

/// What keeps clear of pins meets no outline, however small.
const CLEAR_OF_PINS: Relation = Relation {
    manner: Manner::ClearOf,
    within: 0.0,
    smallest: Smallest::Share(1.0),
};

/// A clump's middle is taken to be at most this many times a lone clump: heaps that overlap add up.
const CROWDED_CLUMPS: f64 = 3.0;
/// Local cover that a spaced pass can follow at most, over which clumps are full whatever is asked.
const FULL_COVER: f64 = 0.9;

impl<'a> Run<'a> {
    /// Plans the passes of a take. `kits[i]` is what pass i may take of the pieces, whose bodies are given with them, `masks[i]` its images.
    pub(super) fn new(
        shot: &'a Shot,
        take: u64,
        ground: &'a Ground,
        (heroes, pins): (&'a [Hero], &'a Pins),
        (pieces, bodies): (&[Piece], &[Arc<Body>]),
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
                let choice = choice(kit, pieces);
                let clumps = pass
                    .clumps
                    .map(|c| Clumps::new(key, c.parents_per_m2, c.spread.metres(), c.share));
                let sizes = size_law(&pass.sizes);
                let gathering = Gathering::new(pass, key, ground, &sizes);
                let grows = kit
                    .iter()
                    .all(|s| bodies[usize::from(s.piece)].manner == rest::Manner::Rooted);
                let on_pins = pass.place == Place::Strewn && pass.rest.on == On::Settled && !grows;
                let mut relations = relations(shot, index, heroes);
                if !on_pins && !pins.all.is_empty() {
                    relations.push((CLEAR_OF_PINS, What::Pins));
                }
                let spaced = pass.place == Place::Spaced;
                let amount = match pass.amount() {
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
                    reach,
                    varies,
                };
                let headings = pass.rest.heading.map_or_else(Headings::random, |h| {
                    Headings::toward(h.toward.radians(), h.spread.radians())
                });
                let over_b = |of: fn(&Body) -> f64| {
                    let each = kit.iter().map(|s| {
                        let i = usize::from(s.piece);
                        of(&bodies[i]) / pieces[i].measure.b_axis
                    });
                    each.fold(0.0, f64::max)
                };
                let rigid = kit
                    .iter()
                    .any(|s| bodies[usize::from(s.piece)].manner == rest::Manner::Rigid);
                let slides = rigid && !spaced;
                let aside = rest::DRIFT + if slides { rest::SLIDE } else { 0.0 };
                let bare_reach = over_b(|b| b.reach);
                let beds = beds(shot, index, &talls, grows);
                let beside = beside(shot, index, &talls, grows, &beds);
                let stands = over_b(Body::stands) * pass.sizes.range()[1];
                let earlier = beds.iter().filter(|j| **j != index).map(|j| &talls[*j]);
                let lift = earlier.map(|t| t.stands).fold(0.0, f64::max)
                    + if beds.contains(&index) {
                        PILE * stands
                    } else {
                        0.0
                    };
                talls.push(Tall { grows, stands });
                let plan = PassPlan {
                    schedule: Schedule::new(&asked),
                    pieces: choice,
                    headings,
                    reach,
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
                    lift,
                    beds,
                    beside,
                    on_pins,
                    height: measures().map(|m| m.flatness).fold(0.0, f64::max),
                    elongations: measures().map(|m| m.elongation).collect(),
                    shown: measures()
                        .map(|m| m.flatness * (1.0 - 0.5 * (pass.rest.bury[0] + pass.rest.bury[1])))
                        .collect(),
                    strata: RwLock::new(Strata::new(plan)),
                    gathering,
                    masks,
                    shapes: shapes(shot, pass),
                    clumps,
                    relations,
                })
            },
        );
        Ok(Self {
            ground,
            heroes,
            pins,
            passes: passes.collect::<Result<_>>()?,
        })
    }

    /// The pass's evaluated ground.
    pub(super) fn strata(&self, pass: usize) -> RwLockReadGuard<'_, Strata> {
        self.passes[pass]
            .strata
            .read()
            .unwrap_or_else(PoisonError::into_inner)
    }

    /// Whether how pieces of some pass lie depends on this pass's.
    pub(super) fn is_heeded(&self, pass: usize) -> bool {
        let heeds = |p: &PassRun<'_>| p.beds.contains(&pass) || p.beside.contains(&pass);
        self.passes.iter().any(heeds)
    }

    /// The pins that reach into a plan rectangle, with all that they take of the ground: what lies under an overhang may stand up into it.
    fn pins_round(&self, r: Rectangle) -> Vec<Outlined> {
        let mut near: Vec<u32> = self.pins.near(r).collect();
        near.sort_unstable();
        let outlined = |i: u32| {
            let outlines = self.pins.all[i as usize].outlines.as_ref()?;
            Some(Outlined::Hull {
                corners: outlines.below(f64::INFINITY).to_vec(),
                height: outlines.height(),
            })
        };
        near.into_iter().filter_map(outlined).collect()
    }

    /// Takes over evaluated ground of the same pass.
    pub(super) fn give_strata(&self, pass: usize, strata: Strata) {
        *self.strata_mut(pass) = strata;
    }

    /// The passes' names with their evaluated ground.
    pub(super) fn into_passes(self) -> Vec<(String, Strata)> {
        let all = self.passes.into_iter();
        all.map(|p| {
            let strata = p
                .strata
                .into_inner()
                .unwrap_or_else(PoisonError::into_inner);
            (p.pass.name.clone(), strata)
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
    pub(super) fn ensure(&self, pass: usize, wanted: &[BTreeSet<BlockAt>]) -> Result<()> {
        self.strata_mut(pass)
            .ensure(wanted, &PassTarget { run: self, pass })
    }

    /// Mean over places, metres, of the fields that depend on the place alone, 0..=1. A place that is not `needed` counts as 0.
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
        self.pass.place == Place::Spaced
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

/// The passes whose pieces those of a pass must not cut into: those that they keep clear of, and their own.
fn beside(shot: &Shot, index: usize, before: &[Tall], grows: bool, beds: &[usize]) -> Vec<usize> {
    let pass = &shot.passes[index];
    if grows || pass.rest.on == On::Ground {
        return Vec::new();
    }
    let own = pass.place == Place::Spaced && pass.spacing * (1.0 - pass.overlap) >= 1.0;
    let all = (0..index).filter(|j| !before[*j].grows && !beds.contains(j));
    all.chain(own.then_some(index)).collect()
}

/// Where a pass gathers, with what it refers to.
struct PassTarget<'a> {
    run: &'a Run<'a>,
    pass: usize,
}

impl PassTarget<'_> {
    /// Most that the pass's own pieces of a diameter reach in plan, nanometres.
    fn own_reach(&self, diameter: f64) -> f64 {
        self.run.passes[self.pass].reach * diameter * NANO
    }

    /// Distance, nanometres, up to which a relation looks for the middles of an earlier pass's pieces of an octave; `strata` is that pass's.
    fn looks(
        &self,
        relation: &Relation,
        (other, strata): (usize, &Strata),
        octave: usize,
        diameter: f64,
    ) -> i64 {
        let largest = strata.plan.schedule.octaves[octave].to;
        let highest = self.run.passes[other]
            .shown
            .iter()
            .copied()
            .fold(0.0, f64::max);
        let reach = relation.reach(largest, highest * largest);
        (reach + self.own_reach(diameter)) as i64 + strata.reach(octave) + 1
    }
}

impl Target for PassTarget<'_> {
    type Here<'b>
        = PassHere<'b>
    where
        Self: 'b;

    fn prepare(&self, windows: &[Rectangle], sizes: [f64; 2]) -> Result<()> {
        for (relation, what) in &self.run.passes[self.pass].relations {
            let What::Pass(other) = *what else { continue };
            let wanted = {
                let strata = self.run.strata(other);
                let smallest = relation.smallest.metres(sizes[0]);
                let octaves = &strata.plan.schedule.octaves;
                let blocks = |octave: usize| {
                    let reach = self.looks(relation, (other, &strata), octave, sizes[1]);
                    windows
                        .iter()
                        .flat_map(|w| strata.blocks_of(octave, w.grown(reach)))
                        .collect()
                };
                (0..octaves.len())
                    .map(|o| {
                        if octaves[o].to >= smallest {
                            blocks(o)
                        } else {
                            BTreeSet::new()
                        }
                    })
                    .collect::<Vec<_>>()
            };
            self.run.ensure(other, &wanted)?;
        }
        Ok(())
    }

    fn here(&self, window: Rectangle, sizes: [f64; 2]) -> PassHere<'_> {
        let pass = &self.run.passes[self.pass];
        let own_reach = self.own_reach(sizes[1]);
        let highest = sizes[1] * pass.height;
        let outlined = |hero: &Hero| Outlined::Hull {
            corners: hero.outline(highest).to_vec(),
            height: hero.height(),
        };
        let neighbours = pass.relations.iter().filter_map(|(relation, what)| {
            let things = match *what {
                What::Pass(other) => {
                    let strata = self.run.strata(other);
                    let smallest = relation.smallest.metres(sizes[0]);
                    let mut placed = Vec::new();
                    for (octave, layer) in strata.plan.schedule.octaves.iter().enumerate() {
                        if layer.to >= smallest {
                            let reach = self.looks(relation, (other, &strata), octave, sizes[1]);
                            strata.collect(octave, window.grown(reach), &mut placed);
                        }
                    }
                    let of = &self.run.passes[other];
                    placed
                        .into_iter()
                        .map(|p| Outlined::Piece {
                            elongation: of.elongations[usize::from(p.piece)],
                            height: of.shown[usize::from(p.piece)] * f64::from(p.diameter),
                            placed: p,
                        })
                        .collect()
                }
                What::Pins => self.run.pins_round(window.grown(own_reach as i64 + 1)),
                What::Hero(hero) => vec![outlined(&self.run.heroes[hero])],
                What::Heroes => self.run.heroes.iter().map(outlined).collect(),
            };
            let neighbours = Neighbours::new(*relation, window, things, own_reach);
            // What is clear of nothing in reach says nothing; near and between nothing say nowhere
            (relation.manner != Manner::ClearOf || !neighbours.is_empty()).then_some(neighbours)
        });
        // Any piece that reaches a shape has its place within this of it
        let round = window.grown(own_reach as i64 + 1);
        let near = |s: &Shape| {
            let b = s.bounds();
            b.x0 <= round.x1 && b.x1 >= round.x0 && b.z0 <= round.z1 && b.z1 >= round.z0
        };
        PassHere {
            ground: self.run.ground,
            pass,
            heaps: pass.clumps.map(|c| c.here(window)),
            neighbours: neighbours.collect(),
            shapes: pass.shapes.iter().filter(|s| near(s)).collect(),
            sizes,
        }
    }
}

/// Where a pass gathers, as seen from one window.
struct PassHere<'a> {
    ground: &'a Ground,
    pass: &'a PassRun<'a>,
    heaps: Option<Heaps>,
    neighbours: Vec<Neighbours>,
    shapes: Vec<&'a Shape>,
    /// Smallest and largest diameter that asks, metres.
    sizes: [f64; 2],
}

impl Here for PassHere<'_> {
    fn is_flat(&self) -> bool {
        self.pass.gathering.is_flat()
            && self.pass.masks.is_empty()
            && self.shapes.is_empty()
            && self.heaps.is_none()
            && self.neighbours.is_empty()
            && self.ground.half_extent().is_none()
    }

    fn most(&self, rectangle: Rectangle) -> f64 {
        let metres = |v: i64| v as f64 / NANO;
        let off_ground = self.ground.half_extent().is_some_and(|[hx, hz]| {
            let (x0, x1, z0, z1) = (
                metres(rectangle.x0),
                metres(rectangle.x1),
                metres(rectangle.z0),
                metres(rectangle.z1),
            );
            x0 > hx || x1 < -hx || z0 > hz || z1 < -hz
        });
        if off_ground || self.shapes.iter().any(|s| s.hides(rectangle)) {
            return 0.0;
        }
        let mut most = 1.0;
        for neighbours in &self.neighbours {
            most *= neighbours.most(rectangle, self.sizes[1]);
            if most <= 0.0 {
                return 0.0;
            }
        }
        most * self.heaps.as_ref().map_or(1.0, |h| h.most(rectangle))
    }

    fn at(&self, x: i64, z: i64, diameter: f64) -> f64 {
        let (mx, mz) = (x as f64 / NANO, z as f64 / NANO);
        if !self.ground.holds(mx, mz) {
            return 0.0;
        }
        let mut strength = 1.0;
        for neighbours in self.neighbours.iter().filter(|n| n.is_field()) {
            strength *= neighbours.at(x, z, diameter);
            if strength <= 0.0 {
                return 0.0;
            }
        }
        if let Some(heaps) = &self.heaps {
            strength *= heaps.at(x, z);
        }
        strength * self.pass.strength(self.ground, mx, mz)
    }

    fn asked(&self, x: i64, z: i64, diameter: f64) -> f64 {
        let clear = self.neighbours.iter().filter(|n| !n.is_field());
        let clear = clear.map(|n| n.at(x, z, diameter)).product::<f64>();
        if clear > 0.0 && !self.shapes.iter().any(|s| s.holds(x, z)) {
            self.at(x, z, diameter)
        } else {
            0.0
        }
    }

    fn graded(&self, x: i64, z: i64, diameter: f64) -> Graded {
        self.pass
            .gathering
            .graded(self.ground, x as f64 / NANO, z as f64 / NANO, diameter)
    }

    fn grades(&self, diameter: f64) -> Vec<Graded> {
        self.pass.gathering.grades(diameter)
    }

    fn grain(&self) -> f64 {
        self.pass.clumps.map_or(f64::INFINITY, |c| c.spread())
    }

    fn refuses(&self, piece: &Placed) -> bool {
        let elongation = self.pass.elongations[usize::from(piece.piece)];
        self.neighbours.iter().any(|n| n.refuses(piece, elongation))
            || self.shapes.iter().any(|s| s.refuses(piece, elongation))
    }
}

/// The shapes that a pass keeps clear of.
fn shapes(shot: &Shot, pass: &Pass) -> Vec<Shape> {
    let meant = |c: &&shot::Clear| c.passes().is_empty() || c.passes().contains(&pass.name);
    shot.clear.iter().filter(meant).map(Shape::new).collect()
}

/// The relations of a pass, and that every pass keeps clear of the heroes.
fn relations(shot: &Shot, index: usize, heroes: &[Hero]) -> Vec<(Relation, What)> {
    let mut all = Vec::new();
    for gather in &shot.passes[index].gather {
        let relation = match gather {
            Gather::Near(n) => Relation {
                manner: Manner::Near {
                    diameters: n.diameters,
                    fade: n.fade,
                    elsewhere: n.elsewhere,
                },
                within: n.within.metres() * NANO,
                smallest: n.smallest,
            },
            Gather::ClearOf(r) => Relation {
                manner: Manner::ClearOf,
                within: r.within.metres() * NANO,
                smallest: r.smallest,
            },
            Gather::Between(r) => Relation {
                manner: Manner::Between,
                within: r.within.metres() * NANO,
                smallest: r.smallest,
            },
            Gather::LeeOf(l) => {
                // From the azimuth, clockwise from -z: to the other side
                let from = l.wind_from.radians();
                Relation {
                    manner: Manner::LeeOf {
                        downwind: [-libm::sin(from), libm::cos(from)],
                        heights: l.heights,
                        elsewhere: l.elsewhere,
                    },
                    within: 0.0,
                    smallest: l.smallest,
                }
            }
            _ => continue,
        };
        let Some(what) = gather.refers_to() else {
            continue;
        };
        if what == "hero" {
            if !heroes.is_empty() {
                all.push((relation, What::Heroes));
            }
        } else if let Some(other) = shot.passes[..index].iter().position(|p| p.name == what) {
            all.push((relation, What::Pass(other)));
        }
    }
    for (h, hero) in heroes.iter().enumerate() {
        let clear = Relation {
            manner: Manner::ClearOf,
            within: hero.clear * NANO,
            smallest: Smallest::default(),
        };
        all.push((clear, What::Hero(h)));
    }
    all
}

/// What a pass may take, as the placing sees it.
fn choice(kit: &[Serving], pieces: &[Piece]) -> Choice {
    let candidate = |serving: &Serving| {
        let measure = &pieces[usize::from(serving.piece)].measure;
        Candidate {
            outline: Outline {
                elongation: measure.elongation,
                fill: measure.plan_fill,
            },
            share: serving.share,
            sizes: serving.sizes,
        }
    };
    Choice::new(&kit.iter().map(candidate).collect::<Vec<_>>())
}

/// Sizes that no piece of a pass has by nature are an error, unless the pass may stretch.
fn check_sizes(
    pass: &Pass,
    index: usize,
    sizes: &SizeLaw,
    kit: &[Serving],
    choice: &Choice,
) -> Result<()> {
    let gaps = choice.gaps(sizes.from(), sizes.to());
    if pass.stretch || gaps.is_empty() {
        return Ok(());
    }
    let length = |metres: &f64| Length::from_metres(*metres).to_string();
    let range = |[from, to]: &[f64; 2]| format!("{} to {}", length(from), length(to));
    let missing: Vec<String> = gaps.iter().map(range).collect();
    let natural = kit.iter().filter_map(|s| s.sizes);
    let (low, high) = natural.fold((f64::INFINITY, 0.0_f64), |(l, h), [from, to]| {
        (l.min(from), h.max(to))
    });
    Err(Error::input(
        format!("passes[{index}].sizes"),
        format!(
            "no piece of {:?} has a natural size of {}",
            pass.name,
            missing.join(", ")
        ),
        format!(
            "its pieces go from {}: narrow `sizes`, name more pieces, widen the kit's `sizes`, or set `stretch`",
            range(&[low, high])
        ),
    ))
}

/// Largest local target over the one asked that a schedule is worked out for.
fn peak(
    clumps: Option<&Clumps>,
    most_crowd: f64,
    amount: Amount,
    sizes: &SizeLaw,
    pieces: &Choice,
    spaced: bool,
) -> f64 {
    let crest = most_crowd * clumps.map_or(1.0, |c| (CROWDED_CLUMPS * c.crest()).max(1.0));
    if !spaced {
        return crest;
    }
    let fill = pieces.fill(sizes);
    let cover = match amount {
        Amount::Cover(c) => c,
        Amount::PerSquareMetre(n) => n * fill * sizes.mean_square(),
    };
    crest.min((FULL_COVER / cover).max(1.0))
}

pub(super) fn size_law(sizes: &Sizes) -> SizeLaw {
    let [from, to] = sizes.range();
    match *sizes {
        Sizes::Power { exponent, .. } => SizeLaw::power(exponent, from, to),
        Sizes::Lognormal { median, spread, .. } => {
            SizeLaw::lognormal(median.metres(), spread, from, to)
        }
        Sizes::RosinRammler {
            d63, uniformity, ..
        } => SizeLaw::rosin_rammler(d63.metres(), uniformity, from, to),
    }
}

/// The bits of an id that mark the pass: from its name alone, so that neither order nor other passes matter.
pub(super) fn tag(name: &str) -> u16 {
    (text_key(name) >> (64 - ID_TAG_BITS)) as u16
}

/// Two passes of one shot must not share a tag, nor a pass and the carpet, the shade or the pins: ids would not be unique by construction.
fn check_tags(shot: &Shot, pins: &Pins) -> Result<()> {
    for (i, pass) in shot.passes.iter().enumerate() {
        if !pins.all.is_empty() && u64::from(tag(&pass.name)) == pins::tag() {
            return Err(Error::input(
                format!("passes[{i}].name"),
                format!(
                    "`{}` and the pins fold to the same mark in piece ids, by chance",
                    pass.name
                ),
                "change a letter of the name",
            ));
        }
        let carpet = shot.carpet.as_ref().map(|_| CARPET);
        let shade = shot.shade.map(|_| SHADE);
        let mut before = shot.passes[..i]
            .iter()
            .map(|p| p.name.as_str())
            .chain(carpet)
            .chain(shade);
        if let Some(other) = before.find(|name| tag(name) == tag(&pass.name)) {
            return Err(Error::new(
                Kind::Input,
                Fault::new(
                    format!("passes[{i}].name"),
                    format!(
                        "`{}` and `{}` fold to the same mark in piece ids, by chance",
                        pass.name, other
                    ),
                    "change a letter of one of the two names",
                ),
            ));
        }
    }
    Ok(())
}
