//! OpenEXR: numbers as they are stored.

use std::io::Cursor;

use exr::meta::MetaData;
use exr::prelude::{FlatSamples, ReadChannels, ReadLayers};

use super::{MAX_PIXELS, Raster, Scale, check_size, grey};
use crate::error::{Error, Result};

/// Maximum number of samples in all layers and channels together: that of a render with a score of
/// layers at the largest size for one.
const MAX_SAMPLES: u64 = 4 * MAX_PIXELS;

/// Names of a channel of heights or of a mask, in the order in which they are looked for. A lone
/// channel may have any name.
const NAMES: [&str; 8] = ["Y", "y", "Z", "z", "height", "Height", "R", "r"];

pub(super) fn read(bytes: &[u8]) -> Result<Raster> {
    let broken = |e: exr::error::Error| {
        Error::input(
            "",
            format!("the EXR is broken: {e}"),
            "save it again; was the file cut short?",
        )
    };
    let meta = MetaData::read_from_buffered(Cursor::new(bytes), false).map_err(broken)?;
    let mut samples = 0u64;
    for header in &meta.headers {
        let (width, height) = (header.layer_size.x() as u64, header.layer_size.y() as u64);
        check_size(width, height)?;
        samples = samples.saturating_add(width * height * header.channels.list.len() as u64);
    }
    if samples > MAX_SAMPLES {
        return Err(Error::input(
            "",
            format!("the EXR holds {samples} samples in all its layers"),
            format!("at most {MAX_SAMPLES} are read; save the one layer that is needed"),
        ));
    }
    let image = exr::prelude::read()
        .no_deep_data()
        .largest_resolution_level()
        .all_channels()
        .first_valid_layer()
        .all_attributes()
        .non_parallel()
        .from_buffered(Cursor::new(bytes))
        .map_err(broken)?;
    let layer = image.layer_data;
    let (width, height) = (layer.size.x(), layer.size.y());
    let list = &layer.channel_data.list;
    let find = |name: &str| {
        list.iter().position(|c| {
            let text = c.name.to_string();
            text == name && c.sampling.x() == 1 && c.sampling.y() == 1
        })
    };
    let of = |channel: usize| -> Vec<f32> {
        match &list[channel].sample_data {
            FlatSamples::F16(v) => v.iter().map(|h| h.to_f32()).collect(),
            FlatSamples::F32(v) => v.clone(),
            FlatSamples::U32(v) => v.iter().map(|n| *n as f32).collect(),
        }
    };
    let values = match (find("R"), find("G"), find("B")) {
        (Some(r), Some(g), Some(b)) => {
            let (r, g, b) = (of(r), of(g), of(b));
            (0..r.len()).map(|i| grey(r[i], g[i], b[i])).collect()
        }
        _ => {
            let lone = (list.len() == 1).then_some(0);
            let Some(channel) = NAMES.iter().find_map(|n| find(n)).or(lone) else {
                let names: Vec<String> = list.iter().map(|c| c.name.to_string()).collect();
                return Err(Error::input(
                    "",
                    format!("no channel of the EXR is grey: {}", names.join(", ")),
                    "name the channel Y, save it alone, or save R, G and B",
                ));
            };
            of(channel)
        }
    };
    if values.len() != width * height {
        return Err(Error::input(
            "",
            "the EXR's channel is not of the image's size",
            "save it without subsampled channels",
        ));
    }
    Ok(Raster {
        width,
        height,
        values,
        scale: Scale::Stored,
    })
}
