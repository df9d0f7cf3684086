//! Files made by hand, good and broken. Files that others made are checked in the workspace's `tests`.

use std::fs;
use std::path::Path;

use glam::Vec3;
use rand::{Rng, RngExt, SeedableRng};
use rand_xoshiro::Xoshiro256PlusPlus;
use serde_json::{Value, json};

mod textures;

use super::{read, read_bytes};
use crate::error::Kind;
use crate::kit::Part;

/// A binary file of the two chunks.
fn glb(json: &Value, binary: &[u8]) -> Vec<u8> {
    let mut text = json.to_string().into_bytes();
    while !text.len().is_multiple_of(4) {
        text.push(b' ');
    }
    let mut binary = binary.to_vec();
    binary.resize(binary.len().next_multiple_of(4), 0);
    let total = 12 + 8 + text.len() + 8 + binary.len();
    let mut bytes = b"glTF\x02\0\0\0".to_vec();
    bytes.extend((total as u32).to_le_bytes());
    bytes.extend((text.len() as u32).to_le_bytes());
    bytes.extend(b"JSON");
    bytes.extend(text);
    bytes.extend((binary.len() as u32).to_le_bytes());
    bytes.extend(b"BIN\0");
    bytes.extend(binary);
    bytes
}

/// A unit square in the plane z = 0 with colours, seen from +z: positions at 0, indices at 48, colours at 60.
fn square() -> (Value, Vec<u8>) {
    let corners: [[f32; 3]; 4] = [
        [0.0, 0.0, 0.0],
        [1.0, 0.0, 0.0],
        [1.0, 1.0, 0.0],
        [0.0, 1.0, 0.0],
    ];
    let mut binary: Vec<u8> = corners
        .iter()
        .flatten()
        .flat_map(|v| v.to_le_bytes())
        .collect();
    binary.extend([0_u16, 1, 2, 0, 2, 3].iter().flat_map(|v| v.to_le_bytes()));
    binary.extend([255_u8, 128, 0, 255].repeat(4));
    let document = json!({
        "asset": { "version": "2.0" },
        "scene": 0,
        "scenes": [{ "nodes": [0] }],
        "nodes": [{ "mesh": 0 }],
        "meshes": [{ "primitives": [{
            "attributes": { "POSITION": 0, "COLOR_0": 2 }, "indices": 1, "material": 0,
        }] }],
        "materials": [{
            "name": "clay",
            "pbrMetallicRoughness": { "baseColorFactor": [0.5, 0.25, 0.1, 1.0], "metallicFactor": 0.0 },
            "doubleSided": true,
        }],
        "accessors": [
            { "bufferView": 0, "componentType": 5126, "count": 4, "type": "VEC3", "min": [0, 0, 0], "max": [1, 1, 0] },
            { "bufferView": 1, "componentType": 5123, "count": 6, "type": "SCALAR" },
            { "bufferView": 2, "componentType": 5121, "count": 4, "type": "VEC4", "normalized": true },
        ],
        "bufferViews": [
            { "buffer": 0, "byteOffset": 0, "byteLength": 48 },
            { "buffer": 0, "byteOffset": 48, "byteLength": 12 },
            { "buffer": 0, "byteOffset": 60, "byteLength": 16 },
        ],
        "buffers": [{ "byteLength": 76 }],
    });
    (document, binary)
}

fn parts(document: &Value, binary: &[u8]) -> Vec<Part> {
    read_bytes(&glb(document, binary), Path::new(""))
        .unwrap()
        .into_parts()
}

/// The square's document with the values at JSON pointers replaced.
fn square_with(changes: &[(&str, Value)]) -> Value {
    let (mut document, _) = square();
    for (pointer, value) in changes {
        set(&mut document, pointer, value.clone());
    }
    document
}

/// Sets the value at a JSON pointer whose parent exists.
fn set(document: &mut Value, pointer: &str, value: Value) {
    let (parent, key) = pointer.rsplit_once('/').unwrap();
    let parent = document.pointer_mut(parent).unwrap();
    match key.parse::<usize>() {
        Ok(i) => parent[i] = value,
        Err(_) => parent[key] = value,
    }
}

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

