//! What can be said of a dressing before any of it is made: where, and whether it is too much.

use super::needed::wish;
use super::prepared::Prepared;
use super::run::Run;
use crate::brief::Brief;
use crate::cancel::Cancel;
use crate::error::Result;
use crate::view::ConvexPolygon;

impl Prepared {
    /// Where each pass's octaves are made, pass by pass and largest first; the same in every take.
    ///
    /// # Errors
    /// Two passes fold to the same mark in piece ids.
    pub fn octave_regions(&self) -> Result<Vec<Vec<OctaveRegion>>> {
        let cancel = Cancel::new();
        let run = Run::new(self, &self.brief, &cancel)?;
        let of_pass = |(index, pass)| {
            let strata = run.strata(index);
            let octaves = strata.plan.schedule.octaves.iter();
            octaves
                .map(|layer| OctaveRegion {
                    sizes: [layer.from, layer.to],
                    regions: self
                        .scene
                        .view
                        .regions(wish(pass, layer.to), &self.scene.ground),
                })
                .collect()
        };
        Ok(run.passes.iter().enumerate().map(of_pass).collect())
    }

    /// Refuses a take of the brief that is surely over the shot's budget, before anything of it is
    /// made.
    ///
    /// # Errors
    /// With the pass that is to be thinned; or two passes fold to the same mark in piece ids.
    pub fn check_budget(&self, brief: &Brief) -> Result<()> {
        let cancel = Cancel::new();
        let run = Run::new(self, brief, &cancel)?;
        run.check_demand()?;
        let wanted: Vec<_> = (0..run.passes.len())
            .map(|index| run.wanted(index))
            .collect();
        run.check_forecast(&wanted)
    }
}

/// The sizes of one octave of a pass, and the plan polygons, one a camera that resolves any of it,
/// in which it is made.
#[derive(Debug, Clone)]
pub struct OctaveRegion {
    /// Smallest and largest diameter, metres.
    pub sizes: [f64; 2],
    /// Where it is made.
    pub regions: Vec<ConvexPolygon>,
}
