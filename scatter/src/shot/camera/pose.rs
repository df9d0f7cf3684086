//! Where a camera is and what it looks at, at a key and between two.

use glam::{DQuat, DVec3};

use super::{CameraKey, place};
use crate::optics;
use crate::units::{Angle, Length};

/// Where a camera looks.
#[derive(Debug, Clone, Copy)]
pub(super) enum Aim {
    /// At a place, rolled by an angle in radians.
    Toward(DVec3, f64),
    Turned(DQuat),
}

impl Aim {
    pub(super) fn new(
        toward: Option<[Length; 3]>,
        rotation: Option<[f64; 4]>,
        roll: Option<Angle>,
    ) -> Self {
        match (rotation, toward) {
            (Some(q), _) => Self::Turned(DQuat::from_array(q).normalize()),
            (None, Some(toward)) => Self::Toward(place(toward), roll.unwrap_or_default().radians()),
            (None, None) => Self::Turned(DQuat::IDENTITY),
        }
    }

    pub(super) fn rotation(&self, from: DVec3) -> DQuat {
        match self {
            Self::Toward(place, roll) => optics::looking(*place - from, *roll),
            Self::Turned(q) => *q,
        }
    }
}

/// A camera's pose and lens in one frame.
#[derive(Debug, Clone, Copy)]
pub(super) struct CameraPose {
    pub(super) position: DVec3,
    pub(super) aim: Aim,
    /// Focal length and distance in focus, metres, where the key has its own.
    pub(super) lens: Option<f64>,
    pub(super) focus: Option<f64>,
}

impl CameraPose {
    pub(super) fn of_key(key: &CameraKey) -> Self {
        Self {
            position: place(key.at),
            aim: Aim::new(key.toward, key.rotation, key.roll),
            lens: key.lens.map(Length::metres),
            focus: key.focus.map(Length::metres),
        }
    }

    /// The pose at a frame between keys at `frames`.
    pub(super) fn between(frames: &[f64], poses: &[Self], frame: f64, smooth: bool) -> Self {
        let next = frames
            .partition_point(|f| *f <= frame)
            .min(frames.len() - 1);
        let k = next.saturating_sub(1);
        if next == k {
            return poses[k];
        }
        let t = (frame - frames[k]) / (frames[next] - frames[k]);
        let weights = if smooth {
            smooth_weights(frames, k, t)
        } else {
            [0.0, 1.0 - t, t, 0.0]
        };
        // The keys that the weights belong to; at either end there is none beyond
        let near = [
            k.saturating_sub(1),
            k,
            next,
            (next + 1).min(poses.len() - 1),
        ];
        let blend = |of: &dyn Fn(&Self) -> DVec3| {
            (0..4).fold(DVec3::ZERO, |sum, i| sum + of(&poses[near[i]]) * weights[i])
        };
        let number = |of: &dyn Fn(&Self) -> Option<f64>| {
            let [a, b] = [of(&poses[k])?, of(&poses[next])?];
            Some(a + (b - a) * t)
        };
        let aim = match (poses[k].aim, poses[next].aim) {
            (Aim::Toward(..), Aim::Toward(..)) => {
                let of = |p: &Self| match p.aim {
                    Aim::Toward(place, roll) => (place, roll),
                    Aim::Turned(_) => (DVec3::ZERO, 0.0),
                };
                let roll = blend(&|p| DVec3::new(of(p).1, 0.0, 0.0)).x;
                Aim::Toward(blend(&|p| of(p).0), roll)
            }
            (Aim::Turned(a), Aim::Turned(b)) => Aim::Turned(optics::slerp(a, b, t)),
            (aim, _) => aim,
        };
        Self {
            position: blend(&|p| p.position),
            aim,
            lens: number(&|p| p.lens),
            focus: number(&|p| p.focus),
        }
    }
}

/// Weights of the keys before, at, after and beyond a place `t` (0..=1) between key `k` and the
/// next: a cubic whose slopes at the keys are those from neighbour to neighbour (Catmull and Rom,
/// "A class of local interpolating splines", 1974), over the keys' own frames.
fn smooth_weights(frames: &[f64], k: usize, t: f64) -> [f64; 4] {
    let last = frames.len() - 1;
    let (before, beyond) = (k.saturating_sub(1), (k + 2).min(last));
    let step = frames[k + 1] - frames[k];
    let (t2, t3) = (t * t, t * t * t);
    let leave = (t3 - 2.0 * t2 + t) * step / (frames[k + 1] - frames[before]);
    let arrive = (t3 - t2) * step / (frames[beyond] - frames[k]);
    [
        -leave,
        2.0 * t3 - 3.0 * t2 + 1.0 - arrive,
        3.0 * t2 - 2.0 * t3 + leave,
        arrive,
    ]
}
