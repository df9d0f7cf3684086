//! Pictures as OpenEXR: linear light in 16-bit halves, with depth and mattes as channels.

use std::path::Path;

use exr::prelude::{
    AnyChannel, AnyChannels, Encoding, FlatSamples, Image, Layer, LayerAttributes, SmallVec,
    WritableImage, f16,
};

use super::file::replace;
use super::{Layers, Picture};
use crate::error::{Error, Result};

/// What a file says of a picture whose noise was taken out.
const DENOISED: &str = "denoised; the channels raw.R, raw.G and raw.B hold the light as sampled";

/// Writes `R`, `G`, `B` (half, linear sRGB, 1 = a white card), `Z` (float, metres along the line of
/// sight), a half channel `matte.` with the pass's name for each pass, and `id.high` and `id.low`
/// (32-bit whole numbers), the halves of the id of the piece at the middle of each pixel, 0 where
/// there is none. Of a denoised picture there are the channels `raw.R`, `raw.G` and `raw.B`, too,
/// the light as it was sampled, and the file's comments say so. The file appears whole or not at
/// all.
///
/// # Errors
/// The layers are not of the picture's size, or the disk refuses.
pub fn write(path: &Path, picture: &Picture, layers: &Layers) -> Result<()> {
    let pixels = picture.width as usize * picture.height as usize;
    let fit = picture.rgb.len() == 3 * pixels
        && picture.raw.iter().all(|raw| raw.len() == 3 * pixels)
        && layers.depth.len() == pixels
        && layers.ids.len() == pixels
        && layers.mattes.iter().all(|(_, m)| m.len() == pixels);
    if !fit || pixels == 0 {
        return Err(Error::input(
            "",
            "picture and layers are not of one size",
            "make both with the same options",
        ));
    }
    let halves = |values: &mut dyn Iterator<Item = &f32>| {
        FlatSamples::F16(values.map(|v| f16::from_f32(*v)).collect())
    };
    let mut channels = SmallVec::new();
    let mut attributes = LayerAttributes::default();
    let mut colors = |names: [&str; 3], rgb: &[f32]| {
        for (i, name) in names.into_iter().enumerate() {
            let mut values = rgb.iter().skip(i).step_by(3);
            channels.push(AnyChannel::new(name, halves(&mut values)));
        }
    };
    colors(["R", "G", "B"], &picture.rgb);
    if let Some(raw) = &picture.raw {
        colors(["raw.R", "raw.G", "raw.B"], raw);
        attributes.comments = Some(DENOISED.into());
    }
    channels.push(AnyChannel::new("Z", FlatSamples::F32(layers.depth.clone())));
    for (name, matte) in &layers.mattes {
        let name = format!("matte.{name}");
        channels.push(AnyChannel::new(name.as_str(), halves(&mut matte.iter())));
    }
    for (name, shift) in [("id.high", 32), ("id.low", 0)] {
        let values = layers.ids.iter().map(|id| (id >> shift) as u32).collect();
        channels.push(AnyChannel::new(name, FlatSamples::U32(values)));
    }
    let image = Image::from_layer(Layer::new(
        (picture.width as usize, picture.height as usize),
        attributes,
        Encoding::SMALL_LOSSLESS,
        AnyChannels::sort(channels),
    ));

    replace(path, |out| {
        let writing = image.write().non_parallel();
        writing.to_buffered(out).map_err(std::io::Error::other)
    })
}
