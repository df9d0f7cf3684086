//! How a placed piece lies: on the ground and on what lies there already.
//!
//! A rigid piece takes one of its stable poses, is turned to the ground, headed, and let down until
//! its centre of mass is held by what it touches; in soil it sinks by its burial share. A sheet
//! lies on its broad side; what is rooted stands in the ground. What would not stay is refused. All
//! of it follows from the piece's own stream, its place, the ground, and the pieces named in the
//! surface: it is the same from every window.

mod bed;
pub mod body;
pub mod contact;
mod held;
pub mod peaks;
pub mod poses;
mod settle;
mod support;
pub mod surface;
mod thin;

pub use body::{RigidBody, Stance};
pub use contact::Standing;
pub use surface::{Lying, SettledSurface};

use glam::{DMat3, DQuat, DVec3};

use self::held::HeldBody;
use self::settle::Descent;
use crate::brief::{Lies, Pose, Rest, Stand};
use crate::ground::Ground;
use crate::plan::{NANO, Placed};
use crate::random::{Stream, join, stream};

/// Random tilts end here, in standard deviations: a normal law's far tail would stand a stone on
/// its head.
const TILT_CUT: f64 = 2.5;
/// Steepest slope on which a stone stays, as the cosine of 40 degrees: dry rock slides on rock at a
/// slope of 0.85 (Byerlee, "Friction of rocks", 1978; from memory).
const REPOSE: f64 = 0.766_044_443_118_978;
/// Steepest slope on which a leaf stays, as the cosine of 60 degrees: leaves lean on stones. By
/// eye, no source.
const LEAF_REPOSE: f64 = 0.5;
/// Maximum number of times that a stone and a leaf tip before they are taken not to stay.
const STONE_TIPS: usize = 16;
const LEAF_TIPS: usize = 32;
/// How far a leaf's centre of mass may be off its support, over its size: friction holds what
/// weighs nothing. By eye, no source.
const LEAF_STAYS: f64 = 0.02;
/// A strewn stone or twig that would fall rolls or slides aside by up to this many times its
/// diameter: far enough to get past the edge that it hangs on. Half as far again, with half as many
/// tries more, would refuse a quarter fewer; but the area that it has to heed grows with the
/// square.
pub const SLIDE: f64 = 1.0;
/// A piece that is set down moves aside by no more than this share of its diameter as it tips.
pub const DRIFT: f64 = 0.2;
/// A stone that sinks by less than this share of its radius has to find its own balance: the soil
/// holds nothing.
const BEDDED: f64 = 0.03;
/// How a pass's pieces are laid.
#[derive(Debug, Clone, Copy)]
pub struct Laying<'a> {
    /// The shot's rules of rest.
    pub rest: &'a Rest,
    /// Key of the pass's streams.
    pub key: u64,
    /// Whether a piece may slide aside.
    pub slides: bool,
    /// Whether it stands level, without the tilt and the lean that the shot asks for.
    pub level: bool,
}

