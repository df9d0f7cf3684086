//! Meshes come out as the document says: nodes, primitives, accessors of every kind.

use std::path::Path;

use glam::Vec3;
use serde_json::{Value, json};

use super::{glb, parts, square, square_with};
use crate::kit::Part;
use crate::kit::gltf::read_bytes;

#[test]
fn a_square_comes_out_as_it_went_in() {
    let (document, binary) = square();
    let parts = parts(&document, &binary);
    assert_eq!(parts.len(), 1);
    let Part { mesh, material } = &parts[0];
    assert_eq!(mesh.indices.len(), 6);
    // Flat normals: every triangle has corners of its own.
    assert_eq!(mesh.positions.len(), 6);
    assert_eq!(mesh.normals, vec![Vec3::Z; 6]);
    assert_eq!(mesh.colors[0], [65535, 32896, 0, 65535]);
    assert_eq!(material.name, "clay");
    assert_eq!(material.base_color, [0.5, 0.25, 0.1, 1.0]);
    assert_eq!((material.metallic, material.roughness), (0.0, 1.0));
    assert!(material.double_sided);
}

#[test]
fn nodes_move_turn_and_mirror() {
    let (_, binary) = square();
    // Moved by the parent, then turned a quarter about +y: +z becomes +x, +x becomes -z.
    let half = std::f32::consts::FRAC_1_SQRT_2;
    let turned = square_with(&[(
        "/nodes",
        json!([
            { "children": [1], "translation": [10, 0, 0] },
            { "mesh": 0, "rotation": [0, half, 0, half], "scale": [2, 1, 1] },
        ]),
    )]);
    let mesh = &parts(&turned, &binary)[0].mesh;
    assert!(mesh.positions[1].distance(Vec3::new(10.0, 0.0, -2.0)) < 1e-6);
    assert!(mesh.normals[0].distance(Vec3::X) < 1e-6);

    // Mirrored in x, the square still shows its front to +z.
    let mirrored = square_with(&[("/nodes/0", json!({ "mesh": 0, "scale": [-1, 1, 1] }))]);
    let mesh = &parts(&mirrored, &binary)[0].mesh;
    assert!(mesh.normals[0].distance(Vec3::Z) < 1e-6);

    // A matrix, by columns.
    let matrix = [1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1, 0, 0, 0, 5, 1];
    let moved = square_with(&[("/nodes/0", json!({ "mesh": 0, "matrix": matrix }))]);
    assert_eq!(parts(&moved, &binary)[0].mesh.positions[0], Vec3::Z * 5.0);
}

#[test]
fn strips_and_fans_make_the_same_square() {
    let (_, mut binary) = square();
    for (mode, corners) in [(5, [0_u16, 1, 3, 2]), (6, [0, 1, 2, 3])] {
        for (k, corner) in corners.iter().enumerate() {
            binary[48 + 2 * k..50 + 2 * k].copy_from_slice(&corner.to_le_bytes());
        }
        let document = square_with(&[
            ("/meshes/0/primitives/0/mode", json!(mode)),
            ("/accessors/1/count", json!(4)),
        ]);
        let mesh = &parts(&document, &binary)[0].mesh;
        assert_eq!(mesh.indices.len(), 6, "mode {mode}");
        // Both triangles face +z, and their areas make one.
        let area: f32 = mesh
            .indices
            .chunks(3)
            .map(|t| {
                let [a, b, c] = [t[0], t[1], t[2]].map(|i| mesh.positions[i as usize]);
                (b - a).cross(c - a).z / 2.0
            })
            .sum();
        assert!((area - 1.0).abs() < 1e-6, "mode {mode}: {area}");
        assert_eq!(mesh.normals, vec![Vec3::Z; 6], "mode {mode}");
    }
}

#[test]
fn a_mesh_without_indices_is_read_corner_by_corner() {
    let (mut document, binary) = square();
    let primitive = &mut document["meshes"][0]["primitives"][0];
    primitive.as_object_mut().unwrap().remove("indices");
    document["accessors"][0]["count"] = json!(3);
    document["accessors"][2]["count"] = json!(3);
    assert_eq!(parts(&document, &binary)[0].mesh.indices, [0, 1, 2]);
}

