//! Where things gather: the local target of a pass, over the one asked.

use crate::plan::Placed;

/// The local target of one pass: what is asked at a place over what the pass asks at full strength.
/// A pure function of the world: it must not depend on the window.
pub trait Target: Sync {
    /// Whether the target is 1 everywhere and nothing is refused.
    fn is_flat(&self) -> bool;

    /// An upper bound of [`Target::at`] over the plan rectangle `[x0, z0, x1, z1]`, metres, for pieces up to `diameter`.
    fn most(&self, rectangle: [f64; 4], diameter: f64) -> f64;

    /// The target at a plan place (nanometres) for a piece of the given diameter (metres); at least 0.
    fn at(&self, x: i64, z: i64, diameter: f64) -> f64;

    /// Whether a piece may not lie where it is, whatever the target: its outline meets what must stay clear.
    fn refuses(&self, piece: &Placed) -> bool;
}

/// The same target everywhere.
#[derive(Debug, Clone, Copy, Default)]
pub struct Everywhere;

impl Target for Everywhere {
    fn is_flat(&self) -> bool {
        true
    }

    fn most(&self, _rectangle: [f64; 4], _diameter: f64) -> f64 {
        1.0
    }

    fn at(&self, _x: i64, _z: i64, _diameter: f64) -> f64 {
        1.0
    }

    fn refuses(&self, _piece: &Placed) -> bool {
        false
    }
}
