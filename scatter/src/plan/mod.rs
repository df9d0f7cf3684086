//! Things on the plan: places in whole nanometres, outlines, rectangles.

pub mod buckets;
pub mod footprint;
pub mod hull;
pub mod line;
pub mod profile;
pub mod stone;
pub mod stones;

pub use buckets::Buckets;
pub use footprint::Ellipse;
pub use hull::convex_hull;
pub use line::{NearestOnLine, PlanLine};
pub use profile::Profile;
pub use stone::Stone;
pub use stones::{Stances, Stones};

/// Nanometres in a metre: places are whole nanometres, so that differences of places are exact
/// anywhere in the world.
pub const NANO: f64 = 1e9;

/// The number of a piece among those of its pass.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct PassPiece(u16);

impl PassPiece {
    /// The piece of a number.
    #[must_use]
    pub const fn new(number: u16) -> Self {
        Self(number)
    }
}

impl From<PassPiece> for usize {
    fn from(piece: PassPiece) -> Self {
        Self::from(piece.0)
    }
}

/// A placed piece on the plan, before it is laid to rest.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Placed {
    /// Plan place, nanometres.
    pub x: i64,
    /// Plan place, nanometres.
    pub z: i64,
    /// The piece's place in the world's streams.
    pub id: u64,
    /// Intermediate diameter, metres.
    pub diameter: f32,
    /// Direction of the long axis in plan (x, z), a unit vector.
    pub along: [f32; 2],
    /// Which of the pass's pieces it is.
    pub piece: PassPiece,
    /// Which of the piece's stances it takes.
    pub stance: u8,
    /// How far it is sunk between the smallest and the largest burial of its pass, in 255ths.
    pub sunk: u8,
}

impl Placed {
    /// The piece's plan ellipse relative to a corner (nanometres), its size multiplied by `reach`.
    #[must_use]
    #[inline]
    pub fn ellipse(&self, corner: (i64, i64), elongation: f64, reach: f64) -> Ellipse {
        let inner = 0.5 * NANO * reach * f64::from(self.diameter);
        Ellipse {
            x: (self.x - corner.0) as f64,
            z: (self.z - corner.1) as f64,
            outer: inner * elongation,
            inner,
            along: self.along,
        }
    }

    /// Its plan ellipse as a polygon of 16 corners, counter-clockwise with +x right and +z up,
    /// nanometres: 2 % within it.
    #[must_use]
    pub fn polygon(&self, elongation: f64) -> Vec<[i64; 2]> {
        const CORNERS: u32 = 16;
        let ellipse = self.ellipse((self.x, self.z), elongation, 1.0);
        let [u, v] = self.along.map(f64::from);
        (0..CORNERS)
            .map(|i| {
                let turn = std::f64::consts::TAU * f64::from(i) / f64::from(CORNERS);
                let (sin, cos) = libm::sincos(turn);
                let (a, b) = (ellipse.outer * cos, ellipse.inner * sin);
                [
                    self.x + libm::round(a * u - b * v) as i64,
                    self.z + libm::round(a * v + b * u) as i64,
                ]
            })
            .collect()
    }
}

/// A plan rectangle in nanometres, ends included.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Rectangle {
    /// Smallest x.
    pub x0: i64,
    /// Smallest z.
    pub z0: i64,
    /// Largest x.
    pub x1: i64,
    /// Largest z.
    pub z1: i64,
}

impl Rectangle {
    /// The rectangle of a single place.
    #[must_use]
    pub fn at(x: i64, z: i64) -> Self {
        Self {
            x0: x,
            z0: z,
            x1: x,
            z1: z,
        }
    }

    /// The smallest rectangle that holds all places.
    #[must_use]
    pub fn about(places: &[[i64; 2]]) -> Self {
        let none = Self {
            x0: i64::MAX,
            z0: i64::MAX,
            x1: i64::MIN,
            z1: i64::MIN,
        };
        places.iter().fold(none, |r, [x, z]| Self {
            x0: r.x0.min(*x),
            z0: r.z0.min(*z),
            x1: r.x1.max(*x),
            z1: r.z1.max(*z),
        })
    }

    /// Grown by `reach` nanometres on every side.
    #[must_use]
    pub fn grown(&self, reach: i64) -> Self {
        Self {
            x0: self.x0 - reach,
            z0: self.z0 - reach,
            x1: self.x1 + reach,
            z1: self.z1 + reach,
        }
    }

    /// Whether it has a place in common with another.
    #[must_use]
    pub fn meets(&self, other: &Self) -> bool {
        self.x0 <= other.x1 && self.x1 >= other.x0 && self.z0 <= other.z1 && self.z1 >= other.z0
    }

    /// Whether a place lies in it.
    #[must_use]
    pub fn holds(&self, x: i64, z: i64) -> bool {
        x >= self.x0 && x <= self.x1 && z >= self.z0 && z <= self.z1
    }
}
