//! Textures go with the meshes: embedded in a GLB as they were read, copied beside a USDA file,
//! found by other readers.
//!
//! Sources: Khronos' glTF validator; three.js' port of MikkTSpace (npm, pinned in
//! `tests/package.json`); OpenUSD's own library and its registered validators;
//! BoxTextured.glb of the Debian package assimp-testmodels (Open Asset Import Library), a model
//! that we did not write.

#![allow(clippy::unwrap_used, reason = "a check that cannot go on has failed")]

use std::collections::BTreeSet;
use std::f64::consts::PI;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use glam::DVec3;
use scatter::deliver::{DeliverOptions, Format, write};
use scatter::kit::Mesh;
use scatter::shot::Split;
use scatter_tests::glb::Glb;
use scatter_tests::validity::validate;
use scatter_tests::{layouts, shots, tools};
use serde_json::{Value, json};

const MODEL: &str = "/usr/share/assimp/models/glTF2/BoxTextured-glTF-Binary/BoxTextured.glb";

fn glb(path: &Path) -> Glb {
    Glb::open(&fs::read(path).unwrap()).unwrap()
}

/// The bytes of a buffer view.
fn view(glb: &Glb, index: &Value) -> Vec<u8> {
    let view = &glb.json["bufferViews"][index.as_u64().unwrap() as usize];
    let number = |key: &str| view[key].as_u64().unwrap_or(0) as usize;
    glb.binary[number("byteOffset")..][..number("byteLength")].to_vec()
}

/// The embedded pictures.
fn pictures(glb: &Glb) -> Vec<Vec<u8>> {
    let images = glb.json["images"].as_array().unwrap();
    images
        .iter()
        .map(|image| view(glb, &image["bufferView"]))
        .collect()
}

/// What the material of a name reads its textures from: the picture, and how it wraps.
fn reads<'a>(glb: &'a Glb, material: &str, pointer: &str) -> [&'a Value; 3] {
    let materials = glb.json["materials"].as_array().unwrap();
    let material = materials.iter().find(|m| m["name"] == material).unwrap();
    let index = material.pointer(pointer).unwrap()["index"]
        .as_u64()
        .unwrap();
    let texture = &glb.json["textures"][index as usize];
    let sampler = &glb.json["samplers"][texture["sampler"].as_u64().unwrap() as usize];
    [&texture["source"], &sampler["wrapS"], &sampler["wrapT"]]
}

#[test]
fn a_glb_holds_each_picture_once_as_it_was_and_the_coordinates_that_read_it() {
    let layout = layouts::textured(300);
    let folder = tempfile::tempdir().unwrap();
    let formats = [Format::Glb, Format::GlbNodes];
    write(&layout, &DeliverOptions::new(folder.path(), &formats)).unwrap();
    for name in ["layout.glb", "layout-nodes.glb"] {
        let glb = glb(&folder.path().join(name));
        let colors = [[200, 30, 20, 128], [0, 180, 10, 255], [128, 128, 255, 255]];
        assert!(pictures(&glb) == colors.map(layouts::picture), "{name}");
        let base = "/pbrMetallicRoughness/baseColorTexture";
        // By the specification's numbers: clamp 33071, mirror 33648, repeat 10497
        assert_eq!(reads(&glb, "leaf surface", base), [0, 33071, 33648]);
        assert_eq!(reads(&glb, "stone surface", base), [0, 10497, 10497]);
        let rough = "/pbrMetallicRoughness/metallicRoughnessTexture";
        assert_eq!(reads(&glb, "stone surface", rough)[0], 1);
        assert_eq!(reads(&glb, "stone surface", "/normalTexture")[0], 2);
        let materials = glb.json["materials"].as_array().unwrap();
        let stone = materials
            .iter()
            .find(|m| m["name"] == "stone surface")
            .unwrap();
        assert_eq!(
            (&stone["alphaMode"], &stone["alphaCutoff"]),
            (&json!("MASK"), &json!(0.25))
        );
        for mesh in glb.json["meshes"].as_array().unwrap() {
            let uvs = &mesh["primitives"][0]["attributes"]["TEXCOORD_0"];
            let piece = layout
                .pieces
                .iter()
                .find(|p| mesh["name"] == p.name)
                .unwrap();
            let expected = &piece.parts[0].mesh.uvs;
            if expected.is_empty() {
                assert!(uvs.is_null(), "coordinates that nothing reads");
                continue;
            }
            let accessor = &glb.json["accessors"][uvs.as_u64().unwrap() as usize];
            let bytes = view(&glb, &accessor["bufferView"]);
            let read: Vec<f32> = bytes
                .as_chunks()
                .0
                .iter()
                .map(|b| f32::from_le_bytes(*b))
                .collect();
            assert_eq!(read, *expected.as_flattened());
        }
    }
}

