//! How high pieces may lie: bounds known before any piece is laid, from what may be under it.

use std::collections::BTreeMap;
use std::sync::PoisonError;

use rayon::prelude::*;
use rustc_hash::FxHashMap;

use super::run::PassRun;
use super::settling::{Blocks, PILE, Settling};
use crate::error;
use crate::field::Outlined;
use crate::place::schedule::Octave;
use crate::place::strata::BlockAt;
use crate::plan::{NANO, Placed, Rectangle};

impl Settling<'_> {
    /// Most height that pieces of its own pass lift a piece by, metres.
    pub(super) fn pile(&self, pass: usize, placed: &Placed) -> f64 {
        let run = &self.run.passes[pass];
        if run.beds.contains(&pass) {
            PILE * self.stands(run, placed)
        } else {
            0.0
        }
    }

    /// Height of a placed piece in its tallest stance, metres.
    pub(super) fn stands(&self, run: &PassRun<'_>, placed: &Placed) -> f64 {
        let (body, b_axis) = self.body(run, placed);
        body.stands() / b_axis * f64::from(placed.diameter)
    }

    /// Whether a camera may need a piece that lies on a pin.
    pub(super) fn may_be_seen_on_pins(&self, pass: usize, placed: &Placed) -> bool {
        let (_, high) = self.pins_under(&self.run.passes[pass], placed);
        high > 0.0
            && self.may_be_seen(
                &self.run.passes[pass],
                placed,
                high + self.pile(pass, placed),
                true,
            )
    }

    /// Numbers of the pins that may be under a piece, and how high the highest of them stands over the ground, metres.
    pub(super) fn pins_under(&self, run: &PassRun<'_>, placed: &Placed) -> (Vec<u32>, f64) {
        if !run.on_pins || self.run.pins.all.is_empty() {
            return (Vec::new(), 0.0);
        }
        let aside = run.aside * f64::from(placed.diameter) * NANO;
        let reach = run.reach * f64::from(placed.diameter) * NANO;
        let place = Rectangle {
            x0: placed.x,
            z0: placed.z,
            x1: placed.x,
            z1: placed.z,
        };
        let (mut under, mut high) = (Vec::new(), 0.0_f64);
        for i in self.run.pins.near(place.grown(reach as i64 + 1)) {
            let pin = &self.run.pins.all[i as usize];
            let Some(outlines) = pin.outlines.as_ref().filter(|_| !pin.grows) else {
                continue;
            };
            let corners = outlines.below(f64::INFINITY).to_vec();
            let outline = Outlined::hull(corners, outlines.height());
            if outline.meets(placed, run.outline(placed) * run.elongation(placed), aside) {
                under.push(i);
                high = high.max(pin.height());
            }
        }
        under.sort_unstable();
        (under, high)
    }

    /// Most height over the ground that a piece is laid at, metres: over what is under it, of earlier passes and pins, and with a pile of its
    /// own pass.
    pub(super) fn most(&self, pass: usize, placed: &Placed, over: f64, over_pins: f64) -> f64 {
        let pile = self.pile(pass, placed);
        let most = (over + pile).min(self.run.passes[pass].lift);
        if over_pins > 0.0 {
            most.max(over_pins + pile)
        } else {
            most
        }
    }

    /// Most height over the ground that a piece is laid at, metres: over the highest thing that may be under it.
    pub(super) fn measured(
        &self,
        pass: usize,
        placed: &Placed,
        heights: &[FxHashMap<u64, f64>],
    ) -> f64 {
        let run = &self.run.passes[pass];
        let smallest = self.heeds(run, placed);
        let mut most: f64 = 0.0;
        for other in run.beds.iter().copied().filter(|o| *o != pass) {
            let bed = &self.run.passes[other];
            self.touching(
                run,
                placed,
                bed,
                &self.run.strata(other),
                smallest,
                |q, _| {
                    most = most.max(self.top(other, q, heights));
                },
            );
        }
        let (_, high) = self.pins_under(run, placed);
        self.most(pass, placed, most, high)
    }

    /// Most height over the ground of a piece's top, metres.
    pub(super) fn top(&self, pass: usize, placed: &Placed, heights: &[FxHashMap<u64, f64>]) -> f64 {
        let run = &self.run.passes[pass];
        let known = heights[pass].get(&placed.id).copied();
        // Of a pass that lies on nothing but itself and pins
        let alone = || self.most(pass, placed, 0.0, self.pins_under(run, placed).1);
        known.unwrap_or_else(alone) + self.stands(run, placed)
    }

    /// Evaluates what may be under some pieces of a pass, under that, and so on down, and how high each of that may be laid.
    pub(super) fn ensure_under(&self, pass: usize, pieces: Vec<Placed>) -> error::Result<()> {
        let mut need: Vec<BTreeMap<u64, Placed>> = vec![BTreeMap::new(); pass + 1];
        let mut upper = pieces;
        for above in (0..=pass).rev() {
            if above < pass {
                upper = need[above].values().copied().collect();
            }
            let run = &self.run.passes[above];
            let beside = if above == pass { &run.beside[..] } else { &[] };
            for other in beside {
                self.run
                    .ensure(*other, &self.round(above, &upper, *other))?;
            }
            for bed in run.beds.iter().copied() {
                self.run.ensure(bed, &self.round(above, &upper, bed))?;
                // How high its own pass lifts a piece is known without a look
                if bed != above {
                    need[bed].extend(self.all_under(above, &upper, bed));
                }
            }
        }
        for (below, pieces) in need.iter().enumerate().take(pass) {
            self.measure_heights(below, pieces);
        }
        Ok(())
    }

    /// The blocks of a bed that hold what may be under some pieces.
    fn round(&self, pass: usize, pieces: &[Placed], bed: usize) -> Blocks {
        let run = &self.run.passes[pass];
        let strata = self.run.strata(bed);
        let reach = self.run.passes[bed].reach;
        let octaves: Vec<&Octave> = strata.plan.schedule.octaves.iter().collect();
        let round = |(octave, layer): (usize, &&Octave)| {
            let reached = pieces.iter().filter(|p| layer.to >= self.heeds(run, p));
            let blocks = reached.flat_map(|p| {
                let reach = (run.reach * f64::from(p.diameter) + reach * layer.to) * NANO;
                let place = Rectangle {
                    x0: p.x,
                    z0: p.z,
                    x1: p.x,
                    z1: p.z,
                };
                strata.blocks_of(octave, place.grown(reach as i64 + 1))
            });
            let mut blocks: Vec<BlockAt> = blocks.collect();
            blocks.dedup();
            blocks.into_iter().collect()
        };
        octaves.par_iter().enumerate().map(round).collect()
    }

    /// The pieces of a bed that may be under some pieces. The ground round them has been evaluated.
    fn all_under(&self, pass: usize, pieces: &[Placed], bed: usize) -> Vec<(u64, Placed)> {
        let (run, below) = (&self.run.passes[pass], &self.run.passes[bed]);
        let strata = self.run.strata(bed);
        let found: Vec<Vec<(u64, Placed)>> = pieces
            .par_iter()
            .map(|p| {
                let mut found = Vec::new();
                self.touching(run, p, below, &strata, self.heeds(run, p), |q, _| {
                    found.push((q.id, *q));
                });
                found
            })
            .collect();
        found.into_iter().flatten().collect()
    }

    /// Works out how high some pieces may be laid. What they lie on has been worked out.
    fn measure_heights(&self, pass: usize, pieces: &BTreeMap<u64, Placed>) {
        if self.run.passes[pass].beds.iter().all(|bed| *bed == pass) {
            return;
        }
        let found: Vec<(u64, f64)> = {
            let heights = self.heights.read().unwrap_or_else(PoisonError::into_inner);
            let new: Vec<&Placed> = pieces
                .values()
                .filter(|p| !heights[pass].contains_key(&p.id))
                .collect();
            new.par_iter()
                .map(|p| (p.id, self.measured(pass, p, &heights)))
                .collect()
        };
        self.heights.write().unwrap_or_else(PoisonError::into_inner)[pass].extend(found);
    }
}
