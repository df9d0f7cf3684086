//! What goes where in the file, before a byte of it is written.

use std::collections::BTreeMap;
use std::io::{self, Write};

use glam::{DVec3, Vec3};
use serde_json::{Map, Value, json};

use super::root_translation;
use super::stream::Block;
use crate::deliver::GENERATOR;
use crate::error::{Error, Fault, Kind, Result};
use crate::kit::{Material, Mesh};
use crate::layout::Layout;
use crate::optics::Camera;

/// The extension's name.
const INSTANCING: &str = "EXT_mesh_gpu_instancing";

// Component types and buffer targets as the specification numbers them.
const UNSIGNED_SHORT: u32 = 5123;
const UNSIGNED_INT: u32 = 5125;
const FLOAT: u32 = 5126;
const ARRAY_BUFFER: u32 = 34962;
const ELEMENT_ARRAY_BUFFER: u32 = 34963;

/// File header (12 bytes) and the head of one chunk (8 bytes).
const HEADER_BYTES: u64 = 12;
const CHUNK_HEAD_BYTES: u64 = 8;

/// A planned file: its JSON part, and the blocks of its binary part as borrowed slices of the layout.
#[derive(Debug)]
pub struct Glb<'a> {
    json: Vec<u8>,
    blocks: Vec<Block<'a>>,
    binary_bytes: u64,
}

impl<'a> Glb<'a> {
    /// Plans the file for `layout`. Its size is that of the JSON part, some kilobytes a pass and piece.
    ///
    /// # Errors
    /// [`Kind::Failed`] if the file would pass the format's 4 GiB, or if a placed piece has no triangles.
    pub fn plan(layout: &'a Layout) -> Result<Self> {
        let mut document = Document::default();
        document.dress(layout)?;
        let binary_bytes = document.bytes;
        let blocks = std::mem::take(&mut document.blocks);
        let mut json = document.json(layout).to_string().into_bytes();
        while !json.len().is_multiple_of(4) {
            json.push(b' ');
        }
        let glb = Self {
            json,
            blocks,
            binary_bytes,
        };
        if u32::try_from(glb.bytes()).is_err() {
            return Err(Error::new(
                Kind::Failed,
                Fault::new(
                    "",
                    format!(
                        "the file would take {} bytes; a GLB ends at 4 GiB",
                        glb.bytes()
                    ),
                    "deliver this layout as json, or in several shots",
                ),
            ));
        }
        Ok(glb)
    }

    /// The file's length in bytes.
    #[must_use]
    pub fn bytes(&self) -> u64 {
        let binary = if self.binary_bytes > 0 {
            CHUNK_HEAD_BYTES + self.binary_bytes
        } else {
            0
        };
        HEADER_BYTES + CHUNK_HEAD_BYTES + self.json.len() as u64 + binary
    }

    /// Writes the file as a stream.
    ///
    /// # Errors
    /// Whatever `out` returns.
    pub fn write<W: Write>(&self, out: &mut W) -> io::Result<()> {
        out.write_all(b"glTF")?;
        out.write_all(&2_u32.to_le_bytes())?;
        write_length(out, self.bytes())?;
        write_length(out, self.json.len() as u64)?;
        out.write_all(b"JSON")?;
        out.write_all(&self.json)?;
        if self.binary_bytes > 0 {
            write_length(out, self.binary_bytes)?;
            out.write_all(b"BIN\0")?;
            self.blocks.iter().try_for_each(|block| block.write(out))?;
        }
        Ok(())
    }
}

fn write_length<W: Write>(out: &mut W, length: u64) -> io::Result<()> {
    let length = u32::try_from(length).map_err(io::Error::other)?;
    out.write_all(&length.to_le_bytes())
}

/// The parts of the glTF document as they come together.
#[derive(Default)]
struct Document<'a> {
    bytes: u64,
    blocks: Vec<Block<'a>>,
    views: Vec<Value>,
    accessors: Vec<Value>,
    materials: Vec<Value>,
    known_materials: Vec<&'a Material>,
    meshes: Vec<Value>,
    cameras: Vec<Value>,
    nodes: Vec<Value>,
    instanced: bool,
}