#[test]
fn a_usda_file_s_pictures_lie_beside_it_and_come_and_go_with_it() {
    let layout = layouts::textured(300);
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("out");
    let files = write(
        &layout,
        &DeliverOptions::new(&out, &[Format::Usda, Format::Json]),
    )
    .unwrap();
    let mut beside: Vec<String> = fs::read_dir(out.join("textures"))
        .unwrap()
        .map(|e| e.unwrap().file_name().into_string().unwrap())
        .collect();
    beside.sort();
    assert_eq!(beside, ["leaf-red.png", "picture.png", "rough.png"]);
    let read = fs::read(out.join("textures/leaf-red.png")).unwrap();
    assert!(read == layouts::picture([200, 30, 20, 128]));
    let report: Value =
        serde_json::from_slice(&fs::read(out.join("report.json")).unwrap()).unwrap();
    let told = report["files"].as_array().unwrap();
    assert!(
        told.iter()
            .any(|f| f["name"] == "textures/leaf-red.png" && f["bytes"] == read.len())
    );
    assert_eq!(told.len() + 1, files.files.len());
    // A run that can't be finished leaves nothing: a folder stands where a picture should be
    let other = folder.path().join("other");
    fs::create_dir_all(other.join("textures/rough.png")).unwrap();
    assert!(write(&layout, &DeliverOptions::new(&other, &[Format::Usda])).is_err());
    assert_eq!(fs::read_dir(&other).unwrap().count(), 1);
    assert_eq!(fs::read_dir(other.join("textures")).unwrap().count(), 1);
    // Without USDA there are no files beside
    let plain = folder.path().join("plain");
    write(&layout, &DeliverOptions::new(&plain, &[Format::Glb])).unwrap();
    assert!(!plain.join("textures").exists());
}

#[test]
fn a_json_file_names_the_pictures_of_its_pieces() {
    let layout = layouts::textured(300);
    let folder = tempfile::tempdir().unwrap();
    // One file or a file a pass, alone or beside a USDA file: the same pictures, under the same
    // names
    for (formats, split) in [
        (vec![Format::Json], None),
        (vec![Format::Json], Some(Split::Passes)),
        (vec![Format::Usda, Format::Json], None),
    ] {
        let out = folder.path().join(format!("{formats:?}{split:?}"));
        let options = DeliverOptions {
            split,
            ..DeliverOptions::new(&out, &formats)
        };
        let files = write(&layout, &options).unwrap();
        let mut texts = files.files.iter().map(|f| &f.path).filter(|path| {
            path.extension().is_some_and(|e| e == "json") && !path.ends_with("report.json")
        });
        let text = fs::read(texts.next().expect("a layout as text")).unwrap();
        let read: Value = serde_json::from_slice(&text).unwrap();
        let pieces = read["pieces"].as_array().unwrap();
        let mut named = 0;
        for (listed, piece) in pieces.iter().zip(&layout.pieces[..]) {
            assert_eq!(listed["name"], piece.name);
            let materials = listed["materials"].as_array();
            for part in &piece.parts {
                let material = &part.material;
                let found = materials
                    .into_iter()
                    .flatten()
                    .find(|s| s["name"] == material.name);
                for (key, texture) in [
                    ("base_color", &material.base_color_texture),
                    ("roughness_metalness", &material.metallic_roughness_texture),
                    ("normals", &material.normal_texture),
                ] {
                    let path = found.and_then(|s| s[key].as_str());
                    let bytes = path.map(|p| fs::read(out.join(p)).unwrap());
                    let held = texture.as_ref().map(|t| t.bytes.to_vec());
                    assert!(bytes == held, "{} {key}: {path:?}", material.name);
                    named += usize::from(path.is_some());
                }
            }
        }
        assert_eq!(named, 4, "a red leaf, a stone with three");
    }
}

