//! What the specification lets a document say in more than one way, and what is left aside with a
//! word.

use std::fs;
use std::path::Path;

use glam::{DQuat, DVec3, Vec3};
use serde_json::{Value, json};

use super::{glb, parts, square, square_with};
use crate::error::Result;
use crate::kit::gltf::{FileCamera, Model, read_bytes, read_camera};

fn model(document: &Value) -> Model {
    let (_, binary) = square();
    read_bytes(&glb(document, &binary), Path::new("")).unwrap()
}

/// The camera of a document that has one.
fn camera(document: &Value) -> Result<FileCamera> {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("camera.gltf");
    fs::write(&path, document.to_string()).unwrap();
    read_camera(&path, None, None)
}

/// A camera on a node that another one carries.
fn with_camera(node: &Value) -> Value {
    json!({
        "asset": { "version": "2.0" },
        "nodes": [{ "translation": [1, 0, 0], "children": [1] }, node],
        "cameras": [{ "type": "perspective", "perspective": { "yfov": 0.5, "znear": 0.1 } }],
    })
}

/// The document with `.0` behind each whole number.
fn with_points(value: &Value) -> String {
    let list = |parts: Vec<String>| parts.join(",");
    match value {
        Value::Object(keys) => {
            let pair = |(key, value)| format!("{key:?}:{}", with_points(value));
            format!("{{{}}}", list(keys.iter().map(pair).collect()))
        }
        Value::Array(items) => format!("[{}]", list(items.iter().map(with_points).collect())),
        Value::Number(number) if number.is_u64() => format!("{number}.0"),
        other => other.to_string(),
    }
}

#[test]
fn integers_may_be_written_with_a_point() {
    let (mut plain, binary) = square();
    // A file beside the document: the chunks of a binary one have lengths of their own
    plain["buffers"][0]["uri"] = json!("square.bin");
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("square.bin"), binary).unwrap();
    let read = |text: &str| read_bytes(text.as_bytes(), folder.path()).unwrap();
    let pointed = with_points(&plain);
    assert!(pointed.contains("\"componentType\":5126.0") && pointed.contains("\"mesh\":0.0"));
    assert_eq!(read(&pointed), read(&plain.to_string()));
    let broken = pointed.replace("\"mesh\":0.0", "\"mesh\":0.5");
    let error = read_bytes(broken.as_bytes(), folder.path()).unwrap_err();
    assert_eq!(error.faults[0].place, "nodes[0].mesh");
}

#[test]
fn a_channel_without_a_node_is_ignored() {
    let channel = |pointer: &str| {
        json!({ "sampler": 0, "target": {
            "path": "pointer", "extensions": { "KHR_animation_pointer": { "pointer": pointer } },
        } })
    };
    let moving = |pointer: &str| json!([{ "channels": [channel(pointer)], "samplers": [{ "input": 0, "output": 0 }] }]);
    let mut document = square_with(&[("/animations", moving("/materials/0/emissiveFactor"))]);
    document["extensionsRequired"] = json!(["KHR_animation_pointer"]);
    document["extensionsUsed"] = json!(["KHR_animation_pointer"]);
    assert_eq!(model(&document), model(&square().0));

    // A camera that a pointer moves stands, and a word says so
    let mut document = with_camera(&json!({ "camera": 0 }));
    for (pointer, told) in [
        ("/materials/0/emissiveFactor", 0),
        ("/nodes/10/translation", 0),
        ("/cameras/0/perspective/yfov", 1),
        ("/nodes/0/translation", 1),
    ] {
        document["animations"] = moving(pointer);
        let camera = camera(&document).unwrap();
        assert_eq!(camera.span, None);
        assert_eq!(camera.pose(0.0), (DVec3::X, DQuat::IDENTITY));
        assert_eq!(camera.warnings.len(), told, "{pointer}");
        assert!(camera.warnings.iter().all(|w| w.contains(pointer)));
    }

    // Their form is held to all the same
    document["animations"][0]["channels"][0]["sampler"] = json!("x");
    let error = camera(&document).unwrap_err();
    assert_eq!(error.faults[0].place, "animations[0].channels[0].sampler");
}

