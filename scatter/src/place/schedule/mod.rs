//! What a pass throws where: octaves of size, their cells, and how many candidates it takes to get
//! what is asked.
//!
//! A pass's diameters are split into octaves, largest first. Larger pieces are laid before smaller
//! ones, also inside an octave, so a piece can only be refused by larger ones. The number of
//! candidates that an octave needs is the number asked over the share of places still free,
//! integrated as the octave fills (see [`super::packing`]). It is tabulated against the local
//! target, so that fields and clumps are met too, and depends on the pass alone: never on the
//! window.

mod octave;
mod tables;

pub use octave::{MOST_LEVELS, Octave, SINGLE_PRECISION, Throw};

use super::choice::Choice;
use super::packing::ellipse_perimeter;
use crate::brief::Amount;
use crate::plan::NANO;
use crate::size::SizeLaw;
use octave::{EQUAL_RATIO, SLICES, TARGETS};

/// The outline of one piece of a pass, in units of its diameter.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Outline {
    /// Long axis over intermediate axis, at least 1.
    pub elongation: f64,
    /// Plan area over the square of the diameter (disc: pi / 4).
    pub fill: f64,
    /// Perimeter of the ground that it keeps free over the diameter.
    pub perimeter: f64,
    /// Area of the ground that it keeps free over the square of the diameter.
    pub area: f64,
}

impl Outline {
    /// A disc.
    pub const DISC: Self = Self {
        elongation: 1.0,
        fill: std::f64::consts::FRAC_PI_4,
        perimeter: std::f64::consts::PI,
        area: std::f64::consts::FRAC_PI_4,
    };

    /// A piece that keeps an ellipse free: its long axis over its diameter, and its own plan area
    /// over the square of that.
    #[must_use]
    pub fn ellipse(elongation: f64, fill: f64) -> Self {
        Self {
            elongation,
            fill,
            perimeter: ellipse_perimeter(0.5 * elongation, 0.5),
            area: std::f64::consts::FRAC_PI_4 * elongation,
        }
    }
}

/// What a pass asks for, apart from where.
#[derive(Debug, Clone, PartialEq)]
pub struct Wanted {
    /// Diameters by number.
    pub sizes: SizeLaw,
    /// How many, at full strength of the fields.
    pub amount: Amount,
    /// Its pieces.
    pub pieces: Choice,
    /// Whether pieces keep off each other.
    pub spaced: bool,
    /// Share of the darts that roll off what they meet, where pieces keep apart as stones; None
    /// where they do by their ellipses.
    pub roll: Option<f64>,
    /// Where pieces keep apart as stones, twice their largest support over the diameter.
    pub longest: Option<f64>,
    /// Size of the ground kept free over the size of the piece: above 1 spaces out, below 1 lets
    /// overlap.
    pub reach: f64,
    /// Largest local target over the one asked: above 1 with clumps.
    pub peak: f64,
    /// Whether the local target varies; when it does not, only the peak is worked out.
    pub varies: bool,
}

/// Strewn pieces never quite hide the ground: cover 0.999 is seven layers.
const MOST_STREWN_COVER: f64 = 0.999;
/// Most mean pieces a cell of a strewn pass, so that the ordinals of a cell suffice.
const STREWN_PER_CELL: f64 = 2.0;
/// A pass's octaves, largest first.
#[derive(Debug, Clone)]
pub struct Schedule {
    /// The octaves.
    pub octaves: Vec<Octave>,
    /// Largest local target over the one asked.
    pub peak: f64,
    /// Whether pieces keep off each other.
    pub spaced: bool,
    /// Mean plan area over squared diameter.
    pub fill: f64,
}

