//! Each fault of a document is told with its place and what would be right.

use std::path::Path;

use serde_json::{Value, json};

use super::{glb, square, square_with};
use crate::error::ErrorKind;
use crate::kit::gltf::read_bytes;

/// JSON pointers with the values to set there.
type Changes = Vec<(&'static str, Value)>;

/// Changes to the square, with the place and a word of the error that each must give.
#[expect(clippy::too_many_lines, reason = "a table")]
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
            "nodes[0].translation[1]",
            "number out of range",
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
            vec![
                ("/accessors/0/bufferView", Value::Null),
                ("/accessors/0/count", json!(2_000_000)),
            ],
            "accessors[0].count",
            "without data",
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

/// As [`broken`]: what a document says of itself and its nodes, and where its vertices come to lie.
fn contradictory() -> Vec<(Changes, &'static str, &'static str)> {
    let node = |key: &str, value: Value| {
        let mut node = json!({ "mesh": 0 });
        node[key] = value;
        vec![("/nodes/0", node)]
    };
    let matrix = |at: usize, value: f64| {
        let mut matrix = [1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1].map(f64::from);
        matrix[at] = value;
        json!(matrix)
    };
    let position = "meshes[0].primitives[0].attributes.POSITION";
    let draco = "meshes[0].primitives[0].extensions.KHR_draco_mesh_compression";
    let rising = json!({ "count": 2, "indices": { "bufferView": 1, "byteOffset": 6, "componentType": 5123 }, "values": { "bufferView": 0 } });
    let twice = json!({ "count": 2, "indices": { "bufferView": 0, "byteOffset": 0, "componentType": 5123 }, "values": { "bufferView": 0 } });
    let mut falling = rising.clone();
    falling["indices"]["byteOffset"] = json!(4);
    let mut cases = vec![
        (
            node("matrix", matrix(3, 0.5)),
            "nodes[0].matrix",
            "last row",
        ),
        (
            node("matrix", matrix(7, -0.1)),
            "nodes[0].matrix",
            "last row",
        ),
        (
            node("matrix", matrix(11, 1e-3)),
            "nodes[0].matrix",
            "last row",
        ),
        (
            node("matrix", matrix(15, 2.0)),
            "nodes[0].matrix",
            "last row",
        ),
        (
            node("rotation", json!([0, 0, 0, 0])),
            "nodes[0].rotation",
            "length 0.0000",
        ),
        (
            node("rotation", json!([0, 0.75, 0, 0.75])),
            "nodes[0].rotation",
            "length 1.06",
        ),
        (node("translation", json!([0, 2e9, 0])), position, "2.000e9"),
        (node("scale", json!([1e38, 1, 1])), position, "1.000e38"),
        (
            vec![("/accessors/0/sparse", falling)],
            "accessors[0].sparse.indices",
            "follows 2",
        ),
        (
            vec![("/accessors/0/sparse", twice)],
            "accessors[0].sparse.indices",
            "follows 0",
        ),
        (
            vec![
                ("/accessors/0/bufferView", Value::Null),
                (
                    "/meshes/0/primitives/0/extensions",
                    json!({ "KHR_draco_mesh_compression": { "bufferView": 0 } }),
                ),
            ],
            draco,
            "Draco",
        ),
    ];
    for (key, value) in [("translation", [0.0; 3]), ("scale", [1.0; 3])] {
        let both = json!({ "mesh": 0, "matrix": matrix(0, 1.0), key: value });
        cases.push((vec![("/nodes/0", both)], "nodes[0].matrix", "as well"));
    }
    for version in ["2.1", "3.0", "2", "x", "2.0.1", "2.+0"] {
        let changes = vec![("/asset/minVersion", json!(version))];
        cases.push((changes, "asset.minVersion", "reader"));
    }
    cases
}

#[test]
fn each_fault_is_told_with_its_place_and_what_would_be_right() {
    let (_, binary) = square();
    let cases = broken();
    assert!(cases.len() >= 50, "{}", cases.len());
    for (changes, place, word) in cases.into_iter().chain(contradictory()) {
        let document = square_with(&changes);
        let error = read_bytes(&glb(&document, &binary), Path::new("")).unwrap_err();
        assert_eq!(error.kind, ErrorKind::Input, "{changes:?}");
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
