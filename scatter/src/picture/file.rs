//! Files that appear whole or not at all.

use std::fs::File;
use std::io::{self, BufWriter, Write};
use std::path::Path;

use crate::error::{Error, Result};

/// Writes a file under another name in the same folder and gives it its name when all is there.
pub(super) fn replace(
    path: &Path,
    write: impl FnOnce(&mut BufWriter<&mut File>) -> io::Result<()>,
) -> Result<()> {
    let fail = |e: &io::Error| {
        let hint = "check that the folder exists and can be written";
        Error::io(path, "can't write the picture", e, hint)
    };
    let folder = path.parent().filter(|p| !p.as_os_str().is_empty());
    let mut builder = tempfile::Builder::new();
    builder.prefix(".scatter-").suffix(".tmp");
    // As readable as any new file: what the user's mask leaves of this
    #[cfg(unix)]
    builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o666));
    let mut file = builder
        .tempfile_in(folder.unwrap_or(Path::new(".")))
        .map_err(|e| fail(&e))?;
    let mut out = BufWriter::new(file.as_file_mut());
    write(&mut out)
        .and_then(|()| out.flush())
        .map_err(|e| fail(&e))?;
    // What was only buffered must not reach a file that has failed
    drop(out.into_parts());
    file.persist(path).map_err(|e| fail(&e.error))?;
    Ok(())
}