/// Lays a placed piece on the surface; `None` when it would not stay there. `b_axis` is the piece's
/// diameter at scale 1, metres.
#[must_use]
pub fn lay(
    placed: &Placed,
    body: &RigidBody,
    b_axis: f64,
    laying: Laying<'_>,
    surface: &SettledSurface<'_>,
) -> Option<Standing> {
    let rest = laying.rest;
    let mut draws = stream(join(laying.key, placed.id));
    let scale = f64::from(placed.diameter) / b_axis;
    let place = [placed.x as f64 / NANO, placed.z as f64 / NANO];
    let along = DVec3::new(f64::from(placed.along[0]), 0.0, f64::from(placed.along[1]));
    let bury = rest.bury[0] + (rest.bury[1] - rest.bury[0]) * f64::from(placed.sunk) / 255.0;
    if body.lies == Lies::Rooted {
        return Some(root(
            body,
            rest,
            place,
            along,
            bury,
            scale,
            surface.ground,
            &mut draws,
        ));
    }
    let last = body.stances.len() - 1;
    let stance = &body.stances[usize::from(placed.stance).min(last)];
    let reach = stance.reach * scale;
    let diameter = f64::from(placed.diameter);
    let stands = match (rest.stand, body.lies) {
        (Stand::Up, _) => DVec3::Y,
        (Stand::Normal, Lies::Sheet) => {
            let follows = beneath(stance, scale, place, along, surface);
            (DVec3::Y * (1.0 - rest.wet) + follows * rest.wet).normalize()
        }
        (Stand::Normal, _) => slope(surface.ground, place, 0.5 * reach),
    };
    let up = if laying.level {
        stands
    } else {
        let leaned = leaned(stands, rest, &mut draws);
        tilted(leaned, rest.tilt, &mut draws)
    };
    let rotation = (facing(along, up) * stance.turn).normalize();
    let sink = bury * stance.stands * scale;
    let descent = match body.lies {
        Lies::Sheet => Descent {
            sink,
            steepest: LEAF_REPOSE,
            slide: 0.0,
            rolls: false,
            drift: DRIFT * diameter,
            tips: LEAF_TIPS,
            stays: LEAF_STAYS,
        },
        _ => Descent {
            sink,
            steepest: REPOSE,
            slide: if laying.slides { SLIDE * diameter } else { 0.0 },
            rolls: rest.pose == Pose::Any,
            drift: DRIFT * diameter,
            tips: STONE_TIPS,
            stays: 0.0,
        },
    };
    let held = HeldBody {
        body,
        stance,
        scale,
        rotation,
        surface,
        descent,
    };
    let standing = if surface.lying().is_empty() && sink > BEDDED * reach {
        held.bed(place)
    } else {
        held.settle(place)?
    };
    Some(Standing {
        position: on_lattice(standing.position),
        ..standing
    })
}

/// The stances that a body takes where a shot asks for a pose: their numbers, and how often each is
/// taken. Empty for what grows.
#[must_use]
pub fn stances(body: &RigidBody, pose: Pose) -> Vec<(u8, f64)> {
    let number = |one: &Stance| body.stances.iter().position(|s| std::ptr::eq(s, one));
    let only = |one: &Stance| vec![(number(one).unwrap_or(0) as u8, 1.0)];
    if body.stances.is_empty() {
        return Vec::new();
    }
    match pose {
        Pose::Any => (0..)
            .zip(body.stances.iter().map(|s| s.probability))
            .collect(),
        Pose::Flat => only(body.flattest()),
        Pose::Edge => only(body.on_edge()),
        Pose::Upright => only(body.tallest()),
    }
}

/// Lays a piece that was put in its place by hand, on its most stable side: it stays where it was
/// put, and is held where it would not stay by itself. `b_axis` as in [`lay`]; `bury` is the share
/// of its height that is sunk.
#[must_use]
pub fn pin(
    placed: &Placed,
    body: &RigidBody,
    b_axis: f64,
    bury: f64,
    surface: &SettledSurface<'_>,
) -> Standing {
    let scale = f64::from(placed.diameter) / b_axis;
    let place = [placed.x as f64 / NANO, placed.z as f64 / NANO];
    let along = DVec3::new(f64::from(placed.along[0]), 0.0, f64::from(placed.along[1]));
    let ground = surface.ground;
    let Some(stance) = body.stances.first() else {
        let rest = Rest::default();
        let mut draws = stream(placed.id);
        return root(body, &rest, place, along, bury, scale, ground, &mut draws);
    };
    let sheet = body.lies == Lies::Sheet;
    let up = if sheet {
        beneath(stance, scale, place, along, surface)
    } else {
        slope(ground, place, 0.5 * stance.reach * scale)
    };
    let rotation = (facing(along, up) * stance.turn).normalize();
    let sink = bury * stance.stands * scale;
    let held = HeldBody {
        body,
        stance,
        scale,
        rotation,
        surface,
        descent: Descent {
            sink,
            steepest: if sheet { LEAF_REPOSE } else { REPOSE },
            slide: 0.0,
            rolls: false,
            drift: 0.0,
            tips: if sheet { LEAF_TIPS } else { STONE_TIPS },
            stays: f64::INFINITY,
        },
    };
    let standing = if surface.lying().is_empty() && sink > BEDDED * stance.reach * scale {
        held.bed(place)
    } else {
        // What stays however far off always lies
        held.settle(place).unwrap_or_else(|| held.bed(place))
    };
    Standing {
        position: on_lattice(standing.position),
        ..standing
    }
}

