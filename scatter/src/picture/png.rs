//! Writing pictures.

use std::io::BufWriter;
use std::path::Path;

use crate::error::{Error, Result};

/// Writes 8-bit sRGB pixels (three bytes each, rows from the top) as a PNG file, first under another name in the same
/// folder, so that an interrupted run leaves the old file or the new one.
///
/// # Errors
/// When the pixels do not fill the size, or the disk refuses.
pub fn write(path: &Path, width: u32, height: u32, rgb: &[u8]) -> Result<()> {
    let fail = |what: &str, source: &std::io::Error| {
        Error::io(
            path,
            what,
            source,
            "check that the folder exists and can be written",
        )
    };
    if rgb.len() as u64 != 3 * u64::from(width) * u64::from(height) || rgb.is_empty() {
        return Err(Error::input(
            "",
            format!("{} bytes do not fill {width} x {height} pixels", rgb.len()),
            "give three bytes a pixel",
        ));
    }
    let folder = path
        .parent()
        .filter(|p| !p.as_os_str().is_empty())
        .unwrap_or(Path::new("."));
    let mut file =
        tempfile::NamedTempFile::new_in(folder).map_err(|e| fail("can't make a file there", &e))?;
    {
        let mut encoder = png::Encoder::new(BufWriter::new(file.as_file_mut()), width, height);
        encoder.set_color(png::ColorType::Rgb);
        encoder.set_depth(png::BitDepth::Eight);
        encoder.set_source_srgb(png::SrgbRenderingIntent::Perceptual);
        encoder
            .write_header()
            .and_then(|mut w| {
                w.write_image_data(rgb)?;
                w.finish()
            })
            .map_err(|e| fail("can't write the picture", &std::io::Error::other(e)))?;
    }
    file.persist(path)
        .map_err(|e| fail("can't put the picture in place", &e.error))?;
    Ok(())
}
