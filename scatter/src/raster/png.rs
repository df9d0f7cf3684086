//! PNG: whole numbers as shares.

use std::io::Cursor;

use png::{BitDepth, ColorType, Decoder, Limits, Transformations};

use super::{Raster, Scale, check_size, grey};
use crate::error::{Error, Result};
use crate::kit::image::has_whole_palette;

/// Bytes that the decoder may take beside the pixels: rows and tables of the widest image that is
/// read.
const WORKING_BYTES: usize = 16 << 20;

pub(super) fn read(bytes: &[u8]) -> Result<Raster> {
    let broken = |e: png::DecodingError| {
        Error::input(
            "",
            format!("the PNG is broken: {e}"),
            "save it again; was the file cut short?",
        )
    };
    let limits = Limits {
        bytes: WORKING_BYTES,
    };
    let mut decoder = Decoder::new_with_limits(Cursor::new(bytes), limits);
    decoder.set_ignore_text_chunk(true);
    decoder.set_ignore_iccp_chunk(true);
    decoder.set_transformations(Transformations::EXPAND);
    let info = decoder.read_header_info().map_err(broken)?;
    let (width, height) = (info.width, info.height);
    check_size(u64::from(width), u64::from(height))?;
    let mut reader = decoder.read_info().map_err(broken)?;
    if !has_whole_palette(reader.info()) {
        return Err(Error::input(
            "",
            "the PNG is broken: part of a colour in its palette",
            "save it again",
        ));
    }
    let (color, depth) = reader.output_color_type();
    let channels = color.samples();
    // The size is bounded, so this is at most eight bytes a pixel
    let size = reader.output_buffer_size().unwrap_or(0);
    let mut pixels = vec![0; size];
    reader.next_frame(&mut pixels).map_err(broken)?;
    let number: fn(&[u8]) -> f32 = match depth {
        BitDepth::Sixteen => |b| f32::from(u16::from_be_bytes([b[0], b[1]])) / 65535.0,
        _ => |b| f32::from(b[0]) / 255.0,
    };
    let wide = if depth == BitDepth::Sixteen { 2 } else { 1 };
    let values: Vec<f32> = pixels
        .chunks_exact(channels * wide)
        .map(|p| {
            let channel = |i: usize| number(&p[i * wide..]);
            match color {
                ColorType::Rgb | ColorType::Rgba => grey(channel(0), channel(1), channel(2)),
                _ => channel(0),
            }
        })
        .collect();
    if values.len() != width as usize * height as usize {
        return Err(Error::input(
            "",
            "the PNG holds fewer pixels than it says",
            "save it again",
        ));
    }
    Ok(Raster {
        width: width as usize,
        height: height as usize,
        values,
        scale: Scale::Share,
    })
}