/// Stands a rooted piece in the ground.
#[expect(clippy::too_many_arguments, reason = "what one stem needs, used once")]
fn root(
    body: &RigidBody,
    rest: &Rest,
    [x, z]: [f64; 2],
    along: DVec3,
    bury: f64,
    scale: f64,
    ground: &Ground,
    draws: &mut Stream,
) -> Standing {
    let (height, normal) = ground.at(x, z);
    let stands = match rest.stand {
        Stand::Normal => normal,
        Stand::Up => DVec3::Y,
    };
    let up = tilted(stands, rest.tilt, draws);
    let position = DVec3::new(x, height, z) - stands * (bury * body.reach * scale);
    Standing {
        position: on_lattice(position),
        rotation: facing(along, up),
        scale,
    }
}

/// World from a frame whose x axis is the heading laid into the plane that stands on `up`; `up` is
/// never level.
fn facing(heading: DVec3, up: DVec3) -> DQuat {
    let along = (heading - up * heading.dot(up)).normalize();
    DQuat::from_mat3(&DMat3::from_cols(along, up, along.cross(up))).normalize()
}

/// Normal of the ground at the scale of a piece: from its heights at a distance to four sides.
fn slope(ground: &Ground, [x, z]: [f64; 2], distance: f64) -> DVec3 {
    let rise = |dx: f64, dz: f64| ground.height(x + dx, z + dz);
    let gx = (rise(distance, 0.0) - rise(-distance, 0.0)) / (2.0 * distance);
    let gz = (rise(0.0, distance) - rise(0.0, -distance)) / (2.0 * distance);
    DVec3::new(-gx, 1.0, -gz).normalize()
}

/// Normal of the plane that fits what is under a sheet best (least squares), no steeper than 45
/// degrees.
fn beneath(
    stance: &Stance,
    scale: f64,
    [x, z]: [f64; 2],
    along: DVec3,
    surface: &SettledSurface<'_>,
) -> DVec3 {
    /// Places that are looked at: enough for a plane, few beside those that the leaf touches with.
    const LOOKS: usize = 12;
    let level = facing(along, DVec3::Y) * stance.turn;
    let looks = &stance.feelers[..LOOKS.min(stance.feelers.len())];
    let count = looks.len() as f64;
    let felt: Vec<DVec3> = looks
        .iter()
        .map(|f| {
            let at = level * ((*f - stance.middle) * scale);
            DVec3::new(at.x, surface.at(x + at.x, z + at.z, 0.0).0.height, at.z)
        })
        .collect();
    let mean = felt.iter().copied().sum::<DVec3>() / count;
    let (mut xx, mut xz, mut zz, mut xy, mut zy) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for f in &felt {
        let d = *f - mean;
        xx += d.x * d.x;
        xz += d.x * d.z;
        zz += d.z * d.z;
        xy += d.x * d.y;
        zy += d.z * d.y;
    }
    let volume = xx * zz - xz * xz;
    if volume <= 0.0 {
        return DVec3::Y;
    }
    let (gx, gz) = ((xy * zz - zy * xz) / volume, (zy * xx - xy * xz) / volume);
    let steep = (gx * gx + gz * gz).sqrt();
    let ease = if steep > 1.0 { 1.0 / steep } else { 1.0 };
    DVec3::new(-gx * ease, 1.0, -gz * ease).normalize()
}

/// `up` leaned so that the piece's broad side dips towards where the flow comes from: a plane's
/// normal leans to where it dips.
fn leaned(up: DVec3, rest: &Rest, draws: &mut Stream) -> DVec3 {
    let Some(lean) = rest.lean else { return up };
    let dip = (lean.dip + lean.spread * draws.normal()).clamp(0.0, 1.2);
    let from = lean.from;
    let upstream = DVec3::new(libm::sin(from), 0.0, -libm::cos(from));
    let side = (upstream - up * upstream.dot(up)).normalize();
    up * libm::cos(dip) + side * libm::sin(dip)
}

/// `up` turned by a normal tilt of the given standard deviation (radians) about a level axis at
/// random.
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

/// A place on the lattice of nanometres: the decimal number of metres that prints with at most nine
/// decimals.
#[must_use]
pub fn on_lattice(p: DVec3) -> DVec3 {
    let snap = |v: f64| libm::rint(v * NANO) / NANO;
    DVec3::new(snap(p.x), snap(p.y), snap(p.z))
}

#[cfg(test)]
mod outlines;
#[cfg(test)]
mod tests;
