//! Grey images by file: heights of a ground, masks of a pass.
//!
//! Formats: PNG (W3C, "Portable Network Graphics Specification, Third Edition", 2025) and OpenEXR
//! (Academy Software Foundation, "Technical Introduction to OpenEXR"), told apart by their first
//! bytes. Files are read with distrust: their sizes are checked before anything of that size is
//! made, and no file takes more memory than [`MAX_PIXELS`] calls for.

mod exr;
mod png;

use std::io::Read;
use std::path::Path;

use crate::error::{Error, Result};
use crate::input::{self, IMAGES};

/// The longest image file that is read: 1 GiB.
pub const MAX_FILE_BYTES: u64 = 1 << 30;

/// Maximum number of pixels of an image: 8192 x 8192, a quarter of a gigabyte in single precision.
pub const MAX_PIXELS: u64 = 1 << 26;

/// Longest side, pixels: a strip one pixel high is no picture of ground.
pub const MAX_SIDE: u64 = 1 << 16;

/// What an image's numbers are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Scale {
    /// Shares from 0 to 1: the whole numbers of the file over the largest one it could hold.
    Share,
    /// Numbers as the file stores them.
    Stored,
}

/// A grey image: rows from the top, pixels from the left.
#[derive(Debug, Clone, PartialEq)]
pub struct Raster {
    width: usize,
    height: usize,
    values: Vec<f32>,
    scale: Scale,
}

impl Raster {
    /// Reads the image at `path`, which the document names at `place`. A coloured image is turned
    /// to grey: the mean of its stored values by the weights of Rec. ITU-R BT.709, without any
    /// transparency.
    ///
    /// # Errors There is no such file, its format is not read, it is too large or broken, or a
    /// value is not finite.
    pub fn read(path: &Path, place: &str) -> Result<Self> {
        let hint = "name a PNG or OpenEXR image, relative to the shot's folder";
        input::require(path, place, (&IMAGES, hint))?;
        Self::read_file(path).map_err(|e| e.in_file(path))
    }

    fn read_file(path: &Path) -> Result<Self> {
        let cannot = |e: &std::io::Error| {
            Error::input(
                "",
                format!("can't read the image: {e}"),
                "is the path right, and may you read it?",
            )
        };
        let mut bytes = Vec::new();
        input::open(path)
            .and_then(|file| file.take(MAX_FILE_BYTES + 1).read_to_end(&mut bytes))
            .map_err(|e| cannot(&e))?;
        if bytes.len() as u64 > MAX_FILE_BYTES {
            return Err(Error::input(
                "",
                "the file is too long",
                "images up to 1 GiB are read",
            ));
        }
        Self::from_bytes(&bytes)
    }

    /// Reads the bytes of an image file.
    ///
    /// # Errors
    /// As [`Raster::read`], but the error names no file.
    pub fn from_bytes(bytes: &[u8]) -> Result<Self> {
        let raster = if bytes.starts_with(b"\x89PNG\r\n\x1a\n") {
            png::read(bytes)
        } else if bytes.starts_with(&[0x76, 0x2f, 0x31, 0x01]) {
            exr::read(bytes)
        } else {
            Err(Error::input(
                "",
                "this is neither a PNG nor an OpenEXR image",
                "save it as 16-bit grey PNG or as float EXR",
            ))
        }?;
        match raster.values.iter().position(|v| !v.is_finite()) {
            None => Ok(raster),
            Some(i) => Err(Error::input(
                format!(
                    "pixel {}, {} from the top left",
                    i % raster.width,
                    i / raster.width
                ),
                format!("its value is {}", raster.values[i]),
                "every pixel holds a finite number; fill the gaps first",
            )),
        }
    }

    /// Pixels along a row, and rows.
    #[must_use]
    pub fn size(&self) -> [usize; 2] {
        [self.width, self.height]
    }

    /// What the numbers are.
    #[must_use]
    pub fn scale(&self) -> Scale {
        self.scale
    }

    /// The numbers, row by row from the top, each from the left.
    #[must_use]
    pub fn values(&self) -> &[f32] {
        &self.values
    }

    /// Smallest and largest number.
    #[must_use]
    pub fn range(&self) -> [f32; 2] {
        let (mut low, mut high) = (f32::INFINITY, f32::NEG_INFINITY);
        for v in &self.values {
            (low, high) = (low.min(*v), high.max(*v));
        }
        [low, high]
    }

