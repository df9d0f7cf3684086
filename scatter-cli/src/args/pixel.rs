//! `strew at`.

use std::path::PathBuf;

use std::str::FromStr;

use clap::Args;

use super::chosen::Chosen;
use super::values::pixels;
use super::view::whole_numbers;

/// Arguments of `strew at`.
#[derive(Debug, Args)]
pub(crate) struct PixelAt {
    #[command(flatten)]
    pub(crate) at: Chosen,

    /// Pixel of the picture: column and row, counted from 0 at the upper left
    #[arg(value_name = "X,Y", allow_hyphen_values = true)]
    pub(crate) pixel: Pixel,

    /// Camera of the shot to look through. Default: the first
    #[arg(long, value_name = "NAME")]
    pub(crate) camera: Option<String>,

    /// Frame of a moving camera. Default: its first
    #[arg(long, value_name = "N", allow_hyphen_values = true)]
    pub(crate) frame: Option<i64>,

    /// Width in pixels of the picture that the pixel belongs to, 1 to 65536
    #[arg(long, value_name = "PIXELS", default_value_t = 960, allow_negative_numbers = true, value_parser = pixels::<1, 65536>)]
    pub(crate) width: u32,

    /// Layout that is shown: a `layout.json` of this shot. Default: lay the shot out again
    #[arg(long, value_name = "FILE", conflicts_with = "take")]
    pub(crate) layout: Option<PathBuf>,
}

/// A pixel of a picture.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Pixel(pub(crate) [u32; 2]);

impl FromStr for Pixel {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        match whole_numbers(text)[..] {
            [x, y] => Ok(Self([x, y])),
            _ => Err("a column and a row from 0, such as 480,300".into()),
        }
    }
}
