//! Meshes with their materials, and the textures that these read.

use std::borrow::Cow;

use glam::Vec3;
use serde_json::{Value, json};

use super::{FLOAT, GltfDocument};
use crate::deliver::glb::stream::BufferBlock;
use crate::deliver::{materials, tangents};
use crate::kit::{Material, Mesh, Part, Texture, Wrap};

// Component types, buffer targets and wraps as the specification numbers them.
const UNSIGNED_SHORT: u32 = 5123;
const UNSIGNED_INT: u32 = 5125;
const ARRAY_BUFFER: u32 = 34962;
const ELEMENT_ARRAY_BUFFER: u32 = 34963;
const REPEAT: u32 = 10497;
const MIRRORED_REPEAT: u32 = 33648;
const CLAMP_TO_EDGE: u32 = 33071;

impl<'a> GltfDocument<'a> {
    /// Adds a mesh of all parts that have triangles; none if no part has.
    pub(super) fn mesh(&mut self, name: &str, parts: &'a [Part]) -> Option<usize> {
        let primitives: Vec<Value> = parts
            .iter()
            .filter(|part| !part.mesh.indices.is_empty())
            .map(|part| self.primitive(&part.mesh, &part.material))
            .collect();
        if primitives.is_empty() {
            return None;
        }
        self.meshes
            .push(json!({ "name": name, "primitives": primitives }));
        Some(self.meshes.len() - 1)
    }

    fn primitive(&mut self, mesh: &'a Mesh, material: &'a Material) -> Value {
        let made = material.normal_texture.as_ref().and(tangents::of(mesh));
        let (tangents, again, corners) = match made {
            Some(made) => (Some(made.tangents), made.again, made.indices),
            None => (None, Vec::new(), Cow::Borrowed(&mesh.indices[..])),
        };
        let count = mesh.positions.len() + again.len();
        let vertex = Some(ARRAY_BUFFER);
        let positions = BufferBlock::Vectors(with(&mesh.positions, &again));
        let positions = self.accessor(positions, "VEC3", FLOAT, count, vertex);
        let (min, max) = bounds(&mesh.positions);
        self.accessors[positions]["min"] = json!(min.to_array());
        self.accessors[positions]["max"] = json!(max.to_array());
        let normals = BufferBlock::Vectors(with(&mesh.normals, &again));
        let normals = self.accessor(normals, "VEC3", FLOAT, count, vertex);
        let mut attributes = json!({ "POSITION": positions, "NORMAL": normals });
        if !mesh.colors.is_empty() {
            let block = BufferBlock::Colors(with(&mesh.colors, &again));
            let colors = self.accessor(block, "VEC4", UNSIGNED_SHORT, count, vertex);
            self.accessors[colors]["normalized"] = json!(true);
            attributes["COLOR_0"] = json!(colors);
        }
        if let Some(tangents) = tangents {
            let block = BufferBlock::Tangents(tangents);
            attributes["TANGENT"] = json!(self.accessor(block, "VEC4", FLOAT, count, vertex));
        }
        if material.textures().next().is_some() {
            let block = BufferBlock::Pairs(with(&mesh.uvs, &again));
            attributes["TEXCOORD_0"] = json!(self.accessor(block, "VEC2", FLOAT, count, vertex));
        }
        let listed = corners.len();
        // The largest 16-bit value restarts a primitive, so it is no index.
        let (block, component) = if count <= usize::from(u16::MAX) {
            (BufferBlock::ShortIndices(corners), UNSIGNED_SHORT)
        } else {
            (BufferBlock::Indices(corners), UNSIGNED_INT)
        };
        let target = Some(ELEMENT_ARRAY_BUFFER);
        let indices = self.accessor(block, "SCALAR", component, listed, target);
        json!({
            "attributes": attributes,
            "indices": indices,
            "material": self.material(material),
        })
    }

    /// Adds a texture, its picture and its sampler, or finds the same ones.
    fn texture(&mut self, texture: &'a Texture) -> usize {
        let source = self.pictures.add(texture);
        if source == self.images.len() {
            let view = self.view(BufferBlock::Bytes(&texture.bytes), None);
            self.images.push(json!({
                "name": texture.name,
                "bufferView": view,
                "mimeType": texture.encoding.mime(),
            }));
        }
        let [s, t] = texture.wrap.map(|wrap| match wrap {
            Wrap::Repeat => REPEAT,
            Wrap::Mirror => MIRRORED_REPEAT,
            Wrap::Clamp => CLAMP_TO_EDGE,
        });
        let sampler = place_of(&mut self.samplers, json!({ "wrapS": s, "wrapT": t }));
        place_of(
            &mut self.textures,
            json!({ "source": source, "sampler": sampler }),
        )
    }

    /// Adds a material, or finds the same one.
    fn material(&mut self, material: &'a Material) -> usize {
        if let Some(known) = self.known_materials.iter().position(|&m| m == material) {
            return known;
        }
        self.known_materials.push(material);
        let value = materials::gltf(material, |texture| self.texture(texture));
        self.materials.push(value);
        self.materials.len() - 1
    }
}

/// A list with some of its items once more at its end.
fn with<'a, T: Copy>(list: &'a [T], again: &[u32]) -> Cow<'a, [T]> {
    if again.is_empty() {
        return Cow::Borrowed(list);
    }
    let added = again.iter().map(|i| list[*i as usize]);
    list.iter().copied().chain(added).collect()
}

/// Where a value stands in a list, at whose end it is put if it is not there.
fn place_of(list: &mut Vec<Value>, value: Value) -> usize {
    list.iter().position(|v| *v == value).unwrap_or_else(|| {
        list.push(value);
        list.len() - 1
    })
}

fn bounds(points: &[Vec3]) -> (Vec3, Vec3) {
    points
        .iter()
        .fold((Vec3::INFINITY, Vec3::NEG_INFINITY), |(low, high), &p| {
            (low.min(p), high.max(p))
        })
}
