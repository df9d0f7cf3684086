//! How a placed piece lies: turned to the ground, headed, tilted, sunk.
//!
//! The simple manner: every piece lies on the ground itself, as if alone. What a piece does depends on its own stream, its place and the
//! ground there, so it is the same from every window.

pub mod poses;

use glam::{DMat3, DQuat, DVec3};

use crate::ground::Ground;
use crate::kit::Piece;
use crate::plan::{NANO, Placed};
use crate::random::{Stream, join, stream};
use crate::shot::{Rest, Stand};

/// Random tilts end here, in standard deviations: a normal law's far tail would stand a stone on its head.
const TILT_CUT: f64 = 2.5;

/// A piece at rest.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Resting {
    /// World place of the piece's origin, metres, on the nanometre lattice.
    pub position: DVec3,
    /// World from piece.
    pub rotation: DQuat,
    /// Scale of the piece's mesh.
    pub scale: f64,
}

/// Lays a placed piece on the ground. `key` is the key of the pass's streams.
#[must_use]
pub fn lay(placed: &Placed, piece: &Piece, rest: &Rest, ground: &Ground, key: u64) -> Resting {
    let (x, z) = (placed.x as f64 / NANO, placed.z as f64 / NANO);
    let mut draws = stream(join(key, placed.id));
    let scale = f64::from(placed.diameter) / piece.measure.b_axis;
    let (height, normal) = ground.at(x, z);
    let stands = match rest.stand {
        Stand::Normal => normal,
        Stand::Up => DVec3::Y,
    };
    let buried =
        draws.between(rest.bury[0], rest.bury[1]) * f64::from(piece.measure.size.y) * scale;
    let up = tilted(stands, rest.tilt.radians(), &mut draws);
    let heading = DVec3::new(f64::from(placed.along[0]), 0.0, f64::from(placed.along[1]));
    // The heading laid into the plane that the piece stands on; `up` is never level, so it never vanishes
    let along = (heading - up * heading.dot(up)).normalize();
    let rotation = DQuat::from_mat3(&DMat3::from_cols(along, up, along.cross(up))).normalize();
    let position = DVec3::new(x, height, z) - stands * buried;
    Resting {
        position: on_lattice(position),
        rotation,
        scale,
    }
}

/// `up` turned by a normal tilt of the given standard deviation (radians) about a level axis at random.
fn tilted(up: DVec3, deviation: f64, draws: &mut Stream) -> DVec3 {
    if deviation <= 0.0 {
        return up;
    }
    let angle = (deviation * draws.normal()).clamp(-TILT_CUT * deviation, TILT_CUT * deviation);
    let around = std::f64::consts::TAU * draws.unit();
    let side = up.any_orthonormal_vector();
    let across = up.cross(side);
    let away = side * libm::cos(around) + across * libm::sin(around);
    // Never past level
    let angle = angle.clamp(-1.5, 1.5);
    up * libm::cos(angle) + away * libm::sin(angle)
}

/// A place on the lattice of nanometres: the decimal number of metres that prints with at most nine decimals.
#[must_use]
pub fn on_lattice(p: DVec3) -> DVec3 {
    let snap = |v: f64| libm::rint(v * NANO) / NANO;
    DVec3::new(snap(p.x), snap(p.y), snap(p.z))
}
