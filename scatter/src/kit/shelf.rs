//! What the names in a brief refer to: files in the shot's folder, or meshes given in code.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::Part;
use super::gltf::{self, FileCamera};
use crate::error::Result;
use crate::input::{self, MODELS};

/// What a shot names as a model.
pub(crate) const MODEL_HINT: &str = "name a .glb or .gltf file, relative to the shot's folder";

/// A shot's folder, and meshes given in code that stand in for files.
#[derive(Debug, Clone, Default)]
pub struct Shelf {
    folder: PathBuf,
    given: BTreeMap<String, Given>,
    /// How many meshes were given so far.
    count: u64,
}

#[derive(Debug, Clone)]
struct Given {
    parts: Arc<Vec<Part>>,
    number: u64,
}

impl Shelf {
    /// The files of a folder.
    #[must_use]
    pub fn of(folder: impl Into<PathBuf>) -> Self {
        Self {
            folder: folder.into(),
            ..Self::default()
        }
    }

    /// The shot's folder.
    #[must_use]
    pub fn folder(&self) -> &Path {
        &self.folder
    }

    /// Puts a mesh there under a name, in place of any file or mesh of that name.
    pub fn put(&mut self, name: impl Into<String>, parts: Vec<Part>) {
        self.count += 1;
        let given = Given {
            parts: Arc::new(parts),
            number: self.count,
        };
        self.given.insert(name.into(), given);
    }

    /// The mesh that was given under a name.
    #[must_use]
    pub fn given(&self, name: &str) -> Option<&[Part]> {
        self.given.get(name).map(|g| g.parts.as_slice())
    }

    /// A number that differs for each mesh that is given, also under the same name.
    pub(crate) fn number(&self, name: &str) -> Option<u64> {
        self.given.get(name).map(|g| g.number)
    }

    /// Where the file of a name is.
    #[must_use]
    pub fn path(&self, name: &str) -> PathBuf {
        self.folder.join(name)
    }

    /// The meshes of a name in a glTF file or given in code, and what was left out while reading.
    /// `place` is the path of the name in the document, for errors.
    ///
    /// # Errors
    /// There is no such file, or it can't be read.
    pub(crate) fn meshes(&self, name: &str, place: &str) -> Result<(Vec<Part>, Vec<String>)> {
        if let Some(parts) = self.given(name) {
            return Ok((parts.to_vec(), Vec::new()));
        }
        let path = self.path(name);
        input::require(&path, place, (&MODELS, MODEL_HINT))?;
        let model = gltf::read(&path)?;
        let warnings = model.warnings.clone();
        Ok((model.into_parts(), warnings))
    }

    /// The camera of a glTF file: the one called `camera`, or its only one; of several animations
    /// that move it, the one called `animation`. `place` is the path of the name in the document,
    /// for errors.
    ///
    /// # Errors
    /// There is no such file, or as [`gltf::read_camera`].
    pub fn camera(
        &self,
        name: &str,
        [camera, animation]: [Option<&str>; 2],
        place: &str,
    ) -> Result<FileCamera> {
        let path = self.path(name);
        input::require(&path, place, (&MODELS, MODEL_HINT))?;
        gltf::read_camera(&path, camera, animation)
    }
}
