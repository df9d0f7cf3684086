//! A small reader of instanced GLB files that shares no code with the writer.
//!
//! It checks what glTF validators are silent on. Source of the rules: Khronos Group,
//! `EXT_mesh_gpu_instancing` (README of the extension); and "glTF 2.0 Specification", 2021,
//! sections 3.6 (binary data) and 4.4 (GLB).

use glam::{DMat4, DQuat, DVec3};
use serde_json::Value;

const EXTENSION: &str = "EXT_mesh_gpu_instancing";
const UNSIGNED_SHORT: u64 = 5123;
const UNSIGNED_INT: u64 = 5125;
const FLOAT: u64 = 5126;

/// An instanced file taken apart.
#[derive(Debug)]
pub struct Glb {
    /// The JSON chunk.
    pub json: Value,
    /// The binary chunk.
    pub binary: Vec<u8>,
}

/// A node with many copies of its mesh.
#[derive(Debug)]
pub struct Instanced {
    /// The node's name.
    pub name: String,
    /// World transform of each copy.
    pub world_from_mesh: Vec<DMat4>,
}

impl Glb {
    /// Takes a file apart.
    ///
    /// # Errors
    /// What is wrong with its chunks.
    pub fn open(bytes: &[u8]) -> Result<Self, String> {
        let word = |at: usize| {
            let bytes = bytes.get(at..at + 4).ok_or("cut short")?;
            Ok::<usize, String>(bytes.iter().rev().fold(0, |v, &b| v << 8 | usize::from(b)))
        };
        if bytes.get(..4) != Some(b"glTF") || word(4)? != 2 {
            return Err("not a GLB of version 2".to_owned());
        }
        if word(8)? != bytes.len() {
            return Err(format!(
                "length {} in a file of {} bytes",
                word(8)?,
                bytes.len()
            ));
        }
        let mut chunks = Vec::new();
        let mut at = 12;
        while at < bytes.len() {
            let length = word(at)?;
            if !length.is_multiple_of(4) {
                return Err(format!("the chunk at {at} is not padded"));
            }
            let data = bytes
                .get(at + 8..at + 8 + length)
                .ok_or("a chunk is cut short")?;
            chunks.push((&bytes[at + 4..at + 8], data));
            at += 8 + length;
        }
        let json = match chunks.first() {
            Some((b"JSON", json)) => serde_json::from_slice(json).map_err(|e| e.to_string())?,
            _ => return Err("no JSON chunk at the front".to_owned()),
        };
        let binary = match chunks.get(1) {
            Some((b"BIN\0", binary)) => binary.to_vec(),
            Some(_) => return Err("the second chunk is not BIN".to_owned()),
            None => Vec::new(),
        };
        Ok(Self { json, binary })
    }

    /// All instanced nodes, in the order of the file, if everything about them is as the extension
    /// wants it.
    ///
    /// # Errors
    /// Every fault found.
    pub fn instanced(&self) -> Result<Vec<Instanced>, Vec<String>> {
        let mut faults = Vec::new();
        let mut found = Vec::new();
        let nodes = self.json["nodes"].as_array().map_or(&[][..], Vec::as_slice);
        for (i, node) in nodes.iter().enumerate() {
            if let Some(extension) = node["extensions"].get(EXTENSION) {
                match self.node(i, node, extension) {
                    Ok(instanced) => found.push(instanced),
                    Err(fault) => faults.push(format!("nodes[{i}]: {fault}")),
                }
            }
        }
        for list in ["extensionsUsed", "extensionsRequired"] {
            let names = self.json[list].as_array();
            let listed = names.is_some_and(|names| names.iter().any(|n| n == EXTENSION));
            if listed == (found.is_empty() && faults.is_empty()) {
                faults.push(format!(
                    "{list}: the extension is used or listed, but not both"
                ));
            }
        }
        if faults.is_empty() {
            Ok(found)
        } else {
            Err(faults)
        }
    }

