//! glTF files that we did not write: each is read, or refused with one clear error, and what is read has as many
//! triangles as another reader finds.
//!
//! Sources: Debian package assimp-testmodels (models of the Open Asset Import Library, good and broken ones, glTF 1.0
//! and 2.0); trimesh (PyPI, pinned in `tests/requirements.txt`).

#![allow(
    clippy::print_stdout,
    reason = "a log of what is refused, shown with --nocapture"
)]
#![allow(clippy::unwrap_used, reason = "a check that cannot go on has failed")]

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use scatter::error::Kind;
use scatter::kit::gltf;
use scatter_tests::tools;

/// Triangle fans, which trimesh 5.2.0 leaves out. Each has four corners of a square, hence two triangles.
const FANS: [&str; 2] = ["Mesh_PrimitiveMode_05.gltf", "Mesh_PrimitiveMode_12.gltf"];

fn corpus() -> Vec<PathBuf> {
    let mut files = Vec::new();
    let models = Path::new("/usr/share/assimp/models");
    let mut folders = vec![models.join("glTF"), models.join("glTF2")];
    while let Some(folder) = folders.pop() {
        let entries = std::fs::read_dir(&folder).unwrap_or_else(|e| {
            panic!(
                "{}: {e}; tests/run installs assimp-testmodels",
                folder.display()
            )
        });
        for entry in entries {
            let path = entry.unwrap().path();
            if path.is_dir() {
                folders.push(path);
            } else if path.extension().is_some_and(|e| e == "gltf" || e == "glb") {
                files.push(path);
            }
        }
    }
    files.sort();
    // Version 5.2.5 has 52.
    assert!(files.len() >= 50, "only {} files", files.len());
    files
}

#[test]
#[ignore = "needs tests/run"]
fn every_file_is_read_or_refused_with_one_clear_error() {
    let mut read = BTreeMap::new();
    for path in corpus() {
        match gltf::read(&path) {
            Ok(model) => {
                let parts = model.into_parts();
                assert!(
                    parts
                        .iter()
                        .all(|p| p.mesh.normals.len() == p.mesh.positions.len())
                );
                let triangles: usize = parts.iter().map(|p| p.mesh.indices.len() / 3).sum();
                read.insert(path, triangles);
            }
            Err(error) => {
                assert_eq!(error.kind, Kind::Input, "{error}");
                assert_eq!(error.file.as_deref(), Some(path.as_path()));
                assert_eq!(error.faults.len(), 1, "{error}");
                let fault = &error.faults[0];
                assert!(
                    !fault.problem.is_empty() && !fault.hint.is_empty(),
                    "{error}"
                );
                // For the reader of the log: which are refused, and why.
                println!("refused {error}");
            }
        }
    }
    assert!(read.len() >= 20, "only {} files are read", read.len());
    let arguments: Vec<&Path> = read.keys().map(PathBuf::as_path).collect();
    let counts = tools::python("count_triangles.py", &arguments);
    let mut compared = 0;
    for (path, triangles) in &read {
        let count = &counts[path.to_str().unwrap()];
        if FANS.iter().any(|fan| path.ends_with(fan)) {
            assert_eq!(
                (*triangles, count.as_u64()),
                (2, Some(0)),
                "{}",
                path.display()
            );
        } else if let Some(count) = count.as_u64() {
            assert_eq!(*triangles as u64, count, "{}", path.display());
            compared += 1;
        }
    }
    println!("{} read, {compared} of them by trimesh too", read.len());
    assert!(compared >= 15, "only {compared} files compared");
}
