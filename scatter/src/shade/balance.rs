//! The density, corrected from place to place, so that the lit share is as asked over every few
//! flecks: a frame shows little of the canopy.
//!
//! The sun's plane is split into tiles. At each corner of the tiles the correction is found from
//! the light of the four tiles round it, three times over, each time with the corrections of the
//! time before. A correction depends on the corners within a fixed number of tiles and on nothing
//! else, so it is the same from every frame. What must stay lit counts as light where the ground
//! beside it is seen: the leaves round it make up for it.

use std::collections::{BTreeMap, BTreeSet};

use crate::cancel::Cancel;
use crate::error::Result;
use rayon::prelude::*;

use super::canopy::{Canopy, Density};
use super::raster::MarkRaster;
use super::spared::SparedOutlines;

/// Side of a tile in flecks: a few flecks in each even where little is lit.
const FLECKS: f64 = 4.0;
/// Limits of a tile's side, pixels. A silhouette extends no farther than the next tile.
const SIDES: [f64; 2] = [96.0, 768.0];
/// Times that the corrections are found.
const TIMES: usize = 3;
/// Corners on each side of a corner on which its correction depends, each time: two tiles, since a
/// caster may overlap a whole one.
const HANGS_ON: i64 = 2;
/// Maximum correction of a density.
const MOST: f64 = 1.0;
/// Bins of marks, from [`LEAST`] on, and their width: half a bin is a fifth of a point of light.
const BINS: usize = 768;
const LEAST: f64 = -1.0;
const BIN: f64 = 3.0 / BINS as f64;
/// Up to this many tiles the candidates are drawn once and kept: a hundred megabytes.
const KEPT: usize = 4000;
/// One row of pixels in this many is looked at: a fleck is some thirty rows high.
const EVERY: usize = 3;
/// Marks this far over the mean are looked at only where a correction turns out to depend on them.
const OVER: f64 = 0.25;
/// Share of four tiles that must be ground that counts, for a correction to be made.
const ENOUGH: f64 = 0.25;

/// The light of one tile: how many pixels have their smallest mark in each bin.
type MarkHistogram = Vec<u32>;

/// Side of the tiles, pixels.
pub(super) fn side(canopy: &Canopy<'_>, fleck: f64) -> i64 {
    let side = FLECKS * fleck / canopy.pixel;
    side.clamp(SIDES[0].max(canopy.poses.reach as f64 + 1.0), SIDES[1]) as i64
}

/// The density of a canopy, corrected wherever it decides about a caster that overlaps the tiles.
pub(super) fn balance(
    canopy: &Canopy<'_>,
    tiles: &BTreeSet<[i64; 2]>,
    (mean, side): (f64, i64),
    lit: f64,
    (spared, margin): (&SparedOutlines, f64),
    cancel: &Cancel,
) -> Result<Density> {
    let mut density = Density {
        mean,
        side,
        corrections: BTreeMap::new(),
    };
    // Casters that overlap a tile hang in it or beside it: the corners of those tiles
    let corners = grown(tiles, [-1, 2]);
    let all = HANGS_ON * (TIMES - 1) as i64 + 1;
    if tiles.len() < KEPT {
        canopy.draw(&grown(&corners, [-all, all]), side);
    }
    for time in 1..=TIMES {
        let reach = HANGS_ON * (TIMES - time) as i64;
        let now = grown(&corners, [-reach, reach]);
        let looked_at: Vec<[i64; 2]> = grown(&now, [-1, 0]).into_iter().collect();
        let read = |tiles: &[[i64; 2]], until: usize| -> BTreeMap<[i64; 2], MarkHistogram> {
            let of = |tile: &[i64; 2]| {
                if cancel.is_cancelled() {
                    return MarkHistogram::default();
                }
                light(canopy, *tile, &density, until, (spared, margin))
            };
            tiles.par_iter().map(|tile| (*tile, of(tile))).collect()
        };
        let until = bin(mean + OVER);
        let mut lights = read(&looked_at, until);
        cancel.check()?;
        let found = |lights: &BTreeMap<[i64; 2], MarkHistogram>, corner: &[i64; 2]| {
            let round = round(corner).map(|tile| lights.get(&tile));
            quantile(round.into_iter().flatten(), side, lit)
        };
        let beyond = |corner: &&[i64; 2]| {
            found(&lights, corner).is_some_and(|found| found >= LEAST + BIN * until as f64)
        };
        let again: BTreeSet<[i64; 2]> = now.iter().filter(beyond).flat_map(round).collect();
        let again: Vec<[i64; 2]> = again.into_iter().collect();
        lights.extend(read(&again, BINS));
        let corrected = now.iter().map(|corner| {
            let before = density.corrections.get(corner).copied().unwrap_or(0.0);
            let step = found(&lights, corner).map_or(0.0, |found| found - mean);
            (*corner, (before + step).clamp(-MOST, MOST))
        });
        let corrections = corrected.collect();
        density.corrections = corrections;
    }
    Ok(density)
}

