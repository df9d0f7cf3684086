//! What a file format has to say of itself to be delivered, and which formats there are.

use std::fs::File;
use std::io::{self, BufWriter};

use super::contents::Contents;
use super::pictures::Pictures;
use super::space::Conversion;
use super::{csv, glb, json, usda};
use crate::error::Result;
use crate::shot::{Format, Space};

/// Where the bytes of a file go.
pub type Out<'a> = BufWriter<&'a mut File>;

/// What writes a file once it has been planned.
pub type Writer<'a> = Box<dyn FnOnce(&mut Out<'_>) -> io::Result<()> + 'a>;

/// A file format.
pub trait Exporter: Sync {
    /// The stem of its files' names and their ending, such as `layout` and `csv`.
    fn name(&self) -> [&'static str; 2];

    /// Whether a delivery with one file a pass also gets a file for the scene.
    fn scene(&self) -> SceneFile {
        SceneFile::Never
    }

    /// Which texture pictures its files name; these are written beside them.
    fn pictures(&self) -> PictureFiles {
        PictureFiles::None
    }

    /// Refuses a space that the format can't be written in.
    ///
    /// # Errors
    /// With what would be right.
    fn check(&self, _space: Space) -> Result<()> {
        Ok(())
    }

    /// Makes ready to write a file.
    ///
    /// # Errors
    /// The format can't hold it.
    fn plan<'a>(&self, file: &'a PlannedFile<'a>) -> Result<Writer<'a>>;
}

/// Whether a delivery with one file a pass also gets a file for the scene: the cameras, the ground,
/// the heroes and the light.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SceneFile {
    /// Always: it also references the passes' files.
    Always,
    /// If there is anything to put in it.
    IfAny,
    /// Never: the format holds pieces alone.
    Never,
}

/// Which pictures of textures a format names.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PictureFiles {
    /// None: it holds them itself, or has no textures.
    None,
    /// Those of the pieces.
    OfPieces,
    /// Those of the pieces, the ground and the heroes.
    OfAll,
}

/// A file to be written.
#[derive(Debug)]
pub struct PlannedFile<'a> {
    /// Its name in the folder.
    pub name: String,
    /// What it holds.
    pub contents: Contents<'a>,
    /// The names of the passes' files, if this is the scene's file; else empty.
    pub parts: Vec<String>,
    /// Unit and axes, where the format leaves them open.
    pub space: Space,
    /// The pictures that stand beside the files.
    pub(super) pictures: &'a Pictures<'a>,
}

impl PlannedFile<'_> {
    /// The conversion into its space.
    pub(super) fn way(&self) -> Conversion {
        Conversion::new(self.space)
    }
}

/// The exporter of a format.
#[must_use]
pub fn of(format: Format) -> &'static dyn Exporter {
    match format {
        Format::Glb => &glb::Form::Instanced,
        Format::GlbNodes => &glb::Form::Nodes,
        Format::Usda => &usda::Usda,
        Format::Json => &json::Json,
        Format::Csv => &csv::Csv,
    }
}
