//! Where casters hang: a Poisson process in the sun's plane, cell by cell from hashed streams,
//! thinned by a mark.
//!
//! Each candidate carries a mark from 0 to 1, and hangs there when the density is above it. So more
//! density adds casters and moves none, and the light of a place is a plain function of the
//! density: it is dark where the density is above the smallest mark of those that shade it. The
//! larger part of the mark is a field that is high in gaps and low deep in the leaves ([`Gaps`]):
//! leaves gather in boughs.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::OnceLock;

use rayon::prelude::*;

use super::gaps::Gaps;
use super::silhouette::{PIXEL, SprayPoses};
use crate::random::{cell_key, join, stream};

/// Mean number of silhouettes over a place where all candidates hang: a 400th of the light comes
/// through.
const LAYERS: f64 = 6.0;
/// Mean number of candidates in a cell: far fewer than an id can number.
const IN_CELL: f64 = 6.0;
/// Maximum number of candidates in a cell: what an id can number. A cell has more once in 1e40.
const MOST_IN_CELL: u32 = 64;
/// Share of the mark that is each candidate's own: the boughs' edges are loose.
const OWN: f64 = 0.2;

/// What a canopy is made of, before its density is known.
#[derive(Debug)]
pub(super) struct Canopy<'a> {
    pub(super) poses: &'a SprayPoses,
    /// Side of a pixel in the sun's plane, metres.
    pub(super) pixel: f64,
    /// Scale of the sprays.
    pub(super) scale: f64,
    pub(super) gaps: Gaps,
    key: u64,
    /// Candidates by cell, where they have already been drawn.
    drawn: OnceLock<BTreeMap<[i64; 2], Vec<CasterCandidate>>>,
    /// Side of a cell, metres.
    pub(super) cell: f64,
}

/// A caster that may hang.
#[derive(Debug, Clone, Copy)]
pub(super) struct CasterCandidate {
    /// Its cell, and its number there.
    pub(super) cell: [i64; 2],
    pub(super) ordinal: u32,
    /// Place in the sun's plane, metres.
    pub(super) at: [f64; 2],
    /// The same in pixels.
    pub(super) pixel: [i64; 2],
    /// Index into the poses.
    pub(super) pose: usize,
    /// Density above which it hangs.
    pub(super) mark: f64,
}

impl<'a> Canopy<'a> {
    /// A canopy of sprays at a scale, with gaps `spacing` metres apart; `key` is the pass's.
    pub(super) fn new(poses: &'a SprayPoses, key: u64, scale: f64, spacing: f64) -> Self {
        let pixel = PIXEL * scale;
        Self {
            poses,
            pixel,
            scale,
            gaps: Gaps::new(join(key, 1), spacing),
            key: join(key, 2),
            drawn: OnceLock::new(),
            cell: pixel * libm::sqrt(IN_CELL * poses.mean_pixels / LAYERS),
        }
    }

    /// Candidates a square metre of the sun's plane.
    pub(super) fn candidates_per_m2(&self) -> f64 {
        IN_CELL / (self.cell * self.cell)
    }

    /// The candidates of one cell.
    pub(super) fn candidates(
        &self,
        cell: [i64; 2],
    ) -> impl Iterator<Item = CasterCandidate> + use<'_> {
        let mut draws = stream(cell_key(self.key, cell[0], cell[1]));
        let count = draws.poisson(IN_CELL).min(MOST_IN_CELL);
        (0..count).map(move |ordinal| {
            let at = cell.map(|i| (i as f64 + draws.unit()) * self.cell);
            let pose = (draws.unit() * self.poses.all.len() as f64) as usize;
            let own = draws.unit();
            let leaves = 1.0 - self.gaps.at(at);
            CasterCandidate {
                cell,
                ordinal,
                at,
                pixel: at.map(|v| libm::floor(v / self.pixel + 0.5) as i64),
                pose,
                mark: (1.0 - OWN) * leaves + OWN * own,
            }
        })
    }

    /// Draws the candidates that may touch some squares of pixels of a side, and keeps them: they
    /// are needed again and again.
    pub(super) fn draw(&self, squares: &BTreeSet<[i64; 2]>, side: i64) {
        let cells: BTreeSet<[i64; 2]> = squares
            .iter()
            .flat_map(|s| self.cells(s.map(|v| v * side), s.map(|v| (v + 1) * side)))
            .collect();
        let cells: Vec<[i64; 2]> = cells.into_iter().collect();
        let drawn: Vec<([i64; 2], Vec<CasterCandidate>)> = cells
            .par_iter()
            .map(|cell| (*cell, self.candidates(*cell).collect()))
            .collect();
        self.drawn.get_or_init(|| drawn.into_iter().collect());
    }

    /// The cells whose candidates may touch pixels from `low` to below `high`.
    fn cells(&self, low: [i64; 2], high: [i64; 2]) -> impl Iterator<Item = [i64; 2]> + use<> {
        let (pixel, side) = (self.pixel, self.cell);
        let cell = move |at: i64| libm::floor(at as f64 * pixel / side) as i64;
        let reach = self.poses.reach + 1;
        let [x0, y0] = low.map(|v| cell(v - reach));
        let [x1, y1] = high.map(|v| cell(v + reach));
        (y0..=y1).flat_map(move |y| (x0..=x1).map(move |x| [x, y]))
    }

    /// The candidates whose silhouettes may touch pixels from `low` to below `high`.
    pub(super) fn touching(
        &self,
        low: [i64; 2],
        high: [i64; 2],
    ) -> impl Iterator<Item = CasterCandidate> + use<'_> {
        self.cells(low, high).flat_map(|cell| {
            let drawn = self.drawn.get().and_then(|d| d.get(&cell));
            drawn
                .cloned()
                .unwrap_or_else(|| self.candidates(cell).collect())
        })
    }
}

/// How much canopy there is from place to place: a density, and corrections at the corners of the
/// tiles, linear between them.
#[derive(Debug, Clone)]
pub(super) struct Density {
    pub(super) mean: f64,
    /// Side of a tile, pixels.
    pub(super) side: i64,
    pub(super) corrections: BTreeMap<[i64; 2], f64>,
}

impl Density {
    /// The correction at a pixel.
    pub(super) fn correction(&self, pixel: [i64; 2]) -> f64 {
        if self.corrections.is_empty() {
            return 0.0;
        }
        let tile = pixel.map(|v| v.div_euclid(self.side));
        let [u, v] = [0, 1].map(|k| pixel[k].rem_euclid(self.side) as f64 / self.side as f64);
        let at = |i: i64, k: i64| {
            let corner = [tile[0] + i, tile[1] + k];
            self.corrections.get(&corner).copied().unwrap_or(0.0)
        };
        (1.0 - v) * ((1.0 - u) * at(0, 0) + u * at(1, 0))
            + v * ((1.0 - u) * at(0, 1) + u * at(1, 1))
    }

    /// A candidate's mark as if the density were the mean everywhere: it hangs when this is below
    /// the mean.
    pub(super) fn mark(&self, candidate: &CasterCandidate) -> f64 {
        candidate.mark - self.correction(candidate.pixel)
    }

    /// Whether a candidate hangs.
    pub(super) fn hangs(&self, candidate: &CasterCandidate) -> bool {
        self.mark(candidate) < self.mean
    }
}
