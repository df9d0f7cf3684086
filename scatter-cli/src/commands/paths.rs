//! Paths as a document has them.

use std::path::{Path, PathBuf};

use scatter::error::{Error, Result};

/// A path from the root of the disk, without links.
pub(super) fn whole(path: &Path) -> Result<PathBuf> {
    // The folder that we are in has no name
    let path = if path == Path::new("") {
        Path::new(".")
    } else {
        path
    };
    path.canonicalize()
        .map_err(|e| Error::io(path, "can't find the path", &e, "is it still there?"))
}

/// A file's path as seen from a folder of a [`whole`] path, with `/` between its parts. A link
/// keeps its own name.
pub(super) fn from_folder(file: &Path, folder: &Path) -> Result<String> {
    let file = match (file.parent(), file.file_name()) {
        (Some(parent), Some(name)) => whole(parent)?.join(name),
        _ => whole(file)?,
    };
    let parts = |path: &Path| {
        path.components()
            .map(|c| c.as_os_str().to_owned())
            .collect::<Vec<_>>()
    };
    let (to, from) = (parts(&file), parts(folder));
    let shared = to.iter().zip(&from).take_while(|(a, b)| a == b).count();
    // Another drive: there is no way from one to the other.
    if shared == 0 {
        return Ok(file.to_string_lossy().into_owned());
    }
    let up = from[shared..].iter().map(|_| "..".to_owned());
    let down = to[shared..]
        .iter()
        .map(|part| part.to_string_lossy().into_owned());
    Ok(up.chain(down).collect::<Vec<_>>().join("/"))
}

/// A path as it is typed at a command line: in quotes where it has a space or the like.
pub(super) fn typed(path: &Path) -> String {
    let text = path.display().to_string();
    let plain = |c: char| c.is_alphanumeric() || "/\\._-:~+@%".contains(c);
    if text.chars().all(plain) && !text.is_empty() {
        text
    } else {
        format!("\"{text}\"")
    }
}
