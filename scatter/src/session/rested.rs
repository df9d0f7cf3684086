//! What a layout holds of a pass: the pieces at rest that a camera needs.

use rayon::prelude::*;

use super::pass_run::PassRun;
use super::run::Run;
use crate::brief::LayerIndex;
use crate::layout::{Instance, single};
use crate::plan::Placed;
use crate::rest::Standing;
use crate::view::{self, Crest};

impl Run<'_> {
    /// Of some pieces of a pass those that a camera needs, where they came to lie.
    pub(super) fn instances(&self, index: usize, candidates: &[(Placed, u8)]) -> Rested {
        let pass = &self.passes[index];
        let settled = self.settled(index);
        let kept: Vec<(Instance, u64)> = candidates
            .par_iter()
            .filter_map(|(placed, _)| {
                let standing = settled.find(placed.id)?.standing.ok()?;
                self.instance(pass, index, placed, &standing)
            })
            .collect();
        let mut rested = Rested {
            instances: Vec::with_capacity(kept.len()),
            full_triangles: 0,
        };
        for (instance, full_triangles) in kept {
            rested.full_triangles += full_triangles;
            rested.instances.push(instance);
        }
        rested
    }

    /// The piece with the triangles that it would have in full; None if no camera needs it.
    fn instance(
        &self,
        pass: &PassRun<'_>,
        index: usize,
        placed: &Placed,
        standing: &Standing,
    ) -> Option<(Instance, u64)> {
        let number = pass.kit.pieces[usize::from(placed.piece)];
        let shape = &self.kit.bodies[usize::from(number)];
        let body = view::Body {
            middle: standing.position + standing.rotation * (shape.centre * standing.scale),
            radius: shape.radius * standing.scale,
            diameter: f64::from(placed.diameter),
        };
        let crest = Crest {
            top: shape.probe(standing).top,
            tall: pass.tall(f64::from(placed.diameter)),
        };
        self.scene.view.reason(&body, crest, &self.scene.ground)?;
        let version = self.kit.details.as_ref().map_or(number, |details| {
            details.choose(
                number,
                standing.scale,
                self.scene.view.pixels_per_metre(&body),
            )
        });
        let instance = Instance {
            id: placed.id,
            position: standing.position,
            rotation: single(standing.rotation),
            scale: standing.scale as f32,
            diameter: placed.diameter,
            pass: LayerIndex::of(index),
            piece: version,
        };
        Some((instance, self.kit.pieces[usize::from(number)].triangles()))
    }
}

/// A pass's pieces at rest.
pub(super) struct Rested {
    pub(super) instances: Vec<Instance>,
    /// Triangles that they would have in full.
    pub(super) full_triangles: u64,
}