    pub(crate) fn pixel(&self, column: i64, row: i64) -> f64 {
        let column = column.clamp(0, self.width as i64 - 1) as usize;
        let row = row.clamp(0, self.height as i64 - 1) as usize;
        f64::from(self.values[row * self.width + column])
    }

    /// The value at `u` pixels from the left and `v` from the top, linear between the pixels'
    /// middles; beyond the outermost pixels, their values.
    #[must_use]
    pub fn linear(&self, u: f64, v: f64) -> f64 {
        let ([column, row], [s, t]) = self.within(u, v);
        let p = |i: i64, k: i64| self.pixel(column + i, row + k);
        let top = p(0, 0) + (p(1, 0) - p(0, 0)) * s;
        let bottom = p(0, 1) + (p(1, 1) - p(0, 1)) * s;
        top + (bottom - top) * t
    }

    /// The value at `u` pixels from the left and `v` from the top, and its change per pixel along
    /// each. By cubics through the pixels' middles, smooth to the first derivative (Catmull and
    /// Rom, "A class of local interpolating splines", 1974; along rows, then across); beyond the
    /// border as if its pixels went on.
    #[must_use]
    pub fn cubic(&self, u: f64, v: f64) -> [f64; 3] {
        let ([column, row], [s, t]) = self.within(u, v);
        let (along, along_change) = (weights(s), changes(s));
        let (across, across_change) = (weights(t), changes(t));
        let mut found = [0.0; 3];
        for k in 0..4 {
            let (mut value, mut change) = (0.0, 0.0);
            for i in 0..4 {
                let p = self.pixel(column + i as i64 - 1, row + k as i64 - 1);
                value += along[i] * p;
                change += along_change[i] * p;
            }
            found[0] += across[k] * value;
            found[1] += across[k] * change;
            found[2] += across_change[k] * value;
        }
        found
    }

    /// The pixel whose middle lies up and left of a place, and how far the place is from it.
    fn within(&self, u: f64, v: f64) -> ([i64; 2], [f64; 2]) {
        // Farther beyond the border than the cubics extend, nothing changes
        let u = (u - 0.5).clamp(-3.0, self.width as f64 + 2.0);
        let v = (v - 0.5).clamp(-3.0, self.height as f64 + 2.0);
        let (column, row) = (libm::floor(u), libm::floor(v));
        ([column as i64, row as i64], [u - column, v - row])
    }
}

/// How far a cubic through pixels from 0 to 1 can leave that range at either end: the weights of
/// one row are negative by an eighth together at most, in the plane by (1 + 1/8)(1/8) twice.
pub const CUBIC_OVERSHOOT: f64 = 2.0 * 1.125 * 0.125;

/// Weights of four pixels in a row for a place `t` (0..=1) after the second.
fn weights(t: f64) -> [f64; 4] {
    let (t2, t3) = (t * t, t * t * t);
    [
        0.5 * (2.0 * t2 - t - t3),
        0.5 * (2.0 - 5.0 * t2 + 3.0 * t3),
        0.5 * (t + 4.0 * t2 - 3.0 * t3),
        0.5 * (t3 - t2),
    ]
}

/// How [`weights`] change with `t`.
fn changes(t: f64) -> [f64; 4] {
    let t2 = t * t;
    [
        0.5 * (4.0 * t - 1.0 - 3.0 * t2),
        0.5 * (9.0 * t2 - 10.0 * t),
        0.5 * (1.0 + 8.0 * t - 9.0 * t2),
        0.5 * (3.0 * t2 - 2.0 * t),
    ]
}

/// Refuses images without pixels, and those with too many.
fn check_size(width: u64, height: u64) -> Result<()> {
    if width == 0 || height == 0 {
        return Err(Error::input(
            "",
            format!("the image has {width} x {height} pixels"),
            "an image with pixels",
        ));
    }
    if width > MAX_SIDE || height > MAX_SIDE || width * height > MAX_PIXELS {
        return Err(Error::input(
            "",
            format!("the image has {width} x {height} pixels"),
            format!("at most {MAX_PIXELS} pixels (8192 x 8192) are read; make it smaller"),
        ));
    }
    Ok(())
}

/// The grey of a colour, by the weights of Rec. ITU-R BT.709.
fn grey(r: f32, g: f32, b: f32) -> f32 {
    0.2126 * r + 0.7152 * g + 0.0722 * b
}

#[cfg(test)]
mod tests;
