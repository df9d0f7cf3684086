//! Pictures that are laid on a surface.
//!
//! A texture keeps the bytes that the artist's file held, so that a delivery passes them on
//! unchanged; its pixels are decoded only where they are looked at. Formats: PNG (W3C, "Portable
//! Network Graphics Specification, Third Edition",
//! 2025) and baseline or progressive JPEG (ITU-T T.81, 1992), the two that glTF 2.0 knows.

use std::io::Cursor;
use std::sync::Arc;

use zune_core::colorspace::ColorSpace;
use zune_core::options::DecoderOptions;
use zune_jpeg::JpegDecoder;

use crate::error::{Error, Result};

/// Maximum side of a texture, pixels: what graphics hardware takes.
pub const MAX_SIDE: u32 = 16_384;

/// Maximum number of pixels of a texture: 8192 x 8192, a quarter of a gigabyte when decoded.
pub const MAX_PIXELS: u64 = 1 << 26;

/// Bytes that a PNG decoder may take beside the pixels: a row or two and the tables.
const PNG_WORKING_BYTES: usize = 16 << 20;

/// How a texture's bytes are encoded.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Encoding {
    /// PNG.
    Png,
    /// JPEG.
    Jpeg,
}

/// What lies beyond the texture's edge along one axis.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Wrap {
    /// The texture again.
    #[default]
    Repeat,
    /// The texture again, every second time mirrored.
    Mirror,
    /// The pixels of the edge.
    Clamp,
}

/// An encoded picture with the way it repeats.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Texture {
    /// Name for people: the file's, or the one in the document.
    pub name: String,
    /// How `bytes` are encoded, as their first bytes show.
    pub encoding: Encoding,
    /// The encoded picture as it was read.
    pub bytes: Arc<[u8]>,
    /// Pixels along a row.
    pub width: u32,
    /// Rows.
    pub height: u32,
    /// Beyond the edges along u and v.
    pub wrap: [Wrap; 2],
}

impl Texture {
    /// A texture of encoded bytes. Only their head is read.
    ///
    /// # Errors
    /// The bytes are neither PNG nor JPEG, their head is broken, or the picture is larger than
    /// [`MAX_SIDE`] or
    /// [`MAX_PIXELS`].
    pub fn new(name: String, bytes: Arc<[u8]>, wrap: [Wrap; 2]) -> Result<Self> {
        let encoding = Encoding::of(&bytes).ok_or_else(|| {
            let hint = "textures are PNG or JPEG files";
            Error::input("", "the picture is neither PNG nor JPEG", hint)
        })?;
        let (width, height) = match encoding {
            Encoding::Png => {
                let reader = png_reader(&bytes)?;
                (reader.info().width, reader.info().height)
            }
            Encoding::Jpeg => {
                if !has_usual_sampling(&bytes) {
                    let problem = "a channel is finer than the first";
                    return Err(broken(encoding, &problem));
                }
                let mut decoder = jpeg_decoder(&bytes);
                decoder.decode_headers().map_err(|e| broken(encoding, &e))?;
                let (width, height) = decoder.dimensions().unwrap_or_default();
                let side = |n: usize| u32::try_from(n).unwrap_or(u32::MAX);
                (side(width), side(height))
            }
        };
        if width == 0 || height == 0 {
            let problem = "the picture has no pixels";
            return Err(Error::input("", problem, "save the picture again"));
        }
        let pixels = u64::from(width) * u64::from(height);
        if width > MAX_SIDE || height > MAX_SIDE || pixels > MAX_PIXELS {
            return Err(Error::input(
                "",
                format!("a picture of {width} x {height} pixels"),
                format!(
                    "up to {MAX_PIXELS} pixels are read, 8192 x 8192 or as many, at most {MAX_SIDE} a side"
                ),
            ));
        }
        Ok(Self {
            name,
            encoding,
            bytes,
            width,
            height,
            wrap,
        })
    }

    /// Decodes the pixels: red, green, blue, opacity, 8 bits each, as stored (not made linear);
    /// rows from the top.
    ///
    /// # Errors
    /// The picture is broken beyond its head.
    pub fn decode(&self) -> Result<Vec<u8>> {
        let pixels = match self.encoding {
            Encoding::Png => decode_png(&self.bytes)?,
            Encoding::Jpeg => jpeg_decoder(&self.bytes)
                .decode()
                .map_err(|e| broken(self.encoding, &e))?,
        };
        // What is decoded must be what the head has told.
        let expected = 4 * self.width as usize * self.height as usize;
        if pixels.len() == expected {
            Ok(pixels)
        } else {
            let problem = format!("{} bytes of pixels for {expected}", pixels.len());
            Err(broken(self.encoding, &problem))
        }
    }

    /// Whether another texture shows the same picture: the same bytes.
    #[must_use]
    pub fn same_picture(&self, other: &Self) -> bool {
        Arc::ptr_eq(&self.bytes, &other.bytes) || self.bytes == other.bytes
    }

