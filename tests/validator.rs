//! Khronos' glTF validator finds nothing in our files.
//!
//! Source: npm package gltf-validator (Khronos Group), version pinned in `tests/package.json`. It does not know
//! `EXT_mesh_gpu_instancing`: it says so (UNSUPPORTED_EXTENSION), and takes the accessors that only the extension
//! refers to for unused (UNUSED_OBJECT). No other word of it is let pass.

#![allow(clippy::unwrap_used, reason = "a check that cannot go on has failed")]

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

use scatter::deliver::{DeliverOptions, Format, write};
use scatter_tests::{layouts, shots, tools};
use serde_json::Value;

/// The accessors that instances refer to, as the validator points at them.
fn instance_accessors(glb: &Path) -> BTreeSet<String> {
    let glb = scatter_tests::glb::Glb::open(&fs::read(glb).unwrap()).unwrap();
    let nodes = glb.json["nodes"].as_array().cloned().unwrap_or_default();
    nodes
        .iter()
        .filter_map(|node| {
            node.pointer("/extensions/EXT_mesh_gpu_instancing/attributes")?
                .as_object()
                .cloned()
        })
        .flat_map(|attributes| {
            attributes
                .into_iter()
                .map(|(_, v)| format!("/accessors/{v}"))
        })
        .collect()
}

fn validate(files: &[PathBuf]) {
    assert!(!files.is_empty());
    let arguments: Vec<&Path> = files.iter().map(PathBuf::as_path).collect();
    let reports = tools::node("validate.mjs", &arguments);
    let reports = reports.as_array().unwrap();
    assert_eq!(reports.len(), files.len());
    for (report, file) in reports.iter().zip(files) {
        assert_eq!(report["truncated"], false);
        let instances = instance_accessors(file);
        let unexpected: Vec<&Value> = report["issues"]
            .as_array()
            .unwrap()
            .iter()
            .filter(|issue| match issue["code"].as_str() {
                // Severity 2 is an information; 0 an error, 1 a warning.
                Some("UNSUPPORTED_EXTENSION") => issue["severity"] != 2,
                Some("UNUSED_OBJECT") => {
                    issue["severity"] != 2
                        || !instances.contains(issue["pointer"].as_str().unwrap_or_default())
                }
                _ => true,
            })
            .collect();
        assert!(unexpected.is_empty(), "{}: {unexpected:#?}", file.display());
    }
}

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
