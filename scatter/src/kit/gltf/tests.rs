//! Files made by hand, good and broken. Files that others made are checked in the workspace's
//! `tests`.

use std::path::Path;

use serde_json::{Value, json};

mod bytes;
mod faults;
mod geometry;
mod sayings;
mod tangents;
mod textures;

use super::read_bytes;
use crate::kit::Part;

/// A binary file of the two chunks.
pub(in crate::kit) fn glb(json: &Value, binary: &[u8]) -> Vec<u8> {
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

/// A unit square in the plane z = 0 with colours, seen from +z: positions at 0, indices at 48,
/// colours at 60.
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
