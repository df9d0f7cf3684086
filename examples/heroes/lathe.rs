//! Surfaces of revolution about the y axis.

use std::f64::consts::TAU;

use glam::{DVec2, DVec3};

use crate::curve::spline;
use crate::surface::Surface;

/// A profile in the half plane of radius and height, metres: smooth runs that meet in corners.
/// Upwards on the outside.
#[derive(Default)]
pub(crate) struct Profile {
    pub(crate) points: Vec<DVec2>,
}

impl Profile {
    /// Goes on smoothly through the points `[radius, height]` in steps of about `step` metres. The
    /// first point is a corner with what was there before, and is left out if it is the same.
    pub(crate) fn run(mut self, step: f64, points: &[[f64; 2]]) -> Self {
        let mut knots: Vec<DVec2> = points.iter().copied().map(DVec2::from_array).collect();
        let end = self.points.pop();
        if let Some(end) = end
            && end.distance(knots[0]) > 1e-9
        {
            self.points.push(end);
            // A straight piece leads to the run
            let lead = spline(&[end, knots[0]], step);
            self.points.extend(&lead[1..lead.len() - 1]);
        }
        knots.dedup();
        self.points.extend(spline(&knots, step));
        self
    }
}

/// Radii under this are the pole, metres.
const POLE: f64 = 1e-7;

/// Turns a profile about the axis; angle 0 is the front (+z), a quarter turn later is +x.
pub(crate) fn lathe(profile: &[DVec2], sides: usize, closed: bool) -> Surface {
    let ring: Vec<[f64; 2]> = (0..sides)
        .map(|j| {
            let a = TAU * j as f64 / sides as f64;
            [libm::sin(a), libm::cos(a)]
        })
        .collect();
    let rows: Vec<Vec<DVec3>> = profile
        .iter()
        .map(|p| {
            if p.x < POLE {
                return vec![DVec3::new(0.0, p.y, 0.0)];
            }
            ring.iter()
                .map(|[s, c]| DVec3::new(p.x * s, p.y, p.x * c))
                .collect()
        })
        .collect();
    Surface::from_rows(&rows, closed)
}