#[test]
#[ignore = "needs tests/run"]
fn other_readers_find_nothing_wrong_with_textures() {
    let layout = layouts::textured(300);
    for split in [None, Some(Split::Passes)] {
        let folder = tempfile::tempdir().unwrap();
        let formats = [Format::Glb, Format::GlbNodes, Format::Usda];
        let options = DeliverOptions {
            split,
            ..DeliverOptions::new(folder.path(), &formats)
        };
        let files = write(&layout, &options).unwrap();
        let glbs = files.files.iter().map(|f| f.path.clone());
        validate(
            &glbs
                .filter(|p| p.extension().is_some_and(|e| e == "glb"))
                .collect::<Vec<PathBuf>>(),
        );
        let found = tools::python("check_usd.py", &[&folder.path().join("layout.usda")]);
        let found = &found[0];
        assert_eq!(found["errors"], json!([]));
        assert_eq!(found["faults"], json!([]));
        let read: BTreeSet<(&str, &str)> = found["textures"]
            .as_array()
            .unwrap()
            .iter()
            .map(|t| (t["shader"].as_str().unwrap(), t["file"].as_str().unwrap()))
            .collect();
        let expected = [
            ("color", "textures/leaf-red.png"),
            ("normals", "textures/picture.png"),
            ("roughness", "textures/rough.png"),
        ];
        assert_eq!(read, expected.into());
        // A picture that is gone is missed
        fs::remove_file(folder.path().join("textures/rough.png")).unwrap();
        let found = tools::python("check_usd.py", &[&folder.path().join("layout.usda")]);
        let found = &found[0];
        assert!(!found["faults"].as_array().unwrap().is_empty());
    }
}

#[test]
#[ignore = "needs tests/run"]
fn tangents_are_those_that_another_implementation_makes() {
    // A ball without its poles, whose picture is mirrored at two meridians
    let (around, down) = (48_u32, 24_u32);
    let mut mesh = Mesh::default();
    for i in 0..=down {
        for j in 0..=around {
            let (across, turn) = (
                f64::from(i) / f64::from(down),
                f64::from(j) / f64::from(around),
            );
            let (polar, azimuth) = (PI * (0.05 + 0.9 * across), 2.0 * PI * turn);
            let place = DVec3::new(
                polar.sin() * azimuth.cos(),
                polar.cos(),
                polar.sin() * azimuth.sin(),
            );
            let radius = 0.01 + 0.002 * (3.0 * azimuth).sin() * polar.sin().powi(2);
            mesh.positions.push((radius * place).as_vec3());
            mesh.normals.push(place.as_vec3().normalize());
            let folded = (2.0 * turn - 1.0).abs();
            mesh.uvs
                .push([folded as f32, (across + 0.1 * folded) as f32]);
        }
    }
    for i in 0..down {
        for j in 0..around {
            let first = i * (around + 1) + j;
            let [a, b, c, d] = [first, first + 1, first + around + 1, first + around + 2];
            mesh.indices.extend([a, b, c, b, d, c]);
        }
    }
    let vertices = mesh.positions.len();
    let corners = mesh.indices.len();
    let mut layout = layouts::textured(30);
    let mut pieces = (*layout.pieces).clone();
    let part = &mut pieces[1].parts[0];
    assert!(part.material.normal_texture.is_some());
    part.mesh = mesh;
    layout.pieces = pieces.into();
    let folder = tempfile::tempdir().unwrap();
    write(&layout, &DeliverOptions::new(folder.path(), &[Format::Glb])).unwrap();
    let path = folder.path().join("layout.glb");
    let found = tools::node("three_tangents.mjs", &[&path]);
    let found = found.as_array().unwrap();
    let ball = found.iter().find(|f| f["corners"] == corners).unwrap();
    assert_eq!(ball["hands"], 0, "{ball}");
    // Single precision, summed in another order
    assert!(ball["degrees"].as_f64().unwrap() < 0.05, "{ball}");
    // The folds' vertices are there twice
    let written = glb(&path);
    let counts: Vec<u64> = written.json["accessors"]
        .as_array()
        .unwrap()
        .iter()
        .map(|a| a["count"].as_u64().unwrap())
        .collect();
    let more = (vertices + 1) as u64..(vertices + 200) as u64;
    assert!(counts.iter().any(|c| more.contains(c)), "{counts:?}");
    validate(&[path]);
}

