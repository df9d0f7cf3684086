//! What the cameras resolve: which pieces a layout needs, and where on the plan they can lie.
//!
//! A piece is needed when some camera sees it at the finest footprint asked for or larger, or sees its shadow. [`View::reason`] decides that
//! piece by piece; [`View::regions`] gives for a range of sizes convex plan polygons outside which no piece can be needed, so
//! that nothing else is ever made.

mod eye;
mod polygon;

pub use eye::Eye;
pub use polygon::Polygon;

use glam::DVec3;

use crate::error::{Fault, Result};
use crate::ground::Ground;
use crate::optics::Camera;
use crate::shot::Resolve;

/// Why a piece is in a layout.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Reason {
    /// Some camera sees it.
    Seen,
    /// Its shadow falls into some camera's view.
    Shadow,
}

/// A piece's size and place, as far as the view asks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Body {
    /// Middle of its bounding sphere, world, metres.
    pub middle: DVec3,
    /// Radius of its bounding sphere, metres.
    pub radius: f64,
    /// Diameter (b-axis), metres: what the footprint is reckoned from.
    pub diameter: f64,
}

/// The sizes of an octave's pieces, as far as the view asks. Metres.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reach {
    /// Largest diameter.
    pub diameter: f64,
    /// Largest distance from a piece's place on the plan to any point of it.
    pub radius: f64,
}

/// The shot's cameras with what they resolve, and the sun.
#[derive(Debug, Clone)]
pub struct View {
    eyes: Vec<Eye>,
    /// Unit vector towards the sun.
    sun: DVec3,
}

/// Shadows are followed down falling ground to this many times their length on level ground.
const LONGEST_SHADOW: f64 = 2.0;

impl View {
    /// The view of cameras at what `resolve` asks; `sun` is the unit vector towards the sun, above the horizon.
    #[must_use]
    pub fn new(cameras: &[Camera], resolve: Resolve, sun: DVec3) -> Self {
        Self {
            eyes: cameras.iter().map(|c| Eye::new(c, resolve)).collect(),
            sun,
        }
    }

    /// Refuses cameras that can't dress this ground: under it, without any of it in view, or with its horizon in the frame and no far limit.
    ///
    /// # Errors
    /// All faults at once, with the camera's place in the shot document.
    pub fn check(&self, ground: &Ground) -> Result<()> {
        let faults: Vec<Fault> = self
            .eyes
            .iter()
            .enumerate()
            .filter_map(|(i, eye)| eye.fault(ground, &format!("cameras[{i}]")))
            .collect();
        if faults.is_empty() {
            return Ok(());
        }
        Err(crate::error::Error {
            kind: crate::error::Kind::Input,
            file: None,
            faults,
        })
    }

    /// Why a piece is needed, or None.
    #[must_use]
    pub fn reason(&self, body: &Body, ground: &Ground) -> Option<Reason> {
        if self.eyes.iter().any(|e| e.sees(body)) {
            return Some(Reason::Seen);
        }
        let reach = self.shadow_reach(body, ground);
        let end = body.middle - self.sun * reach;
        self.eyes
            .iter()
            .any(|e| e.sees_along(body, end))
            .then_some(Reason::Shadow)
    }

    /// Distance along the sun's rays from a piece's middle to where the last of its shadow meets the ground, metres.
    fn shadow_reach(&self, body: &Body, ground: &Ground) -> f64 {
        let top = body.middle.y + body.radius;
        let here = ground.height(body.middle.x, body.middle.z);
        let level = (top - here).max(0.0) / self.sun.y;
        // Where it would end on level ground the ground may lie lower: one step of that
        let at = body.middle - self.sun * level;
        let there = ground.height(at.x, at.z);
        ((top - here.min(there)).max(0.0) / self.sun.y).min(LONGEST_SHADOW * level)
    }

    /// The plan polygons, one a camera that resolves any, that hold every piece of the given size that [`View::reason`] can want.
    #[must_use]
    pub fn regions(&self, reach: Reach, ground: &Ground) -> Vec<Polygon> {
        // The middle of a piece stands within its radius of its place; its top within twice of it, and within as much again of the ground
        let longest = LONGEST_SHADOW * 3.0 * reach.radius / self.sun.y;
        let toward_sun = [self.sun.x * longest, self.sun.z * longest];
        self.eyes
            .iter()
            .filter_map(|eye| {
                let mut points = eye.plan_points(reach, ground, longest * self.sun.y);
                let shifted: Vec<[f64; 2]> = points
                    .iter()
                    .map(|p| [p[0] + toward_sun[0], p[1] + toward_sun[1]])
                    .collect();
                points.extend(shifted);
                Polygon::hull(&points, 2.0 * reach.radius)
            })
            .collect()
    }
}

/// Unit vector towards a sun at an azimuth (clockwise from -z seen from above) and elevation, radians.
#[must_use]
pub fn toward_sun(azimuth: f64, elevation: f64) -> DVec3 {
    let level = libm::cos(elevation);
    DVec3::new(
        level * libm::sin(azimuth),
        libm::sin(elevation),
        -level * libm::cos(azimuth),
    )
}
