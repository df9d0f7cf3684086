//! Laying one piece, on what lies under it.

use super::run::{PassRun, Run};
use super::settled::Refusal;
use super::settling::{Asked, PILE, PIN};
use crate::field::Outlined;
use crate::place::schedule::Octave;
use crate::place::strata::{BlockAt, Blocks};
use crate::plan::{NANO, Placed, Rectangle};
use crate::rest::{self, Laying, Lying, Standing, Surface};
use rayon::prelude::*;

impl Run<'_> {
    /// Lays a piece that was asked for, on what it heeds.
    pub(super) fn lay_piece(&self, pass: usize, asked: &Asked) -> Result<Standing, Refusal> {
        if self.removed.contains(&asked.placed.id) {
            return Err(Refusal::Removed);
        }
        let run = &self.passes[pass];
        let (body, b_axis) = self.body(run, &asked.placed);
        let under: Vec<Lying<'_>> = asked.under.iter().filter_map(|h| self.lying(*h)).collect();
        let alone = under.is_empty();
        let surface = Surface::new(self.ground, under);
        let laying = Laying {
            rest: &run.pass.rest,
            key: run.key,
            slides: run.slides,
        };
        let standing =
            rest::lay(&asked.placed, body, b_axis, laying, &surface).ok_or(Refusal::Slides)?;
        // What would lie higher than a pile can slides off
        if !alone {
            let ground = self.ground.height(standing.position.x, standing.position.z);
            let low = body.lowest(&standing) - ground;
            if low > self.most(pass, &asked.placed, &asked.under) {
                return Err(Refusal::Slides);
            }
        }
        let mut beside = asked.beside.iter().filter_map(|h| self.lying(*h));
        if beside.any(|other| body.meets(&standing, &other)) {
            return Err(Refusal::Meets);
        }
        Ok(standing)
    }

    /// Most height over the ground that a piece is laid at, metres: on the highest of what lies under
    /// it of earlier passes and of the pins, and as high as a pile of its own pass.
    pub(super) fn most(&self, pass: usize, placed: &Placed, under: &[(u16, u64)]) -> f64 {
        let here = self
            .ground
            .height(placed.x as f64 / NANO, placed.z as f64 / NANO);
        let (mut over, mut over_pins) = (0.0_f64, 0.0_f64);
        for heeded in under.iter().filter(|(o, _)| usize::from(*o) != pass) {
            let Some(lying) = self.lying(*heeded) else {
                continue;
            };
            let high = lying.probe.top - here;
            if heeded.0 == PIN {
                over_pins = over_pins.max(high);
            } else {
                over = over.max(high);
            }
        }
        let pile = self.pile(pass, placed);
        let most = (over + pile).min(self.passes[pass].lift);
        if over_pins > 0.0 {
            most.max(over_pins + pile)
        } else {
            most
        }
    }

    /// Most height that pieces of its own pass lift a piece by, metres.
    fn pile(&self, pass: usize, placed: &Placed) -> f64 {
        let run = &self.passes[pass];
        if run.beds.contains(&pass) {
            let (body, b_axis) = self.body(run, placed);
            PILE * body.stands() / b_axis * f64::from(placed.diameter)
        } else {
            0.0
        }
    }

    /// Whether a camera may need a piece that lies on a pin.
    pub(super) fn may_be_seen_on_pins(&self, pass: usize, placed: &Placed) -> bool {
        let run = &self.passes[pass];
        let (_, high) = self.pins_under(run, placed);
        high > 0.0 && self.may_be_seen(run, placed, high + self.pile(pass, placed), true)
    }

    /// Numbers of the pins that may be under a piece, and how high the highest of them stands over the ground, metres.
    pub(super) fn pins_under(&self, run: &PassRun<'_>, placed: &Placed) -> (Vec<u32>, f64) {
        if !run.on_pins || self.pins.all.is_empty() {
            return (Vec::new(), 0.0);
        }
        let aside = run.aside * f64::from(placed.diameter) * NANO;
        let reach = run.reach * f64::from(placed.diameter) * NANO;
        let place = Rectangle::at(placed.x, placed.z);
        let (mut under, mut high) = (Vec::new(), 0.0_f64);
        for i in self.pins.near(place.grown(reach as i64 + 1)) {
            let pin = &self.pins.all[i as usize];
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

    /// The blocks of a pass that hold what may be under or beside some pieces.
    pub(super) fn round(&self, pass: usize, pieces: &[(Placed, u8)], other: usize) -> Blocks {
        let run = &self.passes[pass];
        let strata = self.strata(other);
        let reach = self.passes[other].reach;
        let octaves: Vec<&Octave> = strata.plan.schedule.octaves.iter().collect();
        let round = |(octave, layer): (usize, &&Octave)| {
            let reached = pieces
                .iter()
                .filter(|(p, _)| layer.to >= self.heeds(run, p));
            let blocks = reached.flat_map(|(p, _)| {
                let reach = (run.reach * f64::from(p.diameter) + reach * layer.to) * NANO;
                strata.blocks_of(octave, Rectangle::at(p.x, p.z).grown(reach as i64 + 1))
            });
            let mut blocks: Vec<BlockAt> = blocks.collect();
            blocks.dedup();
            blocks.into_iter().collect()
        };
        octaves.par_iter().enumerate().map(round).collect()
    }
}