    /// Memory of the decoded pixels, bytes.
    #[must_use]
    pub fn decoded_bytes(&self) -> u64 {
        4 * u64::from(self.width) * u64::from(self.height)
    }
}

impl Encoding {
    /// What the first bytes of a picture tell.
    #[must_use]
    pub fn of(bytes: &[u8]) -> Option<Self> {
        if bytes.starts_with(b"\x89PNG\r\n\x1a\n") {
            Some(Self::Png)
        } else if bytes.starts_with(b"\xff\xd8\xff") {
            Some(Self::Jpeg)
        } else {
            None
        }
    }

    /// Its media type.
    #[must_use]
    pub const fn mime(self) -> &'static str {
        match self {
            Self::Png => "image/png",
            Self::Jpeg => "image/jpeg",
        }
    }

    /// The usual end of a file's name, without the dot.
    #[must_use]
    pub const fn extension(self) -> &'static str {
        match self {
            Self::Png => "png",
            Self::Jpeg => "jpg",
        }
    }
}

fn broken(encoding: Encoding, source: &dyn std::fmt::Display) -> Error {
    let form = match encoding {
        Encoding::Png => "PNG",
        Encoding::Jpeg => "JPEG",
    };
    let hint = "save the picture again; was the file cut short?";
    Error::input("", format!("the {form} can't be decoded: {source}"), hint)
}

fn png_reader(bytes: &[u8]) -> Result<png::Reader<Cursor<&[u8]>>> {
    // What unpacks into texts or profiles is of no use here, and may be made to fill the memory.
    let limits = png::Limits {
        bytes: PNG_WORKING_BYTES,
    };
    let mut decoder = png::Decoder::new_with_limits(Cursor::new(bytes), limits);
    decoder.set_ignore_text_chunk(true);
    decoder.ignore_checksums(false);
    decoder.set_transformations(
        png::Transformations::normalize_to_color8() | png::Transformations::ALPHA,
    );
    let reader = decoder.read_info();
    let reader = reader.map_err(|e| broken(Encoding::Png, &e))?;
    if has_whole_palette(reader.info()) {
        Ok(reader)
    } else {
        Err(broken(Encoding::Png, &"part of a colour in its palette"))
    }
}

/// Whether a PNG's palette, if it has one, ends with a whole colour, as the specification has it.
/// The decoder takes that for granted.
pub(crate) fn has_whole_palette(info: &png::Info<'_>) -> bool {
    let palette = info.palette.as_ref();
    palette.is_none_or(|p| p.len().is_multiple_of(3))
}

fn decode_png(bytes: &[u8]) -> Result<Vec<u8>> {
    let broken = |e: &dyn std::fmt::Display| broken(Encoding::Png, e);
    let mut reader = png_reader(bytes)?;
    let size = reader.output_buffer_size();
    let size = size.ok_or_else(|| broken(&"more pixels than memory"))?;
    let mut pixels = vec![0; size];
    let frame = reader.next_frame(&mut pixels).map_err(|e| broken(&e))?;
    pixels.truncate(frame.buffer_size());
    Ok(match frame.color_type {
        png::ColorType::GrayscaleAlpha => pixels
            .chunks_exact(2)
            .flat_map(|p| [p[0], p[0], p[0], p[1]])
            .collect(),
        _ => pixels,
    })
}

fn jpeg_decoder(bytes: &[u8]) -> JpegDecoder<Cursor<&[u8]>> {
    let side = MAX_SIDE as usize;
    let options = DecoderOptions::default()
        .set_max_width(side)
        .set_max_height(side)
        .jpeg_set_out_colorspace(ColorSpace::RGBA);
    JpegDecoder::new_with_options(Cursor::new(bytes), options)
}

/// Whether a JPEG's frame is where it should be, and its first channel as fine as any: the decoder
/// takes that for granted. Markers and segments are those of ITU-T T.81, annex B.
fn has_usual_sampling(bytes: &[u8]) -> bool {
    // Behind the start of the image
    let mut rest = &bytes[2..];
    let mut found = false;
    while let [0xff, marker, after @ ..] = rest {
        match marker {
            // Filling
            0xff => {
                rest = &rest[1..];
                continue;
            }
            // The start of a scan: what follows are pixels
            0xda => break,
            _ => {}
        }
        let [high, low, ..] = after else { return false };
        let length = usize::from(u16::from_be_bytes([*high, *low]));
        let Some((segment, next)) = after.split_at_checked(length) else {
            return false;
        };
        let is_frame = matches!(marker, 0xc0..=0xcf) && !matches!(marker, 0xc4 | 0xc8 | 0xcc);
        if is_frame {
            // Length, depth, height, width, number of channels; then three bytes for each
            let channels = segment.get(8..).unwrap_or_default().chunks_exact(3);
            let finer =
                |c: &[u8], than: &[u8]| c[1] >> 4 > than[1] >> 4 || c[1] & 15 > than[1] & 15;
            let first = channels.clone().next();
            if found || first.is_none_or(|first| channels.clone().any(|c| finer(c, first))) {
                return false;
            }
            found = true;
        }
        rest = next;
    }
    found
}
