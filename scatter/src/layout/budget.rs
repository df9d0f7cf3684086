//! The budget of a layout, checked as early as it can be known.
//!
//! Before anything is placed each pass is forecast where the cameras need it, and a shot that is
//! surely over its budget stops there. What the forecast can't tell (other passes and what slides
//! thin a pass) is checked on the pieces themselves: their number pass by pass, meshes and memory
//! at the end.

use std::collections::{BTreeSet, HashSet};

use glam::DVec3;

use super::memory::{BYTES_PER_INSTANCE, Held};
use super::run::Run;
use super::{Dresser, Layout};
use crate::error::{Error, Fault, Kind, Result};
use crate::kit::Piece;
use crate::place::strata::BlockAt;
use crate::plan::NANO;
use crate::shot::SHADE;
use crate::view;

/// A forecast over what is sure of it. Samples and what slides leave it within a half; of a pass
/// that others say where to gather, and whose relations the forecast counts as full, a tenth is
/// taken for sure.
fn sure(related: bool) -> f64 {
    if related { 10.0 } else { 2.0 }
}

/// A pass that is forecast to lay this many of each of its pieces lays each of them: by chance one
/// in e^8, or three thousand, would be left out.
const EACH_IS_LAID: f64 = 8.0;

/// One figure of a cost.
type Figure = fn(&Cost<'_>) -> f64;

/// What a pass needs.
struct Cost<'a> {
    name: &'a str,
    pieces: f64,
    /// Triangles of its meshes that no earlier pass needs.
    triangles: u64,
    /// Render memory of these meshes and of its pieces, bytes.
    bytes: f64,
}