/// A shot that strews a model of one file.
fn strewn(folder: &Path, model: &[u8]) -> PathBuf {
    let mut shot = scatter_tests::bad_input::base();
    shot["passes"] = json!([{
        "name": "boxes", "pieces": ["box.glb"], "stretch": true, "place": "strewn", "per_m2": 6000,
        "sizes": { "law": "lognormal", "median": "12 mm", "spread": 0.2 }
    }]);
    fs::create_dir_all(folder).unwrap();
    fs::write(folder.join("box.glb"), model).unwrap();
    let file = folder.join("shot.json");
    fs::write(&file, shot.to_string()).unwrap();
    file
}

fn strew(arguments: &[&str], folder: &Path) {
    let output = Command::new(shots::command())
        .args(arguments)
        .current_dir(folder)
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{arguments:?}: {said}");
}

#[test]
#[ignore = "needs tests/run"]
fn a_textured_model_that_we_did_not_write_is_strewn_by_the_thousand_delivered_and_shown() {
    let model = fs::read(MODEL).unwrap_or_else(|e| panic!("{MODEL}: {e}"));
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    strewn(folder, &model);
    strew(
        &["dress", "shot.json", "--as", "glb,glb-nodes,usda,json"],
        folder,
    );
    let out = folder.join("out");
    let layout: Value =
        serde_json::from_slice(&fs::read(out.join("layout.json")).unwrap()).unwrap();
    let count = layout["instances"].as_array().unwrap().len();
    assert!(count >= 1000, "{count}");
    validate(&[out.join("layout.glb"), out.join("layout-nodes.glb")]);
    let found = tools::python("check_usd.py", &[&out.join("layout.usda")]);
    let found = &found[0];
    assert_eq!(
        (&found["errors"], &found["faults"]),
        (&json!([]), &json!([]))
    );
    assert_eq!(found["textures"].as_array().unwrap().len(), 1);
    // The picture is the model's own, byte for byte
    let original = Glb::open(&model).unwrap();
    assert!(pictures(&original) == pictures(&glb(&out.join("layout.glb"))));
    let beside = found["textures"][0]["file"].as_str().unwrap();
    assert!(fs::read(out.join(beside)).unwrap() == pictures(&original)[0]);
    // Shown: with the texture's name unknown to the reader the picture is another one
    let key = b"\"baseColorTexture\"";
    let at = model.windows(key.len()).position(|w| w == key).unwrap();
    let mut bare = model.clone();
    bare[at..at + key.len()].copy_from_slice(b"\"baseColorNothing\"");
    let other = folder.join("bare");
    strewn(&other, &bare);
    let [with, without] = [folder, &other].map(|folder| {
        strew(
            &["look", "shot.json", "--width", "160", "--samples", "4"],
            folder,
        );
        let png = fs::File::open(folder.join("out/look.png")).unwrap();
        let mut reader = png::Decoder::new(std::io::BufReader::new(png))
            .read_info()
            .unwrap();
        let mut pixels = vec![0; reader.output_buffer_size().unwrap()];
        reader.next_frame(&mut pixels).unwrap();
        pixels
    });
    let apart = with
        .iter()
        .zip(&without)
        .filter(|(a, b)| a.abs_diff(**b) > 16)
        .count();
    assert!(
        apart > with.len() / 50,
        "{apart} of {} values differ",
        with.len()
    );
}