#[test]
fn sparse_elements_replace_others() {
    let (mut document, mut binary) = square();
    // Corner 2 goes to (7, 8, 9).
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
    assert_eq!(mesh.positions[2], Vec3::new(7.0, 8.0, 9.0));
    assert_eq!(mesh.positions[1], Vec3::X);
}

#[test]
fn vertices_that_nothing_uses_fall_away() {
    // Only the second triangle of the square: corners 0, 2 and 3, with colours and normals of their
    // own.
    let (_, mut binary) = square();
    let colors: [[u8; 4]; 4] = [[255, 0, 0, 255], [0; 4], [0, 255, 0, 255], [0, 0, 255, 255]];
    binary[60..76].copy_from_slice(colors.as_flattened());
    let document = square_with(&[
        ("/accessors/1/count", json!(3)),
        ("/accessors/1/byteOffset", json!(6)),
        // The positions serve as normals: they only have to be there.
        ("/meshes/0/primitives/0/attributes/NORMAL", json!(0)),
    ]);
    let parts = parts(&document, &binary);
    let mesh = &parts[0].mesh;
    assert_eq!(
        mesh.positions,
        [Vec3::ZERO, Vec3::new(1.0, 1.0, 0.0), Vec3::Y]
    );
    assert_eq!(mesh.normals[2], Vec3::Y);
    assert_eq!(mesh.colors[1], [0, 65535, 0, 65535]);
    assert_eq!(mesh.indices, [0, 1, 2]);
}

#[test]
fn integers_for_positions_need_the_extension() {
    // Khronos Group, "KHR_mesh_quantization": normalised 16-bit positions, 32767 is 1.
    let mut binary = Vec::new();
    for corner in [
        [0_i16, 0, 0, 0],
        [32767, 0, 0, 0],
        [32767, 32767, 0, 0],
        [0, 32767, 0, 0],
    ] {
        binary.extend(corner.iter().flat_map(|v| v.to_le_bytes()));
    }
    binary.resize(48, 0);
    let (_, plain) = square();
    binary.extend(&plain[48..]);
    let changes = |extensions: Value| {
        let mut document = square_with(&[
            ("/accessors/0/componentType", json!(5122)),
            ("/accessors/0/normalized", json!(true)),
            ("/bufferViews/0/byteStride", json!(8)),
        ]);
        document["extensionsUsed"] = extensions;
        read_bytes(&glb(&document, &binary), Path::new("")).unwrap()
    };
    let named = changes(json!(["KHR_mesh_quantization"]));
    assert_eq!(named.warnings, [""; 0]);
    assert_eq!(
        named.objects[0].parts[0].mesh.positions[2],
        Vec3::new(1.0, 1.0, 0.0)
    );
    let unnamed = changes(json!([]));
    assert!(
        unnamed.warnings[0].contains("KHR_mesh_quantization"),
        "{:?}",
        unnamed.warnings
    );
    assert_eq!(unnamed.objects, named.objects);
}

#[test]
fn compression_that_is_not_read_is_named() {
    let (mut document, binary) = square();
    document["extensionsRequired"] = json!(["KHR_draco_mesh_compression"]);
    let error = read_bytes(&glb(&document, &binary), Path::new("")).unwrap_err();
    let fault = &error.faults[0];
    assert!(fault.problem.contains("KHR_draco_mesh_compression"));
    assert!(fault.hint.contains("without Draco compression"));
}

#[test]
fn ten_thousand_nodes_deep_is_no_trouble() {
    let deep = 10_000;
    let mut nodes: Vec<Value> = (1..=deep)
        .map(|child| json!({ "children": [child], "translation": [0, 0.5, 0] }))
        .collect();
    nodes.push(json!({ "mesh": 0 }));
    let (_, binary) = square();
    let document = square_with(&[("/nodes", json!(nodes))]);
    let mesh = &parts(&document, &binary)[0].mesh;
    assert_eq!(mesh.positions[0], Vec3::Y * 5000.0);
}
