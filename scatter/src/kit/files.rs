//! Which files a file depends on: a kit's list names models, a model names buffers and textures.

use std::io::Read;
use std::path::{Path, PathBuf};

use super::list::{KitList, is_list, is_model};
use crate::input;

/// Maximum length of a document that is searched, bytes: a longer one is known by its own length
/// and time alone.
const MOST_BYTES: u64 = 64 << 20;

/// A file and all files that it names, as far as they can be found; what can't be read names
/// nothing.
#[must_use]
pub fn behind(path: &Path) -> Vec<PathBuf> {
    let mut all = vec![path.to_path_buf()];
    let name = path.to_string_lossy();
    if is_model(&name) {
        all.extend(beside(path));
    } else if is_list(&name)
        && let Ok(list) = KitList::read(path)
    {
        let folder = path.parent().unwrap_or(Path::new(""));
        for piece in &list.pieces {
            let model = folder.join(&piece.file);
            if !all.contains(&model) {
                all.extend(beside(&model));
                all.push(model);
            }
        }
    }
    all
}

/// The files that a glTF document names.
fn beside(path: &Path) -> Vec<PathBuf> {
    let folder = path.parent().unwrap_or(Path::new(""));
    let document = document(path).and_then(|text| serde_json::from_slice(&text).ok());
    let document: serde_json::Value = document.unwrap_or_default();
    let lists = ["buffers", "images"].map(|key| document.get(key).and_then(|v| v.as_array()));
    let uris = lists.into_iter().flatten().flatten();
    let uris = uris.filter_map(|item| item.get("uri")?.as_str());
    uris.filter(|uri| !uri.starts_with("data:"))
        .filter_map(super::gltf::decode_percent)
        .map(|file| folder.join(file))
        .collect()
}

/// The JSON of a glTF file, of its text form or its binary one.
fn document(path: &Path) -> Option<Vec<u8>> {
    let mut file = input::open(path).ok()?;
    let mut head = [0; 20];
    let read = file.by_ref().take(20).read(&mut head).ok()?;
    let mut text = Vec::new();
    if read == 20 && head.starts_with(b"glTF") {
        let length = u32::from_le_bytes([head[12], head[13], head[14], head[15]]);
        file.take(u64::from(length).min(MOST_BYTES))
            .read_to_end(&mut text)
            .ok()?;
    } else {
        text.extend(&head[..read]);
        file.take(MOST_BYTES).read_to_end(&mut text).ok()?;
    }
    Some(text)
}