#[test]
fn an_accessor_without_bytes_is_zeros_but_for_its_sparse_part() {
    let (mut document, mut binary) = square();
    document["accessors"][0]
        .as_object_mut()
        .unwrap()
        .remove("bufferView");
    let mesh = &parts(&document, &binary)[0].mesh;
    assert_eq!(mesh.positions, [Vec3::ZERO; 6]);

    // Corner 2 goes to (7, 8, 9)
    binary.extend(2_u32.to_le_bytes());
    binary.extend([7.0_f32, 8.0, 9.0].iter().flat_map(|v| v.to_le_bytes()));
    document["buffers"][0]["byteLength"] = json!(92);
    let views = document["bufferViews"].as_array_mut().unwrap();
    views.push(json!({ "buffer": 0, "byteOffset": 76, "byteLength": 4 }));
    views.push(json!({ "buffer": 0, "byteOffset": 80, "byteLength": 12 }));
    document["accessors"][0]["sparse"] = json!({
        "count": 1,
        "indices": { "bufferView": 3, "componentType": 5125 },
        "values": { "bufferView": 4 },
    });
    let mesh = &parts(&document, &binary)[0].mesh;
    let (moved, still) = (Vec3::new(7.0, 8.0, 9.0), Vec3::ZERO);
    assert_eq!(mesh.positions, [still, still, moved, still, moved, still]);
}

#[test]
fn least_versions_that_are_read_and_rounded_transforms_are_taken() {
    for version in ["2.0", "1.0", "1.1"] {
        let document = square_with(&[("/asset/minVersion", json!(version))]);
        assert_eq!(model(&document), model(&square().0), "{version}");
    }
    // What three digits leave of a quarter turn, and what an inverse leaves of a matrix
    for node in [
        json!({ "mesh": 0, "rotation": [0, 0.707, 0, 0.707] }),
        json!({ "mesh": 0, "matrix": [0, 0, -1, 1e-7, 0, 1, 0, 0, 1, 0, 0, 0, 0, 0, 0, 0.999_999_9] }),
    ] {
        let model = model(&square_with(&[("/nodes/0", node)]));
        let mesh = &model.objects[0].parts[0].mesh;
        assert!(mesh.positions[1].distance(-Vec3::Z) < 1e-6, "{mesh:?}");
        assert!(mesh.normals[0].distance(Vec3::X) < 1e-6, "{mesh:?}");
    }
}

#[test]
fn a_camera_s_transforms_are_held_to_the_same() {
    for (node, place) in [
        (json!({ "rotation": [0, 0, 0, 0] }), "nodes[1].rotation"),
        (json!({ "rotation": [0, 0, 0, 2] }), "nodes[1].rotation"),
        (
            json!({ "matrix": [1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1, 0, 0, 0, 5, 2] }),
            "nodes[1].matrix",
        ),
        (
            json!({ "matrix": [1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1], "scale": [1, 1, 1] }),
            "nodes[1].matrix",
        ),
    ] {
        let mut document = with_camera(&node);
        document["nodes"][1]["camera"] = json!(0);
        let error = camera(&document).unwrap_err();
        assert_eq!(error.faults[0].place, place, "{error}");
    }
    // Two keys of which the second turns nothing
    let mut document = with_camera(&json!({ "camera": 0 }));
    let numbers = [0.0_f32, 1.0, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 0.0];
    let hex: Vec<u8> = numbers.iter().flat_map(|v| v.to_le_bytes()).collect();
    let data = base64::Engine::encode(&base64::engine::general_purpose::STANDARD, hex);
    let uri = format!("data:application/octet-stream;base64,{data}");
    document["buffers"] = json!([{ "byteLength": 40, "uri": uri }]);
    document["bufferViews"] = json!([{ "buffer": 0, "byteLength": 40 }]);
    document["accessors"] = json!([
        { "bufferView": 0, "componentType": 5126, "count": 2, "type": "SCALAR" },
        { "bufferView": 0, "byteOffset": 8, "componentType": 5126, "count": 2, "type": "VEC4" },
    ]);
    let target = json!({ "node": 1, "path": "rotation" });
    document["animations"] = json!([{
        "channels": [{ "sampler": 0, "target": target }], "samplers": [{ "input": 0, "output": 1 }],
    }]);
    let error = camera(&document).unwrap_err();
    assert_eq!(error.faults[0].place, "animations[0].samplers[0].output");
    assert!(error.to_string().contains("length 0.0000"), "{error}");
}

#[test]
fn copies_that_are_not_read_are_told() {
    let copies = json!({ "EXT_mesh_gpu_instancing": { "attributes": { "TRANSLATION": 0 } } });
    let node = json!({ "mesh": 0, "extensions": copies });
    let mut document = square_with(&[("/nodes", json!([{}, node, node]))]);
    document["scenes"][0]["nodes"] = json!([0, 1, 2]);
    document["extensionsUsed"] = json!(["EXT_mesh_gpu_instancing"]);
    let told = model(&document).warnings;
    assert_eq!(told.len(), 1, "{told:?}");
    assert!(told[0].starts_with("nodes[1] and 1 more: "), "{told:?}");
    assert!(told[0].contains("EXT_mesh_gpu_instancing"), "{told:?}");
    assert_eq!(model(&square().0).warnings, [""; 0]);
}
