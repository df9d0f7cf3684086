//! Readers that others wrote find every instance where `layout.json` has it, and Python reads its
//! numbers bit for bit.
//!
//! Sources: three.js (npm, pinned in `tests/package.json`), its GLTFLoader run in Node.js; a decode
//! of the GLB's bytes with numpy (PyPI, pinned in `tests/requirements.txt`); the json modules of
//! serde and of Python.

#![allow(clippy::unwrap_used, reason = "a check that cannot go on has failed")]

use std::fs;
use std::path::Path;

use scatter::deliver::{DeliverOptions, Format, write};
use scatter::layout::Layout;
use scatter_tests::{layouts, shots, tools};
use serde_json::Value;

fn deliver(layout: &Layout, folder: &Path) {
    let options = DeliverOptions::new(folder, &[Format::Glb, Format::GlbNodes, Format::Json]);
    write(layout, &options).unwrap();
}

/// Reads a delivery's GLB with both readers and holds them against its JSON.
fn compare(name: &str, folder: &Path) {
    let glb = folder.join("layout.glb");
    let json: Value =
        serde_json::from_slice(&fs::read(folder.join("layout.json")).unwrap()).unwrap();
    let readers = [
        ("three.js", tools::node("three_instances.mjs", &[&glb])),
        ("numpy", tools::python("decode_glb.py", &[&glb])),
    ];
    for (reader, read) in readers {
        let read: Vec<(String, [f64; 16])> = serde_json::from_value(read).unwrap();
        layouts::compare(&format!("{name}, {reader}"), &json, &read);
    }
    // Examples are dressed without it: a node for each of 200 thousand pieces is slow to load
    let nodes = folder.join("layout-nodes.glb");
    if nodes.is_file() {
        let read: Vec<(String, [f64; 16])> =
            serde_json::from_value(tools::node("three_nodes.mjs", &[&nodes])).unwrap();
        layouts::compare(&format!("{name}, three.js, nodes"), &json, &read);
    }
}

#[test]
#[ignore = "needs tests/run"]
fn other_readers_find_the_instances_of_layouts_made_by_hand() {
    for (name, layout) in layouts::all() {
        let folder = tempfile::tempdir().unwrap();
        deliver(&layout, folder.path());
        compare(name, folder.path());
    }
}

#[test]
#[ignore = "needs tests/run"]
fn other_readers_find_the_instances_of_every_example() {
    for shot in shots::examples() {
        let folder = tempfile::tempdir().unwrap();
        shots::dress(&shot, folder.path());
        compare(&shot.display().to_string(), folder.path());
    }
}

#[test]
#[ignore = "needs tests/run"]
fn python_reads_every_number_of_the_json_as_it_was() {
    for (name, layout) in layouts::all() {
        let folder = tempfile::tempdir().unwrap();
        deliver(&layout, folder.path());
        let read = tools::python("json_bits.py", &[&folder.path().join("layout.json")]);
        let written: Vec<Value> = layout
            .instances
            .iter()
            .map(|i| {
                // Zero has one sign in decimal.
                let bits = |v: f64| format!("{:016x}", (v + 0.0).to_bits());
                let short_bits = |v: f32| format!("{:08x}", v.to_bits());
                let [x, y, z, w] = i.rotation;
                let position = i.position.to_array().map(bits);
                let others = [x, y, z, w, i.scale, i.diameter].map(short_bits);
                let id = format!("{:016x}", i.id);
                serde_json::json!([id, i.pass, i.piece, position, others])
            })
            .collect();
        assert_eq!(read.as_array().unwrap(), &written, "{name}");
    }
}
