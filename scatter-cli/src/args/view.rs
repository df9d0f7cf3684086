//! The size and quality of a picture.

use std::str::FromStr;

use clap::{Args, ValueEnum};
use scatter::picture::{self, MOST_STOPS};

use super::chosen::Mood;
use super::values::{pixels, whole};

/// The size and quality of a picture.
#[derive(Debug, Args)]
pub(crate) struct View {
    /// Camera of the shot to look through. Default: the first
    #[arg(long, value_name = "NAME")]
    pub(crate) camera: Option<String>,

    /// Frame of a moving camera. Default: its first
    #[arg(long, value_name = "N", allow_hyphen_values = true)]
    pub(crate) frame: Option<i64>,

    /// Kind of light. Default: the one in the shot, or sun if it names none
    #[arg(long)]
    pub(crate) mood: Option<Mood>,

    /// Width of the picture in pixels, 1 to 65536; the height follows the camera's frame
    #[arg(long, value_name = "PIXELS", default_value_t = 960, allow_negative_numbers = true, value_parser = pixels::<1, 65536>)]
    pub(crate) width: u32,

    /// Light samples per pixel, 1 to 65536; four times as many halve the noise
    #[arg(long, value_name = "N", default_value_t = 16, allow_negative_numbers = true, value_parser = whole::<1, 65536>)]
    pub(crate) samples: u32,

    #[command(flatten)]
    pub(crate) noise: Noise,

    /// Bounces of light to trace beyond the surface that is seen, 1 to 16
    #[arg(long, value_name = "N", default_value_t = 2, allow_negative_numbers = true, value_parser = whole::<1, 16>)]
    pub(crate) bounces: u32,

    /// Tone curve from light to the screen
    #[arg(long, default_value = "film")]
    pub(crate) tone: Tone,

    /// Exposure in stops, -10 to 10: each doubles the light; or `auto`, which brings the picture's
    /// mean to a grey card. OpenEXR keeps the light as it is
    #[arg(
        long,
        value_name = "STOPS",
        default_value = "0",
        allow_hyphen_values = true
    )]
    pub(crate) exposure: Exposure,

    /// Part of the picture to make: column and row of its upper left corner, width and height, in
    /// pixels. Default: the whole
    #[arg(long, value_name = "X,Y,W,H")]
    pub(crate) crop: Option<Crop>,
}

/// Whether a picture's noise is taken out.
#[derive(Debug, Args)]
pub(crate) struct Noise {
    /// Take the noise out, keeping edges and texture. Default: with fewer than 16 samples
    #[arg(long, overrides_with = "no_denoise")]
    denoise: bool,

    /// Leave the noise in. Default: with 16 samples or more
    #[arg(long, overrides_with = "denoise")]
    no_denoise: bool,
}

impl Noise {
    /// Samples a pixel from which a picture is left as it is unless asked: it can be judged so, and
    /// shows what many more would.
    const MANY: u32 = 16;

    /// Whether the noise of a picture of so many samples a pixel is taken out.
    pub(crate) fn is_taken_out(&self, samples: u32) -> bool {
        self.denoise || !self.no_denoise && samples < Self::MANY
    }
}

/// How bright to print.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Exposure {
    Stops(f32),
    Auto,
}

impl FromStr for Exposure {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        if text == "auto" {
            return Ok(Self::Auto);
        }
        let stops = text.parse().ok();
        match stops.filter(|s: &f32| s.abs() <= MOST_STOPS) {
            Some(stops) => Ok(Self::Stops(stops)),
            None => Err(format!(
                "stops from -{MOST_STOPS} to {MOST_STOPS}, such as -1.5, or auto"
            )),
        }
    }
}

/// A part of a picture.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Crop(pub(crate) picture::Crop);

impl FromStr for Crop {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        match whole_numbers(text)[..] {
            [x, y, width, height] => Ok(Self(picture::Crop {
                x,
                y,
                width,
                height,
            })),
            _ => Err("four whole numbers, such as 400,300,256,144".into()),
        }
    }
}

/// The whole numbers of a list with commas; empty if any is none.
pub(super) fn whole_numbers(text: &str) -> Vec<u32> {
    let numbers = text.split(',').map(|part| part.trim().parse());
    numbers.collect::<Result<_, _>>().unwrap_or_default()
}

/// Tone curves.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum Tone {
    /// Soft in the highlights and the shadows, like film
    Film,
    /// Linear, clipped at white
    Plain,
}
