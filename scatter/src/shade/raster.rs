//! Light through the canopy on a raster in the sun's plane.

use super::canopy::{Canopy, CasterCandidate};

/// Flecks are measured along every so many rows: neighbouring rows cross the same flecks.
const ROWS: usize = 4;

/// The smallest mark of what shades each pixel of a rectangle from `low`; infinite where nothing
/// does.
pub(super) struct MarkRaster {
    low: [i64; 2],
    width: usize,
    /// One row in this many is there, starting with the first.
    every: i64,
    pub(super) marks: Vec<f32>,
}

impl MarkRaster {
    /// A raster that nothing shades.
    pub(super) fn new(low: [i64; 2], width: usize, height: usize) -> Self {
        Self {
            low,
            width,
            every: 1,
            marks: vec![f32::INFINITY; width * height],
        }
    }

    /// The same with only one row in `every`: enough for a share of light.
    pub(super) fn sparse(low: [i64; 2], width: usize, height: usize, every: usize) -> Self {
        Self {
            every: every as i64,
            ..Self::new(low, width, height.div_ceil(every))
        }
    }

    /// Rasters of one width on top of each other, the first from `low` on.
    pub(super) fn stacked(low: [i64; 2], width: usize, bands: Vec<Self>) -> Self {
        Self {
            low,
            width,
            every: 1,
            marks: bands.into_iter().flat_map(|b| b.marks).collect(),
        }
    }

    fn height(&self) -> usize {
        self.marks.len() / self.width
    }

    /// Shades the pixels under a candidate with its mark.
    pub(super) fn shade(&mut self, canopy: &Canopy<'_>, candidate: &CasterCandidate, mark: f64) {
        let width = self.width as i64;
        let height = self.height() as i64 * self.every;
        let [x, y] = [0, 1].map(|k| candidate.pixel[k] - self.low[k]);
        let reach = canopy.poses.reach;
        if x < -reach || y < -reach || x > width + reach || y > height + reach {
            return;
        }
        let mark = mark as f32;
        for [row, from, to] in &canopy.poses.all[candidate.pose].spans {
            let row = y + i64::from(*row);
            let from = (x + i64::from(*from)).clamp(0, width);
            let to = (x + i64::from(*to)).clamp(0, width);
            if row < 0 || row >= height || row % self.every != 0 || from >= to {
                continue;
            }
            let start = (row / self.every) as usize * self.width;
            for pixel in &mut self.marks[start + from as usize..start + to as usize] {
                *pixel = pixel.min(mark);
            }
        }
    }

    /// Mean width of the flecks along rows, pixels: of the places where, at a density, half of a
    /// sun whose image has the given radius (pixels) comes through. None where there is no fleck.
    pub(super) fn fleck(&self, density: f64, sun: f64) -> Option<f64> {
        let (width, height) = (self.width, self.height());
        // Free pixels summed along each row, from its start
        let mut sums = vec![0_u32; (width + 1) * height];
        for (row, marks) in self.marks.chunks_exact(width).enumerate() {
            let sums = &mut sums[row * (width + 1)..][..=width];
            for (i, mark) in marks.iter().enumerate() {
                sums[i + 1] = sums[i] + u32::from(f64::from(*mark) >= density);
            }
        }
        let reach = sun as usize;
        // Half the width of the sun's image in each of its rows, pixels
        let halves: Vec<usize> = (0..=2 * reach)
            .map(|i| i.abs_diff(reach) as f64)
            .map(|d| libm::sqrt((sun * sun - d * d).max(0.0)) as usize)
            .collect();
        let whole: usize = halves.iter().map(|h| 2 * h + 1).sum();
        let (mut lit, mut flecks) = (0_u64, 0_u64);
        for row in (reach..height.saturating_sub(reach)).step_by(ROWS) {
            let mut inside = false;
            for column in reach..width.saturating_sub(reach) {
                let mut free = 0;
                for (offset, half) in halves.iter().enumerate() {
                    let sums = &sums[(row + offset - reach) * (width + 1)..];
                    free += sums[column + half + 1] - sums[column - half];
                }
                let now = 2 * free as usize >= whole;
                lit += u64::from(now);
                flecks += u64::from(now && !inside);
                inside = now;
            }
        }
        (flecks > 0).then(|| lit as f64 / flecks as f64)
    }
}
