//! How many candidates graded sizes need: bounds over all heights of the ground, so that few are
//! drawn in vain.

use super::evaluation::Evaluation;
use crate::field::{Graded, Here};

/// Nodes over an octave's sizes.
const SHARES: usize = 17;
/// Nodes over the local target, as many as the schedule's tables have steps.
const TARGETS: usize = 32;
/// Room for what lies between the nodes.
const BETWEEN: f64 = 1.03;

/// What an octave's sizes meet where they are graded, and the bounds that follow from it.
pub(super) struct Grades {
    /// By share of the octave's sizes: from the lowest ground to the highest.
    met: Vec<Vec<Graded>>,
    /// By step of the local target; made when asked for.
    bounds: Vec<Option<Bound>>,
}

/// Bounds of target x strength x candidates a piece, for places up to a local target.
#[derive(Debug, Clone, Copy)]
pub(super) struct Bound {
    /// At any size.
    pub(super) whole: f64,
    /// Between two nodes of sizes.
    by_share: [f64; SHARES - 1],
}

impl Bound {
    /// The bound at a share of the octave's sizes.
    pub(super) fn at(&self, share: f64) -> f64 {
        let i = (share * (SHARES - 1) as f64) as usize;
        self.by_share[i.min(SHARES - 2)]
    }
}

impl Grades {
    /// What the sizes of an octave meet; none where they are not graded.
    pub(super) fn new<T: Here>(target: &T, diameter: impl Fn(f64) -> f64) -> Option<Self> {
        let met: Vec<Vec<Graded>> = (0..SHARES)
            .map(|i| target.grades(diameter(i as f64 / (SHARES - 1) as f64)))
            .collect();
        let graded = met.iter().all(|m| !m.is_empty());
        graded.then(|| Self {
            met,
            bounds: vec![None; TARGETS + 1],
        })
    }
}

impl<T: Here> Evaluation<'_, T> {
    /// Bounds for a part of a cell whose target is at most `most`; none where sizes are not graded.
    /// The same for every part with the same `most`, whatever the window.
    pub(super) fn grade_bound(&mut self, most: f64) -> Option<Bound> {
        let mut grades = self.darts.grades.take()?;
        let step = self.plan.schedule.peak / TARGETS as f64;
        let node = (libm::ceil(most / step) as usize).min(TARGETS);
        // A target over the peak is followed by strewn pieces only, which need no more candidates
        // for it
        let up_to = most.max(step * node as f64);
        let bound = grades.bounds[node].unwrap_or_else(|| self.bound_of(&grades, up_to));
        if up_to <= self.plan.schedule.peak {
            grades.bounds[node] = Some(bound);
        }
        self.darts.grades = Some(grades);
        Some(bound)
    }

    fn bound_of(&self, grades: &Grades, most: f64) -> Bound {
        let schedule = &self.plan.schedule;
        let at = |i: usize| {
            let share = i as f64 / (SHARES - 1) as f64;
            let here = grades.met[i].iter().map(|g| {
                let tries = if schedule.spaced {
                    schedule.tries(self.octave, (most * g.crowd).min(self.darts.cap), share)
                } else {
                    1.0
                };
                most * g.strength * tries
            });
            BETWEEN * here.fold(0.0, f64::max)
        };
        let nodes: Vec<f64> = (0..SHARES).map(at).collect();
        let mut by_share = [0.0; SHARES - 1];
        for (i, bound) in by_share.iter_mut().enumerate() {
            *bound = nodes[i].max(nodes[i + 1]);
        }
        Bound {
            whole: by_share.iter().copied().fold(0.0, f64::max),
            by_share,
        }
    }
}
