//! The house's one-way street: a room of the library uses only rooms above it.

use std::fs;
use std::path::{Path, PathBuf};

/// From the top: each may use those before it.
const ROOMS: [&str; 23] = [
    "error", "units", "random", "rays", "optics", "sun", "plan", "size", "shot", "kit", "noise",
    "raster", "ground", "hero", "field", "view", "place", "rest", "carpet", "shade", "layout",
    "deliver", "picture",
];

fn sources(folder: &Path, into: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).expect("the sources are there") {
        let path = entry.expect("a readable folder").path();
        if path.is_dir() {
            sources(&path, into);
        } else if path.extension().is_some_and(|e| e == "rs") {
            into.push(path);
        }
    }
}

#[test]
fn rooms_depend_one_way() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("../scatter/src");
    let mut files = Vec::new();
    sources(&root, &mut files);
    assert!(files.len() > 40, "only {} sources", files.len());
    let mut against = Vec::new();
    for file in files {
        let inside = file.strip_prefix(&root).unwrap();
        let first = inside
            .components()
            .next()
            .unwrap()
            .as_os_str()
            .to_string_lossy();
        let room = first.trim_end_matches(".rs").to_string();
        if room == "lib" {
            continue;
        }
        let own = ROOMS.iter().position(|r| *r == room);
        let own = own.unwrap_or_else(|| panic!("{room} is not on the list of rooms"));
        // Tests may use anything
        let text = fs::read_to_string(&file).unwrap();
        let code = text.split("#[cfg(test)]").next().unwrap();
        if file.ends_with("tests.rs") {
            continue;
        }
        for used in code.split("crate::").skip(1) {
            let name: String = used
                .chars()
                .take_while(|c| c.is_alphanumeric() || *c == '_')
                .collect();
            if ROOMS
                .iter()
                .position(|r| *r == name)
                .is_some_and(|other| other > own)
            {
                against.push(format!("{} uses {name}", inside.display()));
            }
        }
    }
    assert!(
        against.is_empty(),
        "against the street:\n{}",
        against.join("\n")
    );
}
