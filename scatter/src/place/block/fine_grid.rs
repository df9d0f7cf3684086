//! A grid finer than the cells, in which laid pieces are found where they lie.
//!
//! A cell is as long as the longest piece, so round a twig's cell lie hundreds of twigs that are
//! nowhere near it. Here a piece is listed in every bucket that it touches, and two that meet share
//! one. Where the ground is full, far more candidates are in doubt near a window's border than can
//! lie there: a bucket lists a few of them, and from then on whatever touches it is in doubt.

use super::lists::NONE;
use crate::plan::Ellipse;

/// Most buckets along a cell's side: more cost more to walk than they save.
const MOST_ACROSS: f64 = 12.0;
/// Buckets along the breadth of the broadest piece.
const FINE: f64 = 2.0;
/// Pieces in doubt that a bucket lists.
const DOUBTS: u8 = 4;

/// Buckets over a window. Places as the window's, nanometres.
#[derive(Debug, Default)]
pub(super) struct FineGrid {
    /// Side of a bucket.
    side: f64,
    columns: usize,
    rows: usize,
    /// By bucket, the last piece that was listed there: its number and what was listed before it.
    heads: Vec<u32>,
    links: Vec<(u32, u32)>,
    /// By bucket, how many pieces in doubt touch it, up to one more than are listed.
    doubts: Vec<u8>,
}

impl FineGrid {
    /// Forgets all, and covers a window of cells of a side; `longest` is the longest outline of its
    /// pieces over its breadth.
    pub(super) fn cover(&mut self, cells: [usize; 2], side: f64, longest: f64) {
        let across = libm::ceil(FINE * longest).min(MOST_ACROSS);
        self.side = side / across;
        [self.columns, self.rows] = cells.map(|n| n * across as usize);
        self.heads.clear();
        self.heads.resize(self.columns * self.rows, NONE);
        self.links.clear();
        self.doubts.clear();
        self.doubts.resize(self.heads.len(), 0);
    }

    /// Lists a piece by its number; `unknown` if it is in doubt.
    pub(super) fn add(&mut self, number: u32, body: &Ellipse, unknown: bool) {
        for row in self.rows_of(body) {
            let (first, last) = self.columns_of(body, row);
            for bucket in row * self.columns + first..=row * self.columns + last {
                if unknown {
                    let doubts = &mut self.doubts[bucket];
                    *doubts = (*doubts + 1).min(DOUBTS + 1);
                    if *doubts > DOUBTS {
                        continue;
                    }
                }
                self.links.push((number, self.heads[bucket]));
                self.heads[bucket] = self.links.len() as u32 - 1;
            }
        }
    }

    /// Whether `is_found` holds for some listed piece that may meet a body: every one that does is
    /// asked, some of them more than once. `doubt` is set where the body touches a bucket with more
    /// pieces in doubt than are listed.
    pub(super) fn any(
        &self,
        body: &Ellipse,
        doubt: &mut bool,
        mut is_found: impl FnMut(u32) -> bool,
    ) -> bool {
        self.rows_of(body).any(|row| {
            let (first, last) = self.columns_of(body, row);
            let buckets = row * self.columns + first..=row * self.columns + last;
            buckets.into_iter().any(|bucket| {
                *doubt |= self.doubts[bucket] > DOUBTS;
                let mut link = self.heads[bucket];
                while let Some((number, next)) = self.links.get(link as usize) {
                    if is_found(*number) {
                        return true;
                    }
                    link = *next;
                }
                false
            })
        })
    }

    /// A bucket's column or row; what is beyond the window belongs to its edge.
    fn at(&self, place: f64, buckets: usize) -> usize {
        (libm::floor(place / self.side).max(0.0) as usize).min(buckets - 1)
    }

    fn rows_of(&self, body: &Ellipse) -> std::ops::RangeInclusive<usize> {
        let up = f64::from(body.along[1]).abs() * body.outer + body.inner;
        self.at(body.z - up, self.rows)..=self.at(body.z + up, self.rows)
    }

    /// First and last column of a row that a body may touch: it lies within its shorter semi-axis
    /// of its longer axis.
    fn columns_of(&self, body: &Ellipse, row: usize) -> (usize, usize) {
        let (u, v) = (f64::from(body.along[0]), f64::from(body.along[1]));
        let low = if row == 0 {
            f64::NEG_INFINITY
        } else {
            row as f64 * self.side - body.inner
        };
        let high = if row + 1 == self.rows {
            f64::INFINITY
        } else {
            (row + 1) as f64 * self.side + body.inner
        };
        // The part of the axis that is as near to the row, as shares of the longer semi-axis
        let share = |z: f64| ((z - body.z) / (v * body.outer)).clamp(-1.0, 1.0);
        let (from, to) = if v == 0.0 {
            (-1.0, 1.0)
        } else {
            let (a, b) = (share(low), share(high));
            (a.min(b), a.max(b))
        };
        let (a, b) = (body.x + from * u * body.outer, body.x + to * u * body.outer);
        (
            self.at(a.min(b) - body.inner, self.columns),
            self.at(a.max(b) + body.inner, self.columns),
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::random::stream;

    /// 20,000 pairs of seed 8, in and beyond a window: every pair that overlaps is asked.
    #[test]
    fn what_meets_is_found() {
        let mut s = stream(8);
        let mut grid = FineGrid::default();
        let mut met = 0;
        for _ in 0..20_000 {
            let mut draw = || {
                let inner = s.between(1.0, 20.0);
                let turn = s.between(0.0, 6.3);
                let along = [libm::cos(turn) as f32, libm::sin(turn) as f32];
                Ellipse {
                    x: s.between(-50.0, 450.0),
                    z: s.between(-50.0, 350.0),
                    outer: inner * s.between(1.0, 12.0),
                    inner,
                    // Now and then along an axis
                    along: if s.unit() < 0.1 { [1.0, 0.0] } else { along },
                }
            };
            let (a, b) = (draw(), draw());
            grid.cover([4, 3], 100.0, 12.0);
            grid.add(7, &a, s.unit() < 0.5);
            let found = grid.any(&b, &mut false, |n| n == 7);
            if a.overlaps(&b) {
                met += 1;
                assert!(found, "{a:?} {b:?}");
            }
        }
        assert!(met > 1_000, "{met}");
    }
}