#[test]
fn buffers_may_be_data_or_files_beside_the_document() {
    let place = tempfile::tempdir().unwrap();
    let (_, binary) = square();
    fs::create_dir(place.path().join("in")).unwrap();
    fs::write(place.path().join("in/a b.bin"), &binary).unwrap();
    let document = square_with(&[("/buffers/0/uri", json!("in/a%20b.bin"))]);
    let path = place.path().join("x.gltf");
    fs::write(&path, document.to_string()).unwrap();
    assert_eq!(
        read(&path).unwrap().objects[0].parts[0].mesh.indices.len(),
        6
    );

    // 76 zero bytes: a triangle list of six equal corners.
    let zeros = format!("data:application/octet-stream;base64,{}", "AAAA".repeat(26));
    let document = square_with(&[("/buffers/0/uri", json!(zeros))]);
    let parts = read_bytes(document.to_string().as_bytes(), Path::new(""))
        .unwrap()
        .into_parts();
    assert_eq!(parts[0].mesh.normals[0], Vec3::Y);
}

#[test]
fn a_buffer_outside_the_folder_is_refused() {
    let place = tempfile::tempdir().unwrap();
    let (_, binary) = square();
    let inner = place.path().join("inner");
    fs::create_dir(&inner).unwrap();
    fs::write(place.path().join("secret.bin"), &binary).unwrap();
    let absolute = place.path().join("secret.bin");
    let mut uris = vec![
        "../secret.bin".to_owned(),
        "%2e%2e/secret.bin".to_owned(),
        "a/../../secret.bin".to_owned(),
        absolute.to_str().unwrap().to_owned(),
        format!("file://{}", absolute.display()),
        "https://example.com/secret.bin".to_owned(),
        "..\\secret.bin".to_owned(),
        String::new(),
    ];
    #[cfg(unix)]
    {
        std::os::unix::fs::symlink(&absolute, inner.join("link.bin")).unwrap();
        uris.push("link.bin".to_owned());
    }
    for uri in uris {
        let document = square_with(&[("/buffers/0/uri", json!(uri))]);
        let path = inner.join("x.gltf");
        fs::write(&path, document.to_string()).unwrap();
        let error = read(&path).unwrap_err();
        assert_eq!(error.kind, Kind::Input);
        assert_eq!(error.faults[0].place, "buffers[0].uri", "{uri}: {error}");
        assert!(error.to_string().contains("x.gltf"), "{error}");
    }
}

