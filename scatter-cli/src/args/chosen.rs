//! What a command shows: the shot, its take, and its light.

use std::path::PathBuf;

use clap::{Args, ValueEnum};

use super::values::take;

/// The shot, and the take to show it in.
#[derive(Debug, Args)]
pub(crate) struct Chosen {
    /// Shot file, or the folder that holds its `shot.json`
    pub(crate) shot: PathBuf,

    /// Take to lay out: the seed, a whole number from 0 to 18446744073709551615. Default: the
    /// shot's own take
    #[arg(long, value_name = "N", allow_negative_numbers = true, value_parser = take)]
    pub(crate) take: Option<u64>,

    /// Take that the shot keeps under this name. Default: the shot's own take
    #[arg(long, value_name = "NAME", conflicts_with = "take")]
    pub(crate) kept: Option<String>,
}

/// Kinds of light.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum Mood {
    /// Sun in a clear sky
    Sun,
    /// Low, warm sun, at most 6 deg high
    GoldenHour,
    /// Sky covered by clouds
    Overcast,
    /// Sun just under the horizon
    Dusk,
    /// Full moon, and a warm lamp near the hero
    Night,
}
