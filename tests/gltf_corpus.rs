//! glTF files that we did not write: each is read, or refused with one clear error, and what is
//! read has as many triangles, and the same bounds, as another reader finds.
//!
//! Sources: Debian package assimp-testmodels (models of the Open Asset Import Library, good and
//! broken ones, glTF 1.0 and 2.0); trimesh (PyPI, pinned in `tests/requirements.txt`).

#![allow(
    clippy::print_stdout,
    reason = "a log of what is refused, shown with --nocapture"
)]
#![allow(clippy::unwrap_used, reason = "a check that cannot go on has failed")]

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use glam::{DVec3, Vec3};
use scatter::error::{Error, ErrorKind};
use scatter::ground::Ground;
use scatter::hero::Hero;
use scatter::kit::Shelf;
use scatter::kit::library::{self, Found};
use scatter::kit::{Part, gltf};
use scatter::shot;
use scatter_tests::tools;

/// Triangle fans, which trimesh 5.2.0 leaves out. Each has four corners of a square, hence two
/// triangles.
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

/// One clear error: of the input, with one fault that says what is wrong and what would be right.
fn check_error(error: &Error, path: &Path) {
    assert_eq!(error.kind, ErrorKind::Input, "{}: {error}", path.display());
    assert_eq!(error.faults.len(), 1, "{}: {error}", path.display());
    let fault = &error.faults[0];
    assert!(
        !fault.problem.is_empty() && !fault.hint.is_empty(),
        "{}: {error}",
        path.display()
    );
}

/// Triangles, and the corners of the bounds.
fn measure(parts: &[Part]) -> (u64, [DVec3; 2]) {
    let triangles = parts.iter().map(|p| p.mesh.indices.len() as u64 / 3).sum();
    let points = || parts.iter().flat_map(|p| &p.mesh.positions);
    let low = points().copied().reduce(Vec3::min).unwrap();
    let high = points().copied().reduce(Vec3::max).unwrap();
    (triangles, [low.as_dvec3(), high.as_dvec3()])
}

#[test]
#[ignore = "needs tests/run"]
fn every_file_is_read_or_refused_with_one_clear_error() {
    let mut read = BTreeMap::new();
    for path in corpus() {
        match gltf::read(&path) {
            Ok(model) => {
                for warning in &model.warnings {
                    println!("warned {}: {warning}", path.display());
                }
                let parts = model.into_parts();
                for Part { mesh, material } in &parts {
                    assert_eq!(mesh.normals.len(), mesh.positions.len());
                    let textured = material.textures().count() > 0;
                    assert!(!textured || mesh.uvs.len() == mesh.positions.len());
                    for texture in material.textures() {
                        let pixels = texture.decode().unwrap();
                        assert_eq!(pixels.len() as u64, texture.decoded_bytes());
                    }
                }
                read.insert(path, measure(&parts));
            }
            Err(error) => {
                check_error(&error, &path);
                assert_eq!(error.file.as_deref(), Some(path.as_path()));
                // For the reader of the log: which are refused, and why.
                println!("refused {error}");
            }
        }
    }
    assert!(read.len() >= 20, "only {} files are read", read.len());
    let arguments: Vec<&Path> = read.keys().map(PathBuf::as_path).collect();
    let others = tools::python("measure_models.py", &arguments);
    let (mut compared, mut bounded) = (0, 0);
    for (path, (triangles, bounds)) in &read {
        let other = &others[path.to_str().unwrap()];
        let count = other["triangles"].as_u64();
        if FANS.iter().any(|fan| path.ends_with(fan)) {
            assert_eq!((*triangles, count), (2, Some(0)), "{}", path.display());
            continue;
        }
        let Some(count) = count else { continue };
        assert_eq!(*triangles, count, "{}", path.display());
        compared += 1;
        let Some(corners) = other["bounds"].as_array() else {
            continue;
        };
        let size = (bounds[1] - bounds[0]).max_element();
        let reach = size + bounds[0].abs().max(bounds[1].abs()).max_element();
        for (ours, theirs) in bounds.iter().zip(corners) {
            let theirs = DVec3::from_array([0, 1, 2].map(|i| theirs[i].as_f64().unwrap()));
            // Single precision, through transforms that are rounded at each node.
            let off = (*ours - theirs).abs().max_element();
            assert!(off <= 1e-5 * reach, "{}: {ours} {theirs}", path.display());
        }
        bounded += 1;
    }
    println!(
        "{} read, {compared} compared in triangles, {bounded} in bounds",
        read.len()
    );
    assert!(compared >= 15, "only {compared} files compared");
    assert!(bounded >= 15, "only {bounded} files compared in bounds");
}

#[test]
#[ignore = "needs tests/run"]
fn every_file_serves_as_piece_and_as_hero_or_says_why_not() {
    let ground = Ground::level();
    let (mut pieces, mut upright, mut heroes) = (0, 0, 0);
    for path in corpus() {
        match library::read_model(&path, "model.glb") {
            Ok((found, _)) => {
                for Found { piece, sizes, .. } in &found {
                    let (triangles, [low, high]) = measure(&piece.parts);
                    let size = piece.measure.size.as_dvec3();
                    let small = 1e-5 * size.max_element();
                    assert_eq!(triangles, piece.triangles());
                    // In the piece's frame: on the ground, centred, long axis along x.
                    assert!(low.y.abs() <= small, "{}: {low}", path.display());
                    let middle = 0.5 * (low + high);
                    assert!(middle.x.abs().max(middle.z.abs()) <= small);
                    assert!(size.x >= size.z - small, "{}: {size}", path.display());
                    let [from, to] = sizes.unwrap();
                    assert!(from < piece.measure.b_axis && piece.measure.b_axis < to);
                }
                pieces += 1;
            }
            Err(error) => {
                println!("no piece: {error}");
                check_error(&error, &path);
                // A card that stands on its edge covers no ground: it serves once a kit says which
                // side is up
                upright += usize::from(error.to_string().contains("another `up`"));
            }
        }
        let hero = serde_json::json!({ "file": path, "at": [0, 0, 0] });
        let hero: shot::Hero = serde_json::from_value(hero).unwrap();
        match Hero::read(&(&hero).into(), &Shelf::of(""), "hero[0]", &ground) {
            Ok(hero) => {
                assert!(hero.outline(1e9).len() >= 3, "{}", path.display());
                heroes += 1;
            }
            Err(error) => check_error(&error, &path),
        }
    }
    println!(
        "{pieces} files serve as pieces, {upright} more with another side up or another scale, {heroes} as heroes"
    );
    assert!(
        pieces >= 9 && pieces + upright >= 12,
        "only {pieces} files serve as pieces, {upright} with another side up or another scale"
    );
    assert!(heroes >= 10, "only {heroes} files serve as heroes");
}
