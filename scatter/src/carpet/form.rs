//! The form of a tile: how it sinks from its middle outwards, and where its grains thin out.

use glam::FloatExt;

/// Distance from a cell's middle to its corners, where three tiles meet, in sides.
const CORNER: f64 = 0.577_350_269_189_625_8;
/// Maximum shift of a tile from its cell's middle, along x and z, in sides: large enough that no
/// row of tiles lines up, and small enough that a tile need not be much larger than its cell.
pub(super) const SHIFT: f64 = 0.05;
/// Radius within which the sheet surely closes the ground, in sides: a corner with both shifts
/// against it, and a slope of 30 degrees on top.
const COVERS: f64 = 0.8;
/// Where the sheet ends, in sides; between the two it falls away.
const ENDS: f64 = 0.88;
/// Grains are thinned from here to here, in sides. Between two tiles each keeps 0.66 of its grains,
/// where three meet each keeps 0.41: seen from above about as many as in the middle (0.6 of the
/// ground, 1 - (1 - 0.66 x 0.6)^2 = 0.64, 1 - (1 - 0.41 x 0.6)^3 = 0.57).
const THINS: [f64; 2] = [0.32, 0.78];
/// How far the sheet has sunk where three tiles meet, in largest grains. Grains of two tiles at a
/// seam stand higher by as much on average, so that the mean height is level over a cell to 0.005
/// grains, which leaves no lattice in its autocorrelation (0.4 left one of domes, 0.03 one of
/// seams).
const SINKS: f64 = 0.06;
/// Depth of a tile's rim under its top, and of the ground as drawn under it, in sides: deeper than
/// any ground bends away from a tile's plane.
const SUNK: f64 = 0.2;

/// The form of a shot's tiles. Lengths in metres; plan places relative to the tile's middle.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TileForm {
    /// Distance between the middles of neighbouring tiles.
    pub side: f64,
    /// Diameter of the largest grains.
    pub largest: f64,
}

impl TileForm {
    /// Radius within which a tile closes the ground, on a plane parallel to it.
    #[must_use]
    pub fn covers(&self) -> f64 {
        COVERS * self.side
    }

    /// Radius within which a tile must close the ground, in plan.
    #[must_use]
    pub fn needs(&self) -> f64 {
        (CORNER + SHIFT * std::f64::consts::SQRT_2) * self.side
    }

    /// Distance from its middle to its rim.
    #[must_use]
    pub fn ends(&self) -> f64 {
        ENDS * self.side
    }

    /// Radius within which it has grains.
    #[must_use]
    pub fn holds_grains(&self) -> f64 {
        THINS[1] * self.side
    }

    /// How much lower the ground is drawn where a carpet lies on it.
    #[must_use]
    pub fn sunk(&self) -> f64 {
        SUNK * self.side
    }

    /// Height of the sheet at a distance from the middle; 0 at the middle.
    pub(super) fn sheet(&self, distance: f64) -> f64 {
        let r = distance / self.side;
        let share = r / CORNER;
        let crown = SINKS * self.largest * share * share * share * share;
        let rim = ((r - COVERS) / (ENDS - COVERS)).clamp(0.0, 1.0);
        -crown - rim * rim * self.sunk()
    }

    /// Share of the grains that are there at a distance from the middle.
    pub(super) fn share(&self, distance: f64) -> f64 {
        1.0 - (distance / self.side).smoothstep(THINS[0], THINS[1])
    }
}