/// The four tiles round a corner.
fn round(corner: &[i64; 2]) -> [[i64; 2]; 4] {
    let [x, y] = *corner;
    [[x - 1, y - 1], [x, y - 1], [x - 1, y], [x, y]]
}

/// The bin of a mark.
fn bin(mark: f64) -> usize {
    ((mark - LEAST) / BIN).clamp(0.0, (BINS - 1) as f64) as usize
}

/// The given tiles and those round them, from `before` to `after` along each axis.
fn grown(tiles: &BTreeSet<[i64; 2]>, [before, after]: [i64; 2]) -> BTreeSet<[i64; 2]> {
    let mut all = BTreeSet::new();
    for [x, y] in tiles {
        for j in before..=after {
            all.extend((before..=after).map(|i| [x + i, y + j]));
        }
    }
    all
}

/// The light of a tile, as far as it depends on marks of bins before `until`. Ground that a hero
/// hides from the sun does not count.
fn light(
    canopy: &Canopy<'_>,
    tile: [i64; 2],
    density: &Density,
    until: usize,
    (spared, margin): (&SparedOutlines, f64),
) -> MarkHistogram {
    let side = density.side;
    let low = tile.map(|v| v * side);
    let high = low.map(|v| v + side);
    let mut raster = MarkRaster::sparse(low, side as usize, side as usize, EVERY);
    for candidate in canopy.touching(low, high) {
        // As the raster keeps it
        let mark = f64::from(density.mark(&candidate) as f32);
        if (until == BINS || bin(mark) < until) && !spared.meet(canopy, &candidate, margin) {
            raster.shade(canopy, &candidate, mark);
        }
    }
    let mut light = vec![0; BINS];
    let near = spared.reach(low, high, canopy.pixel);
    for (i, mark) in raster.marks.iter().enumerate() {
        if near {
            let pixel = [
                low[0] + i as i64 % side,
                low[1] + EVERY as i64 * (i as i64 / side),
            ];
            if spared.hold(pixel.map(|v| v as f64 * canopy.pixel), 0.0) {
                continue;
            }
        }
        light[bin(f64::from(*mark))] += 1;
    }
    light
}

/// The density at which the share `lit` of some tiles is lit; None where too little of them is
/// ground that counts.
fn quantile<'b>(
    lights: impl Iterator<Item = &'b MarkHistogram>,
    side: i64,
    lit: f64,
) -> Option<f64> {
    let mut sum = vec![0_u64; BINS];
    for light in lights {
        for (bin, count) in sum.iter_mut().zip(light) {
            *bin += u64::from(*count);
        }
    }
    let all: u64 = sum.iter().sum();
    if (all as f64) < ENOUGH * 4.0 * (side * side) as f64 / EVERY as f64 {
        return None;
    }
    let shaded = (1.0 - lit) * all as f64;
    let mut below = 0.0;
    for (i, count) in sum.iter().enumerate() {
        let count = *count as f64;
        if below + count >= shaded && count > 0.0 {
            return Some(LEAST + BIN * (i as f64 + (shaded - below) / count));
        }
        below += count;
    }
    None
}
