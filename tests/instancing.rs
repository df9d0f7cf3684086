//! What glTF validators are silent on, checked with a reader of our own that shares no code with
//! the writer.
//!
//! Source: Khronos Group, `EXT_mesh_gpu_instancing`: attributes are TRANSLATION VEC3 FLOAT,
//! ROTATION VEC4 FLOAT (unit quaternions x, y, z, w) and SCALE VEC3 FLOAT, equal in number, on a
//! node that has a mesh; the instance transform is T x R x S under the node's own. That validators
//! do not look at them was tried with gltf-validator 2.0.0-dev.3.10.

#![allow(clippy::unwrap_used, reason = "a check that cannot go on has failed")]

use std::fs;

use scatter::deliver::{DeliverOptions, Format, write};
use scatter::layout::Layout;
use scatter_tests::glb::Glb;
use scatter_tests::{layouts, shots};
use serde_json::{Value, json};

fn delivered(layout: &Layout) -> (Glb, Value) {
    let folder = tempfile::tempdir().unwrap();
    let options = DeliverOptions::new(folder.path(), &[Format::Glb, Format::Json]);
    write(layout, &options).unwrap();
    read(folder.path())
}

fn read(folder: &std::path::Path) -> (Glb, Value) {
    let glb = Glb::open(&fs::read(folder.join("layout.glb")).unwrap()).unwrap();
    let json = serde_json::from_slice(&fs::read(folder.join("layout.json")).unwrap()).unwrap();
    (glb, json)
}

/// Holds a GLB against the layout's JSON: the same nodes, and in them the same transforms.
fn compare(name: &str, glb: &Glb, layout: &Value) {
    let instanced = glb
        .instanced()
        .unwrap_or_else(|faults| panic!("{name}: {faults:#?}"));
    let flat: Vec<(String, [f64; 16])> = instanced
        .iter()
        .flat_map(|node| {
            node.world_from_mesh
                .iter()
                .map(|m| (node.name.clone(), m.to_cols_array()))
        })
        .collect();
    layouts::compare(name, layout, &flat);
}

#[test]
fn instances_are_as_the_extension_wants_them_and_where_the_json_has_them() {
    for (name, layout) in layouts::all() {
        let (glb, json) = delivered(&layout);
        compare(name, &glb, &json);
    }
}

#[test]
#[ignore = "needs tests/run"]
fn instances_of_every_example_are_too() {
    for shot in shots::examples() {
        let folder = tempfile::tempdir().unwrap();
        shots::dress(&shot, folder.path());
        let (glb, json) = read(folder.path());
        assert!(
            !json["instances"].as_array().unwrap().is_empty(),
            "{}: nothing placed",
            shot.display()
        );
        compare(&shot.display().to_string(), &glb, &json);
    }
}

#[test]
fn cameras_look_where_the_layout_s_cameras_look() {
    // Source of the convention: "glTF 2.0 Specification", 2021, section 3.10: a camera looks along
    // its node's -z, +x to the right, +y up; yfov in radians, aspectRatio is width over height.
    for (name, layout) in layouts::all() {
        let (glb, _) = delivered(&layout);
        let camera = &layout.cameras[0];
        let nodes = glb.json["nodes"].as_array().unwrap();
        let node = nodes.iter().position(|n| n["camera"] == 0).unwrap();
        let root = nodes.last().unwrap();
        let at = |node: &Value, i: usize| {
            node["translation"]
                .get(i)
                .and_then(Value::as_f64)
                .unwrap_or(0.0)
        };
        for i in 0..3 {
            let position = at(root, i) + at(&nodes[node], i);
            assert!(
                (position - camera.position[i]).abs() < 1e-9,
                "{name}: {position}"
            );
        }
        let rotation: Vec<f64> = nodes[node]["rotation"]
            .as_array()
            .unwrap()
            .iter()
            .map(|v| v.as_f64().unwrap())
            .collect();
        assert!(
            glam::DQuat::from_slice(&rotation).angle_between(camera.rotation) < 1e-7,
            "{name}"
        );
        let lens = &glb.json["cameras"][0]["perspective"];
        assert_eq!(lens["yfov"].as_f64(), Some(camera.yfov));
        assert_eq!(lens["aspectRatio"].as_f64(), Some(16.0 / 9.0));
        assert_eq!(
            (lens["znear"].as_f64(), lens["zfar"].as_f64()),
            (Some(0.05), Some(40.0))
        );
    }
}

#[test]
fn the_reader_finds_each_fault_that_validators_miss() {
    let (good, _) = delivered(&layouts::layout(100, glam::DVec3::ZERO));
    assert!(good.instanced().is_ok());
    let node = good.json["nodes"]
        .as_array()
        .unwrap()
        .iter()
        .position(|n| n.get("mesh").is_some())
        .unwrap();
    let attributes = format!("/nodes/{node}/extensions/EXT_mesh_gpu_instancing/attributes");
    let accessor = |name: &str| {
        good.json
            .pointer(&format!("{attributes}/{name}"))
            .unwrap()
            .as_u64()
            .unwrap()
    };
    let [translation, rotation, scale] = ["TRANSLATION", "ROTATION", "SCALE"].map(accessor);
    let cases = [
        (
            format!("{attributes}/TRANSLATION"),
            json!(9999),
            "accessor 9999 is missing",
        ),
        (
            format!("/accessors/{translation}/type"),
            json!("VEC4"),
            "TRANSLATION: \"VEC4\"",
        ),
        (
            format!("/accessors/{scale}/count"),
            json!(3),
            "counts differ",
        ),
        (
            format!("/accessors/{rotation}/componentType"),
            json!(5122),
            "ROTATION: \"VEC4\" of 5122",
        ),
        (format!("/nodes/{node}/mesh"), Value::Null, "without a mesh"),
        (
            "/extensionsRequired".to_owned(),
            json!([]),
            "extensionsRequired",
        ),
    ];
    for (pointer, value, word) in cases {
        let mut bad = Glb {
            json: good.json.clone(),
            binary: good.binary.clone(),
        };
        *bad.json.pointer_mut(&pointer).unwrap() = value;
        let faults = bad.instanced().unwrap_err();
        assert!(faults[0].contains(word), "{pointer}: {faults:?}");
    }
    // A rotation of another length: the first one's numbers halved.
    let mut bad = good;
    let view = bad.json["accessors"][rotation as usize]["bufferView"]
        .as_u64()
        .unwrap() as usize;
    let at = bad.json["bufferViews"][view]["byteOffset"]
        .as_u64()
        .unwrap() as usize;
    for bytes in bad.binary[at..at + 16].chunks_exact_mut(4) {
        let value = f32::from_le_bytes([bytes[0], bytes[1], bytes[2], bytes[3]]);
        bytes.copy_from_slice(&(0.5 * value).to_le_bytes());
    }
    let faults = bad.instanced().unwrap_err();
    assert!(faults[0].contains("ROTATION 0 has length"), "{faults:?}");
}
