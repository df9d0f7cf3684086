//! `strew kit`.

use std::path::PathBuf;

use clap::Args;

use super::values::pixels;

/// Arguments of `strew kit`.
#[derive(Debug, Args)]
pub(crate) struct Kit {
    /// glTF files (.glb, .gltf), and folders of them: at least one, unless `--grown` is given
    pub(crate) paths: Vec<PathBuf>,

    /// List the kinds that are grown without a file: what each is for, its size, how it lies.
    /// Default: inspect files
    #[arg(long, conflicts_with = "paths")]
    pub(crate) grown: bool,

    /// Folder to write `kit.json` and `kit.png` to, with `--grown` only `kit.png`; created if it
    /// does not exist. Default: none, only the table
    #[arg(long, value_name = "DIR")]
    pub(crate) out: Option<PathBuf>,

    /// Width of each small picture in `kit.png` in pixels, 16 to 4096
    #[arg(long, value_name = "PIXELS", default_value_t = 240, allow_negative_numbers = true, value_parser = pixels::<16, 4096>)]
    pub(crate) width: u32,
}
