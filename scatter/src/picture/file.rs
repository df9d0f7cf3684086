//! Files that appear whole or not at all.

use std::fs::File;
use std::io::{self, BufWriter, Write};
use std::path::Path;

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
    begin(path).map(drop)
}

/// A new file beside the one at `path`, which goes when it is not kept.
fn begin(path: &Path) -> Result<tempfile::NamedTempFile> {
    let folder = path.parent().filter(|p| !p.as_os_str().is_empty());
    let mut builder = tempfile::Builder::new();
    builder.prefix(".scatter-").suffix(".tmp");
    // As readable as any new file: what the user's mask leaves of this
    #[cfg(unix)]
    builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o666));
    builder
        .tempfile_in(folder.unwrap_or(Path::new(".")))
        .map_err(|e| fail(path, &e))
}

fn fail(path: &Path, e: &io::Error) -> Error {
    let hint = "check that the folder exists and can be written";
    Error::io(path, "can't write the picture", e, hint)
}

/// Writes a file under another name in the same folder and gives it its name when all is there.
pub(super) fn replace(
    path: &Path,
    write: impl FnOnce(&mut BufWriter<&mut File>) -> io::Result<()>,
) -> Result<()> {
    let mut file = begin(path)?;
    let mut out = BufWriter::new(file.as_file_mut());
    write(&mut out)
        .and_then(|()| out.flush())
        .map_err(|e| fail(path, &e))?;
    // What was only buffered must not reach a file that has failed
    drop(out.into_parts());
    file.persist(path).map_err(|e| fail(path, &e.error))?;
    Ok(())
}
