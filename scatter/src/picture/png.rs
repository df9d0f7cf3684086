//! Writing pictures.

use std::path::Path;

use super::file::replace;
use crate::error::{Error, Result};

/// Writes 8-bit sRGB pixels (three bytes each, rows from the top) as a PNG file, first under
/// another name in the same folder, so that an interrupted run leaves the old file or the new one.
///
/// # Errors
/// When the pixels do not fill the size, or the disk refuses.
pub fn write(path: &Path, width: u32, height: u32, rgb: &[u8]) -> Result<()> {
    if rgb.len() as u64 != 3 * u64::from(width) * u64::from(height) || rgb.is_empty() {
        return Err(Error::input(
            "",
            format!("{} bytes do not fill {width} x {height} pixels", rgb.len()),
            "give three bytes a pixel",
        ));
    }
    replace(path, |out| {
        let mut encoder = png::Encoder::new(out, width, height);
        encoder.set_color(png::ColorType::Rgb);
        encoder.set_depth(png::BitDepth::Eight);
        encoder.set_source_srgb(png::SrgbRenderingIntent::Perceptual);
        encoder
            .write_header()
            .and_then(|mut writer| {
                writer.write_image_data(rgb)?;
                writer.finish()
            })
            .map_err(std::io::Error::other)
    })
}
