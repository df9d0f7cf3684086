//! The report's estimate of render memory is true of what is delivered.
//!
//! Source: the delivered GLB itself, its buffer views added up by hand; sizes of pictures from
//! their own heads, by the png crate.

#![allow(clippy::unwrap_used, reason = "a check that cannot go on has failed")]

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;

use scatter::deliver::{DeliverOptions, Format, write};
use scatter_tests::glb::Glb;
use scatter_tests::{layouts, shots};
use serde_json::Value;

/// Bytes of meshes and of pictures in a GLB; and of its pictures decoded, if they are all PNG.
fn held(glb: &Glb) -> [u64; 3] {
    let list = |key: &str| glb.json[key].as_array().cloned().unwrap_or_default();
    let (accessors, views) = (list("accessors"), list("bufferViews"));
    let mut of_meshes = BTreeSet::new();
    for mesh in list("meshes") {
        for primitive in mesh["primitives"].as_array().unwrap() {
            let attributes = primitive["attributes"].as_object().unwrap();
            for accessor in attributes.values().chain([&primitive["indices"]]) {
                let accessor = &accessors[accessor.as_u64().unwrap() as usize];
                of_meshes.insert(accessor["bufferView"].as_u64().unwrap());
            }
        }
    }
    let bytes = |view: u64| views[view as usize]["byteLength"].as_u64().unwrap();
    let (mut encoded, mut decoded) = (0, 0);
    for image in list("images") {
        let view = image["bufferView"].as_u64().unwrap();
        encoded += bytes(view);
        let from = views[view as usize]["byteOffset"].as_u64().unwrap() as usize;
        let picture = &glb.binary[from..from + bytes(view) as usize];
        let reader = png::Decoder::new(std::io::Cursor::new(picture))
            .read_info()
            .unwrap();
        decoded += 4 * u64::from(reader.info().width) * u64::from(reader.info().height);
    }
    [of_meshes.into_iter().map(bytes).sum(), encoded, decoded]
}

/// Holds the report in a folder against the GLB beside it.
fn compare(name: &str, folder: &Path) {
    let read = |file: &str| fs::read(folder.join(file)).unwrap();
    let report: Value = serde_json::from_slice(&read("report.json")).unwrap();
    let told = |key: &str| report["render_memory"][key].as_u64().unwrap();
    let [meshes, encoded, decoded] = held(&Glb::open(&read("layout.glb")).unwrap());
    assert!(meshes > 1000, "{name}: {meshes}");
    let share = (told("geometry") + told("texture_files")) as f64 / (meshes + encoded) as f64;
    assert!(
        (0.9..=1.1).contains(&share),
        "{name}: {share} of what is delivered"
    );
    assert_eq!(told("textures"), decoded, "{name}");
    // A path tracer's part, by the two measured factors
    let totals = &report["totals"];
    assert!(told("mesh_structures") >= 82 * totals["unique_triangles"].as_u64().unwrap());
    assert_eq!(
        told("instances"),
        360 * totals["placed"].as_u64().unwrap_or(0),
        "{name}"
    );
    let parts = ["geometry", "textures", "mesh_structures", "instances"].map(told);
    assert_eq!(told("bytes"), parts.iter().sum::<u64>());
}

#[test]
fn a_textured_kit_takes_what_the_estimate_says() {
    let mut layout = layouts::textured(300);
    for (index, pass) in layout.passes.iter_mut().enumerate() {
        let own = layout
            .instances
            .iter()
            .filter(|i| usize::from(i.pass) == index);
        pass.tally.placed = own.count() as u64;
    }
    let folder = tempfile::tempdir().unwrap();
    write(&layout, &DeliverOptions::new(folder.path(), &[Format::Glb])).unwrap();
    compare("textured", folder.path());
    // Not every layout is right by chance: without its instances it needs no mesh
    layout.instances.clear();
    let none = scatter::layout::RenderMemory::of(&layout, std::iter::empty());
    assert_eq!((none.bytes, none.geometry, none.textures), (0, 0, 0));
}

#[test]
fn every_example_takes_what_the_estimate_says() {
    for shot in shots::examples() {
        let folder = tempfile::tempdir().unwrap();
        shots::dress(&shot, folder.path());
        compare(&shot.display().to_string(), folder.path());
    }
}
