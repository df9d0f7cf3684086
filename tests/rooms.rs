//! The house's one-way street: a room of the library uses only rooms above it.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

/// From the top: each may use those before it.
const ROOMS: [&str; 29] = [
    "error", "cancel", "input", "units", "random", "rays", "optics", "sun", "plan", "size",
    "color", "shot", "brief", "kit", "noise", "raster", "ground", "hero", "field", "view", "scene",
    "place", "rest", "carpet", "shade", "layout", "session", "deliver", "picture",
];

/// The rooms of the algorithms: they take a brief, never the document.
const ALGORITHMS: [&str; 13] = [
    "noise", "raster", "ground", "hero", "field", "view", "scene", "place", "rest", "carpet",
    "shade", "layout", "session",
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

/// A file without what is compiled for tests alone: items after `#[cfg(test)]`, each up to a line
/// that ends at its depth, as rustfmt lays them out. Tests may use anything.
fn without_tests(text: &str) -> String {
    let mut kept = String::new();
    let mut lines = text.lines();
    while let Some(line) = lines.next() {
        if line.trim() != "#[cfg(test)]" {
            kept.push_str(line);
            kept.push('\n');
            continue;
        }
        let depth = line.len() - line.trim_start().len();
        let ends = |l: &str| {
            l.len() - l.trim_start().len() == depth && (l.ends_with(';') || l.trim_start() == "}")
        };
        let _ = lines.by_ref().find(|l| ends(l));
    }
    kept
}

/// The rooms that code names by `crate::room` or inside `crate::{...}`.
fn used(code: &str) -> Vec<String> {
    let word = |text: &str| -> String {
        text.trim_start()
            .chars()
            .take_while(|c| c.is_alphanumeric() || *c == '_')
            .collect()
    };
    let mut names = Vec::new();
    for rest in code.split("crate::").skip(1) {
        let Some(inside) = rest.strip_prefix('{') else {
            names.push(word(rest));
            continue;
        };
        names.push(word(inside));
        let mut depth = 1;
        for (i, c) in inside.char_indices() {
            depth += i32::from(c == '{') - i32::from(c == '}');
            if depth == 0 {
                break;
            }
            if c == ',' && depth == 1 {
                names.push(word(&inside[i + 1..]));
            }
        }
    }
    names.retain(|name| !name.is_empty());
    names
}

#[test]
fn every_way_to_name_a_room_is_read() {
    let code = "use crate::kit;\nuse crate::{\n    plan::{NANO, Placed},\n    view,\n};\nfn f() { crate::size::law() }\n";
    assert_eq!(used(code), ["kit", "plan", "view", "size"]);
    let text = "use a;\n#[cfg(test)]\nmod tests {\n    use crate::picture;\n    fn f() {\n    }\n}\nuse b;\n    #[cfg(test)]\n    fn g() {\n        h();\n    }\nuse c;\n";
    assert_eq!(without_tests(text), "use a;\nuse b;\nuse c;\n");
}

#[test]
fn rooms_depend_one_way() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("../scatter/src");
    let mut files = Vec::new();
    sources(&root, &mut files);
    assert!(files.len() > 40, "only {} sources", files.len());
    let (mut against, mut read) = (Vec::new(), 0);
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
        if file.ends_with("tests.rs") || inside.components().any(|c| c.as_os_str() == "tests") {
            continue;
        }
        let text = fs::read_to_string(&file).unwrap();
        read += 1;
        for name in used(&without_tests(&text)) {
            let other = ROOMS.iter().position(|r| *r == name);
            let document = name == "shot" && ALGORITHMS.contains(&room.as_str());
            if other.is_some_and(|other| other > own) || document {
                against.push(format!("{} uses {name}", inside.display()));
            }
        }
    }
    assert!(read > 150, "only {read} files were read");
    assert!(
        against.is_empty(),
        "against the street:\n{}",
        against.join("\n")
    );
}

/// Types that a file of the library declares, tests left out.
fn types(code: &str) -> Vec<String> {
    let name = |line: &str| {
        let line = line.trim_start();
        let line = line.strip_prefix("pub").unwrap_or(line);
        let line = line.strip_prefix("(crate)").unwrap_or(line);
        let line = line.strip_prefix("(super)").unwrap_or(line).trim_start();
        let words = ["struct ", "enum ", "trait ", "union "];
        let rest = words.iter().find_map(|w| line.strip_prefix(w))?;
        let end = rest
            .find(|c: char| !c.is_alphanumeric())
            .unwrap_or(rest.len());
        Some(rest[..end].to_owned())
    };
    code.lines().filter_map(name).collect()
}

