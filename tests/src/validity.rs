//! Judging files with Khronos' glTF validator.
//!
//! It does not know `EXT_mesh_gpu_instancing`: it says so (UNSUPPORTED_EXTENSION), and takes the
//! accessors that only the extension refers to for unused (UNUSED_OBJECT). That a picture's sides
//! are no powers of two, an information, is the artist's choice (IMAGE_NPOT_DIMENSIONS). No other
//! word of it is let pass.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

use serde_json::Value;

use crate::glb::Glb;
use crate::tools;

/// The accessors that instances refer to, as the validator points at them.
fn instance_accessors(glb: &Path) -> BTreeSet<String> {
    let glb = Glb::open(&fs::read(glb).expect("the file is there")).expect("a GLB");
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

/// Fails at the first file that the validator finds anything wrong with.
///
/// # Panics
/// At the first fault, or when the validator can't be run.
pub fn validate(files: &[PathBuf]) {
    assert!(!files.is_empty());
    let arguments: Vec<&Path> = files.iter().map(PathBuf::as_path).collect();
    let reports = tools::node("validate.mjs", &arguments);
    let reports = reports.as_array().expect("a report a file");
    assert_eq!(reports.len(), files.len());
    for (report, file) in reports.iter().zip(files) {
        assert_eq!(report["truncated"], false);
        let instances = instance_accessors(file);
        let unexpected: Vec<&Value> = report["issues"]
            .as_array()
            .expect("a list of issues")
            .iter()
            .filter(|issue| match issue["code"].as_str() {
                // Severity 2 is an information; 0 an error, 1 a warning.
                Some("UNSUPPORTED_EXTENSION" | "IMAGE_NPOT_DIMENSIONS") => issue["severity"] != 2,
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
