//! Cameras and lenses: angles of view, pixel footprint, projection.

use glam::{DQuat, DVec3};

/// A framed camera. Looks along its local -z, +x to the right, +y up (the glTF 2.0 convention).
#[derive(Debug, Clone, PartialEq)]
pub struct Camera {
    /// Unique name.
    pub name: String,
    /// Position in the world, metres.
    pub position: DVec3,
    /// World from camera.
    pub rotation: DQuat,
    /// Vertical angle of view, radians, in (0, pi).
    pub yfov: f64,
    /// Frame width and height in pixels.
    pub frame: [u32; 2],
    /// Nearest depth in the picture, metres, above zero.
    pub near: f64,
    /// Farthest depth in the picture, metres.
    pub far: f64,
    /// Focal length, metres.
    pub focal_length: f64,
    /// Distance in focus, metres, where one is set.
    pub focus: Option<f64>,
    /// Stop (f-number), where one is set.
    pub stop: Option<f64>,
}

impl Camera {
    /// Frame width over height.
    #[must_use]
    pub fn aspect(&self) -> f64 {
        f64::from(self.frame[0]) / f64::from(self.frame[1])
    }

    /// Pixels that one metre spans at one metre of depth.
    #[must_use]
    pub fn pixels_per_radian(&self) -> f64 {
        f64::from(self.frame[1]) / (2.0 * libm::tan(0.5 * self.yfov))
    }
}
