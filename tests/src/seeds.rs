//! Small good files of all that is read, from which broken ones are made.

mod gltf;
mod images;

use std::fs;
use std::path::Path;

use scatter::kit::KitList;
use scatter::shot::Preset;
use scatter::{Cancel, DeliverOptions, Format, Session, deliver};
use serde_json::{Value, json};

use crate::readers::{Desk, laid};
use crate::{bad_input, random_shots, shot_files};

/// Names in `tests/corpus` and contents, of all files but the finds.
///
/// # Panics
/// A file can't be made.
#[must_use]
pub fn all() -> Vec<(String, Vec<u8>)> {
    let desk = Desk::new();
    let mut all = Vec::new();
    all.extend(shots());
    all.extend(kit_lists(&desk));
    all.extend(layouts(&desk));
    all.extend(gltf::all(&desk));
    all.extend(gltf::compressed());
    all.extend(images::all(&desk));
    all
}

fn text(name: &str, document: &Value) -> (String, Vec<u8>) {
    (name.to_owned(), format!("{document}\n").into_bytes())
}

/// Random shots in the corpus: with these every key is there several times.
const SHOTS: u64 = 24;

fn shots() -> Vec<(String, Vec<u8>)> {
    let mut all = vec![text("shot/base.json", &bad_input::base())];
    for preset in Preset::all().expect("the presets are sound") {
        let name = &preset.name;
        all.push((
            format!("shot/{name}.json"),
            preset.shot_text(&preset.shot(name)).into_bytes(),
        ));
    }
    for seed in 0..SHOTS {
        all.push(text(
            &format!("shot/random-{seed:02}.json"),
            &random_shots::shot(seed),
        ));
    }
    all
}

fn kit_lists(desk: &Desk) -> Vec<(String, Vec<u8>)> {
    let stone = fs::read(desk.folder().join(shot_files::KIT)).expect("a list");
    let two = json!({ "format": KitList::FORMAT, "version": KitList::VERSION, "pieces": [
        { "name": "needle", "file": shot_files::NEEDLE, "lies": "rigid", "up": "-z", "scale": 0.01 },
        { "name": "stone", "file": shot_files::STONE, "share": 0.25, "sizes": [0.02, "9 cm"], "lies": "rooted" },
        { "name": "bump", "file": shot_files::HERO, "lies": "sheet" }
    ] });
    vec![
        ("kit-list/stone.json".into(), stone),
        text("kit-list/two.json", &two),
    ]
}

fn layouts(desk: &Desk) -> Vec<(String, Vec<u8>)> {
    let brief = laid();
    let mut session = Session::open(desk.folder());
    let (layout, _) = session
        .dress(&brief, &|_| (), &Cancel::new())
        .expect("a layout");
    let out = desk.folder().join("out");
    deliver::write(&layout, &DeliverOptions::new(&out, &[Format::Json])).expect("a delivery");
    let whole = fs::read(out.join("layout.json")).expect("a layout");
    vec![("layout/leaves.json".into(), whole)]
}

/// Writes all of them; finds stay as they are.
///
/// # Panics
/// The folder can't be written.
pub fn write(folder: &Path) {
    for (name, bytes) in all() {
        let path = folder.join(name);
        let parent = path.parent().unwrap_or(folder);
        fs::create_dir_all(parent).unwrap_or_else(|e| panic!("{}: {e}", parent.display()));
        fs::write(&path, bytes).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    }
}
