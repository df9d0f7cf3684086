//! The ground in which a camera may need pieces of a pass.

use std::collections::BTreeSet;

use super::pass_run::PassRun;
use super::run::Run;
use super::spans::NEARER_HIGH;
use crate::place::strata::{BlockAt, Blocks};
use crate::plan::{NANO, Placed, Rectangle};
use crate::rest::Lying;
use crate::view::{self, ConvexPolygon, OctaveReach};
use rayon::prelude::*;

impl Run<'_> {
    /// The blocks of each octave of a pass in which a camera may need pieces.
    pub(super) fn wanted(&self, index: usize) -> Blocks {
        let strata = self.strata(index);
        let pass = &self.passes[index];
        let octaves = &strata.plan.schedule.octaves;
        octaves
            .iter()
            .enumerate()
            .map(|(octave, layer)| {
                let regions = self
                    .scene
                    .view
                    .regions(wish(pass, layer.to), &self.scene.ground);
                let mut blocks = BTreeSet::new();
                for region in &regions {
                    blocks.extend(self.blocks_of(region, strata.block_side(octave)));
                }
                if pass.heeds.pins {
                    self.on_pins(pass, layer.to, |r| {
                        blocks.extend(strata.blocks_of(octave, r))
                    });
                }
                blocks
            })
            .collect()
    }

    /// The pieces of the blocks in view that a camera may see, if they lie as high as any of the
    /// pass can.
    pub(super) fn candidates(&self, index: usize, wanted: &Blocks) -> Vec<(Placed, u8)> {
        let pass = &self.passes[index];
        let strata = self.strata(index);
        let blocks: Vec<(usize, BlockAt)> = wanted
            .iter()
            .enumerate()
            .flat_map(|(octave, set)| set.iter().map(move |b| (octave, *b)))
            .collect();
        let found: Vec<Vec<(Placed, u8)>> = blocks
            .par_iter()
            .map(|(octave, at)| {
                let placed = strata.block(*octave, *at).iter();
                let seen = placed.filter(|p| {
                    self.may_be_seen(pass, p, 0.0, false)
                        || pass.spans.lift > 0.0 && self.may_be_seen(pass, p, pass.spans.lift, true)
                        || self.may_be_seen_on_pins(index, p)
                });
                seen.map(|p| (*p, *octave as u8)).collect()
            })
            .collect();
        found.into_iter().flatten().collect()
    }

    /// Calls `found` with the plan rectangles in which pieces of a pass up to a diameter may lie so
    /// high on a pin that a camera needs them.
    fn on_pins(&self, pass: &PassRun<'_>, diameter: f64, mut found: impl FnMut(Rectangle)) {
        for pin in &self.pins.all {
            let shape = &self.kit.bodies[usize::from(pin.piece)];
            let lying = Lying::new(shape, pin.standing);
            let aside = pass.spans.from_place * diameter;
            let round = view::Body {
                middle: pin.standing.position
                    + pin.standing.rotation * (shape.centre * pin.standing.scale),
                radius: lying.reach + 2.0 * aside + pass.spans.lift,
                diameter: NEARER_HIGH * diameter,
            };
            let tall = pass.tall(diameter);
            if self.scene.view.may_need(&round, tall, &self.scene.ground) {
                let [x, z] = lying.middle.map(|v| (v * NANO) as i64);
                let middle = Rectangle::at(x, z);
                found(middle.grown(((lying.reach + aside) * NANO) as i64 + 1));
            }
        }
    }

    /// The blocks that a region touches, where there is ground.
    fn blocks_of<'b>(
        &self,
        region: &'b ConvexPolygon,
        side: i64,
    ) -> impl Iterator<Item = BlockAt> + use<'b> {
        let mut b = region.bounds();
        if let Some([hx, hz]) = self.scene.ground.half_extent() {
            b = [b[0].max(-hx), b[1].max(-hz), b[2].min(hx), b[3].min(hz)];
        }
        let metres = side as f64 / NANO;
        let [x0, z0, x1, z1] = b.map(|v| libm::floor(v / metres) as i64);
        (z0..=z1)
            .flat_map(move |bz| (x0..=x1).map(move |bx| (bz, bx)))
            .filter(move |(bz, bx)| {
                let r = [*bx, *bz, *bx + 1, *bz + 1].map(|i| i as f64 * metres);
                region.touches(r)
            })
    }
}

/// What the view asks of a pass's pieces up to a diameter.
pub(super) fn wish(pass: &PassRun<'_>, diameter: f64) -> OctaveReach {
    OctaveReach {
        diameter,
        round: pass.spans.sphere * diameter,
        lift: pass.spans.lift,
        tall: pass.tall(diameter),
    }
}