impl Dresser<'_> {
    /// Refuses a take that is surely over the shot's budget, before anything of it is made.
    ///
    /// # Errors
    /// With the pass that is to be thinned; or two passes fold to the same mark in piece ids.
    pub fn check_budget(&self, take: u64) -> Result<()> {
        let run = self.run(take)?;
        self.check_demand(&run)?;
        let wanted: Vec<_> = (0..run.passes.len())
            .map(|index| self.wanted(&run, index))
            .collect();
        self.check_forecast(&run, &wanted)
    }

    /// Stops a shot that is surely over its budget before anything of it is made. `wanted` are the
    /// blocks of each pass.
    pub(super) fn check_forecast(
        &self,
        run: &Run<'_>,
        wanted: &[Vec<BTreeSet<BlockAt>>],
    ) -> Result<()> {
        let mut known = HashSet::new();
        let costs = wanted.iter().enumerate().map(|(index, blocks)| {
            let pieces = self.forecast(run, index, blocks) / sure(run.is_related(index));
            let pass = run.passes[index].pass;
            let [from, to] = self.shot.ask(index).sizes.range();
            let serves = |sizes: Option<[f64; 2]>| {
                pass.stretch || sizes.is_none_or(|[least, most]| least <= to && most >= from)
            };
            let kit = self.kits[index].iter();
            let kit: Vec<_> = kit
                .filter(|s| serves(s.sizes) && s.share * pieces >= EACH_IS_LAID)
                .filter(|s| known.insert(s.piece))
                .map(|s| self.least(s.piece))
                .collect();
            cost(&pass.name, pieces, kit.into_iter())
        });
        self.judge(&costs.collect::<Vec<_>>(), "at least ")
    }

    pub(super) fn check_pieces(&self, name: &str, index: usize, pieces: usize) -> Result<()> {
        if pieces as u64 > self.shot.budget.pieces {
            let problem = format!(
                "with pass `{name}` the layout has {pieces} pieces; the budget is {}",
                self.shot.budget.pieces
            );
            let hint = format!("{THIN}, or raise `budget.pieces`");
            let fault = Fault::new(self.part(index, name), problem, hint);
            return Err(Error::new(Kind::OverBudget, fault));
        }
        Ok(())
    }

    /// The part of the document that asks for a record of the layout: a pass, or the pins, the
    /// carpet or the shade, which are named as they are.
    fn part(&self, index: usize, name: &str) -> String {
        if index < self.shot.passes.len() {
            format!("passes[{index}]")
        } else {
            name.to_owned()
        }
    }

    /// Stops a layout whose pieces are over the budget with the shot's own carpet or shade.
    pub(super) fn check_made(&self, name: &str, pieces: usize) -> Result<()> {
        if pieces as u64 <= self.shot.budget.pieces {
            return Ok(());
        }
        let hint = if name == SHADE {
            "ask for larger flecks or a nearer `far`, or raise `budget.pieces`"
        } else {
            "lay larger tiles, ask for a nearer `far`, or raise `budget.pieces`"
        };
        let problem = format!(
            "with the {name} the layout has {pieces} pieces; the budget is {}",
            self.shot.budget.pieces
        );
        Err(Error::new(
            Kind::OverBudget,
            Fault::new(name, problem, hint),
        ))
    }

    /// Stops a layout whose meshes or memory are over the budget.
    pub(super) fn check_layout(&self, layout: &Layout) -> Result<()> {
        let mut known = HashSet::new();
        let costs = layout.passes.iter().enumerate().map(|(index, pass)| {
            let own = layout.instances.iter();
            let own = own.filter(|i| usize::from(i.pass) == index);
            let new: Vec<&Piece> = own
                .filter(|i| known.insert(i.piece))
                .map(|i| &layout.pieces[usize::from(i.piece)])
                .collect();
            cost(&pass.name, pass.tally.placed as f64, new.into_iter())
        });
        self.judge(&costs.collect::<Vec<_>>(), "")
    }

    /// Is all within the budget? `about` goes before figures.
    fn judge(&self, costs: &[Cost<'_>], about: &str) -> Result<()> {
        let budget = &self.shot.budget;
        let gigabytes = |bytes: f64| format!("{:.2} GB", bytes * 1e-9);
        let count = |n: f64| format!("{n:.0}");
        let limits: [(&str, &str, Figure, f64, String); 3] = [
            (
                "pieces",
                "pieces",
                |c| c.pieces,
                budget.pieces as f64,
                budget.pieces.to_string(),
            ),
            (
                "triangles",
                "triangles of meshes",
                |c| c.triangles as f64,
                budget.triangles as f64,
                budget.triangles.to_string(),
            ),
            (
                "memory",
                "of render memory",
                |c| c.bytes,
                budget.memory.bytes() as f64,
                budget.memory.to_string(),
            ),
        ];
        for (key, what, of, most, said) in limits {
            let sum: f64 = costs.iter().map(of).sum();
            if sum <= most {
                continue;
            }
            let say = |n: f64| {
                if key == "memory" {
                    gigabytes(n)
                } else {
                    count(n)
                }
            };
            let mut by_cost: Vec<(usize, &Cost<'_>)> = costs.iter().enumerate().collect();
            by_cost.sort_by(|a, b| of(b.1).total_cmp(&of(a.1)));
            let Some((index, largest)) = by_cost.first() else {
                return Ok(());
            };
            let listed = by_cost.iter().take(LISTED).map(|(_, c)| {
                format!(
                    "`{}` {} pieces, {} triangles of meshes, {}",
                    c.name,
                    count(c.pieces),
                    c.triangles,
                    gigabytes(c.bytes)
                )
            });
            let problem = format!(
                "the layout needs {about}{} {what}, {} of it for pass `{}`; the budget is {said}",
                say(sum),
                say(of(largest)),
                largest.name
            );
            let hint = format!(
                "thin pass `{}` ({THIN}), or raise `budget.{key}`; what each pass costs: {about}{}",
                largest.name,
                listed.collect::<Vec<_>>().join("; ")
            );
            let fault = Fault::new(self.part(*index, largest.name), problem, hint);
            return Err(Error::new(Kind::OverBudget, fault));
        }
        Ok(())
    }

    /// The version of a piece of the kit with the fewest triangles.
    fn least(&self, piece: u16) -> &Piece {
        let details = self.details.as_ref();
        let coarsest = details.map_or(piece, |details| details.coarsest(piece));
        &self.pieces[usize::from(coarsest)]
    }
}

/// How a pass is thinned.
const THIN: &str = "less cover, larger pieces or a coarser `resolve.pixels`";

/// Passes that a message lists, the dearest first.
const LISTED: usize = 5;

fn cost<'a>(name: &'a str, pieces: f64, meshes: impl Iterator<Item = &'a Piece>) -> Cost<'a> {
    let mut held = Held::default();
    meshes.for_each(|piece| held.add_piece(piece));
    Cost {
        name,
        pieces,
        triangles: held.triangles,
        bytes: held.bytes() as f64 + pieces * BYTES_PER_INSTANCE as f64,
    }
}

impl Dresser<'_> {
    /// Pieces that a pass would lay where the cameras need them, were no other pass in its way.
    fn forecast(&self, run: &Run<'_>, index: usize, wanted: &[BTreeSet<BlockAt>]) -> f64 {
        /// Blocks that are sampled, and places in all of them together: the needed share of a block
        /// as large as a hundred frames is met within a third.
        const BLOCKS: usize = 64;
        const PLACES: f64 = 1024.0;
        let strata = run.strata(index);
        let mut pieces = 0.0;
        for (octave, blocks) in wanted.iter().enumerate() {
            if blocks.is_empty() {
                continue;
            }
            let layer = &strata.plan.schedule.octaves[octave];
            let side = strata.block_side(octave) as f64 / NANO;
            let every = blocks.len().div_ceil(BLOCKS);
            let sampled = blocks.len().div_ceil(every);
            let across = (PLACES / sampled as f64).sqrt().ceil();
            let mut places = Vec::new();
            for b in blocks.iter().step_by(every) {
                let r = strata.block_rectangle(octave, *b);
                let at = |low: i64, k: f64| low as f64 / NANO + side * (k + 0.5) / across;
                for i in 0..across as usize {
                    places.extend(
                        (0..across as usize).map(|k| [at(r.x0, i as f64), at(r.z0, k as f64)]),
                    );
                }
            }
            let diameter = (layer.from * layer.to).sqrt();
            let needed = |[x, z]: [f64; 2]| {
                let radius = 0.5 * diameter;
                let middle = DVec3::new(x, self.ground().height(x, z) + radius, z);
                let body = view::Body {
                    middle,
                    radius,
                    diameter,
                };
                let crest = view::Crest {
                    top: middle.y + radius,
                    tall: diameter,
                };
                self.view().reason(&body, crest, self.ground()).is_some()
            };
            let share = run.mean_strength(index, &places, needed);
            pieces += layer.asked * side * side * blocks.len() as f64 * share;
        }
        pieces
    }
}
