//! The density, corrected from place to place, so that every few flecks the lit share is as asked: a frame shows little of the canopy.
//!
//! The sun's plane is split into tiles. At each corner of the tiles the correction is found from the light of the four tiles round it, three
//! times over, each time with the corrections of the time before. A correction depends on the corners within a fixed number of tiles and on
//! nothing else, so it is the same from every frame. What must stay lit counts as light where the ground is seen beside it: the leaves round it
//! make up for it.

use std::collections::{BTreeMap, BTreeSet};

use rayon::prelude::*;

use super::canopy::{Canopy, Density};
use super::raster::Raster;
use super::spared::Outlines;

/// Side of a tile in flecks: a few flecks in each even where little is lit.
const FLECKS: f64 = 4.0;
/// Limits of a tile's side, pixels. A silhouette reaches into the next tile at most.
const SIDES: [f64; 2] = [96.0, 768.0];
/// Times that the corrections are found.
const TIMES: usize = 3;
/// Corners on each side of a corner that its correction hangs on, each time: two tiles, since a caster may reach over one.
const HANGS_ON: i64 = 2;
/// Most that a density is corrected by.
const MOST: f64 = 1.0;
/// Bins of marks, from [`LEAST`] on, and their width: half a bin is a fifth of a point of light.
const BINS: usize = 768;
const LEAST: f64 = -1.0;
const BIN: f64 = 3.0 / BINS as f64;
/// Tiles up to which the candidates are drawn once and kept, for memory's sake: a hundred megabytes.
const KEPT: usize = 4000;
/// Rows of pixels of a tile of which one is looked at: a fleck is some thirty rows high.
const EVERY: usize = 3;
/// Share of four tiles that must be ground which counts, for a correction.
const ENOUGH: f64 = 0.25;

/// The light of one tile: how many pixels have their smallest mark in each bin.
type Light = Vec<u32>;

/// Side of the tiles, pixels.
pub(super) fn side(canopy: &Canopy<'_>, fleck: f64) -> i64 {
    let side = FLECKS * fleck / canopy.pixel;
    side.clamp(SIDES[0].max(canopy.poses.reach as f64 + 1.0), SIDES[1]) as i64
}

/// The density of a canopy, corrected wherever it decides over a caster that reaches the tiles.
pub(super) fn balance(
    canopy: &Canopy<'_>,
    tiles: &BTreeSet<[i64; 2]>,
    (mean, side): (f64, i64),
    lit: f64,
    (spared, margin): (&Outlines, f64),
) -> Density {
    let mut density = Density {
        mean,
        side,
        corrections: BTreeMap::new(),
    };
    // Casters that reach a tile hang in it or beside it: the corners of those tiles
    let corners = grown(tiles, [-1, 2]);
    let all = HANGS_ON * (TIMES - 1) as i64 + 1;
    if tiles.len() < KEPT {
        canopy.draw(&grown(&corners, [-all, all]), side);
    }
    for time in 1..=TIMES {
        let reach = HANGS_ON * (TIMES - time) as i64;
        let now = grown(&corners, [-reach, reach]);
        let looked_at: Vec<[i64; 2]> = grown(&now, [-1, 0]).into_iter().collect();
        let lights: BTreeMap<[i64; 2], Light> = looked_at
            .par_iter()
            .map(|tile| (*tile, light(canopy, *tile, &density, (spared, margin))))
            .collect();
        let corrected = now.iter().map(|corner| {
            let round = [[-1, -1], [0, -1], [-1, 0], [0, 0]]
                .map(|[i, k]| lights.get(&[corner[0] + i, corner[1] + k]));
            let before = density.corrections.get(corner).copied().unwrap_or(0.0);
            let step =
                quantile(round.into_iter().flatten(), side, lit).map_or(0.0, |found| found - mean);
            (*corner, (before + step).clamp(-MOST, MOST))
        });
        let corrections = corrected.collect();
        density.corrections = corrections;
    }
    density
}

/// The tiles within so many of some, from `before` to `after` along each axis.
fn grown(tiles: &BTreeSet<[i64; 2]>, [before, after]: [i64; 2]) -> BTreeSet<[i64; 2]> {
    let mut all = BTreeSet::new();
    for [x, y] in tiles {
        for j in before..=after {
            all.extend((before..=after).map(|i| [x + i, y + j]));
        }
    }
    all
}

/// The light of a tile. Ground that a hero hides from the sun does not count.
fn light(
    canopy: &Canopy<'_>,
    tile: [i64; 2],
    density: &Density,
    (spared, margin): (&Outlines, f64),
) -> Light {
    let side = density.side;
    let low = tile.map(|v| v * side);
    let high = low.map(|v| v + side);
    let mut raster = Raster::sparse(low, side as usize, side as usize, EVERY);
    for candidate in canopy.touching(low, high) {
        if !spared.meet(canopy, &candidate, margin) {
            raster.shade(canopy, &candidate, density.mark(&candidate));
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
        let bin = ((f64::from(*mark) - LEAST) / BIN).clamp(0.0, (BINS - 1) as f64);
        light[bin as usize] += 1;
    }
    light
}

/// The density at which the share asked of some tiles is lit; None where too little of them is ground that counts.
fn quantile<'b>(lights: impl Iterator<Item = &'b Light>, side: i64, lit: f64) -> Option<f64> {
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
