//! How the pieces of a pass lie.

use serde::Serialize;

use super::scene::LineIndex;
use crate::shot::{On, Pose, Stand};

/// How the pieces of a pass lie. Radians.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Rest {
    /// Least and greatest share of a piece's height that is sunk in the ground, 0..=1.
    pub bury: [f64; 2],
    /// Direction of the long axes; None for any.
    pub heading: Option<Heading>,
    /// Standard deviation of a random tilt away from a piece's pose, 0..=pi / 2.
    pub tilt: f64,
    /// Which direction is up for a piece.
    pub stand: Stand,
    /// What a piece lies on.
    pub on: On,
    /// Which of its stable poses a piece takes.
    pub pose: Pose,
    /// How flat stones lean against a flow; None where they don't.
    pub lean: Option<Lean>,
    /// For sheets, 0..=1: 0 is dry and stiff and bridges what it lies on, 1 is wet and follows it.
    pub wet: f64,
}

impl Default for Rest {
    fn default() -> Self {
        (&crate::shot::Rest::default()).into()
    }
}

/// A direction with a spread, radians.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Heading {
    /// The mean.
    pub toward: Toward,
    /// Standard deviation about it.
    pub spread: f64,
}

/// Which way things point on the plan. Radians, clockwise seen from above.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub enum Toward {
    /// An azimuth, from -z.
    Azimuth(f64),
    /// As a line of the ground runs where it is nearest, turned by an angle.
    Line(LineIndex, f64),
}

/// A lean against a flow, radians.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Lean {
    /// Azimuth that the flow comes from, clockwise from -z seen from above.
    pub from: f64,
    /// Mean dip.
    pub dip: f64,
    /// Standard deviation of the dip.
    pub spread: f64,
}
