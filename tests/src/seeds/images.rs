//! Pictures: PNG of each kind of pixels, EXR of each compression, JPEG.

use std::fs;
use std::io::Cursor;

use exr::prelude::{
    AnyChannel, AnyChannels, Compression, Encoding, FlatSamples, Image, Layer, LayerAttributes,
    SmallVec, WritableImage, f16,
};
use jpeg_encoder::{ColorType, Encoder};

use crate::readers::Desk;
use crate::shot_files;

/// Sides of the pictures, pixels: several blocks of a JPEG, several rows of an EXR's chunk.
const SIDES: [u32; 2] = [12, 18];

pub(super) fn all(desk: &Desk) -> Vec<(String, Vec<u8>)> {
    let heights = fs::read(desk.folder().join(shot_files::IMAGE)).expect("an image");
    let mut all = vec![("image/heights.png".into(), heights)];
    let kinds = [
        ("grey-1", png::ColorType::Grayscale, png::BitDepth::One),
        ("grey-16", png::ColorType::Grayscale, png::BitDepth::Sixteen),
        (
            "grey-alpha",
            png::ColorType::GrayscaleAlpha,
            png::BitDepth::Eight,
        ),
        ("rgb", png::ColorType::Rgb, png::BitDepth::Eight),
        ("rgba-16", png::ColorType::Rgba, png::BitDepth::Sixteen),
        ("palette", png::ColorType::Indexed, png::BitDepth::Four),
    ];
    for (name, color, depth) in kinds {
        let bytes = picture(color, depth);
        all.push((format!("image/{name}.png"), bytes.clone()));
        all.push((format!("texture/{name}.png"), bytes));
    }
    for (name, compression) in [
        ("plain", Compression::Uncompressed),
        ("rle", Compression::RLE),
        ("zip", Compression::ZIP16),
        ("piz", Compression::PIZ),
        ("pxr24", Compression::PXR24),
        ("b44", Compression::B44),
    ] {
        all.push((format!("image/{name}.exr"), film(compression)));
    }
    for (name, color, progressive) in [
        ("grey", ColorType::Luma, false),
        ("rgb", ColorType::Rgb, false),
        ("cmyk", ColorType::Cmyk, false),
        ("progressive", ColorType::Rgb, true),
    ] {
        all.push((
            format!("texture/{name}.jpg"),
            photograph(color, progressive),
        ));
    }
    all
}

/// Bytes that vary, and repeat a little.
fn pixels(count: usize) -> Vec<u8> {
    (0..count).map(|i| (i * i / 7 + 3 * i) as u8).collect()
}

/// A PNG with a transparent colour where its kind has one.
pub(super) fn picture(color: png::ColorType, depth: png::BitDepth) -> Vec<u8> {
    let [width, height] = SIDES;
    let mut file = Vec::new();
    let mut encoder = png::Encoder::new(&mut file, width, height);
    encoder.set_color(color);
    encoder.set_depth(depth);
    if color == png::ColorType::Indexed {
        encoder.set_palette(pixels(48));
        encoder.set_trns(vec![0, 128]);
    }
    let row = (color.samples() * depth as usize * width as usize).div_ceil(8);
    let mut writer = encoder.write_header().expect("a head");
    let data = pixels(row * height as usize);
    writer.write_image_data(&data).expect("pixels");
    writer.finish().expect("an end");
    file
}

/// An EXR of a channel in halves, one in floats and one in whole numbers.
fn film(compression: Compression) -> Vec<u8> {
    let [width, height] = SIDES.map(|s| s as usize);
    let values: Vec<f32> = pixels(width * height)
        .iter()
        .map(|b| f32::from(*b) / 64.0)
        .collect();
    let halves = values.iter().map(|v| f16::from_f32(*v)).collect();
    let whole = values.iter().map(|v| *v as u32).collect();
    let mut channels = SmallVec::new();
    channels.push(AnyChannel::new("Y", FlatSamples::F32(values)));
    channels.push(AnyChannel::new("half", FlatSamples::F16(halves)));
    channels.push(AnyChannel::new("id", FlatSamples::U32(whole)));
    let encoding = Encoding {
        compression,
        ..Encoding::SMALL_LOSSLESS
    };
    let layer = Layer::new(
        (width, height),
        LayerAttributes::default(),
        encoding,
        AnyChannels::sort(channels),
    );
    let mut file = Cursor::new(Vec::new());
    let image = Image::from_layer(layer);
    image
        .write()
        .non_parallel()
        .to_buffered(&mut file)
        .expect("an EXR");
    file.into_inner()
}

pub(super) fn photograph(color: ColorType, progressive: bool) -> Vec<u8> {
    let [width, height] = SIDES.map(|s| s as u16);
    let mut file = Vec::new();
    let mut encoder = Encoder::new(&mut file, 80);
    encoder.set_progressive(progressive);
    // Four bytes a pixel at most; what is left over is not looked at
    let bytes = 4 * usize::from(width) * usize::from(height);
    encoder
        .encode(&pixels(bytes), width, height, color)
        .expect("a JPEG");
    file
}
