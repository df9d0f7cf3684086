//! Where things gather: the local target of a pass, relative to its target at full strength.
//!
//! A target is a pure function of the world. It is evaluated window by window only so that what is
//! near can be looked up once.

mod along;
pub mod clear;
pub mod clumps;
mod fade;
pub mod gathering;
mod grade;
mod lee;
pub mod mask;
pub mod near;
pub mod outlined;

pub use clear::ClearShape;
pub use clumps::Clumps;
pub use gathering::Gathering;
pub use mask::Mask;
pub use near::Relation;
pub use outlined::Outlined;

use crate::error::Result;
use crate::plan::{Placed, Rectangle, Stone};

/// The local target of one pass on the whole plane.
pub trait Target: Sync {
    /// The target as seen from one window.
    type Here<'a>: Here
    where
        Self: 'a;

    /// Makes sure that everything windows of an octave look at has been made. `sizes` are the
    /// octave's smallest and largest diameter.
    ///
    /// # Errors
    /// When that can't be made.
    fn prepare(&self, windows: &[Rectangle], sizes: [f64; 2]) -> Result<()>;

    /// An error if the work is to stop.
    ///
    /// # Errors
    /// It was cancelled.
    fn check(&self) -> Result<()> {
        Ok(())
    }

    /// Whether nothing is wanted anywhere in a window, as far as is known without what
    /// [`Target::prepare`] makes.
    fn is_void(&self, _window: Rectangle, _sizes: [f64; 2]) -> bool {
        false
    }

    /// The target seen from a window, for pieces of the given smallest and largest diameter,
    /// metres.
    fn here(&self, window: Rectangle, sizes: [f64; 2]) -> Self::Here<'_>;
}

/// A target as seen from one window. What it says of a place must not depend on the window.
pub trait Here {
    /// Whether the target is 1 everywhere and nothing is refused.
    fn is_flat(&self) -> bool;

    /// An upper bound of [`Here::at`] over a rectangle inside the window. It decides how many
    /// candidates a cell draws, so it must be the same from every window.
    fn most(&self, rectangle: Rectangle) -> f64;

    /// The target at a place (nanometres) for a piece of the given diameter (metres); at least 0.
    fn at(&self, x: i64, z: i64, diameter: f64) -> f64;

    /// The target where pieces may lie at all: as [`Here::at`], but 0 inside what must stay clear.
    fn asked(&self, x: i64, z: i64, diameter: f64) -> f64 {
        self.at(x, z, diameter)
    }

    /// How sizes are graded at a place, on top of the target.
    fn graded(&self, _x: i64, _z: i64, _diameter: f64) -> Graded {
        Graded::EVEN
    }

    /// How a size (metres) is graded from the lowest ground to the highest; empty where sizes are
    /// not graded. It decides how many candidates are drawn, so it must be the same from every
    /// window.
    fn grades(&self, _diameter: f64) -> Vec<Graded> {
        Vec::new()
    }

    /// The length over which the target changes, nanometres; infinite where it changes slowly
    /// enough everywhere. It decides how candidates are drawn, so it must be the same from every
    /// window.
    fn grain(&self) -> f64 {
        f64::INFINITY
    }

    /// Stones of other passes that the pass's stones roll off, in an order that is the same from
    /// every window.
    fn foreign(&self) -> &[Foreign] {
        &[]
    }

    /// Whether a piece may not lie where it is, whatever the target: its outline meets what must
    /// stay clear.
    fn refuses(&self, piece: &Placed) -> bool;
}

/// A stone of another pass that a pass keeps clear of.
#[derive(Debug, Clone, Copy)]
pub struct Foreign {
    /// Middle of its plan, nanometres.
    pub x: i64,
    /// Middle of its plan, nanometres.
    pub z: i64,
    /// The ground that it keeps free.
    pub stone: Stone,
    /// The largest diameter of a piece for which it counts, nanometres.
    pub up_to: f64,
}

/// How a size is graded at a place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Graded {
    /// Factor on the target of this size.
    pub strength: f64,
    /// Cover under larger pieces here, over the cover where sizes are not graded.
    pub crowd: f64,
}

impl Graded {
    /// Not graded.
    pub const EVEN: Self = Self {
        strength: 1.0,
        crowd: 1.0,
    };
}

/// The same target everywhere.
#[derive(Debug, Clone, Copy, Default)]
pub struct Everywhere;

impl Target for Everywhere {
    type Here<'a> = Self;

    fn prepare(&self, _windows: &[Rectangle], _sizes: [f64; 2]) -> Result<()> {
        Ok(())
    }

    fn here(&self, _window: Rectangle, _sizes: [f64; 2]) -> Self {
        Self
    }
}

impl Here for Everywhere {
    fn is_flat(&self) -> bool {
        true
    }

    fn most(&self, _rectangle: Rectangle) -> f64 {
        1.0
    }

    fn at(&self, _x: i64, _z: i64, _diameter: f64) -> f64 {
        1.0
    }

    fn refuses(&self, _piece: &Placed) -> bool {
        false
    }
}
