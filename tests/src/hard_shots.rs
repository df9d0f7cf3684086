//! Valid shots that are hard to dress: `tests/hard-shots`, whose README says what a file holds.

use std::fs;

use serde_json::Value;

use crate::tools::tests_folder;

/// A hard shot.
#[derive(Debug, Clone)]
pub struct HardShot {
    /// The file's name without its ending.
    pub name: String,
    /// What is hard about it.
    pub about: String,
    /// The whole document.
    pub shot: Value,
}

/// All of them, sorted by name.
///
/// # Panics
/// The folder is not there or a file is broken.
#[must_use]
pub fn all() -> Vec<HardShot> {
    let folder = tests_folder().join("hard-shots");
    let entries = fs::read_dir(&folder).unwrap_or_else(|e| panic!("{}: {e}", folder.display()));
    let mut paths: Vec<_> = entries
        .map(|entry| entry.expect("a readable folder").path())
        .filter(|path| path.extension().is_some_and(|e| e == "json"))
        .collect();
    paths.sort();
    assert!(paths.len() >= 10, "only {} hard shots", paths.len());
    paths
        .iter()
        .map(|path| {
            let text = fs::read_to_string(path).expect("a readable file");
            let file: Value =
                serde_json::from_str(&text).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
            HardShot {
                name: path
                    .file_stem()
                    .unwrap_or_default()
                    .to_string_lossy()
                    .into(),
                about: file["about"].as_str().expect("words").to_owned(),
                shot: whole(&file),
            }
        })
        .collect()
}

/// The document with its lists filled.
fn whole(file: &Value) -> Value {
    let mut shot = file["shot"].clone();
    for (pointer, repeat) in file["repeat"].as_object().into_iter().flatten() {
        let count = repeat["times"].as_u64().expect("a count");
        let list = shot
            .pointer_mut(pointer)
            .and_then(Value::as_array_mut)
            .unwrap_or_else(|| panic!("{pointer} is no list"));
        list.extend((0..count).map(|i| numbered(&repeat["each"], i)));
    }
    shot
}

/// A value with its number in place of `{i}` in every text.
fn numbered(value: &Value, i: u64) -> Value {
    match value {
        Value::String(text) => text.replace("{i}", &i.to_string()).into(),
        Value::Array(list) => list.iter().map(|v| numbered(v, i)).collect(),
        Value::Object(map) => map
            .iter()
            .map(|(key, v)| (key.clone(), numbered(v, i)))
            .collect(),
        _ => value.clone(),
    }
}