    /// Corners of all primitives of a node's mesh, in the mesh's frame.
    ///
    /// # Errors
    /// There is no such node or mesh, or it can't be read.
    pub fn corners(&self, node: &str) -> Result<Vec<DVec3>, String> {
        let nodes = self.json["nodes"].as_array().ok_or("no nodes")?;
        let node = nodes.iter().find(|n| n["name"] == node);
        let mesh = node.and_then(|n| n["mesh"].as_u64()).ok_or("no mesh")? as usize;
        let primitives = self.json["meshes"][mesh]["primitives"].as_array();
        let mut corners = Vec::new();
        for primitive in primitives.ok_or("no primitives")? {
            let floats = self.floats(&primitive["attributes"]["POSITION"], "VEC3", 3)?;
            corners.extend(floats.chunks_exact(3).map(DVec3::from_slice));
        }
        Ok(corners)
    }

    /// Triangles of a node's mesh, moved by the node's and its ancestors' translations.
    ///
    /// # Errors
    /// As [`Self::corners`]; or the mesh has several primitives, or indices of another kind than
    /// whole numbers of 16 or 32 bits.
    pub fn triangles(&self, node: &str) -> Result<Vec<[DVec3; 3]>, String> {
        let corners = self.corners(node)?;
        let nodes = self.json["nodes"].as_array().ok_or("no nodes")?;
        let index = nodes.iter().position(|n| n["name"] == node);
        let index = index.ok_or("no such node")?;
        let world = self.world_from_node(index)?;
        let mesh = nodes[index]["mesh"].as_u64().ok_or("no mesh")? as usize;
        let primitives = &self.json["meshes"][mesh]["primitives"];
        if primitives.as_array().map(Vec::len) != Some(1) {
            return Err("not one primitive".to_owned());
        }
        let accessor = primitives[0]["indices"].as_u64().ok_or("no indices")? as usize;
        let accessor = &self.json["accessors"][accessor];
        let width = match accessor["componentType"].as_u64() {
            Some(UNSIGNED_SHORT) => 2,
            Some(UNSIGNED_INT) => 4,
            other => return Err(format!("indices of {other:?}")),
        };
        let number = |value: &Value| value.as_u64().unwrap_or(0) as usize;
        let view = &self.json["bufferViews"][number(&accessor["bufferView"])];
        let begin = number(&view["byteOffset"]) + number(&accessor["byteOffset"]);
        let end = begin + width * number(&accessor["count"]);
        let bytes = self.binary.get(begin..end).ok_or("indices pass the end")?;
        // Little end first
        let corner = |b: &[u8]| {
            let index = b.iter().rev().fold(0, |v, &b| v << 8 | usize::from(b));
            let corner = corners.get(index).ok_or("an index points nowhere")?;
            Ok::<DVec3, String>(world.transform_point3(*corner))
        };
        bytes
            .chunks_exact(3 * width)
            .map(|t| {
                let [a, b, c] = [0, 1, 2].map(|k| corner(&t[k * width..(k + 1) * width]));
                Ok([a?, b?, c?])
            })
            .collect()
    }

