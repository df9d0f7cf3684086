//! The passes of one take on the endless plane, each made where it is asked for, with what it refers to.

use std::collections::BTreeSet;
use std::sync::{PoisonError, RwLock, RwLockReadGuard, RwLockWriteGuard};

use crate::error::{Error, Fault, Kind, Result};
use crate::field::clumps::Heaps;
use crate::field::near::{Manner, Neighbours};
use crate::field::{Clumps, Gathering, Here, Outlined, Relation, Target};
use crate::ground::Ground;
use crate::hero::Hero;
use crate::kit::{Piece, Serving};
use crate::place::block::{Headings, ID_TAG_BITS, PassPlan};
use crate::place::strata::BlockAt;
use crate::place::{Amount, Asked, Candidate, Choice, Outline, Schedule, Strata};
use crate::plan::{NANO, Placed, Rectangle};
use crate::random::{pass_key, text_key};
use crate::shot::{self, Gather, Pass, Place, Shot, Sizes, Smallest};
use crate::size::SizeLaw;
use crate::units::Length;

/// The shot's passes in one take.
pub(super) struct Run<'a> {
    ground: &'a Ground,
    heroes: &'a [Hero],
    pub(super) passes: Vec<PassRun<'a>>,
}

/// One pass in one take.
pub(super) struct PassRun<'a> {
    pub(super) pass: &'a Pass,
    pub(super) key: u64,
    /// The pass's pieces in the layout's list.
    pub(super) pieces: Vec<u16>,
    /// Most that a piece reaches from its place on the plan, over its diameter.
    pub(super) reach: f64,
    /// Most height over diameter.
    height: f64,
    /// Long axis over diameter of each of its pieces.
    elongations: Vec<f64>,
    strata: RwLock<Strata>,
    gathering: Gathering,
    clumps: Option<Clumps>,
    relations: Vec<(Relation, What)>,
}

/// What a relation refers to.
#[derive(Debug, Clone, Copy)]
enum What {
    Pass(usize),
    Hero(usize),
}

/// A clump's middle is taken to be at most this many times a lone clump: heaps that overlap add up.
const CROWDED_CLUMPS: f64 = 3.0;
/// Local cover that a spaced pass can follow at most, over which clumps are full whatever is asked.
const FULL_COVER: f64 = 0.9;

impl<'a> Run<'a> {
    /// Plans the passes of a take. `kits[i]` is what pass i may take of `pieces`.
    pub(super) fn new(
        shot: &'a Shot,
        take: u64,
        ground: &'a Ground,
        heroes: &'a [Hero],
        pieces: &[Piece],
        kits: &[Vec<Serving>],
    ) -> Result<Self> {
        check_tags(shot)?;
        let passes = shot
            .passes
            .iter()
            .enumerate()
            .zip(kits)
            .map(|((index, pass), kit)| {
                // A pass with a take of its own keeps it, whatever the others do
                let take = shot.takes.get(&pass.name).copied().unwrap_or(take);
                let key = pass_key(take, &pass.name);
                let measures = || kit.iter().map(|s| &pieces[usize::from(s.piece)].measure);
                let choice = choice(kit, pieces);
                let clumps = pass
                    .clumps
                    .map(|c| Clumps::new(key, c.parents_per_m2, c.spread.metres(), c.share));
                let gathering = Gathering::new(pass, key, ground);
                let relations = relations(shot, index, heroes);
                let spaced = pass.place == Place::Spaced;
                let amount = match pass.amount() {
                    shot::Amount::Cover(c) => Amount::Cover(c),
                    shot::Amount::PerM2(n) => Amount::PerSquareMetre(n),
                };
                let sizes = size_law(&pass.sizes);
                let reach = pass.spacing * (1.0 - pass.overlap);
                let varies = !gathering.is_flat()
                    || clumps.is_some()
                    || relations.iter().any(|(r, _)| r.manner != Manner::ClearOf);
                check_sizes(pass, index, &sizes, kit, &choice)?;
                let asked = Asked {
                    peak: peak(clumps.as_ref(), amount, &sizes, &choice, spaced),
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
                    reach: measures()
                        .map(|m| {
                            let s = m.size.as_dvec3() / m.b_axis;
                            libm::sqrt(0.25 * (s.x * s.x + s.z * s.z) + s.y * s.y)
                        })
                        .fold(0.0, f64::max),
                    height: measures().map(|m| m.flatness).fold(0.0, f64::max),
                    elongations: measures().map(|m| m.elongation).collect(),
                    strata: RwLock::new(Strata::new(plan)),
                    gathering,
                    clumps,
                    relations,
                })
            });
        Ok(Self {
            ground,
            heroes,
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

    /// Mean of the fields that depend on the place alone over the corners and middle of rectangles, 0..=1.
    pub(super) fn mean_strength(&self, pass: usize, rectangles: &[Rectangle]) -> f64 {
        let gathering = &self.passes[pass].gathering;
        if gathering.is_flat() || rectangles.is_empty() {
            return 1.0;
        }
        let places = rectangles.iter().flat_map(|r| {
            [0.2, 0.5, 0.8].into_iter().flat_map(move |u| {
                [0.2, 0.5, 0.8].map(|v| {
                    let at =
                        |low: i64, high: i64, t: f64| (low as f64 + (high - low) as f64 * t) / NANO;
                    (at(r.x0, r.x1, u), at(r.z0, r.z1, v))
                })
            })
        });
        let count = rectangles.len() * 9;
        places
            .map(|(x, z)| gathering.at(self.ground, x, z))
            .sum::<f64>()
            / count as f64
    }
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

    /// Distance, nanometres, up to which a relation looks for the middles of an earlier pass's pieces of an octave.
    fn looks(&self, relation: &Relation, other: &Strata, octave: usize, diameter: f64) -> i64 {
        (relation.within + self.own_reach(diameter)) as i64 + other.reach(octave) + 1
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
                    let reach = self.looks(relation, &strata, octave, sizes[1]);
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
        let neighbours = pass.relations.iter().filter_map(|(relation, what)| {
            let things = match *what {
                What::Pass(other) => {
                    let strata = self.run.strata(other);
                    let smallest = relation.smallest.metres(sizes[0]);
                    let mut placed = Vec::new();
                    for (octave, layer) in strata.plan.schedule.octaves.iter().enumerate() {
                        if layer.to >= smallest {
                            let reach = self.looks(relation, &strata, octave, sizes[1]);
                            strata.collect(octave, window.grown(reach), &mut placed);
                        }
                    }
                    let elongation =
                        |p: &Placed| strata.plan.pieces.outlines()[usize::from(p.piece)].elongation;
                    placed
                        .into_iter()
                        .map(|p| Outlined::Piece {
                            elongation: elongation(&p),
                            placed: p,
                        })
                        .collect()
                }
                What::Hero(hero) => {
                    let outline = self.run.heroes[hero].outline(sizes[1] * pass.height);
                    vec![Outlined::Hero {
                        corners: outline.to_vec(),
                    }]
                }
            };
            let neighbours = Neighbours::new(*relation, window, things, own_reach);
            // What is clear of nothing in reach says nothing; near and between nothing say nowhere
            (relation.manner != Manner::ClearOf || !neighbours.is_empty()).then_some(neighbours)
        });
        PassHere {
            ground: self.run.ground,
            pass,
            heaps: pass.clumps.map(|c| c.here(window)),
            neighbours: neighbours.collect(),
            largest: sizes[1],
        }
    }
}

/// Where a pass gathers, as seen from one window.
struct PassHere<'a> {
    ground: &'a Ground,
    pass: &'a PassRun<'a>,
    heaps: Option<Heaps>,
    neighbours: Vec<Neighbours>,
    /// Largest diameter that asks, metres.
    largest: f64,
}

impl Here for PassHere<'_> {
    fn is_flat(&self) -> bool {
        self.pass.gathering.is_flat()
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
        if off_ground
            || self
                .neighbours
                .iter()
                .any(|n| n.hides(rectangle, self.largest))
        {
            return 0.0;
        }
        self.heaps.as_ref().map_or(1.0, |h| h.most(rectangle))
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
        strength * self.pass.gathering.at(self.ground, mx, mz)
    }

