//! glTF files, each with other parts of the format.

use std::fs;

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use jpeg_encoder::ColorType;
use serde_json::{Value, json};

use super::images::{photograph, picture};
use crate::readers::Desk;
use crate::{meshes, shot_files};

/// A buffer that grows, with the views and accessors of it.
#[derive(Default)]
struct Builder {
    binary: Vec<u8>,
    views: Vec<Value>,
    accessors: Vec<Value>,
}

/// Component types of glTF 2.0.
const BYTE: u32 = 5120;
const UNSIGNED_BYTE: u32 = 5121;
const SHORT: u32 = 5122;
const UNSIGNED_SHORT: u32 = 5123;
const FLOAT: u32 = 5126;

impl Builder {
    /// The number of a view of these bytes.
    fn view(&mut self, bytes: &[u8]) -> usize {
        self.binary.resize(self.binary.len().next_multiple_of(4), 0);
        let at = self.binary.len();
        self.binary.extend(bytes);
        let view = json!({ "buffer": 0, "byteOffset": at, "byteLength": bytes.len() });
        self.views.push(view);
        self.views.len() - 1
    }

    /// The number of an accessor of these bytes.
    fn accessor(&mut self, bytes: &[u8], component: u32, kind: &str, count: usize) -> usize {
        let view = self.view(bytes);
        self.accessors.push(json!({
            "bufferView": view, "componentType": component, "type": kind, "count": count
        }));
        self.accessors.len() - 1
    }

    /// The number of an accessor of floats, `width` an element.
    fn floats(&mut self, values: &[f32], width: usize) -> usize {
        let bytes: Vec<u8> = values.iter().flat_map(|v| v.to_le_bytes()).collect();
        let kind = ["", "SCALAR", "VEC2", "VEC3", "VEC4"][width];
        self.accessor(&bytes, FLOAT, kind, values.len() / width)
    }

    /// The document's own parts, with the buffer's.
    fn document(&self, mut parts: Value) -> Value {
        parts["asset"] = json!({ "version": "2.0" });
        parts["bufferViews"] = json!(self.views);
        parts["accessors"] = json!(self.accessors);
        parts["buffers"] = json!([{ "byteLength": self.binary.len() }]);
        parts
    }

    fn file(&self, parts: Value) -> Vec<u8> {
        meshes::glb(&self.document(parts), &self.binary)
    }
}

/// A tent over a square: four corners and a top, 16 floats and their neighbours.
const TENT: [f32; 15] = [
    -0.1, 0.0, -0.1, 0.1, 0.0, -0.1, 0.1, 0.0, 0.1, -0.1, 0.0, 0.1, 0.0, 0.08, 0.0,
];
/// Its four sides and its floor.
const SIDES: [u8; 18] = [0, 4, 1, 1, 4, 2, 2, 4, 3, 3, 4, 0, 0, 1, 2, 0, 2, 3];

pub(super) fn all(desk: &Desk) -> Vec<(String, Vec<u8>)> {
    let kept = |name: &str| fs::read(desk.folder().join(name)).expect("a file");
    let files = [
        ("stone.glb", kept(shot_files::STONE)),
        ("needle.glb", kept(shot_files::NEEDLE)),
        ("film.glb", kept(shot_files::FILM)),
        ("hills.glb", hills()),
        ("textured.glb", textured()),
        ("embedded.gltf", embedded()),
        ("strips.glb", strips()),
        ("sparse.glb", sparse()),
        ("quantized.glb", quantized()),
        ("squeezed.glb", squeezed()),
        ("crane.glb", crane()),
    ];
    let named = |(name, bytes): (&str, _)| (format!("gltf/{name}"), bytes);
    files.into_iter().map(named).collect()
}

/// A sheet of hills: enough triangles for a patch.
fn hills() -> Vec<u8> {
    const SIDE: u32 = 13;
    let corner = |i: u32| {
        let (x, z) = ((i % SIDE) as f32 * 0.1, (i / SIDE) as f32 * 0.1);
        [
            x - 0.6,
            0.1 * libm::sinf(7.0 * x) * libm::cosf(5.0 * z),
            z - 0.6,
        ]
    };
    let squares = (0..SIDE * (SIDE - 1)).filter(|i| i % SIDE + 1 < SIDE);
    let halves = |a| [[a, a + SIDE, a + 1], [a + 1, a + SIDE, a + SIDE + 1]];
    let positions: Vec<_> = (0..SIDE * SIDE).map(corner).collect();
    meshes::mesh(&positions, &squares.flat_map(halves).collect::<Vec<_>>())
}

