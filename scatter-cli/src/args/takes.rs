//! `strew takes`.

use std::path::PathBuf;

use clap::Args;

use super::chosen::{Chosen, Mood};
use super::values::{pixels, take, whole};
use super::view::Noise;

/// Arguments of `strew takes`.
#[derive(Debug, Args)]
pub(crate) struct Takes {
    #[command(flatten)]
    pub(crate) at: Chosen,

    /// Kind of light. Default: the one in the shot, or sun if it names none
    #[arg(long)]
    pub(crate) mood: Option<Mood>,

    /// Number of takes to show, 1 to 400
    #[arg(long, value_name = "N", default_value_t = 12, allow_negative_numbers = true, value_parser = whole::<1, 400>)]
    pub(crate) count: u32,

    /// First take to show. Default: 1, or with `--hold` the take after the shot's own
    #[arg(long, value_name = "N", allow_negative_numbers = true, value_parser = take)]
    pub(crate) from: Option<u64>,

    /// Passes to hold in the take that `--take` or `--kept` names, or in the shot's own, while the
    /// others change; separated by commas. Passes that they refer to are held with them. Default:
    /// none
    #[arg(long, value_name = "PASSES", value_delimiter = ',')]
    pub(crate) hold: Vec<String>,

    /// Camera of the shot to look through. Default: the first
    #[arg(long, value_name = "NAME")]
    pub(crate) camera: Option<String>,

    /// Width of each small picture in pixels, 16 to 4096
    #[arg(long, value_name = "PIXELS", default_value_t = 320, allow_negative_numbers = true, value_parser = pixels::<16, 4096>)]
    pub(crate) width: u32,

    /// Light samples per pixel, 1 to 65536
    #[arg(long, value_name = "N", default_value_t = 4, allow_negative_numbers = true, value_parser = whole::<1, 65536>)]
    pub(crate) samples: u32,

    #[command(flatten)]
    pub(crate) noise: Noise,

    /// Also make pieces that are too small for the small pictures. Default: pieces smaller than one
    /// of their pixels are left out, and nothing lies on them
    #[arg(long)]
    pub(crate) full: bool,

    /// PNG file to write. Default: `out/takes.png` beside the shot
    #[arg(long, value_name = "FILE")]
    pub(crate) out: Option<PathBuf>,
}
