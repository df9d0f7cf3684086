//! What was done by hand.

use serde::Serialize;

/// A piece that was put in its place by hand. Metres, radians.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Pin {
    /// Name of the piece; or a kind or file, of which the first piece is taken.
    pub piece: String,
    /// Place on the plan: x, z.
    pub at: [f64; 2],
    /// Intermediate axis.
    pub diameter: f64,
    /// Azimuth of its long axis, clockwise from -z seen from above.
    pub heading: f64,
    /// Share of its height that is sunk in the ground, 0..=1.
    pub bury: f64,
}

/// Ground that is kept clear: a shape on the plan. Metres, radians.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub enum Clearing {
    /// A disc.
    Disc {
        /// Its middle: x, z.
        at: [f64; 2],
        /// Its radius.
        radius: f64,
    },
    /// A rectangle.
    Box {
        /// Its middle: x, z.
        at: [f64; 2],
        /// Its sides along x and z before it is turned.
        size: [f64; 2],
        /// Turn about its middle, clockwise seen from above.
        turn: f64,
    },
    /// A polygon, by its corners in order round it.
    Polygon(Vec<[f64; 2]>),
}
