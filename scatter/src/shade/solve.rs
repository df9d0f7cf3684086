//! Solves for a canopy: softness gives the distance, flecks give the gaps and the scale of the
//! leaves, and the lit share gives the density.
//!
//! Distance is exact. The rest is measured on a patch of the canopy itself: the density is the
//! quantile of the marks, since a pixel is lit up to the smallest mark that shades it; gaps are
//! moved apart or together until the flecks have the width asked for, and where leaves alone would
//! leave wider flecks, the leaves shrink with the gaps.

use crate::cancel::Cancel;
use crate::error::Result;
use rayon::prelude::*;

use super::canopy::{Canopy, CasterCandidate};
use super::raster::MarkRaster;
use super::silhouette::{PIXEL, SprayPoses};

/// Scales of the sprays: leaves from 7 mm (heather, box) to 150 mm long (plane tree).
const SCALES: [f64; 2] = [0.12, 2.5];
/// Distance between gaps over the scale of the leaves, metres, where both shrink together.
const GAPS: f64 = 0.4;
/// Maximum scale of the leaves per metre of a fleck's width: a leaf is a quarter as long as a fleck
/// is wide, so that gaps and not leaves give the flecks their size.
const LEAVES: f64 = 4.0;
/// Steps of the search, and its tolerance over the value asked for.
const STEPS: usize = 10;
const NEAR: f64 = 0.02;
/// Side of the patch in flecks, and its limits in pixels.
const PATCH: f64 = 24.0;
const PATCH_PIXELS: [f64; 2] = [512.0, 1024.0];
/// Number of rasters along a side that make up the patch: as many as can be drawn at once.
const PARTS: usize = 4;
/// Rounds in which the patch is shaded, by marks: once enough of it is shaded for the density to be
/// known, the other marks do not matter.
const ROUNDS: usize = 16;

/// A canopy that meets its target.
#[derive(Debug)]
pub(super) struct Solved<'a> {
    pub(super) canopy: Canopy<'a>,
    /// Density on the patch that lets the target's share of light through.
    pub(super) density: f64,
    /// Mean width of the flecks on the patch, metres; 0 where there are none.
    pub(super) fleck: f64,
    /// Side of the patch, pixels.
    side: usize,
}

impl Solved<'_> {
    /// Share of the candidates that hang.
    pub(super) fn hanging(&self) -> f64 {
        let (hang, all) = patch_candidates(&self.canopy, self.side, self.density);
        hang as f64 / all.max(1) as f64
    }
}

/// What a canopy is solved for. Lengths in metres.
#[derive(Debug, Clone, Copy)]
pub(super) struct CanopyTarget {
    pub(super) lit: f64,
    pub(super) fleck: f64,
    /// Width of the sun's image on a plane square to its rays.
    pub(super) softness: f64,
    /// Maximum scale of the sprays.
    pub(super) most_scale: f64,
}

/// The canopy of sprays in some poses that comes nearest to the target; `key` is the pass's.
///
/// # Errors
/// It was cancelled.
pub(super) fn solve<'a>(
    poses: &'a SprayPoses,
    key: u64,
    target: CanopyTarget,
    cancel: &Cancel,
) -> Result<Solved<'a>> {
    let mut size = LEAVES * target.fleck;
    let mut best: Option<Solved<'a>> = None;
    // Sizes known to be too small and too large
    let (mut small, mut large) = (0.0_f64, f64::INFINITY);
    for _ in 0..STEPS {
        let solved = trial(poses, key, target, size, cancel);
        cancel.check()?;
        let off = |s: &Solved<'_>| (s.fleck / target.fleck - 1.0).abs();
        let ratio = target.fleck / solved.fleck.max(0.25 * target.fleck);
        if solved.fleck < target.fleck {
            small = small.max(size);
        } else {
            large = large.min(size);
        }
        if best.as_ref().is_none_or(|b| off(&solved) < off(b)) {
            best = Some(solved);
        }
        if best.as_ref().is_some_and(|b| off(b) < NEAR) {
            break;
        }
        let next = size * ratio.clamp(0.4, 2.5);
        size = if next > small && next < large {
            next
        } else if large.is_finite() {
            0.5 * (small + large)
        } else {
            2.0 * small
        };
    }
    let solved = best.unwrap_or_else(|| trial(poses, key, target, size, cancel));
    cancel.check()?;
    Ok(solved)
}

