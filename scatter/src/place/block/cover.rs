//! Which subcells have no room left: 8 x 8 a cell, as the bits of a word.
//!
//! Where a certain piece lies, no middle of another can lie within the sum of their shorter
//! semi-axes. The subcells wholly inside that disc are marked when the piece is kept. To mark costs
//! nine words: the pattern for a piece somewhere in a small box of its cell is worked out once. It
//! holds what is hidden wherever in that box the piece lies, so a mark is never wrong, and a
//! missing one only costs a look.

use super::evaluation::Evaluation;
use super::survivors::Draft;
use crate::field::Here;

/// Subcells along a cell: the bits of a word are a square of them.
pub(super) const ACROSS: usize = 8;
/// Boxes along a cell that a piece's place is told apart by: a quarter of a subcell each. Finer
/// ones would mark a little more, but their patterns no longer stay in the cache.
const BOXES: usize = 32;
/// Subcells by which patterns are narrower than the truth: more than what rounding places to
/// nanometres and to doubles moves, for any cell larger than a tenth of a millimetre; smaller cells
/// add their nanometres.
const SAFE: f64 = 1e-6;

/// What is covered.
#[derive(Debug, Default)]
pub(super) struct Cover {
    /// By cell, those of its subcells in which no candidate can lie any more; empty where no count
    /// is kept of them.
    pub(super) words: Vec<u64>,
    stencils: Stencils,
}

impl Cover {
    pub(super) fn clear(&mut self) {
        self.words.clear();
    }
}

/// The patterns for one ratio of hidden disc to cell.
#[derive(Debug, Default)]
struct Stencils {
    /// Radius of the hidden disc in subcells that the patterns are for.
    radius: f64,
    /// For every box, the nine words about the piece's cell, row by row.
    patterns: Vec<[u64; 9]>,
}

impl Stencils {
    /// Makes the patterns for a radius, unless they are there.
    fn prepare(&mut self, radius: f64) {
        if self.radius == radius && !self.patterns.is_empty() {
            return;
        }
        self.radius = radius;
        self.patterns.clear();
        self.patterns
            .extend((0..BOXES).flat_map(|bz| (0..BOXES).map(move |bx| pattern(radius, bx, bz))));
    }
}

/// What is hidden of the nine cells round a piece, wherever it lies in a box of the middle one.
fn pattern(radius: f64, bx: usize, bz: usize) -> [u64; 9] {
    let mut words = [0; 9];
    let ends = |b: usize| {
        let side = ACROSS as f64 / BOXES as f64;
        let low = ACROSS as f64 + b as f64 * side;
        (low, low + side)
    };
    let ((x0, x1), (z0, z1)) = (ends(bx), ends(bz));
    // Greatest distance along one axis between the box and a subcell
    let far = |i: usize, low: f64, high: f64| (i as f64 + 1.0 - low).max(high - i as f64);
    for j in 0..3 * ACROSS {
        let fz = far(j, z0, z1);
        if radius <= fz {
            continue;
        }
        let half = libm::sqrt(radius * radius - fz * fz);
        for i in 0..3 * ACROSS {
            if far(i, x0, x1) < half {
                let word = j / ACROSS * 3 + i / ACROSS;
                words[word] |= 1u64 << (j % ACROSS * ACROSS + i % ACROSS);
            }
        }
    }
    words
}

impl<T: Here> Evaluation<'_, T> {
    /// Makes the grid and the patterns of an octave of equal pieces.
    pub(super) fn prepare_cover(&mut self) {
        let cells = self.scratch.marks.len();
        self.scratch.cover.words.resize(cells, 0);
        let subcell = self.grid.side / ACROSS as f64;
        // Two nanometres: places are rounded down to whole ones
        let radius = (2.0 * self.semi_axes.least - 2.0) / subcell - SAFE;
        self.scratch.cover.stencils.prepare(radius);
    }

    /// Marks what a kept piece hides, when the octave keeps count of that.
    #[inline]
    pub(super) fn mark_cover(&mut self, draft: &Draft) {
        if self.scratch.cover.words.is_empty() {
            return;
        }
        let (cx, cz) = self.grid.column_row(draft.cell);
        let in_box = |at: f64, cell: usize| {
            let share = (at - cell as f64 * self.grid.side) / self.grid.side;
            ((share * BOXES as f64) as usize).min(BOXES - 1)
        };
        let number = in_box(draft.z, cz) * BOXES + in_box(draft.x, cx);
        let pattern = &self.scratch.cover.stencils.patterns[number];
        let first = draft.cell as usize - self.grid.stride - 1;
        for (row, words) in pattern.chunks_exact(3).enumerate() {
            let start = first + row * self.grid.stride;
            for (cover, word) in self.scratch.cover.words[start..start + 3]
                .iter_mut()
                .zip(words)
            {
                *cover |= word;
            }
        }
    }
}
