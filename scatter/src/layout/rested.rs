//! What a layout holds of a pass: the pieces at rest that a camera needs.

use glam::DQuat;
use rayon::prelude::*;

use super::run::{PassRun, Run};
use super::settled::Refusal;
use super::{Dresser, Instance};
use crate::plan::Placed;
use crate::rest::Standing;
use crate::view::{self, Crest};

impl Dresser<'_> {
    /// Of some pieces of a pass those that a camera needs, where they came to lie.
    pub(super) fn instances(
        &self,
        run: &Run<'_>,
        index: usize,
        candidates: &[(Placed, u8)],
    ) -> Rested {
        let pass = &run.passes[index];
        let settled = run.settled(index);
        let kept: Vec<Kept> = candidates
            .par_iter()
            .filter_map(|(placed, octave)| match settled.find(placed.id)?.standing {
                Ok(standing) => self
                    .instance(pass, index, placed, &standing)
                    .map(|i| (*octave, Ok(i))),
                Err(refusal) => run
                    .may_be_seen(pass, placed, 0.0, false)
                    .then_some((*octave, Err((refusal, placed.diameter)))),
            })
            .collect();
        let octaves = run.strata(index).plan.schedule.octaves.len();
        let mut rested = Rested {
            instances: Vec::with_capacity(kept.len()),
            by_octave: vec![0; octaves],
            full_triangles: 0,
            slides: 0,
            meets: 0,
            lies: 1.0,
        };
        let square = |diameter: f32| f64::from(diameter) * f64::from(diameter);
        let (mut lie, mut not) = (0.0, 0.0);
        for (octave, instance) in kept {
            rested.by_octave[usize::from(octave)] += 1;
            match instance {
                Ok((instance, full_triangles)) => {
                    rested.full_triangles += full_triangles;
                    lie += square(instance.diameter);
                    rested.instances.push(instance);
                }
                Err((refusal, diameter)) => {
                    match refusal {
                        Refusal::Slides => rested.slides += 1,
                        Refusal::Meets => rested.meets += 1,
                        Refusal::Removed => {}
                    }
                    not += square(diameter);
                }
            }
        }
        if lie > 0.0 {
            rested.lies = lie / (lie + not);
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
        let number = pass.pieces[usize::from(placed.piece)];
        let shape = &self.bodies[usize::from(number)];
        let body = view::Body {
            middle: standing.position + standing.rotation * (shape.centre * standing.scale),
            radius: shape.radius * standing.scale,
            diameter: f64::from(placed.diameter),
        };
        let crest = Crest {
            top: shape.probe(standing).top,
            tall: pass.tall(f64::from(placed.diameter)),
        };
        self.view.reason(&body, crest, &self.ground)?;
        let version = self.details.as_ref().map_or(number, |details| {
            details.choose(number, standing.scale, self.view.pixels_per_metre(&body))
        });
        let instance = Instance {
            id: placed.id,
            position: standing.position,
            rotation: single(standing.rotation),
            scale: standing.scale as f32,
            diameter: placed.diameter,
            pass: index as u16,
            piece: version,
        };
        Some((instance, self.pieces[usize::from(number)].triangles()))
    }
}

/// The octave of a piece, with the piece and its triangles in full, or why it is not laid and its diameter.
type Kept = (u8, Result<(Instance, u64), (Refusal, f32)>);

/// A pass's pieces at rest.
pub(super) struct Rested {
    pub(super) instances: Vec<Instance>,
    /// How many of them, and of those in view that do not lie, are of each octave.
    pub(super) by_octave: Vec<u64>,
    /// Triangles that they would have in full.
    pub(super) full_triangles: u64,
    /// How many more would not stay where they were placed.
    pub(super) slides: u64,
    /// How many more would cut into what lies beside them.
    pub(super) meets: u64,
    /// Share of the area of the placed pieces that those which lie have, 0..=1.
    pub(super) lies: f64,
}

/// A rotation in single precision, of unit length in it, with w at least 0.
pub(super) fn single(q: DQuat) -> [f32; 4] {
    let sign = if q.w < 0.0 { -1.0 } else { 1.0 };
    [q.x, q.y, q.z, q.w].map(|v| (sign * v) as f32)
}
