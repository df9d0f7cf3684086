//! Where tiles stand: a triangular lattice of the world, and which tile in which turn stands at
//! each of its places.
//!
//! Places have coordinates i, j along two axes 60 degrees apart. Colours keep neighbours different,
//! as on a map: (i - j) mod 3 differs between any two neighbours, and places of one colour form a
//! triangular lattice themselves, on which j mod 3 is such a colour. The first says which tiles may
//! stand there, the second which third of the circle the turn is drawn from.

use std::f64::consts::TAU;

use super::form::SHIFT;
use crate::random::{cell_key, stream};

/// Minimum difference in turn of two equal tiles that are neighbours or share a neighbour, radians:
/// 15 degrees.
pub const TURN_APART: f64 = TAU / 24.0;

/// Height of a row of the lattice, in sides.
const ROW: f64 = 0.866_025_403_784_438_6;

/// A lattice with its streams.
#[derive(Debug, Clone, Copy)]
pub struct Lattice {
    /// Distance between neighbouring places, metres.
    pub side: f64,
    /// The key of the streams.
    pub key: u64,
    /// How many tiles there are to choose from, at least 1.
    pub variants: usize,
}

/// What stands at a place of the lattice.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LatticeCell {
    /// Its coordinates.
    pub at: [i64; 2],
    /// Plan place of the tile's middle, x and z in metres.
    pub middle: [f64; 2],
    /// Which tile.
    pub variant: usize,
    /// The tile's turn about the upright, radians, 0 to 2 pi.
    pub turn: f64,
}

impl Lattice {
    /// What stands at a place.
    #[must_use]
    pub fn cell(&self, at: [i64; 2]) -> LatticeCell {
        let [i, j] = at;
        let mut draws = stream(cell_key(self.key, i, j));
        let (colour, third) = ((i - j).rem_euclid(3), j.rem_euclid(3));
        // Too few tiles for a colour each: the turn has to tell all nine apart
        let many = self.variants >= 3;
        let (first, step) = if many { (colour as usize, 3) } else { (0, 1) };
        let (sector, sectors) = if many {
            (third, 3.0)
        } else {
            (3 * colour + third, 9.0)
        };
        let choices = (self.variants - first).div_ceil(step);
        let choice = ((draws.unit() * choices as f64) as usize).min(choices - 1);
        let wide = TAU / sectors;
        let turn = sector as f64 * wide + draws.between(0.0, wide - TURN_APART);
        let shift = SHIFT * self.side;
        let x = (i as f64 + 0.5 * j as f64) * self.side + draws.between(-shift, shift);
        let z = j as f64 * ROW * self.side + draws.between(-shift, shift);
        LatticeCell {
            at,
            middle: [x, z],
            variant: first + step * choice,
            turn,
        }
    }

    /// The places whose tiles may have their middles in a plan rectangle `[x0, z0, x1, z1]`,
    /// metres.
    pub fn within(&self, [x0, z0, x1, z1]: [f64; 4]) -> impl Iterator<Item = [i64; 2]> + use<> {
        let side = self.side;
        let rows = [z0 / (ROW * side) - 1.0, z1 / (ROW * side) + 1.0];
        let (first, last) = (libm::floor(rows[0]) as i64, libm::ceil(rows[1]) as i64);
        (first..=last).flat_map(move |j| {
            let along = |x: f64| x / side - 0.5 * j as f64;
            let from = libm::floor(along(x0)) as i64 - 1;
            let to = libm::ceil(along(x1)) as i64 + 1;
            (from..=to).map(move |i| [i, j])
        })
    }
}
