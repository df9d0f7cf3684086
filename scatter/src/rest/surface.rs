//! The settled surface: the ground and what lies on it already, as one later piece meets it.
//!
//! It is evaluated place by place, from the meshes themselves: exact to the triangle, with nothing
//! to fill or to keep, and the same from every window. A map of heights would cost memory in
//! proportion to its area and blur every contact by a cell.

use super::body::RigidBody;
use super::contact::{HeightProbe, Standing, TangentPlane};
use crate::ground::Ground;

/// A piece that lies already.
#[derive(Debug, Clone, Copy)]
pub struct Lying<'a> {
    /// Its shape.
    pub body: &'a RigidBody,
    /// Where it is.
    pub standing: Standing,
    /// Plan place (x, z) of the middle of its bounds, metres.
    pub middle: [f64; 2],
    /// Distance from the middle within which all of it lies, metres.
    pub reach: f64,
    /// Its surface, for vertical rays.
    pub probe: HeightProbe<'a>,
}

impl<'a> Lying<'a> {
    /// A body where it lies.
    #[must_use]
    pub fn new(body: &'a RigidBody, standing: Standing) -> Self {
        let middle = standing.position + standing.rotation * (body.centre * standing.scale);
        Self {
            body,
            standing,
            middle: [middle.x, middle.z],
            reach: body.radius * standing.scale,
            probe: body.probe(&standing),
        }
    }
}

/// The ground and what lies on it.
#[derive(Debug)]
pub struct SettledSurface<'a> {
    /// The ground.
    pub ground: &'a Ground,
    /// What lies on it near enough to touch, the highest first.
    lying: Vec<Lying<'a>>,
    /// Upper bound of the ground's slope, height over distance.
    steepest: f64,
}

impl<'a> SettledSurface<'a> {
    /// The ground and what lies on it near enough to touch.
    #[must_use]
    pub fn new(ground: &'a Ground, mut lying: Vec<Lying<'a>>) -> Self {
        lying.sort_by(|a, b| b.probe.top.total_cmp(&a.probe.top));
        Self {
            ground,
            lying,
            steepest: ground.steepest(),
        }
    }

    /// What lies on the ground near enough to touch.
    #[must_use]
    pub fn lying(&self) -> &[Lying<'a>] {
        &self.lying
    }

    /// Upper bound of the ground's slope, height over distance.
    #[must_use]
    pub fn steepest(&self) -> f64 {
        self.steepest
    }

    /// The surface at a plan place where the ground gives way by `sink` metres, and how high the
    /// ground itself is there.
    #[must_use]
    pub fn at(&self, x: f64, z: f64, sink: f64) -> (TangentPlane, f64) {
        let (height, normal) = self.ground.at(x, z);
        let ground = TangentPlane {
            height: height - sink,
            slope: [-normal.x / normal.y, -normal.z / normal.y],
        };
        let top = self.top_over(x, z, ground.height);
        (top.unwrap_or(ground), ground.height)
    }

    /// Height of the surface at a plan place, if it is over `floor` there. The ground, which gives
    /// way by `sink` metres, is known to be under `ceiling`.
    #[must_use]
    pub fn over(&self, x: f64, z: f64, sink: f64, floor: f64, ceiling: f64) -> Option<f64> {
        let top = self.top_over(x, z, floor).map(|f| f.height);
        let floor = top.unwrap_or(floor);
        if ceiling <= floor {
            return top;
        }
        let ground = self.ground.height(x, z) - sink;
        if ground > floor { Some(ground) } else { top }
    }

    /// The highest top over a plan place of what lies there, if it is over `floor`.
    fn top_over(&self, x: f64, z: f64, floor: f64) -> Option<TangentPlane> {
        let (mut floor, mut found) = (floor, None);
        for lying in &self.lying {
            // Nothing after it stands higher
            if lying.probe.top <= floor {
                break;
            }
            let (dx, dz) = (x - lying.middle[0], z - lying.middle[1]);
            if dx * dx + dz * dz > lying.reach * lying.reach {
                continue;
            }
            if let Some(plane) = lying.probe.top_over(x, z, floor) {
                floor = plane.height;
                found = Some(plane);
            }
        }
        found
    }
}
