//! A camera over the frames of a shot.

use glam::DQuat;

use super::Camera;

/// A camera that stands or moves: one pose and lens a frame.
#[derive(Debug, Clone, PartialEq)]
pub struct Track {
    /// Unique name.
    pub name: String,
    /// Number of the first frame.
    pub first: i64,
    /// The camera in each frame, at least one. One that stands has one for all frames.
    pub frames: Vec<Camera>,
}

impl Track {
    /// A camera that stands.
    #[must_use]
    pub fn still(camera: Camera) -> Self {
        Self {
            name: camera.name.clone(),
            first: 1,
            frames: vec![camera],
        }
    }

    /// Whether it has more than one frame.
    #[must_use]
    pub fn moves(&self) -> bool {
        self.frames.len() > 1
    }
}

/// Between two turns by the shorter way, at even speed (Shoemake, "Animating rotation with
/// quaternion curves", 1985).
#[must_use]
pub fn slerp(a: DQuat, b: DQuat, t: f64) -> DQuat {
    let dot = a.dot(b);
    let (b, dot) = if dot < 0.0 { (-b, -dot) } else { (b, dot) };
    // So close together an arc is a chord
    if dot > 1.0 - 1e-12 {
        return (a + (b - a) * t).normalize();
    }
    let angle = libm::acos(dot);
    let (from, to) = (libm::sin((1.0 - t) * angle), libm::sin(t * angle));
    ((a * from + b * to) * (1.0 / libm::sin(angle))).normalize()
}