    fn asked(&self, x: i64, z: i64, diameter: f64) -> f64 {
        let clear = self.neighbours.iter().filter(|n| !n.is_field());
        let clear = clear.map(|n| n.at(x, z, diameter)).product::<f64>();
        if clear > 0.0 {
            self.at(x, z, diameter)
        } else {
            0.0
        }
    }

    fn grain(&self) -> f64 {
        self.pass.clumps.map_or(f64::INFINITY, |c| c.spread())
    }

    fn refuses(&self, piece: &Placed) -> bool {
        let elongation = self.pass.elongations[usize::from(piece.piece)];
        self.neighbours.iter().any(|n| n.refuses(piece, elongation))
    }
}

/// The relations of a pass, and that every pass keeps clear of the heroes.
fn relations(shot: &Shot, index: usize, heroes: &[Hero]) -> Vec<(Relation, What)> {
    let mut all = Vec::new();
    for gather in &shot.passes[index].gather {
        let (manner, reach) = match gather {
            Gather::Near(r) => (Manner::Near, r),
            Gather::ClearOf(r) => (Manner::ClearOf, r),
            Gather::Between(r) => (Manner::Between, r),
            _ => continue,
        };
        let relation = Relation {
            manner,
            within: reach.within.metres() * NANO,
            smallest: reach.smallest,
        };
        if reach.what == "hero" {
            all.extend((0..heroes.len()).map(|h| (relation, What::Hero(h))));
        } else if let Some(other) = shot.passes[..index]
            .iter()
            .position(|p| p.name == reach.what)
        {
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
    amount: Amount,
    sizes: &SizeLaw,
    pieces: &Choice,
    spaced: bool,
) -> f64 {
    let crest = clumps.map_or(1.0, |c| (CROWDED_CLUMPS * c.crest()).max(1.0));
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

fn size_law(sizes: &Sizes) -> SizeLaw {
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
fn tag(name: &str) -> u16 {
    (text_key(name) >> (64 - ID_TAG_BITS)) as u16
}

/// Two passes of one shot must not share a tag: ids would not be unique by construction.
fn check_tags(shot: &Shot) -> Result<()> {
    for (i, pass) in shot.passes.iter().enumerate() {
        if let Some(other) = shot.passes[..i]
            .iter()
            .find(|p| tag(&p.name) == tag(&pass.name))
        {
            return Err(Error::new(
                Kind::Input,
                Fault::new(
                    format!("passes[{i}].name"),
                    format!(
                        "`{}` and `{}` fold to the same mark in piece ids, by chance",
                        pass.name, other.name
                    ),
                    "change a letter of one of the two names",
                ),
            ));
        }
    }
    Ok(())
}