/// Names that stand for the same idea wherever they stand.
const ONE_IDEA: [&str; 34] = [
    // The document's and the brief's, with units and without; some algorithms have a third
    "Along",
    "Camera",
    "Carpet",
    "Clumps",
    "Ground",
    "GroundMesh",
    "Heading",
    "HeightImage",
    "Hero",
    "Lamp",
    "Lean",
    "Light",
    "Line",
    "Mask",
    "Mix",
    "Pass",
    "Pin",
    "Place",
    "Press",
    "Rest",
    "Shade",
    "Smallest",
    "SoilLook",
    "Weathering",
    "Wet",
    "Mood",
    // Lines of files, as they are written and as they are read
    "PassLine",
    "PieceLine",
    // A visitor in a function
    "Typed",
    // Figures of what was made
    "Figures",
    // What differs between two layouts, as ids and with what became of each
    "Difference",
    // In the shot's keys and in whole nanometres
    "Rectangle",
    // The axis that is up, of a piece's file and of a delivery
    "Up",
    // `layout.json` as it is read, to go on with and to compare
    "Document",
];

/// One name for one idea: no type name stands twice but where it is the same idea.
#[test]
fn no_type_name_stands_for_two_ideas() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("../scatter/src");
    let mut files = Vec::new();
    sources(&root, &mut files);
    let mut places: BTreeMap<String, Vec<String>> = BTreeMap::new();
    for file in files {
        let inside = file.strip_prefix(&root).unwrap().display().to_string();
        if inside.contains("tests") {
            continue;
        }
        for name in types(&without_tests(&fs::read_to_string(&file).unwrap())) {
            places.entry(name).or_default().push(inside.clone());
        }
    }
    assert!(places.len() > 300, "only {} types were read", places.len());
    let once = ONE_IDEA.iter().filter(|name| {
        let files = places.get(**name);
        files.is_none_or(|files| files.len() < 2)
    });
    let once: Vec<&&str> = once.collect();
    assert!(once.is_empty(), "no name twice: {once:?}");
    let twice = places
        .iter()
        .filter(|(name, files)| files.len() > 1 && !ONE_IDEA.contains(&name.as_str()));
    let twice: Vec<String> = twice
        .map(|(name, files)| format!("{name}: {}", files.join(", ")))
        .collect();
    assert!(
        twice.is_empty(),
        "{} names stand twice:\n{}",
        twice.len(),
        twice.join("\n")
    );
}

/// The files of a room that code names by `super::file`.
fn siblings(code: &str) -> Vec<String> {
    let names = code.split("super::").skip(1).map(|rest| {
        let end = rest.find(|c: char| !c.is_alphanumeric() && c != '_');
        rest[..end.unwrap_or(rest.len())].to_owned()
    });
    names.collect()
}

/// No circle of files in the rooms that hold the story of a dressing and its result. A room's
/// `mod.rs` stands above its files.
#[test]
fn files_of_a_room_stand_in_no_circle() {
    for room in ["session", "layout"] {
        let root = Path::new(env!("CARGO_MANIFEST_DIR"))
            .join("../scatter/src")
            .join(room);
        let mut files = Vec::new();
        sources(&root, &mut files);
        let mut left: BTreeMap<String, Vec<String>> = files
            .iter()
            .map(|file| {
                let code = without_tests(&fs::read_to_string(file).unwrap());
                let name = file.file_stem().unwrap().to_string_lossy().into_owned();
                (name, siblings(&code))
            })
            .collect();
        assert!(left.len() > 5, "{room} has {} files", left.len());
        let uses: usize = left.values().map(Vec::len).sum();
        assert!(uses > 5, "{uses} uses were read in {room}");
        // What uses nothing that is left stands in no circle
        while let Some(free) = left.keys().find(|name| {
            left[*name]
                .iter()
                .all(|other| other == *name || !left.contains_key(other))
        }) {
            let free = free.clone();
            left.remove(&free);
        }
        let left: Vec<&String> = left.keys().collect();
        assert!(left.is_empty(), "in circles of {room}: {left:?}");
    }
}
