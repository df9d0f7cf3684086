//! The sun's plane, square to its rays: all points of one ray have one place in it.

use glam::{DMat3, DQuat, DVec3};

use crate::ground::Ground;

/// Angular diameter of the sun's disc, radians: 1923 arc seconds, the mean over the year. A
/// shadow's edge is as wide as this share of the distance: a 107th.
pub const SUN: f64 = 1923.0 / 206_264.806_247_096_36;

/// Steps in which the ground on a ray is looked for; each halves the remaining distance on level
/// ground.
const STEPS: usize = 24;
/// Change of height, metres, at which the ground counts as found: a hundredth of the finest
/// softness.
const FOUND: f64 = 4e-5;

/// The sun's rays, and the plane square to them through the world's origin. Its axes: `a` level,
/// `b` upwards as far as the plane allows.
#[derive(Debug, Clone, Copy)]
pub struct Beam {
    /// Unit vector towards the sun.
    pub sun: DVec3,
    /// Unit vectors along the plane's axes.
    pub axes: [DVec3; 2],
}

impl Beam {
    /// The rays of a sun in a direction above the horizon.
    #[must_use]
    pub fn new(sun: DVec3) -> Self {
        // With the sun in the zenith any level direction serves
        let a = DVec3::Y.cross(sun).normalize_or(DVec3::X);
        Self {
            sun,
            axes: [a, sun.cross(a)],
        }
    }

    /// Place in the sun's plane of the ray through a world place, metres.
    #[must_use]
    pub fn place(&self, p: DVec3) -> [f64; 2] {
        self.axes.map(|axis| axis.dot(p))
    }

    /// World place on a ray, `along` metres above the plane.
    #[must_use]
    pub fn at(&self, [a, b]: [f64; 2], along: f64) -> DVec3 {
        self.axes[0] * a + self.axes[1] * b + self.sun * along
    }

    /// World place where a ray meets the ground. Where it meets it more than once, one of these
    /// places; where the ground rises towards the sun more steeply than the ray, a place near it.
    #[must_use]
    pub fn ground(&self, ground: &Ground, place: [f64; 2]) -> DVec3 {
        let foot = self.at(place, 0.0);
        let down = |height: f64| foot + self.sun * ((height - foot.y) / self.sun.y);
        let [low, high] = ground.slab();
        let mut height = 0.5 * (low + high);
        for _ in 0..STEPS {
            let p = down(height);
            let found = ground.height(p.x, p.z);
            if (found - height).abs() < FOUND {
                break;
            }
            height = 0.5 * (height + found);
        }
        down(height)
    }

    /// Distance from a place down the beam to the first ground under it; None where there is none
    /// within twice `about`, metres.
    #[must_use]
    pub fn descent(&self, ground: &Ground, from: DVec3, about: f64) -> Option<f64> {
        /// Steps in `about`, and halvings of the one that passes the ground.
        const IN_ABOUT: u32 = 100;
        const HALVINGS: u32 = 20;
        let under = |way: f64| {
            let p = from - self.sun * way;
            p.y < ground.height(p.x, p.z)
        };
        let step = about / f64::from(IN_ABOUT);
        let passed = (1..=2 * IN_ABOUT).find(|i| under(step * f64::from(*i)))?;
        let (mut over, mut way) = (step * f64::from(passed - 1), step * f64::from(passed));
        for _ in 0..HALVINGS {
            let middle = 0.5 * (over + way);
            if under(middle) {
                way = middle;
            } else {
                over = middle;
            }
        }
        Some(0.5 * (over + way))
    }

    /// World from the sun's plane (x along `a`, y along `b`, z to the sun).
    #[must_use]
    pub fn world_from_plane(&self) -> DQuat {
        DQuat::from_mat3(&DMat3::from_cols(self.axes[0], self.axes[1], self.sun)).normalize()
    }
}