impl Schedule {
    /// Works out octaves, cells and candidates for what is asked.
    #[must_use]
    pub fn new(asked: &Wanted) -> Self {
        let fill = asked.pieces.fill(&asked.sizes);
        let longest = asked
            .pieces
            .outlines()
            .iter()
            .map(|o| o.elongation)
            .fold(1.0, f64::max);
        // A stone on its edge may be longer than it is wide by more than its piece
        let longest = asked.longest.unwrap_or(longest);
        let number = match asked.amount {
            Amount::PerSquareMetre(n) => n,
            Amount::Cover(c) if asked.spaced => c / (asked.sizes.mean_square() * fill),
            // Strewn at random, the covered share is 1 - exp(-sum of areas) (Boolean model:
            // Matheron 1975)
            Amount::Cover(c) => {
                -libm::log(1.0 - c.min(MOST_STREWN_COVER)) / (asked.sizes.mean_square() * fill)
            }
        };
        let mut octaves = Vec::new();
        let mut to = asked.sizes.to();
        while to > asked.sizes.from() || octaves.is_empty() {
            // A last sliver of an octave joins the one before it
            let half = 0.5 * to;
            let from = if half <= asked.sizes.from() * EQUAL_RATIO {
                asked.sizes.from()
            } else {
                half
            };
            octaves.push(Octave::bare(asked, number, from, to, longest));
            to = from;
        }
        if asked.spaced {
            tables::fill(asked, &mut octaves);
        } else {
            for octave in &mut octaves {
                let per_cell = libm::sqrt(
                    STREWN_PER_CELL / (octave.asked * asked.peak).max(f64::MIN_POSITIVE),
                );
                // By halves: what asks for a little more keeps its cells, and with them the pieces
                // that it had
                while octave.side as f64 > per_cell * NANO && octave.side > 1 {
                    octave.side /= 2;
                }
            }
        }
        Self {
            octaves,
            peak: asked.peak,
            spaced: asked.spaced,
            fill,
        }
    }

    /// Pieces per square metre asked at full strength.
    #[must_use]
    pub fn asked(&self) -> f64 {
        self.octaves.iter().map(|o| o.asked).sum()
    }

    /// Where a local target (over the one asked) lies in the tables: node and share of the next.
    #[inline]
    fn node(&self, target: f64) -> (usize, f64) {
        let at = (target / self.peak).clamp(0.0, 1.0) * (TARGETS - 1) as f64;
        let i = (at as usize).min(TARGETS - 2);
        (i, at - i as f64)
    }

    /// Share of the asked pieces of an octave that find room at a local target.
    #[must_use]
    pub fn kept_share(&self, octave: usize, target: f64) -> f64 {
        let (i, t) = self.node(target);
        match &self.octaves[octave].throw {
            Throw::BySize { kept, .. } | Throw::Equal { kept, .. } => {
                kept[i] + (kept[i + 1] - kept[i]) * t
            }
        }
    }

    /// Candidates per asked piece at a local target for sizes at share `u` of the octave (0 the
    /// smallest).
    #[must_use]
    #[inline]
    pub fn tries(&self, octave: usize, target: f64, u: f64) -> f64 {
        match &self.octaves[octave].throw {
            Throw::BySize { tries, .. } => {
                let (i, t) = self.node(target);
                let at = (u * SLICES as f64 - 0.5).clamp(0.0, (SLICES - 1) as f64);
                let k = (at as usize).min(SLICES - 2);
                let s = at - k as f64;
                let low = tries[i][k] + (tries[i][k + 1] - tries[i][k]) * s;
                let high = tries[i + 1][k] + (tries[i + 1][k + 1] - tries[i + 1][k]) * s;
                low + (high - low) * t
            }
            Throw::Equal { .. } => 1.0,
        }
    }

    /// Most candidates per asked piece at any size, up to a local target.
    #[must_use]
    pub fn most_tries(&self, octave: usize, target: f64) -> f64 {
        match &self.octaves[octave].throw {
            // Candidates grow with the target: the node above bounds those between
            Throw::BySize { most, .. } => most[self.node(target).0 + 1],
            Throw::Equal { .. } => 1.0,
        }
    }

    /// Candidates per square metre that equal pieces need at a local target; infinite where the
    /// ground is to be full.
    #[must_use]
    #[inline]
    pub fn candidates(&self, octave: usize, target: f64) -> f64 {
        match &self.octaves[octave].throw {
            Throw::Equal { candidates, .. } => {
                let (i, t) = self.node(target);
                if t == 0.0 {
                    candidates[i]
                } else {
                    candidates[i] + (candidates[i + 1] - candidates[i]) * t
                }
            }
            Throw::BySize { .. } => 0.0,
        }
    }
}
