//! `strew compare`.

use std::path::PathBuf;

use clap::Args;

use super::values::{metres, pixels};

/// Arguments of `strew compare`.
#[derive(Debug, Args)]
pub(crate) struct Compare {
    /// First layout: a `layout.json`
    pub(crate) first: PathBuf,

    /// Second layout: a `layout.json`
    pub(crate) second: PathBuf,

    /// Distance that a piece may have moved and still count as the same, in metres or with
    /// its unit
    #[arg(long, value_name = "METRES", default_value_t = 1e-4, allow_negative_numbers = true, value_parser = metres)]
    pub(crate) moved: f64,

    /// Angle that a piece may have turned and still count as the same, in degrees
    #[arg(
        long,
        value_name = "DEGREES",
        default_value_t = 0.1,
        allow_negative_numbers = true
    )]
    pub(crate) turned: f64,

    /// Change of size that still counts as the same, as a share of the piece's size
    #[arg(
        long,
        value_name = "SHARE",
        default_value_t = 1e-3,
        allow_negative_numbers = true
    )]
    pub(crate) scaled: f64,

    /// Maximum number of pieces to list one by one
    #[arg(long, value_name = "N", default_value_t = 20)]
    pub(crate) list: usize,

    /// File to draw a plan of the differences to, .png or .svg. Default: none
    #[arg(long, value_name = "FILE")]
    pub(crate) out: Option<PathBuf>,

    /// Width of the plan in pixels, 200 to 8192
    #[arg(long, value_name = "PIXELS", default_value_t = 1200, allow_negative_numbers = true, value_parser = pixels::<200, 8192>)]
    pub(crate) width: u32,
}
