//! The settled surface: the ground and what lies on it already, as one later piece meets it.
//!
//! It is asked place by place, from the meshes themselves: exact to the triangle, nothing to fill or to keep, and by itself the same
//! from every window. A map of heights would cost memory by the area and blur every contact by its cell.

use super::body::{Body, Facet, Standing};
use crate::ground::Ground;

/// A piece that lies already.
#[derive(Debug, Clone, Copy)]
pub struct Lying<'a> {
    /// Its shape.
    pub body: &'a Body,
    /// Where it is.
    pub standing: Standing,
    /// Plan place (x, z) of the middle of its bounds, metres.
    pub middle: [f64; 2],
    /// Distance from the middle within which all of it lies, metres.
    pub reach: f64,
}

impl<'a> Lying<'a> {
    /// A body where it lies.
    #[must_use]
    pub fn new(body: &'a Body, standing: Standing) -> Self {
        let middle = standing.position + standing.rotation * (body.centre * standing.scale);
        Self {
            body,
            standing,
            middle: [middle.x, middle.z],
            reach: body.radius * standing.scale,
        }
    }
}

/// The ground and what lies on it.
#[derive(Debug)]
pub struct Surface<'a> {
    /// The ground.
    pub ground: &'a Ground,
    /// What lies on it within reach.
    pub lying: &'a [Lying<'a>],
}

impl Surface<'_> {
    /// The surface at a plan place where the ground gives way by `sink` metres.
    #[must_use]
    pub fn at(&self, x: f64, z: f64, sink: f64) -> Facet {
        let (height, normal) = self.ground.at(x, z);
        let ground = Facet {
            height: height - sink,
            slope: [-normal.x / normal.y, -normal.z / normal.y],
        };
        self.tops(x, z)
            .fold(ground, |a, b| if b.height > a.height { b } else { a })
    }

    fn tops(&self, x: f64, z: f64) -> impl Iterator<Item = Facet> {
        self.lying.iter().filter_map(move |l| {
            let (dx, dz) = (x - l.middle[0], z - l.middle[1]);
            if dx * dx + dz * dz > l.reach * l.reach {
                return None;
            }
            l.body.top(&l.standing, x, z)
        })
    }
}
