//! One placed piece.

use glam::{DAffine3, DQuat, DVec3, Quat};

use crate::brief::LayerIndex;
use crate::kit::PieceIndex;

/// One placed piece: world transform = translate x rotate x scale.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Instance {
    /// Its place in the world's random streams: unique in a layout, the same in every window and
    /// camera.
    pub id: u64,
    /// World position, metres, on a lattice of one nanometre.
    pub position: DVec3,
    /// From the piece's frame to the world: unit quaternion x, y, z, w.
    pub rotation: [f32; 4],
    /// Uniform scale of the piece's mesh.
    pub scale: f32,
    /// Intermediate axis in metres.
    pub diameter: f32,
    /// Which of [`Layout::passes`](crate::layout::Layout::passes) it is of.
    pub pass: LayerIndex,
    /// Which of [`Layout::pieces`](crate::layout::Layout::pieces) it is a copy of.
    pub piece: PieceIndex,
}

impl Instance {
    /// Its transform: from the piece's frame to the world.
    #[must_use]
    pub fn world_from_piece(&self) -> DAffine3 {
        DAffine3::from_scale_rotation_translation(
            DVec3::splat(f64::from(self.scale)),
            Quat::from_array(self.rotation).as_dquat(),
            self.position,
        )
    }
}

/// A rotation in single precision, of unit length in it, with w at least 0.
pub(crate) fn single(q: DQuat) -> [f32; 4] {
    let sign = if q.w < 0.0 { -1.0 } else { 1.0 };
    [q.x, q.y, q.z, q.w].map(|v| (sign * v) as f32)
}
