//! `strew look`.

use std::path::PathBuf;

use clap::Args;

use super::chosen::Chosen;
use super::values::{hour, whole};
use super::view::View;

/// Arguments of `strew look`.
#[derive(Debug, Args)]
pub(crate) struct Look {
    #[command(flatten)]
    pub(crate) at: Chosen,

    #[command(flatten)]
    pub(crate) view: View,

    /// PNG file to write. Default: `out/look.png` beside the shot; `out/strip.png` with `--strip`,
    /// `out/crop.png` with `--crop`
    #[arg(long, value_name = "FILE")]
    pub(crate) out: Option<PathBuf>,

    /// Layout to show: a `layout.json` of this shot. Default: lay the shot out again
    #[arg(long, value_name = "FILE", conflicts_with = "take")]
    pub(crate) layout: Option<PathBuf>,

    /// Only passes to show, separated by commas. Default: all
    #[arg(long, value_name = "PASSES", value_delimiter = ',')]
    pub(crate) only: Vec<String>,

    /// Passes to leave out, separated by commas. Default: none
    #[arg(long, value_name = "PASSES", value_delimiter = ',')]
    pub(crate) without: Vec<String>,

    /// Passes to show before and after, separated by commas: two pictures side by side, without
    /// them and with them. Default: none
    #[arg(long, value_name = "PASSES", value_delimiter = ',', conflicts_with_all = ["hours", "exr"])]
    pub(crate) before_after: Vec<String>,

    /// Clock hours to show the take at, 0 to 24, separated by commas; the shot's light gives place
    /// and date. Default: the shot's own light
    #[arg(long, value_name = "HOURS", value_delimiter = ',', allow_negative_numbers = true, value_parser = hour,
        conflicts_with_all = ["layout", "exr"])]
    pub(crate) hours: Vec<f64>,

    /// Number of frames to show on one sheet, 2 to 100, spread evenly from the first of a moving
    /// camera to its last. Default: one picture
    #[arg(long, value_name = "N", allow_negative_numbers = true, value_parser = whole::<2, 100>,
        conflicts_with_all = ["frame", "hours", "before_after", "exr"])]
    pub(crate) strip: Option<u32>,

    /// OpenEXR file to write as well: 16-bit light, depth, a matte per pass, and the pieces' ids.
    /// Default: none
    #[arg(long, value_name = "FILE")]
    pub(crate) exr: Option<PathBuf>,

    /// Keep running until interrupted, and make the picture again whenever the shot or a file that
    /// it names changes. Default: make it once
    #[arg(long, conflicts_with_all = ["layout", "hours", "before_after"])]
    pub(crate) watch: bool,
}
