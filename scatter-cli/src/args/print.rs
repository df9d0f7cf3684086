//! `strew presets`, `schema`, `completions` and `man`: what prints.

use std::path::PathBuf;

use clap::Args;
use clap_complete::Shell;

/// Arguments of `strew schema`.
#[derive(Debug, Args)]
pub(crate) struct Schema {
    /// Part of a shot to tell of as a table, such as `cameras.keys` or `passes.rest`. Default: the
    /// JSON Schema of all
    #[arg(value_name = "PART")]
    pub(crate) part: Option<String>,
}

/// Arguments of `strew presets`.
#[derive(Debug, Args)]
pub(crate) struct Presets {
    /// Preset to print as JSON. Default: list all, one per line
    pub(crate) name: Option<String>,
}

/// Arguments of `strew completions`.
#[derive(Debug, Args)]
pub(crate) struct Completions {
    /// Shell to print the script for
    pub(crate) shell: Shell,
}

/// Arguments of `strew man`.
#[derive(Debug, Args)]
pub(crate) struct Man {
    /// Command whose page is printed, such as `dress`; `strew man dress | man -l -` shows it as a
    /// manual. Default: strew's own page
    pub(crate) command: Option<String>,

    /// Folder to write the pages of all commands to, created if it does not exist: `strew.1`,
    /// `strew-dress.1` and so on. Default: none, one page on standard output
    #[arg(long, value_name = "DIR", conflicts_with = "command")]
    pub(crate) out: Option<PathBuf>,
}
