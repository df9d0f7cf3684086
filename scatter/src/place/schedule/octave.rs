//! Octaves: their sizes, their cells, and the tables of how they are thrown.

use super::Wanted;
use crate::plan::NANO;

/// Candidates per piece beyond which the ground counts as full for that size. A free share of one
/// in 64 is 97 % of the way to jammed for equal discs; more candidates would gain less than they
/// cost.
pub(super) const MOST_TRIES: f64 = 64.0;
/// The same where neighbours are many. Long pieces and wide spacing bring dozens of asked pieces
/// into reach of one, most of which find no room; a free share of one in 16 is then the end.
const LEAST_TRIES: f64 = 16.0;
/// Pieces asked in a cell and its eight neighbours up to which [`MOST_TRIES`] are thrown: three
/// times what round pieces of one octave bring at cover 0.4. Beyond it tries fall as neighbours
/// rise, so that the work for a piece asked stays the same.
const MANY_NEIGHBOURS: f64 = 24.0;
/// Slices of an octave's sizes in the tables, each of equal number: the free share changes by a few
/// percent from one to the next.
pub(super) const SLICES: usize = 32;
/// Nodes of the local target in the tables.
pub(super) const TARGETS: usize = 33;
/// Nodes of an octave's diameters; linear interpolation is then within 1e-6 of the law.
const SIZE_NODES: usize = 1025;
/// Candidates per disc area in the first level of equal pieces: a third of the ground is covered
/// after it, and covered subcells pay for looking at them.
const FIRST_LEVEL_DARTS: f64 = 1.0;
/// Levels after which equal pieces count as full. Subcells are then a millionth of a cell wide; on
/// measured patches no place was free from level 9 on.
pub const MOST_LEVELS: u32 = 20;
/// Sizes this near to each other count as equal: no free share differs by more than a few percent
/// between them.
pub(super) const EQUAL_RATIO: f64 = 1.02;
/// Diameters are rounded to single precision: by less than this factor.
pub const SINGLE_PRECISION: f64 = 1.0 + 1e-6;

/// One octave of a pass.
#[derive(Debug, Clone)]
pub struct Octave {
    /// Smallest diameter, metres.
    pub from: f64,
    /// Largest diameter, metres.
    pub to: f64,
    /// Side of a cell, nanometres.
    pub side: i64,
    /// Pieces per square metre asked at full strength.
    pub asked: f64,
    /// Mean square of the diameters, m2.
    pub mean_square: f64,
    /// How much more darts a wider piece needs: they go with its width over the mean to this power.
    /// 0 where pieces do not roll.
    pub steepness: f64,
    /// Diameters at equal steps of the octave's numbers, smallest first.
    diameters: Vec<f64>,
    /// How candidates become pieces.
    pub throw: Throw,
}

/// How an octave's candidates are thrown.
#[derive(Debug, Clone)]
pub enum Throw {
    /// One level, largest first; candidates per asked piece by local target and slice, slice 0 the
    /// smallest sizes.
    BySize {
        /// `tries[target][slice]`.
        tries: Vec<[f64; SLICES]>,
        /// Most of them over all slices, by target.
        most: Vec<f64>,
        /// Share of the asked pieces that find room, by target.
        kept: Vec<f64>,
    },
    /// Equal pieces in random order, in levels of ever finer subcells.
    Equal {
        /// Candidates per square metre by target; infinite where the ground is to be full.
        candidates: Vec<f64>,
        /// Share of the asked pieces that find room, by target.
        kept: Vec<f64>,
    },
}

impl Octave {
    pub(super) fn bare(asked: &Wanted, number: f64, from: f64, to: f64, longest: f64) -> Self {
        let (low, high) = (asked.sizes.finer_than(from), asked.sizes.finer_than(to));
        let (low, high) = if asked.sizes.from() == asked.sizes.to() {
            (0.0, 1.0)
        } else {
            (low, high)
        };
        let diameters: Vec<f64> = (0..SIZE_NODES)
            .map(|i| {
                asked
                    .sizes
                    .quantile(low + (high - low) * i as f64 / (SIZE_NODES - 1) as f64)
                    .clamp(from, to)
            })
            .collect();
        let mean_square = diameters
            .windows(2)
            .map(|w| (w[0] * w[0] + w[0] * w[1] + w[1] * w[1]) / 3.0)
            .sum::<f64>()
            / (SIZE_NODES - 1) as f64;
        let reach = if asked.spaced { asked.reach } else { 1.0 };
        Self {
            from,
            to,
            // The largest distance at which two pieces of the octave can meet, rounded up to whole
            // nanometres
            side: libm::ceil(to * longest * reach * NANO * SINGLE_PRECISION) as i64,
            asked: number * (high - low),
            mean_square,
            steepness: 0.0,
            diameters,
            throw: Throw::BySize {
                tries: vec![[1.0; SLICES]; TARGETS],
                most: vec![1.0; TARGETS],
                kept: vec![1.0; TARGETS],
            },
        }
    }

    /// Diameter at share `u` of the octave's numbers, metres.
    #[must_use]
    #[inline]
    pub fn diameter(&self, u: f64) -> f64 {
        let at = u * (SIZE_NODES - 1) as f64;
        let i = (at as usize).min(SIZE_NODES - 2);
        self.diameters[i] + (self.diameters[i + 1] - self.diameters[i]) * (at - i as f64)
    }

    /// The share of the octave's numbers that is at least so large, and the mean square of their
    /// diameters, m2.
    #[must_use]
    pub fn resolved(&self, least: f64) -> (f64, f64) {
        if least <= self.from {
            return (1.0, self.mean_square);
        }
        let first = self.diameters.partition_point(|d| *d < least);
        let larger = &self.diameters[first..];
        let squares: f64 = larger.iter().map(|d| d * d).sum();
        let count = larger.len().max(1) as f64;
        (larger.len() as f64 / SIZE_NODES as f64, squares / count)
    }

    /// Candidates a piece beyond which the ground counts as full, where so many pieces a square
    /// metre are wanted.
    pub(super) fn most_tries(&self, wanted: f64) -> f64 {
        let side = self.side as f64 / NANO;
        let neighbours = 9.0 * side * side * wanted;
        (MOST_TRIES * MANY_NEIGHBOURS / neighbours.max(f64::MIN_POSITIVE))
            .clamp(LEAST_TRIES, MOST_TRIES)
    }

    /// Whether all its pieces count as equally large.
    #[must_use]
    pub fn is_equal(&self) -> bool {
        self.to <= self.from * EQUAL_RATIO
    }

    /// Candidates per square metre up to and with a level, for equal pieces. Each level throws four
    /// times as many in all as the one before it, into subcells of half the side.
    #[must_use]
    pub fn candidates_to_level(&self, level: u32) -> f64 {
        let disc = std::f64::consts::FRAC_PI_4 * self.to * self.to;
        FIRST_LEVEL_DARTS / disc * libm::pow(4.0, f64::from(level))
    }
}
