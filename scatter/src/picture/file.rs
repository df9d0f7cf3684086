//! Files that appear whole or not at all.

use std::fs::File;
use std::io::{self, BufWriter};
use std::path::Path;

use crate::deliver::atomic::{self, beside};
use crate::error::{Error, Result};

/// Whether a picture can be written there, found out before the work: its folder stands and takes
/// new files.
///
/// # Errors
/// The path is a folder, or the folder that it lies in is missing or can't be written to.
pub fn check_target(path: &Path) -> Result<()> {
    if path.is_dir() || path.file_name().is_none() {
        let hint = "name a file, such as look.png";
        return Err(Error::input("", "this is a folder", hint).in_file(path));
    }
    if let Some(what) = atomic::in_the_way(path) {
        let what = format!("{what} stands there");
        return Err(Error::input("", what, "name a file, such as look.png").in_file(path));
    }
    beside(path).map(drop).map_err(|e| fail(path, &e))
}

fn fail(path: &Path, e: &io::Error) -> Error {
    let hint = "check that the folder exists and can be written";
    Error::io(path, "can't write the picture", e, hint)
}

/// Writes a picture's file, which appears whole or not at all.
pub(super) fn replace(
    path: &Path,
    write: impl FnOnce(&mut BufWriter<&mut File>) -> io::Result<()>,
) -> Result<()> {
    atomic::replace(path, write).map_err(|e| fail(path, &e))
}
