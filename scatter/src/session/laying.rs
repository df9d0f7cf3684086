//! Laying one piece, on what lies under it.

use super::pass_run::PassRun;
use super::run::Run;
use super::settled::{PIN, Refusal};
use super::spans::PILE;
use super::unsettled::Unsettled;
use crate::field::Outlined;
use crate::place::schedule::Octave;
use crate::place::strata::{BlockAt, Blocks};
use crate::plan::{NANO, Placed, Rectangle};
use crate::rest::{self, Laying, Lying, RigidBody, SettledSurface, Standing};
use rayon::prelude::*;

impl Run<'_> {
    /// Lays a piece that was asked for, on what it heeds.
    pub(super) fn lay_piece(&self, pass: usize, asked: &Unsettled) -> Result<Standing, Refusal> {
        if self.removed.contains(&asked.placed.id) {
            return Err(Refusal::Removed);
        }
        let run = &self.passes[pass];
        let (body, b_axis) = self.body(run, &asked.placed);
        let under: Vec<Lying<'_>> = asked.under.iter().filter_map(|h| self.lying(*h)).collect();
        let alone = under.is_empty();
        let surface = SettledSurface::new(&self.scene.ground, under);
        let laying = Laying {
            rest: &run.pass.rest,
            key: run.key,
            slides: run.heeds.slides,
            level: false,
        };
        let beside: Vec<Lying<'_>> = asked.beside.iter().filter_map(|h| self.lying(*h)).collect();
        if run.kit.stones.is_some() {
            let lay = |placed: &Placed, laying| {
                let [x, z] = [placed.x, placed.z].map(|v| v as f64 / NANO);
                let lay = || rest::lay(placed, body, b_axis, laying, &surface);
                self.scene.ground.holds(x, z).then(lay).flatten()
            };
            let (standing, depth) =
                nudged(&asked.placed, body, laying, &beside, lay).ok_or(Refusal::Slides)?;
            return if depth > TOO_DEEP {
                Err(Refusal::Meets)
            } else {
                Ok(standing)
            };
        }
        let standing =
            rest::lay(&asked.placed, body, b_axis, laying, &surface).ok_or(Refusal::Slides)?;
        // What would lie higher than a pile can slides off
        if !alone {
            let ground = self
                .scene
                .ground
                .height(standing.position.x, standing.position.z);
            let low = body.lowest(&standing) - ground;
            if low > self.most(pass, &asked.placed, &asked.under) {
                return Err(Refusal::Slides);
            }
        }
        if beside.iter().any(|other| body.meets(&standing, other)) {
            return Err(Refusal::Meets);
        }
        Ok(standing)
    }

    /// Most height over the ground that a piece is laid at, metres: on the highest of what lies
    /// under it of earlier passes and of the pins, and as high as a pile of its own pass.
    pub(super) fn most(&self, pass: usize, placed: &Placed, under: &[(u16, u64)]) -> f64 {
        let here = self
            .scene
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
        let most = (over + pile).min(self.passes[pass].spans.lift);
        if over_pins > 0.0 {
            most.max(over_pins + pile)
        } else {
            most
        }
    }

    /// Most height that pieces of its own pass lift a piece by, metres.
    fn pile(&self, pass: usize, placed: &Placed) -> f64 {
        let run = &self.passes[pass];
        if run.heeds.beds.contains(&pass) {
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

    /// Numbers of the pins that may be under a piece, and how high the highest of them stands over
    /// the ground, metres.
    pub(super) fn pins_under(&self, run: &PassRun<'_>, placed: &Placed) -> (Vec<u32>, f64) {
        if !run.heeds.pins || self.pins.all.is_empty() {
            return (Vec::new(), 0.0);
        }
        let aside = run.spans.aside * f64::from(placed.diameter) * NANO;
        let reach = run.spans.from_place * f64::from(placed.diameter) * NANO;
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
        let reach = self.passes[other].spans.from_place;
        let octaves: Vec<&Octave> = strata.plan.schedule.octaves.iter().collect();
        let round = |(octave, layer): (usize, &&Octave)| {
            let reached = pieces
                .iter()
                .filter(|(p, _)| layer.to >= self.heeds(run, p));
            let blocks = reached.flat_map(|(p, _)| {
                let reach =
                    (run.spans.from_place * f64::from(p.diameter) + reach * layer.to) * NANO;
                strata.blocks_of(octave, Rectangle::at(p.x, p.z).grown(reach as i64 + 1))
            });
            let mut blocks: Vec<BlockAt> = blocks.collect();
            blocks.dedup();
            blocks.into_iter().collect()
        };
        octaves.par_iter().enumerate().map(round).collect()
    }
}

/// A stone that would still cut deeper than this into what lies beside it, over its own size, is
/// left out: deeper, a picture shows it.
const TOO_DEEP: f64 = 0.02;
/// Times that a stone is nudged off what it cuts into.
const NUDGES: usize = 4;

/// Lays a stone so that it cuts as little as can be into what lies beside it: as it was drawn; else
/// level; else nudged off what it cuts into most, by no more than a piece drifts as it is set down.
/// Stones keep apart by level outlines: what the ground's slope and their tilt change of these is
/// made good here. With how it lies, how deep it still cuts, over its own size.
fn nudged<'a>(
    placed: &Placed,
    body: &RigidBody,
    laying: Laying<'a>,
    beside: &[Lying<'_>],
    lay: impl Fn(&Placed, Laying<'a>) -> Option<Standing>,
) -> Option<(Standing, f64)> {
    let deepest = |standing: &Standing| {
        let depths = beside
            .iter()
            .map(|other| (body.depth(standing, other), other));
        depths.reduce(|a, b| if b.0 > a.0 { b } else { a })
    };
    let drawn = lay(placed, laying)?;
    let (mut depth, mut off) = match deepest(&drawn) {
        Some((depth, other)) if depth > 0.0 => (depth, other),
        _ => return Some((drawn, 0.0)),
    };
    let mut best = drawn;
    let level = Laying {
        level: true,
        ..laying
    };
    let most = rest::DRIFT * NANO * f64::from(placed.diameter);
    let (mut dx, mut dz) = (0.0_f64, 0.0_f64);
    for nudge in 0..=NUDGES {
        if nudge > 0 {
            let middle = best.position + best.rotation * (body.centre * best.scale);
            let (ax, az) = (middle.x - off.middle[0], middle.z - off.middle[1]);
            let far = libm::sqrt(ax * ax + az * az);
            if far == 0.0 {
                break;
            }
            let by = NANO * depth * 2.0 * body.radius * best.scale;
            (dx, dz) = (dx + by * ax / far, dz + by * az / far);
            let way = libm::sqrt(dx * dx + dz * dz);
            if way > most {
                (dx, dz) = (dx * most / way, dz * most / way);
            }
        }
        let there = Placed {
            x: placed.x + dx as i64,
            z: placed.z + dz as i64,
            ..*placed
        };
        let Some(standing) = lay(&there, level) else {
            break;
        };
        let Some((found, other)) = deepest(&standing) else {
            return Some((standing, 0.0));
        };
        if found <= 0.0 {
            return Some((standing, 0.0));
        }
        if found < depth {
            (depth, best) = (found, standing);
        }
        off = other;
    }
    Some((best, depth))
}
