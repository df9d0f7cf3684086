//! Smooth curves through points, at even steps.

use std::ops::{Add, Mul};

use glam::{DVec2, DVec3};

/// What a curve can go through.
pub(crate) trait Point: Copy + Add<Output = Self> + Mul<f64, Output = Self> {
    /// Distance to another point, metres.
    fn away(self, other: Self) -> f64;
}

impl Point for DVec2 {
    fn away(self, other: Self) -> f64 {
        self.distance(other)
    }
}

impl Point for DVec3 {
    fn away(self, other: Self) -> f64 {
        self.distance(other)
    }
}

/// Chords of a span by which its length is measured; the error of the length is then under 0.1 %.
const CHORDS: usize = 24;

/// Points at even steps of about `step` metres along the centripetal spline through `knots`
/// (Catmull and Rom, "A class of local interpolating splines", 1974; evaluated after Barry and
/// Goldman, 1988).
pub(crate) fn spline<P: Point>(knots: &[P], step: f64) -> Vec<P> {
    let n = knots.len();
    let mut fine = vec![knots[0]];
    for i in 0..n - 1 {
        let (b, c) = (knots[i], knots[i + 1]);
        // Beyond an end the curve goes on straight
        let a = if i > 0 {
            knots[i - 1]
        } else {
            b * 2.0 + c * -1.0
        };
        let d = if i + 2 < n {
            knots[i + 2]
        } else {
            c * 2.0 + b * -1.0
        };
        for k in 1..=CHORDS {
            fine.push(span([a, b, c, d], k as f64 / CHORDS as f64));
        }
    }
    even(&fine, step)
}

fn span<P: Point>([a, b, c, d]: [P; 4], t: f64) -> P {
    let t1 = a.away(b).sqrt();
    let t2 = t1 + b.away(c).sqrt();
    let t3 = t2 + c.away(d).sqrt();
    let t = t1 + (t2 - t1) * t;
    let mix = |p: P, q: P, from: f64, to: f64| {
        let s = (t - from) / (to - from);
        p * (1.0 - s) + q * s
    };
    let (p, q, r) = (mix(a, b, 0.0, t1), mix(b, c, t1, t2), mix(c, d, t2, t3));
    mix(mix(p, q, 0.0, t2), mix(q, r, t1, t3), t1, t2)
}

/// The polyline's points at even steps, both ends kept.
fn even<P: Point>(fine: &[P], step: f64) -> Vec<P> {
    let mut along = vec![0.0];
    for pair in fine.windows(2) {
        along.push(along[along.len() - 1] + pair[0].away(pair[1]));
    }
    let length = along[along.len() - 1];
    let count = libm::ceil(length / step).max(1.0) as usize;
    let mut i = 0;
    let mut points = vec![fine[0]];
    for k in 1..count {
        let s = length * k as f64 / count as f64;
        while along[i + 1] < s {
            i += 1;
        }
        let t = (s - along[i]) / (along[i + 1] - along[i]);
        points.push(fine[i] * (1.0 - t) + fine[i + 1] * t);
    }
    points.push(fine[fine.len() - 1]);
    points
}
