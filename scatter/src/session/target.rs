//! Where a pass gathers, as placing asks: its fields with what they refer to, made where they are
//! needed.

use std::collections::BTreeSet;

use super::pass_run::PassRun;
use super::relations::Referent;
use super::run::Run;
use crate::brief::RelationKind;
use crate::brief::Smallest;
use crate::error::Result;
use crate::field::clumps::Heaps;
use crate::field::near::Neighbours;
use crate::field::{ClearShape, Foreign, Graded, Here, Outlined, Relation, Target};
use crate::ground::Ground;
use crate::hero::Hero;
use crate::place::Strata;
use crate::place::strata::Blocks;
use crate::plan::{NANO, Placed, Rectangle};

impl Run<'_> {
    /// Makes the wanted blocks of a pass and all that they refer to.
    pub(super) fn ensure(&self, pass: usize, wanted: &Blocks) -> Result<()> {
        self.strata_mut(pass)
            .ensure(wanted, &PassTarget { run: self, pass })
    }
}

/// Where a pass gathers, with what it refers to.
pub(super) struct PassTarget<'a> {
    pub(super) run: &'a Run<'a>,
    pub(super) pass: usize,
}

impl PassTarget<'_> {
    /// Most that the pass's own pieces of a diameter reach in plan, nanometres.
    fn own_reach(&self, diameter: f64) -> f64 {
        self.run.passes[self.pass].spans.from_place * diameter * NANO
    }

    /// The heroes that a relation names, as pieces up to a height (metres) meet them.
    fn heroes(&self, what: Referent, highest: f64) -> Vec<Outlined> {
        let heroes = &self.run.scene.heroes;
        match what {
            Referent::Hero(hero) => vec![outlined(&heroes[hero], highest)],
            Referent::Heroes => heroes.iter().map(|h| outlined(h, highest)).collect(),
            Referent::Pass { .. } | Referent::Pins => Vec::new(),
        }
    }

    /// Distance, nanometres, up to which a relation looks for the middles of an earlier pass's
    /// pieces of an octave; `strata` is that pass's.
    fn looks(
        &self,
        relation: &Relation,
        (other, strata): (usize, &Strata),
        octave: usize,
        diameter: f64,
    ) -> i64 {
        let largest = strata.plan.schedule.octaves[octave].to;
        let extends = self.run.passes[other].spans.from_middle * largest * NANO;
        let highest = self.run.passes[other].kit.most_shown();
        let reach = relation.reach(largest, highest * largest);
        // A piece may have moved aside as it was laid
        let aside = self.run.passes[other].spans.aside * largest * NANO;
        (reach + self.own_reach(diameter) + extends + aside) as i64 + 1
    }

    /// By relation to an earlier pass, the blocks of it that count in some windows.
    pub(super) fn looks_at(&self, windows: &[Rectangle], sizes: [f64; 2]) -> Vec<(usize, Blocks)> {
        let relations = self.run.passes[self.pass].asks.relations.to_passes();
        let looks = relations.map(|(relation, other, _)| {
            let strata = self.run.strata(other);
            let smallest = relation.smallest.metres(sizes[0]);
            let octaves = strata.plan.schedule.octaves.iter().enumerate();
            let blocks = octaves.map(|(octave, layer)| {
                if layer.to < smallest {
                    return BTreeSet::new();
                }
                let reach = self.looks(relation, (other, &strata), octave, sizes[1]);
                let round = windows.iter().map(|w| w.grown(reach));
                round.flat_map(|r| strata.blocks_of(octave, r)).collect()
            });
            (other, blocks.collect())
        });
        looks.collect()
    }

    /// Adds the laid pieces of an earlier pass that stones of this one keep clear of, as these meet
    /// them.
    fn foreign(
        &self,
        relation: &Relation,
        other: usize,
        window: Rectangle,
        sizes: [f64; 2],
        all: &mut Vec<Foreign>,
    ) {
        let of = &self.run.passes[other];
        let settled = self.run.settled(other);
        for (placed, _) in self.counted(relation, other, &[window], sizes) {
            let Some(Ok(standing)) = settled.find(placed.id).map(|l| l.standing) else {
                continue;
            };
            let diameter = NANO * f64::from(placed.diameter);
            let up_to = match relation.smallest {
                Smallest::Share(share) => diameter / share,
                Smallest::Diameter(least) if f64::from(placed.diameter) < least => 0.0,
                Smallest::Diameter(_) => f64::INFINITY,
            };
            let (x, z, stone) = of.as_stone(&placed, &standing);
            all.push(Foreign {
                x,
                z,
                stone: stone.grown(relation.within),
                up_to,
            });
        }
    }

    /// The pieces of an earlier pass, with their octaves, that count for pieces of these sizes in
    /// some windows: block by block in a fixed order, a piece once for each window that it reaches.
    fn counted(
        &self,
        relation: &Relation,
        other: usize,
        windows: &[Rectangle],
        sizes: [f64; 2],
    ) -> Vec<(Placed, u8)> {
        let strata = self.run.strata(other);
        let smallest = relation.smallest.metres(sizes[0]);
        let mut counted = Vec::new();
        let mut found = Vec::new();
        for (octave, layer) in strata.plan.schedule.octaves.iter().enumerate() {
            if layer.to < smallest {
                continue;
            }
            let reach = self.looks(relation, (other, &strata), octave, sizes[1]);
            for window in windows {
                strata.collect(octave, window.grown(reach), &mut found);
                let large = found
                    .drain(..)
                    .filter(|p| f64::from(p.diameter) >= smallest);
                counted.extend(large.map(|p| (p, octave as u8)));
            }
        }
        counted
    }
}

