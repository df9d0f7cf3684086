//! What a pass throws where: octaves of size, their cells, and how many candidates it takes to get
//! what is asked.
//!
//! A pass's diameters are split into octaves, largest first. Larger pieces are laid before smaller
//! ones, also inside an octave, so a piece can only be refused by larger ones. The number of
//! candidates that an octave needs is the number asked over the share of places still free,
//! integrated as the octave fills (see [`super::packing`]). It is tabulated against the local
//! target, so that fields and clumps are met too, and depends on the pass alone: never on the
//! window.

use super::choice::Choice;
use super::packing::{Crowd, ellipse_perimeter};
use crate::brief::Amount;
use crate::plan::NANO;
use crate::size::SizeLaw;

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
pub struct Asked {
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

/// Candidates per piece beyond which the ground counts as full for that size. A free share of one
/// in 64 is 97 % of the way to jammed for equal discs; more candidates would gain less than they
/// cost.
const MOST_TRIES: f64 = 64.0;
/// The same where neighbours are many. Long pieces and wide spacing bring dozens of asked pieces
/// into reach of one, most of which find no room; a free share of one in 16 is then the end.
const LEAST_TRIES: f64 = 16.0;
/// Pieces asked in a cell and its eight neighbours up to which [`MOST_TRIES`] are thrown: three
/// times what round pieces of one octave bring at cover 0.4. Beyond it tries fall as neighbours
/// rise, so that the work for a piece asked stays the same.
const MANY_NEIGHBOURS: f64 = 24.0;
/// How much wider a piece is taken to be to see how many more darts that needs: outlines differ by
/// a tenth.
const WIDER: f64 = 1.1;
/// Over what the theory of convex crowds says of that: measured on grown stones of one size, such
/// that those that come to lie are as wide as those asked for, within 1 % at cover 0.2 and 3 % at
/// 0.45.
const STEEPER: f64 = 1.5;
/// Slices of an octave's sizes in the tables, each of equal number: the free share changes by a few
/// percent from one to the next.
const SLICES: usize = 32;
/// Nodes of the local target in the tables.
const TARGETS: usize = 33;
/// Nodes of an octave's diameters; linear interpolation is then within 1e-6 of the law.
const SIZE_NODES: usize = 1025;
/// Candidates per disc area in the first level of equal pieces: a third of the ground is covered
/// after it, and covered subcells pay for looking at them.
const FIRST_LEVEL_DARTS: f64 = 1.0;
/// Levels after which equal pieces count as full. Subcells are then a millionth of a cell wide; on
/// measured patches no place was free from level 9 on.
pub const MOST_LEVELS: u32 = 20;
/// Most mean pieces a cell of a strewn pass, so that the ordinals of a cell suffice.
const STREWN_PER_CELL: f64 = 2.0;
/// Sizes this near to each other count as equal: no free share differs by more than a few percent
/// between them.
const EQUAL_RATIO: f64 = 1.02;

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
    pub fn new(asked: &Asked) -> Self {
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
            fill_tables(asked, &mut octaves);
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

/// Diameters are rounded to single precision: by less than this factor.
pub const SINGLE_PRECISION: f64 = 1.0 + 1e-6;

/// Strewn pieces never quite hide the ground: cover 0.999 is seven layers.
const MOST_STREWN_COVER: f64 = 0.999;

impl Octave {
    fn bare(asked: &Asked, number: f64, from: f64, to: f64, longest: f64) -> Self {
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
    fn most_tries(&self, wanted: f64) -> f64 {
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

/// Fills the tables of candidates, octave by octave and target by target, as the ground fills.
fn fill_tables(asked: &Asked, octaves: &mut [Octave]) {
    // One mean body stands for the outlines of a size: ln(free share) is linear in perimeter and
    // area, which vary little among them
    let reach = asked.reach;
    let perimeters = asked.pieces.means(|o| o.perimeter * reach);
    let areas = asked.pieces.means(|o| o.area * reach * reach);
    let body = |d: f64| {
        let band = asked.pieces.band(d);
        (perimeters[band] * d, areas[band] * d * d)
    };
    let stays = |crowd: &Crowd, d: f64, wider: f64| {
        let (perimeter, area) = body(d);
        let free = crowd.free_share(perimeter * wider, area * wider * wider);
        asked
            .roll
            .map_or(free, |roll| crowd.staying_share(free, roll))
    };
    let free = |crowd: &Crowd, d: f64| stays(crowd, d, 1.0);
    let lay = |crowd: &mut Crowd, number: f64, d: f64| {
        let (perimeter, area) = body(d);
        crowd.add(number, perimeter, area);
    };
    let levels = |o: &Octave| asked.roll.is_none() && o.is_equal();
    for octave in octaves.iter_mut().filter(|o| levels(o)) {
        octave.throw = Throw::Equal {
            candidates: vec![0.0; TARGETS],
            kept: vec![1.0; TARGETS],
        };
    }
    let nodes = if asked.varies {
        0..TARGETS
    } else {
        TARGETS - 1..TARGETS
    };
    // The node at which as much is wanted as is asked
    let full = libm::rint((TARGETS - 1) as f64 / asked.peak).max(1.0) as usize;
    for node in nodes {
        let target = asked.peak * node as f64 / (TARGETS - 1) as f64;
        let mut crowd = Crowd::default();
        for octave in octaves.iter_mut() {
            let wanted = octave.asked * target;
            if levels(octave) {
                let (candidates, kept) = throw_equal(wanted, octave.to, &mut crowd, &free, &lay);
                if let Throw::Equal {
                    candidates: table,
                    kept: shares,
                } = &mut octave.throw
                {
                    table[node] = candidates;
                    shares[node] = kept;
                }
                continue;
            }
            let most_tries = if asked.roll.is_some() {
                MOST_TRIES
            } else {
                octave.most_tries(wanted)
            };
            // Slices from the largest sizes to the smallest
            let mut kept = 0.0;
            let mut row = [1.0; SLICES];
            for (slice, tries) in row.iter_mut().enumerate().rev() {
                let d = octave.diameter((slice as f64 + 0.5) / SLICES as f64);
                // Half of the slice lies when its middle is laid: one step of the midpoint rule
                let number = wanted / SLICES as f64;
                let before = crowd;
                let start = free(&before, d);
                lay(&mut crowd, 0.5 * number * (start * most_tries).min(1.0), d);
                let middle = free(&crowd, d);
                *tries = (1.0 / middle.max(f64::MIN_POSITIVE)).min(most_tries);
                if node == full && asked.roll.is_some() {
                    let wider = stays(&crowd, d, WIDER).max(1.0 / most_tries);
                    let steep = libm::log(middle / wider) / libm::log(WIDER);
                    octave.steepness += STEEPER * steep.max(0.0) / SLICES as f64;
                }
                let placed = number * (middle * most_tries).min(1.0);
                crowd = before;
                lay(&mut crowd, placed, d);
                kept += placed;
            }
            if let Throw::BySize {
                tries,
                most,
                kept: shares,
            } = &mut octave.throw
            {
                tries[node] = row;
                most[node] = row.iter().copied().fold(1.0, f64::max);
                shares[node] = if wanted > 0.0 { kept / wanted } else { 1.0 };
            }
        }
    }
}

/// Candidates per square metre that bring `wanted` equal pieces, infinite when they do not fit, and
/// the share that fits.
fn throw_equal(
    wanted: f64,
    d: f64,
    crowd: &mut Crowd,
    free: &impl Fn(&Crowd, f64) -> f64,
    lay: &impl Fn(&mut Crowd, f64, f64),
) -> (f64, f64) {
    /// Steps of the integral; each lays the same number.
    const FILLING: usize = 200;
    /// Share of free places below which the rest of the ground counts as full: the levels end about
    /// there.
    const FULL: f64 = 1e-6;
    let number = wanted / FILLING as f64;
    let mut candidates = 0.0;
    for step in 0..FILLING {
        let before = *crowd;
        lay(crowd, 0.5 * number, d);
        let middle = free(crowd, d);
        if middle < FULL {
            *crowd = before;
            return (f64::INFINITY, step as f64 / FILLING as f64);
        }
        candidates += number / middle;
        *crowd = before;
        lay(crowd, number, d);
    }
    (candidates, 1.0)
}