/// A canopy of one size, with the density that lets the target's share of light through.
fn trial<'a>(
    poses: &'a SprayPoses,
    key: u64,
    target: CanopyTarget,
    size: f64,
    cancel: &Cancel,
) -> Solved<'a> {
    // Small leaves hang anywhere
    let most = SCALES[1].min(target.most_scale.max(SCALES[0]));
    let scale = size.min(LEAVES * target.fleck).clamp(SCALES[0], most);
    let canopy = Canopy::new(poses, key, scale, GAPS * size);
    let side = (PATCH * target.fleck / (PIXEL * scale)).clamp(PATCH_PIXELS[0], PATCH_PIXELS[1]);
    let side = side as usize / PARTS * PARTS;
    let count = ((1.0 - target.lit) * (side * side) as f64) as usize;
    let count = count.min(side * side - 1);
    let patch = patch(&canopy, side, count, cancel);
    let mut marks = patch.marks.clone();
    let (_, quantile, _) = marks.select_nth_unstable_by(count, f32::total_cmp);
    // Where even all candidates leave more light than the target's, the quantile is infinite
    let density = f64::from(*quantile).min(1.0);
    let fleck = patch.fleck(density, 0.5 * target.softness / canopy.pixel);
    Solved {
        fleck: fleck.unwrap_or(0.0) * canopy.pixel,
        density,
        side,
        canopy,
    }
}

/// The patch of a canopy at the origin of the sun's plane, with at least its `count` smallest
/// marks; larger ones may be infinite.
fn patch(canopy: &Canopy<'_>, side: usize, count: usize, cancel: &Cancel) -> MarkRaster {
    let rows = side / PARTS;
    let range = |band: usize| {
        let [low, high] = [band, band + 1].map(|b| (b * rows) as i64);
        ([0, low], [side as i64, high])
    };
    let mut bands: Vec<(MarkRaster, Vec<CasterCandidate>)> = (0..PARTS)
        .into_par_iter()
        .map(|band| {
            let (low, high) = range(band);
            let candidates = canopy.touching(low, high);
            let candidates = candidates.take_while(|_| !cancel.is_cancelled()).collect();
            (MarkRaster::new(low, side, rows), candidates)
        })
        .collect();
    for round in 0..ROUNDS {
        // Marks go from 0 to 1
        let shaded: usize = bands
            .par_iter_mut()
            .map(|(raster, candidates)| {
                let of_round = |c: &&CasterCandidate| {
                    ((c.mark * ROUNDS as f64) as usize).min(ROUNDS - 1) == round
                };
                for candidate in candidates.iter().filter(of_round) {
                    if cancel.is_cancelled() {
                        break;
                    }
                    raster.shade(canopy, candidate, candidate.mark);
                }
                raster.marks.iter().filter(|m| m.is_finite()).count()
            })
            .sum();
        if shaded > count {
            break;
        }
    }
    MarkRaster::stacked([0, 0], side, bands.into_iter().map(|b| b.0).collect())
}

/// How many candidates in the patch hang at a density, and how many there are.
fn patch_candidates(canopy: &Canopy<'_>, side: usize, density: f64) -> (usize, usize) {
    let side = side as i64;
    let inside = |v: i64| (0..side).contains(&v);
    canopy
        .touching([0, 0], [side, side])
        .filter(|c| inside(c.pixel[0]) && inside(c.pixel[1]))
        .fold((0, 0), |(hang, all), c| {
            (hang + usize::from(c.mark < density), all + 1)
        })
}
