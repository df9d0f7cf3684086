//! The budget of a layout, checked as early as it can be known.

use std::collections::BTreeSet;

use super::run::Run;
use super::{Dresser, Layout, RenderMemory};
use crate::error::{Error, Fault, Kind, Result};
use crate::place::strata::BlockAt;
use crate::plan::NANO;
use crate::shot::PINS;

impl Dresser<'_> {
    /// Stops a pass that is far over the budget before it is made.
    pub(super) fn forecast(
        &self,
        run: &Run<'_>,
        index: usize,
        wanted: &[BTreeSet<BlockAt>],
    ) -> Result<()> {
        /// A forecast counts relations to other passes and the frame's ragged edge as full: only twice the budget is surely over it.
        const SURELY_OVER: f64 = 2.0;
        /// Blocks that the fields are sampled in.
        const SAMPLED: usize = 64;
        let strata = run.strata(index);
        let mut forecast = 0.0;
        for (octave, blocks) in wanted.iter().enumerate() {
            let side = strata.block_side(octave) as f64 / NANO;
            let every = blocks.len() / SAMPLED + 1;
            let sampled: Vec<_> = blocks
                .iter()
                .step_by(every)
                .map(|b| strata.block_rectangle(octave, *b))
                .collect();
            forecast += strata.plan.schedule.octaves[octave].asked
                * side
                * side
                * blocks.len() as f64
                * run.mean_strength(index, &sampled);
        }
        if forecast > SURELY_OVER * self.shot.budget.pieces as f64 {
            return Err(self.over_pieces(
                &run.passes[index].pass.name,
                index,
                &format!("about {forecast:.3e}"),
            ));
        }
        Ok(())
    }

    pub(super) fn check_pieces(&self, name: &str, index: usize, pieces: usize) -> Result<()> {
        if pieces as u64 > self.shot.budget.pieces {
            return Err(self.over_pieces(name, index, &pieces.to_string()));
        }
        Ok(())
    }

    fn over_pieces(&self, name: &str, index: usize, pieces: &str) -> Error {
        Error::new(
            Kind::OverBudget,
            Fault::new(
                if index < self.shot.passes.len() {
                    format!("passes[{index}]")
                } else {
                    PINS.to_owned()
                },
                format!(
                    "with pass `{name}` the layout has {pieces} pieces; the budget is {}",
                    self.shot.budget.pieces
                ),
                "ask for less cover, larger pieces or a coarser `resolve.pixels`, or raise `budget.pieces`",
            ),
        )
    }

    pub(super) fn check_memory(&self, layout: &Layout) -> Result<()> {
        let budget = &self.shot.budget;
        let memory = RenderMemory::of(layout).bytes;
        let triangles: u64 = layout
            .pieces
            .iter()
            .zip(layout.used_pieces())
            .filter(|(_, used)| *used)
            .map(|(p, _)| p.triangles())
            .sum();
        let over = |what: &str, got: String, most: String, key: &str| {
            let largest = layout
                .passes
                .iter()
                .max_by_key(|p| p.tally.placed)
                .map_or("", |p| p.name.as_str());
            Error::new(
                Kind::OverBudget,
                Fault::new(
                    format!("budget.{key}"),
                    format!("the layout needs {got} {what}; the budget is {most}"),
                    format!(
                        "thin pass `{largest}`, which has the most pieces, or raise `budget.{key}`"
                    ),
                ),
            )
        };
        if triangles > budget.triangles {
            return Err(over(
                "triangles of meshes",
                triangles.to_string(),
                budget.triangles.to_string(),
                "triangles",
            ));
        }
        if memory > budget.memory.bytes() {
            let got = format!("about {:.2} GB", memory as f64 * 1e-9);
            return Err(over(
                "of render memory",
                got,
                budget.memory.to_string(),
                "memory",
            ));
        }
        Ok(())
    }
}