/// A hero as pieces up to a height (metres) meet it.
fn outlined(hero: &Hero, highest: f64) -> Outlined {
    Outlined::hull(hero.outline(highest).to_vec(), hero.height())
}

impl Target for PassTarget<'_> {
    type Here<'b>
        = PassHere<'b>
    where
        Self: 'b;

    fn prepare(&self, windows: &[Rectangle], sizes: [f64; 2]) -> Result<()> {
        for (other, wanted) in self.looks_at(windows, sizes) {
            self.run.ensure(other, &wanted)?;
        }
        for (relation, other, _) in self.run.passes[self.pass].asks.relations.to_passes() {
            self.run
                .settle(other, self.counted(relation, other, windows, sizes))?;
        }
        Ok(())
    }

    fn check(&self) -> Result<()> {
        self.run.cancel.check()
    }

    fn is_void(&self, window: Rectangle, sizes: [f64; 2]) -> bool {
        let pass = &self.run.passes[self.pass];
        let highest = sizes[1] * pass.kit.height;
        pass.asks.relations.iter().any(|(relation, what)| {
            if relation.manner == RelationKind::ClearOf || relation.elsewhere() > 0.0 {
                return false;
            }
            let heroes = self.heroes(*what, highest);
            !heroes.is_empty()
                && Neighbours::new(*relation, window, heroes, self.own_reach(sizes[1])).is_empty()
        })
    }

    fn here(&self, window: Rectangle, sizes: [f64; 2]) -> PassHere<'_> {
        let pass = &self.run.passes[self.pass];
        let own_reach = self.own_reach(sizes[1]);
        let highest = sizes[1] * pass.kit.height;
        let packs = pass.kit.stones.is_some();
        let mut foreign = Vec::new();
        let neighbours = pass.asks.relations.iter().filter_map(|(relation, what)| {
            if let Referent::Hero(hero) = *what {
                // Of a thousand heroes a window is near a few
                let clear = (relation.within + own_reach) as i64 + 1;
                let bounds = self.run.scene.heroes[hero].bounds();
                if !bounds.grown(clear).meets(&window) {
                    return None;
                }
            }
            if let Referent::Pass { pass: other, .. } = *what
                && packs
                && relation.manner == RelationKind::ClearOf
            {
                self.foreign(relation, other, window, sizes, &mut foreign);
            }
            let things = match *what {
                Referent::Pass { pass: other, .. } => {
                    let of = &self.run.passes[other];
                    let settled = self.run.settled(other);
                    let counted = self.counted(relation, other, &[window], sizes);
                    let lies = counted.iter().filter_map(|(p, _)| {
                        let standing = settled.find(p.id)?.standing.ok()?;
                        Some(of.outlined(p, &standing))
                    });
                    lies.collect()
                }
                Referent::Pins => self.run.pins_round(window.grown(own_reach as i64 + 1)),
                Referent::Hero(_) | Referent::Heroes => self.heroes(*what, highest),
            };
            let mut neighbours = Neighbours::new(*relation, window, things, own_reach);
            if packs && matches!(what, Referent::Pass { .. }) {
                neighbours.roll_off();
            }
            // What is clear of nothing in reach says nothing; near and between nothing say nowhere
            (relation.manner != RelationKind::ClearOf || !neighbours.is_empty())
                .then_some(neighbours)
        });
        // Any piece that reaches a shape has its place within this of it
        let round = window.grown(own_reach as i64 + 1);
        let near = |s: &ClearShape| {
            let b = s.bounds();
            b.x0 <= round.x1 && b.x1 >= round.x0 && b.z0 <= round.z1 && b.z1 >= round.z0
        };
        PassHere {
            ground: &self.run.scene.ground,
            pass,
            heaps: pass.asks.clumps.map(|c| c.here(window)),
            neighbours: neighbours.collect(),
            foreign,
            shapes: pass.asks.shapes.iter().filter(|s| near(s)).collect(),
            sizes,
        }
    }
}