    fn node(&self, index: usize, node: &Value, extension: &Value) -> Result<Instanced, String> {
        let mesh = node["mesh"].as_u64().ok_or("instances without a mesh")?;
        self.json["meshes"]
            .get(mesh as usize)
            .ok_or("its mesh is missing")?;
        let attributes = extension["attributes"].as_object().ok_or("no attributes")?;
        // The extension leaves names that begin with an underscore to whoever writes the file
        let own = |name: &&String| !name.starts_with('_');
        let known = attributes.keys().filter(own);
        if known.ne(["ROTATION", "SCALE", "TRANSLATION"]) {
            return Err(format!(
                "attributes are {:?}",
                attributes.keys().collect::<Vec<_>>()
            ));
        }
        let read = |name: &str, kind: &str, width| {
            self.floats(&attributes[name], kind, width)
                .map_err(|fault| format!("{name}: {fault}"))
        };
        let translations = read("TRANSLATION", "VEC3", 3)?;
        let rotations = read("ROTATION", "VEC4", 4)?;
        let scales = read("SCALE", "VEC3", 3)?;
        let counts = [
            translations.len() / 3,
            rotations.len() / 4,
            scales.len() / 3,
        ];
        if counts != [counts[0]; 3] {
            return Err(format!("counts differ: {counts:?}"));
        }
        if attributes.contains_key("_COLOR_0") {
            let colors = read("_COLOR_0", "VEC3", 3)?;
            if colors.len() != 3 * counts[0] {
                return Err(format!("_COLOR_0 has {} numbers", colors.len()));
            }
        }
        let world = self.world_from_node(index)?;
        let mut world_from_mesh = Vec::new();
        for i in 0..counts[0] {
            let quaternion = DQuat::from_slice(&rotations[4 * i..]);
            // Four numbers of 32 bits are off unit length by less than this.
            if (quaternion.length() - 1.0).abs() > 1e-6 {
                return Err(format!("ROTATION {i} has length {}", quaternion.length()));
            }
            let scale = DVec3::from_slice(&scales[3 * i..]);
            if scale.min_element() <= 0.0 {
                return Err(format!("SCALE {i} is {scale}"));
            }
            let translation = DVec3::from_slice(&translations[3 * i..]);
            world_from_mesh.push(
                world * DMat4::from_scale_rotation_translation(scale, quaternion, translation),
            );
        }
        Ok(Instanced {
            name: node["name"].as_str().unwrap_or_default().to_owned(),
            world_from_mesh,
        })
    }

    /// Floats of an accessor of the given type, from its own bytes.
    fn floats(&self, index: &Value, kind: &str, width: usize) -> Result<Vec<f64>, String> {
        let index = index.as_u64().ok_or("no accessor index")? as usize;
        let accessor = self.json["accessors"]
            .get(index)
            .ok_or(format!("accessor {index} is missing"))?;
        if accessor["type"] != kind || accessor["componentType"] != FLOAT {
            return Err(format!(
                "{} of {}",
                accessor["type"], accessor["componentType"]
            ));
        }
        let number = |value: &Value| value.as_u64().unwrap_or(0) as usize;
        let view = self.json["bufferViews"]
            .get(accessor["bufferView"].as_u64().ok_or("no bufferView")? as usize)
            .ok_or("its bufferView is missing")?;
        let offset = number(&accessor["byteOffset"]);
        let length = number(&accessor["count"]) * width * 4;
        if view.get("byteStride").is_some() || offset + length > number(&view["byteLength"]) {
            return Err("the elements do not lie close in their view".to_owned());
        }
        let begin = number(&view["byteOffset"]) + offset;
        if !begin.is_multiple_of(4) {
            return Err(format!("begins at byte {begin}"));
        }
        let bytes = self
            .binary
            .get(begin..begin + length)
            .ok_or("passes the end of the file")?;
        let floats: Vec<f64> = bytes
            .chunks_exact(4)
            .map(|b| f64::from(f32::from_le_bytes([b[0], b[1], b[2], b[3]])))
            .collect();
        if floats.iter().all(|f| f.is_finite()) {
            Ok(floats)
        } else {
            Err("a number is not finite".to_owned())
        }
    }

    /// World transform of a node whose ancestors only move.
    fn world_from_node(&self, index: usize) -> Result<DMat4, String> {
        let nodes = self.json["nodes"].as_array().ok_or("no nodes")?;
        let mut world = DMat4::IDENTITY;
        let mut at = Some(index);
        // No chain is longer than the list.
        for _ in 0..nodes.len() {
            let Some(node) = at else { break };
            for key in ["rotation", "scale", "matrix"] {
                if nodes[node].get(key).is_some() && node != index {
                    return Err(format!("its ancestor has a {key}"));
                }
            }
            if let Some(translation) = nodes[node]["translation"].as_array() {
                let [x, y, z] = [0, 1, 2].map(|i| translation[i].as_f64().unwrap_or(f64::NAN));
                world = DMat4::from_translation(DVec3::new(x, y, z)) * world;
            }
            at = nodes.iter().position(|parent| {
                let children = parent["children"].as_array();
                children.is_some_and(|c| c.iter().any(|child| child.as_u64() == Some(node as u64)))
            });
        }
        Ok(world)
    }
}
