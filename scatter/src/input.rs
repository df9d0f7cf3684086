//! Opening the files that a shot names.

use std::fs::{self, File};
use std::io;
use std::path::Path;

/// Opens an ordinary file. A pipe would be waited for without end, and a device may have no end.
///
/// # Errors
/// Those of the system; a folder, a pipe or a device is
/// [`InvalidInput`](io::ErrorKind::InvalidInput).
pub(crate) fn open(path: &Path) -> io::Result<File> {
    let kind = fs::metadata(path)?.file_type();
    if kind.is_file() {
        return File::open(path);
    }
    let what = if kind.is_dir() {
        "it is a folder"
    } else {
        "it is a pipe or a device, no ordinary file"
    };
    Err(io::Error::new(io::ErrorKind::InvalidInput, what))
}
