//! What can be said of a dressing before any of it is made: where, and whether it is too much.

use super::needed::wish;
use super::prepared::Prepared;
use super::run::Run;
use crate::brief::Brief;
use crate::cancel::Cancel;
use crate::error::Result;
use crate::view::ConvexPolygon;

impl Prepared {
    /// Where each pass's octaves are made: one list a pass, the largest octave first; the same in
    /// every take.
    ///
    /// # Errors
    /// Two layers share a mark in piece ids, or a pass asks for sizes that none of its pieces has.
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

    /// Refuses a take of the brief that is sure to exceed the shot's budget, before any of it is
    /// made.
    ///
    /// # Errors
    /// The take is over budget: names the pass to thin. Or as [`Prepared::octave_regions`].
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

/// One octave of a pass: its sizes, and where it is made.
#[derive(Debug, Clone)]
pub struct OctaveRegion {
    /// Smallest and largest diameter, metres.
    pub sizes: [f64; 2],
    /// Plan polygons in which it is made, world x and z in metres: one for each camera that
    /// resolves any of it.
    pub regions: Vec<ConvexPolygon>,
}
