//! The cells of a window, as an evaluation's grids hold them.
//!
//! Grids have a ring of empty cells round the window, so that every cell of it has eight
//! neighbours.

use std::ops::Range;

use super::Cells;
use super::elders::span;

/// A window of cells round a core. Places are nanometres from the window's corner.
#[derive(Debug, Clone, Copy)]
pub(super) struct Grid {
    core: Cells,
    pub(super) window: Cells,
    pub(super) width: usize,
    pub(super) height: usize,
    /// Cells of a row of the grids.
    pub(super) stride: usize,
    pub(super) side: f64,
    /// The side, as whole nanometres.
    whole_side: i64,
}

impl Grid {
    /// A core with a margin of so many cells of a side, nanometres.
    pub(super) fn new(core: Cells, margin: i64, side: i64) -> Self {
        let window = core.grown(margin);
        let width = (window.x1 - window.x0) as usize;
        Self {
            core,
            window,
            width,
            height: (window.z1 - window.z0) as usize,
            stride: width + 2,
            side: side as f64,
            whole_side: side,
        }
    }

    /// Cells of a grid, the ring round the window too.
    pub(super) fn len(&self) -> usize {
        self.stride * (self.height + 2)
    }

    /// The window's corner in the world, nanometres.
    #[inline]
    pub(super) fn corner(&self) -> (i64, i64) {
        (
            self.window.x0 * self.whole_side,
            self.window.z0 * self.whole_side,
        )
    }

    /// The far ends of the window.
    #[inline]
    pub(super) fn ends(&self) -> (f64, f64) {
        (
            self.side * self.width as f64,
            self.side * self.height as f64,
        )
    }

    /// A cell's index in the grids, by its column and row in the window.
    #[inline]
    pub(super) fn cell(&self, cx: usize, cz: usize) -> usize {
        (cz + 1) * self.stride + cx + 1
    }

    /// A cell's column and row in the window, by its index in the grids.
    #[inline]
    pub(super) fn column_row(&self, cell: u32) -> (usize, usize) {
        // 32-bit division: a third of the time of the 64-bit one
        let stride = self.stride as u32;
        ((cell % stride) as usize - 1, (cell / stride) as usize - 1)
    }

    /// A cell and its eight neighbours.
    #[inline]
    pub(super) fn around(&self, cell: usize) -> [usize; 9] {
        let (below, above) = (cell - self.stride, cell + self.stride);
        [
            cell,
            cell - 1,
            cell + 1,
            below,
            above,
            below - 1,
            below + 1,
            above - 1,
            above + 1,
        ]
    }

    #[inline]
    pub(super) fn in_core(&self, cx: usize, cz: usize) -> bool {
        let (ix, iz) = (self.window.x0 + cx as i64, self.window.z0 + cz as i64);
        ix >= self.core.x0 && ix < self.core.x1 && iz >= self.core.z0 && iz < self.core.z1
    }

    /// The cell of a place in the window.
    #[inline]
    pub(super) fn cell_at(&self, x: f64, z: f64) -> usize {
        let column = |v: f64, most: usize| ((v / self.side).max(0.0) as usize).min(most - 1);
        self.cell(column(x, self.width), column(z, self.height))
    }

    /// The cells that a disc about a place touches.
    #[inline]
    pub(super) fn cells_within(
        &self,
        (x, z): (f64, f64),
        reach: f64,
    ) -> impl Iterator<Item = usize> + use<'_> {
        let columns = span(x, reach, self.side, self.width);
        let rows = span(z, reach, self.side, self.height);
        let both = columns.zip(rows).into_iter();
        both.flat_map(move |((c0, c1), (r0, r1))| {
            (r0..=r1).flat_map(move |cz| (c0..=c1).map(move |cx| self.cell(cx, cz)))
        })
    }

    /// Columns and rows of a part in the window.
    pub(super) fn local(&self, part: Cells) -> (Range<usize>, Range<usize>) {
        let range =
            |from: i64, to: i64, corner: i64| (from - corner) as usize..(to - corner) as usize;
        let columns = range(part.x0, part.x1, self.window.x0);
        (columns, range(part.z0, part.z1, self.window.z0))
    }
}
