//! Peaks of what lies below, on which a sheet may come to lie: the sheet's own vertices are too far
//! apart to find them.
//!
//! Beds of gravel have a thousand peaks under a leaf, of which a few matter. So each is tested only
//! where it can lift the sheet higher than it is known to be lifted already: the box about the
//! sheet bounds how much a peak can lift it.

use glam::DVec3;

use super::body::RigidBody;
use super::contact::HeightProbe;
use super::held::Felt;
use super::surface::SettledSurface;
use crate::brief::Lies;

/// Peaks under a sheet in one pose.
pub(super) struct Peaks<'a> {
    probe: HeightProbe<'a>,
    /// World place over which the sheet's middle is held, at height 0.
    middle: DVec3,
    /// Peaks not tested yet, with an upper bound of how high they can lift the sheet, as
    /// [`Felt::lifts`] counts.
    waiting: Vec<(DVec3, f64)>,
}

impl<'a> Peaks<'a> {
    /// What may be under a sheet within `reach` of a plan place, world, metres; empty for what is
    /// no sheet.
    pub(super) fn within(
        body: &RigidBody,
        surface: &SettledSurface<'_>,
        place: [f64; 2],
        reach: f64,
    ) -> Vec<DVec3> {
        if body.lies != Lies::Sheet {
            return Vec::new();
        }
        let lying = surface.lying().iter();
        let all = lying.flat_map(|l| l.body.peaks().iter().map(|p| l.probe.world(*p)));
        all.filter(|p| {
            let (dx, dz) = (p.x - place[0], p.z - place[1]);
            dx * dx + dz * dz <= reach * reach
        })
        .collect()
    }

    /// Those of `all` that are under a sheet whose middle is held over a plan place at height 0.
    pub(super) fn new(all: &[DVec3], probe: HeightProbe<'a>, place: [f64; 2]) -> Self {
        let bound = |peak: &DVec3| {
            let lowest = probe.box_over(peak.x, peak.z)?;
            Some((*peak, peak.y - lowest))
        };
        Self {
            probe,
            middle: DVec3::new(place[0], 0.0, place[1]),
            waiting: all.iter().filter_map(bound).collect(),
        }
    }

    /// Tests the peaks whose bound `matters` at their place relative to the middle, and adds what
    /// they lift, if less than `most`, to what is felt. Returns whether any was tested.
    pub(super) fn ask(
        &mut self,
        felt: &mut Vec<Felt>,
        most: f64,
        matters: impl Fn(DVec3, f64) -> bool,
    ) -> bool {
        let (probe, middle) = (&self.probe, self.middle);
        let before = self.waiting.len();
        self.waiting.retain(|(peak, bound)| {
            if !matters(*peak - middle, *bound) {
                return true;
            }
            if let Some(under) = probe.underside_below(peak.x, peak.z, f64::INFINITY) {
                let felt_there = Felt {
                    at: DVec3::new(peak.x, under.height, peak.z) - middle,
                    ground: peak.y,
                };
                // What would lift it by more than its own size stands beside it
                if felt_there.lifts() < most {
                    felt.push(felt_there);
                }
            }
            false
        });
        self.waiting.len() < before
    }
}