impl<'a> Document<'a> {
    /// Adds the layout: cameras, then one node for each pass and piece.
    fn dress(&mut self, layout: &'a Layout) -> Result<()> {
        let root = root_translation(layout);
        for camera in &layout.cameras {
            self.camera(camera, root);
        }
        let mut mesh_of_piece = BTreeMap::new();
        let groups = layout
            .instances
            .chunk_by(|a, b| (a.pass, a.piece) == (b.pass, b.piece));
        for group in groups {
            let piece_index = usize::from(group[0].piece);
            let piece = &layout.pieces[piece_index];
            let mesh = match mesh_of_piece.get(&piece_index) {
                Some(&mesh) => mesh,
                None => {
                    let mesh = self.mesh(
                        &piece.name,
                        piece.parts.iter().map(|p| (&p.mesh, &p.material)),
                    );
                    let mesh = mesh.ok_or_else(|| no_triangles(&piece.name))?;
                    mesh_of_piece.insert(piece_index, mesh);
                    mesh
                }
            };
            let count = group.len();
            let attributes = json!({
                "TRANSLATION": self.accessor(Block::Translations(group, root), "VEC3", FLOAT, count, None),
                "ROTATION": self.accessor(Block::Rotations(group), "VEC4", FLOAT, count, None),
                "SCALE": self.accessor(Block::Scales(group), "VEC3", FLOAT, count, None),
            });
            let pass = &layout.passes[usize::from(group[0].pass)];
            self.nodes.push(json!({
                "name": format!("{}/{}", pass.name, piece.name),
                "mesh": mesh,
                "extensions": { INSTANCING: { "attributes": attributes } },
            }));
            self.instanced = true;
        }
        self.root(layout, root);
        Ok(())
    }

    /// Adds the root node, last, as the parent of all nodes so far.
    fn root(&mut self, layout: &Layout, translation: DVec3) {
        if self.nodes.is_empty() {
            return;
        }
        let children: Vec<usize> = (0..self.nodes.len()).collect();
        let mut root = json!({ "name": layout.shot, "children": children });
        if translation != DVec3::ZERO {
            root["translation"] = json!(translation.to_array());
        }
        self.nodes.push(root);
    }

    fn camera(&mut self, camera: &Camera, root: DVec3) {
        let mut perspective = json!({
            "yfov": camera.yfov,
            "aspectRatio": camera.aspect(),
            "znear": camera.near,
        });
        // Without a far plane the projection is infinite.
        if camera.far.is_finite() {
            perspective["zfar"] = json!(camera.far);
        }
        self.nodes.push(json!({
            "name": camera.name,
            "camera": self.cameras.len(),
            "translation": (camera.position - root).to_array(),
            "rotation": camera.rotation.normalize().to_array(),
        }));
        self.cameras.push(json!({
            "name": camera.name,
            "type": "perspective",
            "perspective": perspective,
        }));
    }

    /// Adds a mesh of all parts that have triangles; none if no part has.
    fn mesh(
        &mut self,
        name: &str,
        parts: impl Iterator<Item = (&'a Mesh, &'a Material)>,
    ) -> Option<usize> {
        let primitives: Vec<Value> = parts
            .filter(|(mesh, _)| !mesh.indices.is_empty())
            .map(|(mesh, material)| self.primitive(mesh, material))
            .collect();
        if primitives.is_empty() {
            return None;
        }
        self.meshes
            .push(json!({ "name": name, "primitives": primitives }));
        Some(self.meshes.len() - 1)
    }

    fn primitive(&mut self, mesh: &'a Mesh, material: &'a Material) -> Value {
        let count = mesh.positions.len();
        let vertex = Some(ARRAY_BUFFER);
        let positions = self.accessor(
            Block::Vectors(&mesh.positions),
            "VEC3",
            FLOAT,
            count,
            vertex,
        );
        let (min, max) = bounds(&mesh.positions);
        self.accessors[positions]["min"] = json!(min.to_array());
        self.accessors[positions]["max"] = json!(max.to_array());
        let normals = self.accessor(Block::Vectors(&mesh.normals), "VEC3", FLOAT, count, vertex);
        let mut attributes = json!({ "POSITION": positions, "NORMAL": normals });
        if !mesh.colors.is_empty() {
            let block = Block::Colors(&mesh.colors);
            let colors = self.accessor(block, "VEC4", UNSIGNED_SHORT, count, vertex);
            self.accessors[colors]["normalized"] = json!(true);
            attributes["COLOR_0"] = json!(colors);
        }
        // The largest 16-bit value restarts a primitive, so it is no index.
        let (block, component) = if count <= usize::from(u16::MAX) {
            (Block::ShortIndices(&mesh.indices), UNSIGNED_SHORT)
        } else {
            (Block::Indices(&mesh.indices), UNSIGNED_INT)
        };
        let target = Some(ELEMENT_ARRAY_BUFFER);
        let indices = self.accessor(block, "SCALAR", component, mesh.indices.len(), target);
        json!({
            "attributes": attributes,
            "indices": indices,
            "material": self.material(material),
        })
    }

