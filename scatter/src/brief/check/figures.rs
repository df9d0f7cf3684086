//! Faults of a brief's figures, which are plain numbers and may be no numbers at all.

use crate::shot::bounds::{Above, TURN_DEG, Within, within};
use crate::shot::{Faults, MAX_COORDINATE_M};
use crate::units::Angle;

impl Faults {
    /// A length in metres.
    pub(super) fn metres(&mut self, place: impl Into<String>, length: f64, bound: Within<f64>) {
        self.within(place, length, bound, "metres");
    }

    /// A length above zero, to `most`, metres.
    pub(super) fn metres_above(&mut self, place: impl Into<String>, length: f64, most: f64) {
        self.above(place, length, Above { above: 0, most }, "metres");
    }

    /// An angle in radians; its bound in degrees.
    pub(super) fn radians(&mut self, place: impl Into<String>, angle: f64, bound: Within<f64>) {
        let bound = bound.map(|degrees| Angle::from_degrees(degrees).radians());
        self.within(place, angle, bound, "radians");
    }

    /// An azimuth or a turn in radians.
    pub(super) fn turn(&mut self, place: impl Into<String>, angle: f64) {
        self.radians(place, angle, TURN_DEG);
    }

    /// A place in the world, or on the plan, in metres.
    pub(super) fn at<const N: usize>(&mut self, place: &str, at: [f64; N]) {
        let bound = within(-MAX_COORDINATE_M, MAX_COORDINATE_M);
        for (k, x) in at.into_iter().enumerate() {
            self.metres(format!("{place}[{k}]"), x, bound);
        }
    }
}