/// Where a pass gathers, as seen from one window.
pub(super) struct PassHere<'a> {
    ground: &'a Ground,
    pass: &'a PassRun<'a>,
    heaps: Option<Heaps>,
    /// What the pass's fields look at.
    neighbours: Vec<Neighbours>,
    /// Of a pass of stones, those of other passes that they roll off: these are no field's matter
    /// then.
    foreign: Vec<Foreign>,
    shapes: Vec<&'a ClearShape>,
    /// Smallest and largest diameter that asks, metres.
    sizes: [f64; 2],
}

impl Here for PassHere<'_> {
    fn is_flat(&self) -> bool {
        self.pass.asks.gathering.is_flat()
            && self.pass.asks.masks.is_empty()
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
        // Fields first: they tell of most of the plane at once
        let fields = self.neighbours.iter().filter(|n| n.is_field());
        let clear = self
            .neighbours
            .iter()
            .filter(|n| !n.is_field() && !n.is_rolled_off());
        for neighbours in fields.chain(clear) {
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
        strength * self.pass.asks.strength(self.ground, mx, mz)
    }

    fn asked(&self, x: i64, z: i64, diameter: f64) -> f64 {
        // What stones roll off is counted cell by cell where they are placed
        let clear = self.neighbours.iter();
        let clear = clear.filter(|n| !n.is_field() && !n.is_rolled_off());
        let clear = clear.map(|n| n.at(x, z, diameter)).product::<f64>();
        if clear > 0.0 && !self.shapes.iter().any(|s| s.holds(x, z)) {
            self.at(x, z, diameter)
        } else {
            0.0
        }
    }

    fn graded(&self, x: i64, z: i64, diameter: f64) -> Graded {
        self.pass
            .asks
            .gathering
            .graded(self.ground, x as f64 / NANO, z as f64 / NANO, diameter)
    }

    fn grades(&self, diameter: f64) -> Vec<Graded> {
        self.pass.asks.gathering.grades(diameter)
    }

    fn grain(&self) -> f64 {
        self.pass.asks.clumps.map_or(f64::INFINITY, |c| c.spread())
    }

    fn foreign(&self) -> &[Foreign] {
        &self.foreign
    }

    fn refuses(&self, piece: &Placed) -> bool {
        let elongation = self.pass.kit.elongations[usize::from(piece.piece)];
        let held = self.neighbours.iter().filter(|n| !n.is_rolled_off());
        held.into_iter().any(|n| n.refuses(piece, elongation))
            || self.shapes.iter().any(|s| s.refuses(piece, elongation))
    }
}
