//! `strew plan`.

use std::path::PathBuf;

use clap::Args;

use super::chosen::Chosen;
use super::values::{metres, pixels};

/// Arguments of `strew plan`.
#[derive(Debug, Args)]
pub(crate) struct Plan {
    #[command(flatten)]
    pub(crate) at: Chosen,

    /// Width of the ground to draw, in metres or with its unit, 0.01 to 200000 m, centred on what the first camera
    /// looks at. Default: all that is laid
    #[arg(long, value_name = "METRES", allow_negative_numbers = true, value_parser = metres)]
    pub(crate) across: Option<f64>,

    /// Width of the PNG file in pixels, 200 to 8192
    #[arg(long, value_name = "PIXELS", default_value_t = 1200, allow_negative_numbers = true, value_parser = pixels::<200, 8192>)]
    pub(crate) width: u32,

    /// File to write, without its extension: `.svg` and `.png` are added. Default: `out/plan`
    /// beside the shot
    #[arg(long, value_name = "FILE")]
    pub(crate) out: Option<PathBuf>,
}