/// Textures in views, a transform of them, colours, normals, a cut.
fn textured() -> Vec<u8> {
    let mut b = Builder::default();
    let positions = b.floats(&TENT, 3);
    let normals = b.floats(&[0.0, 1.0, 0.0].repeat(5), 3);
    let uvs = b.floats(&[0.0, 0.0, 1.0, 0.0, 1.0, 1.0, 0.0, 1.0, 0.5, 0.5], 2);
    let colors = b.accessor(&[255, 128, 0, 255].repeat(5), UNSIGNED_BYTE, "VEC4", 5);
    b.accessors[colors]["normalized"] = json!(true);
    let indices = b.accessor(&SIDES, UNSIGNED_BYTE, "SCALAR", SIDES.len());
    let png = b.view(&picture(png::ColorType::Rgb, png::BitDepth::Eight));
    let jpeg = b.view(&photograph(ColorType::Rgb, false));
    let moved = json!({ "KHR_texture_transform": { "offset": [0.1, 0.2], "rotation": 0.3, "scale": [2, 3] } });
    b.file(json!({
        "scene": 0, "scenes": [{ "nodes": [0] }], "nodes": [{ "mesh": 0, "name": "tent" }],
        "extensionsUsed": ["KHR_texture_transform"],
        "meshes": [{ "primitives": [{ "indices": indices, "material": 0, "attributes": {
            "POSITION": positions, "NORMAL": normals, "TEXCOORD_0": uvs, "COLOR_0": colors } }] }],
        "materials": [{ "name": "canvas", "alphaMode": "MASK", "alphaCutoff": 0.4, "doubleSided": true,
            "normalTexture": { "index": 1, "scale": 0.5 },
            "pbrMetallicRoughness": { "baseColorFactor": [1, 0.5, 0.2, 1], "roughnessFactor": 0.7, "metallicFactor": 0.1,
                "baseColorTexture": { "index": 0, "extensions": moved },
                "metallicRoughnessTexture": { "index": 1 } } }],
        "textures": [{ "source": 0, "sampler": 0 }, { "source": 1 }],
        "samplers": [{ "wrapS": 33071, "wrapT": 33648 }],
        "images": [{ "bufferView": png, "mimeType": "image/png" }, { "bufferView": jpeg, "mimeType": "image/jpeg" }]
    }))
}

/// JSON alone, with its buffer and a texture as text.
fn embedded() -> Vec<u8> {
    let mut b = Builder::default();
    let positions = b.floats(&TENT, 3);
    let uvs = b.floats(&[0.5; 10], 2);
    let indices = b.accessor(&SIDES, UNSIGNED_BYTE, "SCALAR", SIDES.len());
    let data = |kind: &str, bytes: &[u8]| format!("data:{kind};base64,{}", STANDARD.encode(bytes));
    let image = picture(png::ColorType::Rgba, png::BitDepth::Sixteen);
    let mut document = b.document(json!({
        "scenes": [{ "nodes": [0] }], "nodes": [{ "mesh": 0 }],
        "meshes": [{ "primitives": [{ "indices": indices, "material": 0,
            "attributes": { "POSITION": positions, "TEXCOORD_0": uvs } }] }],
        "materials": [{ "alphaMode": "BLEND", "pbrMetallicRoughness": { "baseColorTexture": { "index": 0 } } }],
        "textures": [{ "source": 0 }],
        "images": [{ "uri": data("image/png", &image) }]
    }));
    document["buffers"][0]["uri"] = json!(data("application/octet-stream", &b.binary));
    document.to_string().into_bytes()
}

