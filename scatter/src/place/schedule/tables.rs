//! The tables of candidates, worked out as the ground fills.

use super::Wanted;
use super::octave::{MOST_TRIES, Octave, SLICES, TARGETS, Throw};
use crate::place::packing::Crowd;

/// How much wider a piece is taken to be to see how many more darts that needs: outlines differ by
/// a tenth.
const WIDER: f64 = 1.1;
/// Over what the theory of convex crowds says of that: measured on grown stones of one size, such
/// that those that come to lie are as wide as those asked for, within 1 % at cover 0.2 and 3 % at
/// 0.45.
const STEEPER: f64 = 1.5;

/// Fills the tables, octave by octave and target by target, as the ground fills.
pub(super) fn fill(asked: &Wanted, octaves: &mut [Octave]) {
    let filling = Filling::new(asked);
    for octave in octaves.iter_mut().filter(|o| filling.in_levels(o)) {
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
    for node in nodes {
        let target = asked.peak * node as f64 / (TARGETS - 1) as f64;
        let mut crowd = Crowd::default();
        for octave in octaves.iter_mut() {
            let wanted = octave.asked * target;
            if filling.in_levels(octave) {
                filling.lay_equal(octave, node, wanted, &mut crowd);
            } else {
                filling.lay_slices(octave, node, wanted, &mut crowd);
            }
        }
    }
}

/// How a pass fills the ground. One mean body stands for the outlines of a size: ln(free share) is
/// linear in perimeter and area, which vary little among them.
struct Filling<'a> {
    asked: &'a Wanted,
    /// By band of sizes, of the ground kept free: perimeter over diameter.
    perimeters: Vec<f64>,
    /// And area over its square.
    areas: Vec<f64>,
    /// The node at which as much is wanted as is asked.
    full: usize,
}

impl<'a> Filling<'a> {
    fn new(asked: &'a Wanted) -> Self {
        let reach = asked.reach;
        Self {
            asked,
            perimeters: asked.pieces.means(|o| o.perimeter * reach),
            areas: asked.pieces.means(|o| o.area * reach * reach),
            full: libm::rint((TARGETS - 1) as f64 / asked.peak).max(1.0) as usize,
        }
    }

    /// Whether an octave is thrown in levels, as equal pieces.
    fn in_levels(&self, octave: &Octave) -> bool {
        self.asked.roll.is_none() && octave.is_equal()
    }

    /// Perimeter and area of the mean body of a diameter.
    fn body(&self, d: f64) -> (f64, f64) {
        let band = self.asked.pieces.band(d);
        (self.perimeters[band] * d, self.areas[band] * d * d)
    }

    /// Share of the darts of a diameter that come to lie beside a crowd.
    fn free(&self, crowd: &Crowd, d: f64) -> f64 {
        self.stays(crowd, d, 1.0)
    }

    /// The same of darts so many times as wide.
    fn stays(&self, crowd: &Crowd, d: f64, wider: f64) -> f64 {
        let (perimeter, area) = self.body(d);
        let free = crowd.free_share(perimeter * wider, area * wider * wider);
        let roll = self.asked.roll;
        roll.map_or(free, |roll| crowd.staying_share(free, roll))
    }

    fn lay(&self, crowd: &mut Crowd, number: f64, d: f64) {
        let (perimeter, area) = self.body(d);
        crowd.add(number, perimeter, area);
    }

    /// Lays `wanted` equal pieces a square metre, and notes what that takes at a node.
    fn lay_equal(&self, octave: &mut Octave, node: usize, wanted: f64, crowd: &mut Crowd) {
        let (number, share) = self.throw_equal(wanted, octave.to, crowd);
        if let Throw::Equal { candidates, kept } = &mut octave.throw {
            candidates[node] = number;
            kept[node] = share;
        }
    }

    /// Lays `wanted` pieces a square metre, slice by slice from the largest sizes to the smallest,
    /// and notes what that takes at a node.
    fn lay_slices(&self, octave: &mut Octave, node: usize, wanted: f64, crowd: &mut Crowd) {
        let rolls = self.asked.roll.is_some();
        let most_tries = if rolls {
            MOST_TRIES
        } else {
            octave.most_tries(wanted)
        };
        let mut laid = 0.0;
        let mut row = [1.0; SLICES];
        for (slice, tries) in row.iter_mut().enumerate().rev() {
            let d = octave.diameter((slice as f64 + 0.5) / SLICES as f64);
            // Half of the slice lies when its middle is laid: one step of the midpoint rule
            let number = wanted / SLICES as f64;
            let before = *crowd;
            let start = self.free(&before, d);
            self.lay(crowd, 0.5 * number * (start * most_tries).min(1.0), d);
            let middle = self.free(crowd, d);
            *tries = (1.0 / middle.max(f64::MIN_POSITIVE)).min(most_tries);
            if node == self.full && rolls {
                let wider = self.stays(crowd, d, WIDER).max(1.0 / most_tries);
                let steep = libm::log(middle / wider) / libm::log(WIDER);
                octave.steepness += STEEPER * steep.max(0.0) / SLICES as f64;
            }
            let placed = number * (middle * most_tries).min(1.0);
            *crowd = before;
            self.lay(crowd, placed, d);
            laid += placed;
        }
        if let Throw::BySize { tries, most, kept } = &mut octave.throw {
            tries[node] = row;
            most[node] = row.iter().copied().fold(1.0, f64::max);
            kept[node] = if wanted > 0.0 { laid / wanted } else { 1.0 };
        }
    }

    /// Candidates per square metre that bring `wanted` equal pieces, infinite when they do not fit,
    /// and the share that fits.
    fn throw_equal(&self, wanted: f64, d: f64, crowd: &mut Crowd) -> (f64, f64) {
        /// Steps of the integral; each lays the same number.
        const FILLING: usize = 200;
        /// Share of free places below which the rest of the ground counts as full: the levels end
        /// about there.
        const FULL: f64 = 1e-6;
        let number = wanted / FILLING as f64;
        let mut candidates = 0.0;
        for step in 0..FILLING {
            let before = *crowd;
            self.lay(crowd, 0.5 * number, d);
            let middle = self.free(crowd, d);
            if middle < FULL {
                *crowd = before;
                return (f64::INFINITY, step as f64 / FILLING as f64);
            }
            candidates += number / middle;
            *crowd = before;
            self.lay(crowd, number, d);
        }
        (candidates, 1.0)
    }
}
