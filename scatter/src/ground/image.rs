//! Ground from a height image.

use std::path::Path;

use super::tiles::HeightTiles;
use crate::brief::HeightImage;
use crate::error::{Error, Result};
use crate::raster::{CUBIC_OVERSHOOT, Raster, Scale};

/// Heights of an image, placed in the world. The extent spans the image's borders, not the middles
/// of its outer pixels. The image's top lies toward -z, its left toward -x.
#[derive(Debug)]
pub(super) struct HeightGrid {
    raster: Raster,
    /// Corner at the top left, metres.
    corner: [f64; 2],
    /// Pixels per metre along x and z.
    per_metre: [f64; 2],
    /// Height of the value 0, and metres per unit of value.
    level: f64,
    scale: f64,
    tiles: HeightTiles,
}

/// How far a pixel may be from square: an image of one pixel a post, 513 for 512 m, is within it.
const SQUARE_WITHIN: f64 = 0.02;

impl HeightGrid {
    pub(super) fn read(image: &HeightImage, folder: &Path, place: &str) -> Result<Self> {
        let path = folder.join(&image.file);
        let raster = Raster::read(&path, &format!("{place}.file"))?;
        let (level, scale) = match (raster.scale(), image.heights) {
            (_, Some([low, high])) => (low, high - low),
            (Scale::Stored, None) => (0.0, 1.0),
            (Scale::Share, None) => {
                return Err(Error::input(
                    format!("{place}.heights"),
                    "a PNG says nothing of heights in metres",
                    "give `heights`: the height of black and of white, such as [\"0 m\", \"1.2 m\"]",
                ));
            }
        };
        let extent = image.extent;
        check_square(&raster, extent, &format!("{place}.extent"))?;
        let bounds = centred(image.at, extent);
        let [width, rows] = raster.size();
        let mut made = Self {
            corner: [bounds[0], bounds[1]],
            per_metre: [width as f64 / extent[0], rows as f64 / extent[1]],
            level,
            scale,
            tiles: HeightTiles::new(bounds),
            raster,
        };
        let [low, high] = made.tile();
        if [low, high].iter().any(|h| h.abs() > MAX_HEIGHT_M) {
            return Err(Error::input(
                format!("{place}.heights"),
                format!("the ground goes from {low:.1} m to {high:.1} m"),
                "heights within 100 km; is the file in another unit?",
            )
            .in_file(&path));
        }
        Ok(made)
    }

    /// Fills the tiles; the lowest and highest ground, metres.
    fn tile(&mut self) -> [f64; 2] {
        let [width, rows] = self.raster.size();
        let pixel = [1.0 / self.per_metre[0], 1.0 / self.per_metre[1]];
        let mut tiles = self.tiles.clone();
        for row in 0..rows {
            for column in 0..width {
                let value = self.raster.values()[row * width + column];
                let height = self.level + self.scale * f64::from(value);
                // A pixel counts as far as its cubics extend: two pixels from its middle
                let (x, z) = (
                    self.corner[0] + (column as f64 + 0.5) * pixel[0],
                    self.corner[1] + (row as f64 + 0.5) * pixel[1],
                );
                let r = [
                    x - 2.0 * pixel[0],
                    z - 2.0 * pixel[1],
                    x + 2.0 * pixel[0],
                    z + 2.0 * pixel[1],
                ];
                tiles.add(r, |_| [height; 2]);
            }
        }
        // Cubics can leave the range of their pixels
        tiles.widen(CUBIC_OVERSHOOT);
        tiles.finish();
        self.tiles = tiles;
        self.tiles.heights(0, 0, 0).unwrap_or_default()
    }

    /// Says that the ground may be lower by up to `depth` metres than the image has it.
    pub(super) fn lower(&mut self, depth: f64) {
        self.tiles.lower(depth);
    }

    /// Height, and its gain per metre along x and z; beyond the image as if its border went on.
    pub(super) fn at(&self, x: f64, z: f64) -> [f64; 3] {
        let u = (x - self.corner[0]) * self.per_metre[0];
        let v = (z - self.corner[1]) * self.per_metre[1];
        let [value, du, dv] = self.raster.cubic(u, v);
        [
            self.level + self.scale * value,
            self.scale * du * self.per_metre[0],
            self.scale * dv * self.per_metre[1],
        ]
    }

    pub(super) fn tiles(&self) -> &HeightTiles {
        &self.tiles
    }

    /// Distance of samples between which the height over a rectangle is nowhere farther than `off`
    /// metres from the triangle through them.
    pub(super) fn spacing(&self, [x0, z0, x1, z1]: [f64; 4], off: f64) -> f64 {
        let pixel = |v: f64, axis: usize| {
            libm::floor((v - self.corner[axis]) * self.per_metre[axis] - 0.5) as i64
        };
        let (columns, rows) = (
            pixel(x0, 0)..=pixel(x1, 0) + 1,
            pixel(z0, 1)..=pixel(z1, 1) + 1,
        );
        let (mut along, mut mixed): (f64, f64) = (0.0, 0.0);
        for row in rows {
            for column in columns.clone() {
                let p = |i: i64, j: i64| self.raster.pixel(column + i, row + j);
                let here = 2.0 * p(0, 0);
                along = along.max((p(-1, 0) + p(1, 0) - here).abs());
                along = along.max((p(0, -1) + p(0, 1) - here).abs());
                mixed = mixed.max((p(1, 1) - p(1, 0) - p(0, 1) + p(0, 0)).abs());
            }
        }
        let per_metre = self.per_metre[0].max(self.per_metre[1]);
        let bend = self.scale.abs() * (ALONG * along + ACROSS * mixed) * per_metre * per_metre;
        // Between places up to `s` apart along either axis a triangle is off by a fourth of the
        // bend times the square of `s`
        libm::sqrt(4.0 * off / bend)
    }
}

/// Bound of a cubic's second derivative along a row of pixels, over the largest second difference
/// of pixels: 2 - (-1) at a pixel's middle, times 5/4, the sum of the weights' amounts across.
const ALONG: f64 = 3.75;
/// The same of its mixed derivative over the largest mixed difference: the change along a row is a
/// mean of differences with weights that add up to 3/2 at most.
const ACROSS: f64 = 2.25;

/// Heights beyond this are no ground, metres.
pub(super) const MAX_HEIGHT_M: f64 = 1e5;

/// `[x0, z0, x1, z1]` of an extent about a middle.
pub(super) fn centred([x, z]: [f64; 2], [w, d]: [f64; 2]) -> [f64; 4] {
    [x - 0.5 * w, z - 0.5 * d, x + 0.5 * w, z + 0.5 * d]
}

/// Refuses an extent of another aspect than the image's.
///
/// # Errors The aspects differ by more than two in a hundred.
pub fn check_square(raster: &Raster, extent: [f64; 2], place: &str) -> Result<()> {
    let [width, rows] = raster.size().map(|n| n as f64);
    let pixel = [extent[0] / width, extent[1] / rows];
    if (pixel[0] / pixel[1] - 1.0).abs() <= SQUARE_WITHIN {
        return Ok(());
    }
    Err(Error::input(
        place,
        format!(
            "the image has {width} x {rows} pixels, its extent is {} m x {} m: they would not be square",
            extent[0], extent[1]
        ),
        format!(
            "for this width the depth is {:.4} m",
            extent[0] * rows / width
        ),
    ))
}