/// Strips, fans and lines, no indices, nodes that carry others, matrices, two roots.
fn strips() -> Vec<u8> {
    let mut b = Builder::default();
    let positions = b.floats(&TENT, 3);
    let shorts: Vec<u8> = [0_u16, 1, 4, 2, 3]
        .iter()
        .flat_map(|v| v.to_le_bytes())
        .collect();
    let indices = b.accessor(&shorts, UNSIGNED_SHORT, "SCALAR", 5);
    let primitive = |mode: u32| json!({ "mode": mode, "attributes": { "POSITION": positions } });
    let mut strip = primitive(5);
    strip["indices"] = json!(indices);
    b.file(json!({
        "scene": 0, "scenes": [{ "nodes": [0, 2] }],
        "nodes": [
            { "children": [1], "translation": [0, 0.1, 0], "rotation": [0, 0.6, 0, 0.8], "scale": [1, 2, -1] },
            { "mesh": 0, "matrix": [1, 0, 0, 0, 0, 0, 1, 0, 0, -1, 0, 0, 0.2, 0, 0, 1] },
            { "mesh": 1, "name": "fan" }
        ],
        "meshes": [{ "name": "strip", "primitives": [strip, primitive(1)] }, { "primitives": [primitive(6)] }]
    }))
}

/// Some places in a list of their own.
fn sparse() -> Vec<u8> {
    let mut b = Builder::default();
    let positions = b.floats(&TENT, 3);
    let indices = b.accessor(&SIDES, UNSIGNED_BYTE, "SCALAR", SIDES.len());
    let (at, new) = (b.view(&[1, 4]), b.view(&[0; 24]));
    b.accessors[positions]["sparse"] = json!({
        "count": 2, "indices": { "bufferView": at, "componentType": UNSIGNED_BYTE }, "values": { "bufferView": new }
    });
    b.file(json!({
        "scenes": [{ "nodes": [0] }], "nodes": [{ "mesh": 0 }],
        "meshes": [{ "primitives": [{ "indices": indices, "attributes": { "POSITION": positions } }] }]
    }))
}

/// Places and normals in whole numbers, side by side in one view.
fn quantized() -> Vec<u8> {
    const STRIDE: usize = 12;
    let mut b = Builder::default();
    let mut bytes = Vec::new();
    for corner in TENT.chunks_exact(3) {
        let whole = corner.iter().map(|v| (v * 200_000.0) as i16);
        bytes.extend(whole.flat_map(i16::to_le_bytes));
        bytes.extend([0, 0, 0, 127, 0, 0]);
    }
    let positions = b.accessor(&bytes, SHORT, "VEC3", 5);
    b.views[0]["byteStride"] = json!(STRIDE);
    b.accessors.push(
        json!({ "bufferView": 0, "byteOffset": 8, "componentType": BYTE, "type": "VEC3",
        "count": 5, "normalized": true }),
    );
    b.accessors[positions]["normalized"] = json!(true);
    let indices = b.accessor(&SIDES, UNSIGNED_BYTE, "SCALAR", SIDES.len());
    b.file(json!({
        "extensionsUsed": ["KHR_mesh_quantization"], "extensionsRequired": ["KHR_mesh_quantization"],
        "scenes": [{ "nodes": [0] }], "nodes": [{ "mesh": 0, "scale": [0.2, 0.2, 0.2] }],
        "meshes": [{ "primitives": [{ "indices": indices, "attributes": { "POSITION": positions, "NORMAL": 1 } }] }]
    }))
}

fn triangles() -> Vec<u32> {
    SIDES.map(u32::from).to_vec()
}

fn corners() -> Vec<[f32; 3]> {
    TENT.chunks_exact(3).map(|c| [c[0], c[1], c[2]]).collect()
}