    /// Adds a block of the binary part with a view and an accessor of its own; returns the accessor.
    fn accessor(
        &mut self,
        block: Block<'a>,
        kind: &str,
        component: u32,
        count: usize,
        target: Option<u32>,
    ) -> usize {
        let mut view = json!({
            "buffer": 0,
            "byteOffset": self.bytes,
            "byteLength": block.bytes(),
        });
        if let Some(target) = target {
            view["target"] = json!(target);
        }
        self.bytes += block.padded_bytes();
        self.blocks.push(block);
        self.views.push(view);
        self.accessors.push(json!({
            "bufferView": self.views.len() - 1,
            "componentType": component,
            "count": count,
            "type": kind,
        }));
        self.accessors.len() - 1
    }

    /// Adds a material, or finds the same one.
    fn material(&mut self, material: &'a Material) -> usize {
        if let Some(known) = self.known_materials.iter().position(|&m| m == material) {
            return known;
        }
        let mut value = json!({
            "name": material.name,
            "pbrMetallicRoughness": {
                "baseColorFactor": material.base_color.map(|c| c.clamp(0.0, 1.0)),
                "metallicFactor": material.metallic.clamp(0.0, 1.0),
                "roughnessFactor": material.roughness.clamp(0.0, 1.0),
            },
            "doubleSided": material.double_sided,
        });
        if material.base_color[3] < 1.0 {
            value["alphaMode"] = json!("BLEND");
        }
        if material.translucency > 0.0 {
            value["extras"] = json!({ "translucency": material.translucency });
        }
        self.known_materials.push(material);
        self.materials.push(value);
        self.materials.len() - 1
    }

    /// The whole document. Empty lists are left out, as the specification asks.
    fn json(self, layout: &Layout) -> Value {
        let mut scene = json!({ "name": layout.shot, "extras": { "take": layout.take } });
        if let Some(root) = self.nodes.len().checked_sub(1) {
            scene["nodes"] = json!([root]);
        }
        let mut document = Map::new();
        document.insert(
            "asset".to_owned(),
            json!({ "version": "2.0", "generator": GENERATOR }),
        );
        document.insert("scene".to_owned(), json!(0));
        let buffers = if self.bytes > 0 {
            vec![json!({ "byteLength": self.bytes })]
        } else {
            Vec::new()
        };
        let extensions = if self.instanced {
            vec![json!(INSTANCING)]
        } else {
            Vec::new()
        };
        let lists = [
            ("accessors", self.accessors),
            ("buffers", buffers),
            ("bufferViews", self.views),
            ("cameras", self.cameras),
            ("extensionsRequired", extensions.clone()),
            ("extensionsUsed", extensions),
            ("materials", self.materials),
            ("meshes", self.meshes),
            ("nodes", self.nodes),
            ("scenes", vec![scene]),
        ];
        for (key, list) in lists {
            if !list.is_empty() {
                document.insert(key.to_owned(), Value::Array(list));
            }
        }
        Value::Object(document)
    }
}

fn bounds(points: &[Vec3]) -> (Vec3, Vec3) {
    points
        .iter()
        .fold((Vec3::INFINITY, Vec3::NEG_INFINITY), |(low, high), &p| {
            (low.min(p), high.max(p))
        })
}

fn no_triangles(piece: &str) -> Error {
    Error::new(
        Kind::Failed,
        Fault::new(
            "",
            format!("the piece {piece:?} is placed but has no triangles"),
            "leave the piece out, or give it a mesh with faces",
        ),
    )
}
