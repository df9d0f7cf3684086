//! A flat ground, on a slope or level: what a relief stands on.

use glam::DVec3;

/// A plane through the origin.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct InclinedPlane {
    /// Height gained per metre along x and z.
    pub(super) slope: [f64; 2],
}

impl InclinedPlane {
    /// A plane at a slope angle, falling toward an azimuth, radians: clockwise from -z seen from
    /// above.
    pub(super) fn falling(tilt: f64, toward: f64) -> Self {
        let fall = libm::tan(tilt);
        Self {
            slope: [-fall * libm::sin(toward), fall * libm::cos(toward)],
        }
    }

    pub(super) fn height(&self, x: f64, z: f64) -> f64 {
        self.slope[0] * x + self.slope[1] * z
    }
}

/// The upward unit normal of ground that gains `gx` and `gz` metres of height per metre along x and
/// z.
pub(super) fn normal(gx: f64, gz: f64) -> DVec3 {
    DVec3::new(-gx, 1.0, -gz).normalize()
}