/// Views that are compressed.
fn squeezed() -> Vec<u8> {
    let mut b = Builder::default();
    let places = meshopt::encode_vertex_buffer(&corners()).expect("places");
    let faces = meshopt::encode_index_buffer(&triangles(), 5).expect("triangles");
    for (data, mode, stride, count) in [
        (places, "ATTRIBUTES", 12, 5),
        (faces, "TRIANGLES", 2, SIDES.len()),
    ] {
        let view = b.view(&data);
        let mut told = b.views[view].clone();
        for (key, value) in [
            ("byteStride", json!(stride)),
            ("count", json!(count)),
            ("mode", json!(mode)),
        ] {
            told[key] = value;
        }
        b.views[view] = json!({ "buffer": 0, "byteLength": stride * count,
            "extensions": { "EXT_meshopt_compression": told } });
    }
    b.accessors = vec![
        json!({ "bufferView": 0, "componentType": FLOAT, "type": "VEC3", "count": 5 }),
        json!({ "bufferView": 1, "componentType": UNSIGNED_SHORT, "type": "SCALAR", "count": SIDES.len() }),
    ];
    b.file(json!({
        "extensionsUsed": ["EXT_meshopt_compression"], "extensionsRequired": ["EXT_meshopt_compression"],
        "scenes": [{ "nodes": [0] }], "nodes": [{ "mesh": 0 }],
        "meshes": [{ "primitives": [{ "indices": 1, "attributes": { "POSITION": 0 } }] }]
    }))
}

/// A camera on an arm, both turned over time, each with its own interpolation.
fn crane() -> Vec<u8> {
    let mut b = Builder::default();
    let times = b.floats(&[0.0, 0.5, 2.0], 1);
    let turns = b.floats(
        &[0.0, 0.0, 0.0, 1.0, 0.0, 0.6, 0.0, 0.8, 0.0, 1.0, 0.0, 0.0],
        4,
    );
    // Tangent, value, tangent, for each of three keys
    let places: Vec<f32> = (0..27).map(|i| (i % 5) as f32 * 0.1).collect();
    let places = b.floats(&places, 3);
    let scales = b.floats(&[1.0; 9], 3);
    b.file(json!({
        "scenes": [{ "nodes": [0] }],
        "nodes": [
            { "name": "arm", "children": [1], "translation": [0, 1, 0] },
            { "name": "lens", "camera": 0, "rotation": [-0.38, 0, 0, 0.92] }
        ],
        "cameras": [{ "type": "perspective", "perspective": { "yfov": 0.6, "aspectRatio": 1.5, "znear": 0.05, "zfar": 3 } }],
        "animations": [{
            "samplers": [
                { "input": times, "output": turns }, { "input": times, "output": places, "interpolation": "CUBICSPLINE" },
                { "input": times, "output": scales, "interpolation": "STEP" }
            ],
            "channels": [
                { "sampler": 0, "target": { "node": 0, "path": "rotation" } },
                { "sampler": 1, "target": { "node": 1, "path": "translation" } },
                { "sampler": 2, "target": { "node": 0, "path": "scale" } }
            ]
        }]
    }))
}

/// What the reader of compressed views is given: mode, filter, size and number of elements, data.
pub(super) fn compressed() -> Vec<(String, Vec<u8>)> {
    let head = |mode: u8, filter: u8, stride: u8, count: u16, data: Vec<u8>| {
        let [low, high] = count.to_le_bytes();
        [vec![mode, filter, stride, low, high], data].concat()
    };
    let places = meshopt::encode_vertex_buffer(&corners()).expect("places");
    // Blocks have a few hundred elements: more than one
    let many: Vec<[f32; 3]> = (0..900).map(|i| [i as f32, (i % 7) as f32, 0.5]).collect();
    let many = meshopt::encode_vertex_buffer(&many).expect("places");
    let faces = meshopt::encode_index_buffer(&triangles(), 5).expect("triangles");
    // A sequence of indices: each by its distance from one of the two before, twice and folded
    let sequence = vec![0xd1, 0, 4, 4, 8, 1, 0, 0, 0, 0];
    let all = [
        ("places", head(0, 0, 12, 5, places.clone())),
        ("exponential", head(0, 3, 12, 5, places)),
        ("many", head(0, 0, 12, 900, many)),
        (
            "triangles",
            head(1, 0, 4, SIDES.len() as u16, faces.clone()),
        ),
        ("triangles-16", head(1, 0, 2, SIDES.len() as u16, faces)),
        ("sequence", head(2, 0, 4, 5, sequence)),
    ];
    all.into_iter()
        .map(|(name, bytes)| (format!("meshopt/{name}.bin"), bytes))
        .collect()
}
