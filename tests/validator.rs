//! Khronos' glTF validator finds nothing in our files.
//!
//! Source: npm package gltf-validator (Khronos Group), version pinned in `tests/package.json`.

#![allow(clippy::unwrap_used, reason = "a check that cannot go on has failed")]

use std::fs;

use scatter::deliver::{DeliverOptions, Format, write};
use scatter_tests::validity::validate;
use scatter_tests::{layouts, shots, tools};

#[test]
#[ignore = "needs tests/run"]
fn layouts_made_by_hand_are_valid() {
    let folder = tempfile::tempdir().unwrap();
    let mut files = Vec::new();
    for (name, layout) in layouts::all() {
        let dir = folder.path().join(name);
        let options = DeliverOptions::new(&dir, &[Format::Glb, Format::GlbNodes]);
        write(&layout, &options).unwrap();
        files.push(dir.join("layout.glb"));
        files.push(dir.join("layout-nodes.glb"));
    }
    validate(&files);
}

#[test]
#[ignore = "needs tests/run"]
fn every_example_is_valid_with_its_hero() {
    let folder = tempfile::tempdir().unwrap();
    let mut files = Vec::new();
    for (i, shot) in shots::examples().iter().enumerate() {
        let dir = folder.path().join(i.to_string());
        shots::dress(shot, &dir);
        files.push(dir.join("layout.glb"));
    }
    validate(&files);
}

#[test]
#[ignore = "needs tests/run"]
fn the_validator_finds_a_fault_that_is_there() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("layout.glb");
    let options = DeliverOptions::new(folder.path(), &[Format::Glb]);
    write(&layouts::layout(50, glam::DVec3::ZERO), &options).unwrap();
    let mut bytes = fs::read(&file).unwrap();
    // The first block of the binary part holds positions; the first of them becomes no number.
    let json_length = u32::from_le_bytes([bytes[12], bytes[13], bytes[14], bytes[15]]) as usize;
    let at = 20 + json_length + 8;
    bytes[at..at + 4].copy_from_slice(&f32::NAN.to_le_bytes());
    fs::write(&file, bytes).unwrap();
    let report = tools::node("validate.mjs", &[&file]);
    assert!(
        report.to_string().contains("ACCESSOR_INVALID_FLOAT"),
        "{report}"
    );
}
