//! `strew new`.

use std::path::PathBuf;

use clap::Args;

/// Arguments of `strew new`.
#[derive(Debug, Args)]
pub(crate) struct New {
    /// Folder to create; the last part of its path is the shot's name, 1 to 128 characters. It must
    /// not exist yet
    pub(crate) name: PathBuf,

    /// Preset to take passes and ground from: one of the names that `strew presets` lists
    #[arg(long, value_name = "PRESET", default_value = "river-gravel")]
    pub(crate) preset: String,

    /// glTF file (.glb, .gltf) of a hero, to stand with its own origin at the world's; may be given
    /// several times. Default: none
    #[arg(long, value_name = "FILE")]
    pub(crate) hero: Vec<PathBuf>,

    /// glTF file (.glb, .gltf) with the camera to look through. Default: a close camera of the
    /// preset's
    #[arg(long, value_name = "FILE")]
    pub(crate) camera: Option<PathBuf>,

    /// Name of the camera in the file that `--camera` names. Default: its only one
    #[arg(long, value_name = "NAME", requires = "camera")]
    pub(crate) camera_name: Option<String>,
}