/// JSON pointers with the values to set there.
type Changes = Vec<(&'static str, Value)>;

/// Changes to the square, with the place and a word of the error that each must give.
fn broken() -> Vec<(Changes, &'static str, &'static str)> {
    let primitive = "meshes[0].primitives[0]";
    let in_primitive =
        |rest: &str| -> &'static str { Box::leak(format!("{primitive}{rest}").into_boxed_str()) };
    let node = |node: Value| vec![("/nodes", node)];
    vec![
        (
            vec![("/asset/version", json!("1.0"))],
            "asset.version",
            "version",
        ),
        (vec![("/asset", json!({}))], "asset.version", "version"),
        (
            vec![("/extensionsRequired", json!(["KHR_draco_mesh_compression"]))],
            "extensionsRequired[0]",
            "draco",
        ),
        (vec![("/scene", json!(4))], "scene", "scenes[4]"),
        (
            vec![("/scenes/0/nodes", json!([3]))],
            "scenes[0].nodes[0]",
            "nodes[3]",
        ),
        (
            vec![("/scenes/0/nodes", json!([0, 0]))],
            "scenes[0].nodes[1]",
            "twice",
        ),
        (vec![("/scenes/0/nodes", json!([]))], "", "no triangles"),
        (
            vec![("/nodes/0/mesh", json!(1))],
            "nodes[0].mesh",
            "meshes[1]",
        ),
        (
            vec![("/nodes/0/mesh", json!("x"))],
            "nodes[0].mesh",
            "invalid type",
        ),
        (
            vec![("/nodes/0/translation", json!([0, 1e300, 0]))],
            "nodes[0]",
            "finite",
        ),
        (
            node(json!([{ "children": [0] }])),
            "nodes[0].children",
            "ancestor",
        ),
        (
            node(json!([{ "children": [1] }, { "children": [0] }])),
            "nodes[0].children",
            "ancestor",
        ),
        (
            node(json!([{ "mesh": 0 }, { "children": [2] }, { "children": [1] }])),
            "nodes[1].children",
            "ancestor",
        ),
        (
            node(json!([{ "children": [1, 2] }, { "children": [2] }, {}])),
            "nodes[1].children[0]",
            "already",
        ),
        (
            node(json!([{ "children": [1, 1] }, {}])),
            "nodes[0].children[1]",
            "already",
        ),
        (
            node(json!([{ "children": [9] }])),
            "nodes[0].children[0]",
            "nodes[9]",
        ),
        (
            vec![("/nodes", json!([{ "mesh": 0 }, { "children": [0] }]))],
            "scenes[0].nodes[0]",
            "child",
        ),
        (
            vec![("/meshes/0/primitives/0/attributes", json!({}))],
            in_primitive(".attributes.POSITION"),
            "no positions",
        ),
        (
            vec![("/meshes/0/primitives/0/attributes/POSITION", json!(9))],
            in_primitive(".attributes.POSITION"),
            "accessors[9]",
        ),
        (
            vec![("/meshes/0/primitives/0/indices", json!(77))],
            in_primitive(".indices"),
            "accessors[77]",
        ),
        (
            vec![("/accessors/1/type", json!("VEC3"))],
            in_primitive(".indices"),
            "Vec3",
        ),
        (
            vec![("/meshes/0/primitives/0/mode", json!(9))],
            in_primitive(".mode"),
            "glTF",
        ),
        (
            vec![("/meshes/0/primitives/0/mode", json!(1))],
            "",
            "no triangles",
        ),
        (
            vec![("/meshes/0/primitives/0/material", json!(1))],
            in_primitive(".material"),
            "materials[1]",
        ),
        (
            vec![("/accessors/0/type", json!("VEC2"))],
            in_primitive(".attributes.POSITION"),
            "Vec2",
        ),
        (
            vec![("/accessors/0/type", json!("VEC9"))],
            "accessors[0].type",
            "glTF",
        ),
        (
            vec![("/accessors/0/componentType", json!(5125))],
            in_primitive(".attributes.POSITION"),
            "U32",
        ),
        (
            vec![("/accessors/0/componentType", json!(1))],
            "accessors[0].componentType",
            "glTF",
        ),
        (
            vec![("/accessors/0/count", json!(5))],
            "accessors[0]",
            "pass the end",
        ),
        (
            vec![("/accessors/0/count", json!(3))],
            in_primitive(".indices"),
            "index 3",
        ),
        (
            vec![("/accessors/1/count", json!(5))],
            primitive,
            "multiple of three",
        ),
        (
            vec![("/accessors/0/count", json!(4_000_000_000_u64))],
            primitive,
            "vertices",
        ),
        (
            vec![("/accessors/0/count", json!(u64::MAX))],
            primitive,
            "vertices",
        ),
        (
            vec![("/accessors/1/count", json!(3_000_000_000_u64))],
            primitive,
            "triangles",
        ),
        (
            vec![("/accessors/0/count", json!(-1))],
            "accessors[0].count",
            "invalid",
        ),
        (
            vec![("/accessors/0/byteOffset", json!(u64::MAX))],
            "accessors[0]",
            "pass the end",
        ),
        (
            vec![("/accessors/0/bufferView", json!(8))],
            "accessors[0].bufferView",
            "bufferViews[8]",
        ),
        (
            vec![("/accessors/0/bufferView", Value::Null)],
            "accessors[0].bufferView",
            "no data",
        ),
        (
            vec![("/accessors/2/count", json!(2))],
            in_primitive(".attributes.COLOR_0"),
            "4 vertices",
        ),
        (
            vec![("/accessors/2/type", json!("SCALAR"))],
            in_primitive(".attributes.COLOR_0"),
            "Scalar",
        ),
        (
            vec![("/bufferViews/0/byteStride", json!(4))],
            "accessors[0]",
            "apart",
        ),
        (
            vec![("/bufferViews/0/byteStride", json!(252))],
            "accessors[0]",
            "pass the end",
        ),
        (
            vec![("/bufferViews/0/byteLength", json!(1000))],
            "bufferViews[0]",
            "bytes",
        ),
        (
            vec![("/bufferViews/0/byteOffset", json!(u64::MAX))],
            "bufferViews[0]",
            "bytes",
        ),
        (
            vec![("/bufferViews/0/buffer", json!(5))],
            "bufferViews[0].buffer",
            "buffers[5]",
        ),
        (
            vec![("/buffers/0/byteLength", json!(1000))],
            "buffers[0].byteLength",
            "cut short",
        ),
        (
            vec![("/buffers/0/uri", json!("missing.bin"))],
            "buffers[0].uri",
            "missing.bin",
        ),
        (
            vec![("/buffers/0/uri", json!("data:text/plain,hello"))],
            "buffers[0].uri",
            "decoded",
        ),
        (
            vec![("/buffers/0/uri", json!("data:;base64,*"))],
            "buffers[0].uri",
            "decoded",
        ),
        (
            vec![(
                "/accessors/0/sparse",
                json!({ "count": 9, "indices": { "bufferView": 1, "componentType": 5125 }, "values": { "bufferView": 0 } }),
            )],
            "accessors[0].sparse.count",
            "9 of 4",
        ),
        (
            vec![(
                "/accessors/0/sparse",
                json!({ "count": 4, "indices": { "bufferView": 1, "componentType": 5125 }, "values": { "bufferView": 0 } }),
            )],
            "accessors[0].sparse.indices",
            "pass the end",
        ),
        (
            vec![(
                "/accessors/0/sparse",
                json!({ "count": 3, "indices": { "bufferView": 2, "componentType": 5121 }, "values": { "bufferView": 0 } }),
            )],
            "accessors[0].sparse.indices",
            "index 255",
        ),
    ]
}

#[test]
fn each_fault_is_told_with_its_place_and_what_would_be_right() {
    let (_, binary) = square();
    let cases = broken();
    assert!(cases.len() >= 50, "{}", cases.len());
    for (changes, place, word) in cases {
        let document = square_with(&changes);
        let error = read_bytes(&glb(&document, &binary), Path::new("")).unwrap_err();
        assert_eq!(error.kind, Kind::Input, "{changes:?}");
        assert_eq!(error.faults.len(), 1, "{changes:?}");
        assert_eq!(error.faults[0].place, place, "{changes:?}: {error}");
        assert!(error.to_string().contains(word), "{changes:?}: {error}");
        assert!(!error.faults[0].hint.is_empty(), "{changes:?}");
    }
}

#[test]
fn positions_that_are_no_numbers_are_told() {
    let (document, mut binary) = square();
    binary[12..16].copy_from_slice(&f32::NAN.to_le_bytes());
    let error = read_bytes(&glb(&document, &binary), Path::new("")).unwrap_err();
    assert!(
        error.to_string().contains("element 1 is not finite"),
        "{error}"
    );
}

#[test]
fn an_index_past_the_vertices_is_told() {
    let (document, mut binary) = square();
    binary[50..52].copy_from_slice(&70_u16.to_le_bytes());
    let error = read_bytes(&glb(&document, &binary), Path::new("")).unwrap_err();
    assert_eq!(error.faults[0].place, "meshes[0].primitives[0].indices");
    assert!(
        error.to_string().contains("index 70 at position 1"),
        "{error}"
    );
}

#[test]
fn a_file_cut_anywhere_is_refused() {
    let (document, binary) = square();
    let whole = glb(&document, &binary);
    for length in 0..whole.len() {
        let error = read_bytes(&whole[..length], Path::new("")).unwrap_err();
        assert_eq!(error.kind, Kind::Input, "{length} bytes");
    }
}

#[test]
fn a_folder_and_a_missing_file_are_told() {
    let place = tempfile::tempdir().unwrap();
    for path in [place.path().to_path_buf(), place.path().join("none.glb")] {
        let error = read(&path).unwrap_err();
        assert_eq!(error.kind, Kind::Input);
        assert_eq!(error.file.as_deref(), Some(path.as_path()));
    }
}

#[test]
fn small_files_that_claim_much_are_refused_at_once() {
    let (_, binary) = square();
    // Half a million nodes that show one mesh of many primitives made of points.
    let primitive = json!({ "attributes": { "POSITION": 0 }, "mode": 0 });
    let document = square_with(&[
        ("/scenes/0/nodes", json!((0..100_000).collect::<Vec<_>>())),
        ("/nodes", json!(vec![json!({ "mesh": 0 }); 100_000])),
        ("/meshes/0/primitives", json!(vec![primitive; 1000])),
    ]);
    let error = read_bytes(&glb(&document, &binary), Path::new("")).unwrap_err();
    assert!(error.to_string().contains("200000 primitives"), "{error}");

    let text = format!("{{\"nodes\":[{}{{}}]}}", "{},".repeat(600_000));
    let error = read_bytes(text.as_bytes(), Path::new("")).unwrap_err();
    assert!(error.to_string().contains("600002 objects"), "{error}");

    let text = "[".repeat(1_000_000);
    assert!(read_bytes(text.as_bytes(), Path::new("")).is_err());
    let text = format!(
        "{{\"asset\":{{\"version\":\"2.0\"}},\"extras\":{}",
        "[".repeat(1_000_000)
    );
    assert!(read_bytes(text.as_bytes(), Path::new("")).is_err());
}

/// Seeded: the same files each time. Panics would fail the test; so would a good file that is refused.
#[test]
fn no_mutation_of_a_good_file_makes_the_reader_panic() {
    const MUTATIONS: usize = 20_000;
    let (document, binary) = square();
    let good = glb(&document, &binary);
    assert!(read_bytes(&good, Path::new("")).is_ok());
    let json_end = 20 + u32::from_le_bytes([good[12], good[13], good[14], good[15]]) as usize;
    let digits: Vec<usize> = (20..json_end)
        .filter(|&i| good[i].is_ascii_digit())
        .collect();
    let mut random = Xoshiro256PlusPlus::seed_from_u64(20);
    let (mut read, mut refused) = (0, 0);
    for _ in 0..MUTATIONS {
        let mut bytes = good.clone();
        for _ in 0..random.random_range(1..4) {
            if bytes.is_empty() {
                break;
            }
            let at = random.random_range(0..bytes.len());
            match random.random_range(0..6) {
                0 => bytes[at] = (random.next_u32() & 0xff) as u8,
                1 => bytes[at] ^= 1 << random.random_range(0..8),
                2 => drop(bytes.drain(at..(at + random.random_range(1..40)).min(bytes.len()))),
                3 => bytes.truncate(at.max(1)),
                // Numbers of the document: another digit, or many more of them.
                4 => {
                    let at = digits[random.random_range(0..digits.len())].min(bytes.len() - 1);
                    bytes[at] = b'0' + random.random_range(0..10_u8);
                }
                _ => {
                    let at = digits[random.random_range(0..digits.len())].min(bytes.len() - 1);
                    let more = random.random_range(1..22);
                    bytes.splice(at..at, std::iter::repeat_n(b'9', more));
                    // The chunk grows with it, so that the document is still found whole.
                    if bytes.len() > 16 {
                        let length =
                            u32::from_le_bytes([bytes[12], bytes[13], bytes[14], bytes[15]]);
                        let length = length.wrapping_add(more as u32).to_le_bytes();
                        bytes[12..16].copy_from_slice(&length);
                        let total = (bytes.len() as u32).to_le_bytes();
                        bytes[8..12].copy_from_slice(&total);
                    }
                }
            }
        }
        match read_bytes(&bytes, Path::new("")) {
            Ok(_) => read += 1,
            Err(error) => {
                assert_eq!(error.kind, Kind::Input);
                assert!(!error.faults[0].problem.is_empty() && !error.faults[0].hint.is_empty());
                refused += 1;
            }
        }
    }
    // Some mutations hit what does not matter; most do not.
    assert!(
        read > MUTATIONS / 50 && refused > MUTATIONS / 4,
        "{read} read, {refused} refused"
    );
}
