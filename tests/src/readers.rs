//! All that the library reads, as functions over bytes: each reads the bytes or refuses them in
//! words, whatever they are.
//!
//! The fuzz targets and `tests/mutated.rs` call them. A reader goes on to use what it has read, as a
//! dressing would: what is broken in a way that only shows later is found, too.

mod gltf;
mod images;
mod texts;

pub(crate) use texts::laid;

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;

use scatter::Error;
use scatter::kit::Piece;
use tempfile::TempDir;

use crate::mutate::Form;
use crate::shot_files;

/// Something that the library reads.
#[derive(Debug, Clone, Copy)]
pub struct Reader {
    /// Its name, and its fuzz target's.
    pub name: &'static str,
    /// Folder of its good files and of finds, in `tests/corpus`.
    pub corpus: &'static str,
    /// What its files are made of.
    pub form: Form,
    read: fn(&[u8], &Desk) -> Result<(), Error>,
}

/// All of them.
pub const READERS: [Reader; 12] = [
    reader("shot", "shot", Form::Json, texts::shot),
    reader("kit_list", "kit-list", Form::Json, texts::kit_list),
    reader("layout", "layout", Form::Json, texts::layout),
    reader("pieces", "gltf", Form::Gltf, gltf::pieces),
    reader("kit", "gltf", Form::Gltf, gltf::kit),
    reader("hero", "gltf", Form::Gltf, gltf::hero),
    reader("ground_mesh", "gltf", Form::Gltf, gltf::ground_mesh),
    reader("patch", "gltf", Form::Gltf, gltf::patch),
    reader("cameras", "gltf", Form::Gltf, gltf::cameras),
    reader("meshopt", "meshopt", Form::Bytes, gltf::meshopt),
    reader("image", "image", Form::Picture, images::image),
    reader("texture", "texture", Form::Picture, images::texture),
];

const fn reader(
    name: &'static str,
    corpus: &'static str,
    form: Form,
    read: fn(&[u8], &Desk) -> Result<(), Error>,
) -> Reader {
    Reader {
        name,
        corpus,
        form,
        read,
    }
}

impl Reader {
    /// The reader of a name.
    ///
    /// # Panics
    /// There is none.
    #[must_use]
    pub fn of(name: &str) -> Self {
        let found = READERS.into_iter().find(|r| r.name == name);
        found.unwrap_or_else(|| panic!("there is no reader {name}"))
    }

    /// Reads bytes; whether they were taken.
    ///
    /// # Panics
    /// The reader panics, refuses without words, or reads what can't be.
    #[must_use]
    pub fn read(&self, bytes: &[u8], desk: &Desk) -> bool {
        let Err(error) = (self.read)(bytes, desk) else {
            return true;
        };
        assert!(!error.faults.is_empty(), "an error without a fault");
        for fault in &error.faults {
            assert!(!fault.problem.trim().is_empty(), "no words: {error}");
        }
        assert!(!error.to_string().trim().is_empty(), "an error in no words");
        false
    }

    /// Its files: the good ones and the finds, sorted by name.
    ///
    /// # Panics
    /// They can't be read, or there are none.
    #[must_use]
    pub fn files(&self) -> Vec<(PathBuf, Vec<u8>)> {
        let folder = corpus().join(self.corpus);
        let entries = fs::read_dir(&folder).unwrap_or_else(|e| panic!("{}: {e}", folder.display()));
        let mut paths: Vec<PathBuf> = entries
            .map(|entry| entry.unwrap_or_else(|e| panic!("{e}")).path())
            .collect();
        paths.sort();
        assert!(!paths.is_empty(), "{} is empty", folder.display());
        let read = |path: PathBuf| {
            let bytes = fs::read(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
            (path, bytes)
        };
        paths.into_iter().map(read).collect()
    }
}

/// The folder of good files and finds.
#[must_use]
pub fn corpus() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("corpus")
}

/// A folder of one worker's own, with the files that shots name: what is read lies there.
#[derive(Debug)]
pub struct Desk {
    folder: TempDir,
    /// The pieces of [`laid`], once a layout asked for them.
    kit: OnceLock<Vec<Piece>>,
}

/// Memory that looks like a folder, where the system has it: a thousand files a second are no wear.
const IN_MEMORY: &str = "/dev/shm";

impl Desk {
    /// A new folder.
    ///
    /// # Panics
    /// It can't be made.
    #[must_use]
    pub fn new() -> Self {
        let mut builder = tempfile::Builder::new();
        builder.prefix("strew-read-");
        let folder = builder.tempdir_in(IN_MEMORY).or_else(|_| builder.tempdir());
        let folder = folder.unwrap_or_else(|e| panic!("a folder for temporary files: {e}"));
        shot_files::write(folder.path());
        Self {
            folder,
            kit: OnceLock::new(),
        }
    }

    /// The folder.
    #[must_use]
    pub fn folder(&self) -> &Path {
        self.folder.path()
    }

    /// A file of these bytes.
    fn file(&self, name: &str, bytes: &[u8]) -> PathBuf {
        let path = self.folder().join(name);
        fs::write(&path, bytes).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
        path
    }
}

impl Default for Desk {
    fn default() -> Self {
        Self::new()
    }
}
