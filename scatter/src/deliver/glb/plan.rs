//! What goes where in the file, before a byte of it is written.

mod included;
mod meshes;

use std::collections::BTreeMap;
use std::io::{self, Write};
use std::sync::Arc;

use glam::DVec3;
use serde_json::{Map, Value, json};

use super::nodes::{GltfJson, InstanceNodes, Node};
use super::stream::BufferBlock;
use crate::deliver::GENERATOR;
use crate::deliver::contents::Contents;
use crate::deliver::pictures::Pictures;
use crate::error::{Error, ErrorKind, Fault, Result};
use crate::kit::Material;
use crate::layout::{Instance, Tints};

/// The extension that instances hang on.
const INSTANCING: &str = "EXT_mesh_gpu_instancing";
/// The extension that lights hang on: Khronos Group, "KHR_lights_punctual", 2018.
const LIGHTS: &str = "KHR_lights_punctual";

/// 32-bit floats, as the specification numbers component types.
const FLOAT: u32 = 5126;

/// File header (12 bytes) and the head of one chunk (8 bytes).
const HEADER_BYTES: u64 = 12;
const CHUNK_HEAD_BYTES: u64 = 8;

/// How instances are said.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Form {
    /// One node a pass and piece, with `EXT_mesh_gpu_instancing`.
    Instanced,
    /// One node an instance, named by its id, under one node a pass and piece.
    Nodes,
}

/// A planned file: its JSON part, and the blocks of its binary part as borrowed slices of the
/// layout.
#[derive(Debug)]
pub struct Glb<'a> {
    json: GltfJson<'a>,
    json_bytes: u64,
    blocks: Vec<BufferBlock<'a>>,
    binary_bytes: u64,
}

impl<'a> Glb<'a> {
    /// Plans a file. Its size is some kilobytes a pass and piece, whatever the number of instances.
    ///
    /// # Errors
    /// [`ErrorKind::Failed`] if the file would pass the format's 4 GiB, or if a placed piece has no
    /// triangles.
    pub fn plan(contents: &Contents<'a>, form: Form) -> Result<Self> {
        let mut document = GltfDocument {
            tints: Arc::new(Tints::of(contents.layout)),
            ..GltfDocument::default()
        };
        document.dress(contents, form)?;
        let binary_bytes = document.bytes;
        let blocks = std::mem::take(&mut document.blocks);
        let json = document.json(contents);
        let written = json.bytes().map_err(|e| {
            let fault = Fault::new("", format!("can't be measured: {e}"), "please report it");
            Error::new(ErrorKind::Failed, fault)
        })?;
        let glb = Self {
            json,
            json_bytes: written.next_multiple_of(4),
            blocks,
            binary_bytes,
        };
        if u32::try_from(glb.bytes()).is_err() {
            return Err(Error::new(
                ErrorKind::Failed,
                Fault::new(
                    "",
                    format!(
                        "the file would take {} bytes; a GLB ends at 4 GiB",
                        glb.bytes()
                    ),
                    "deliver it with `\"split\": \"passes\"`, as json or usda, or in several shots",
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
        HEADER_BYTES + CHUNK_HEAD_BYTES + self.json_bytes + binary
    }

    /// Writes the file as a stream.
    ///
    /// # Errors
    /// Whatever `out` returns.
    pub fn write<W: Write + Send>(&self, out: &mut W) -> io::Result<()> {
        out.write_all(b"glTF")?;
        out.write_all(&2_u32.to_le_bytes())?;
        write_length(out, self.bytes())?;
        write_length(out, self.json_bytes)?;
        out.write_all(b"JSON")?;
        let written = self.json.write(out)?;
        let padding = self.json_bytes - written;
        out.write_all(&b"    "[..padding as usize])?;
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
struct GltfDocument<'a> {
    bytes: u64,
    blocks: Vec<BufferBlock<'a>>,
    views: Vec<Value>,
    accessors: Vec<Value>,
    materials: Vec<Value>,
    known_materials: Vec<&'a Material>,
    /// In the order of `images`.
    pictures: Pictures<'a>,
    images: Vec<Value>,
    samplers: Vec<Value>,
    textures: Vec<Value>,
    meshes: Vec<Value>,
    cameras: Vec<Value>,
    lights: Vec<Value>,
    /// Nodes that the root holds.
    nodes: Vec<Node<'a>>,
    instanced: bool,
    tints: Arc<Tints>,
}

impl<'a> GltfDocument<'a> {
    /// Adds cameras, props and lights, then one node for each pass and piece.
    fn dress(&mut self, contents: &Contents<'a>, form: Form) -> Result<()> {
        let layout = contents.layout;
        let root = contents.root;
        if let Some(included) = contents.included {
            if included.cameras {
                for camera in &layout.cameras {
                    self.camera(camera, root);
                }
            }
            self.included(included, root);
        }
        let mut mesh_of_piece = BTreeMap::new();
        let groups = contents
            .instances
            .chunk_by(|a, b| (a.pass, a.piece) == (b.pass, b.piece));
        for group in groups {
            let piece_index = usize::from(group[0].piece);
            let piece = &layout.pieces[piece_index];
            let mesh = match mesh_of_piece.get(&piece_index) {
                Some(&mesh) => mesh,
                None => {
                    let mesh = self.mesh(&piece.name, &piece.parts);
                    let mesh = mesh.ok_or_else(|| no_triangles(&piece.name))?;
                    mesh_of_piece.insert(piece_index, mesh);
                    mesh
                }
            };
            let pass = &layout.passes[usize::from(group[0].pass)];
            let name = format!("{}/{}", pass.name, piece.name);
            let node = match form {
                Form::Instanced => self.instanced(name, mesh, group, root),
                Form::Nodes => Node::Group(InstanceNodes {
                    name,
                    mesh,
                    instances: group,
                    root,
                    tints: Arc::clone(&self.tints),
                }),
            };
            self.nodes.push(node);
        }
        Ok(())
    }

    /// A node that the extension copies.
    fn instanced(
        &mut self,
        name: String,
        mesh: usize,
        group: &'a [Instance],
        root: DVec3,
    ) -> Node<'a> {
        let count = group.len();
        let mut attributes = json!({
            "TRANSLATION": self.accessor(BufferBlock::Translations(group, root), "VEC3", FLOAT, count, None),
            "ROTATION": self.accessor(BufferBlock::Rotations(group), "VEC4", FLOAT, count, None),
            "SCALE": self.accessor(BufferBlock::Scales(group), "VEC3", FLOAT, count, None),
        });
        if self.tints.tint(&group[0]).is_some() {
            let block = BufferBlock::TintFactors(group, Arc::clone(&self.tints));
            attributes["_COLOR_0"] = json!(self.accessor(block, "VEC3", FLOAT, count, None));
        }
        self.instanced = true;
        Node::One(json!({
            "name": name,
            "mesh": mesh,
            "extensions": { INSTANCING: { "attributes": attributes } },
        }))
    }

    /// Adds a block of the binary part with a view and an accessor of its own; returns the
    /// accessor.
    fn accessor(
        &mut self,
        block: BufferBlock<'a>,
        kind: &str,
        component: u32,
        count: usize,
        target: Option<u32>,
    ) -> usize {
        let view = self.view(block, target);
        self.accessors.push(json!({
            "bufferView": view,
            "componentType": component,
            "count": count,
            "type": kind,
        }));
        self.accessors.len() - 1
    }

    /// Adds a block of the binary part with a view of its own; returns the view.
    fn view(&mut self, block: BufferBlock<'a>, target: Option<u32>) -> usize {
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
        self.views.len() - 1
    }

    /// The whole document. Empty lists are left out, as the specification asks.
    fn json(self, contents: &Contents<'_>) -> GltfJson<'a> {
        let layout = contents.layout;
        let mut scene = json!({ "name": layout.shot, "extras": { "take": layout.take } });
        if !self.nodes.is_empty() {
            scene["nodes"] = json!([self.nodes.len()]);
        }
        let mut root = json!({ "name": layout.shot });
        if contents.root != DVec3::ZERO {
            root["translation"] = json!(contents.root.to_array());
        }
        let mut document = Map::new();
        let mut asset = json!({ "version": "2.0", "generator": GENERATOR });
        if !contents.delivery.is_empty() {
            asset["extras"] = json!({ "delivery": contents.delivery });
        }
        document.insert("asset".to_owned(), asset);
        document.insert("scene".to_owned(), json!(0));
        let buffers = if self.bytes > 0 {
            vec![json!({ "byteLength": self.bytes })]
        } else {
            Vec::new()
        };
        let required: Vec<Value> = self
            .instanced
            .then(|| json!(INSTANCING))
            .into_iter()
            .collect();
        let mut used = required.clone();
        if !self.lights.is_empty() {
            used.push(json!(LIGHTS));
            document.insert(
                "extensions".to_owned(),
                json!({ LIGHTS: { "lights": self.lights } }),
            );
        }
        let lists = [
            ("accessors", self.accessors),
            ("buffers", buffers),
            ("bufferViews", self.views),
            ("cameras", self.cameras),
            ("extensionsRequired", required),
            ("extensionsUsed", used),
            ("images", self.images),
            ("materials", self.materials),
            ("meshes", self.meshes),
            ("samplers", self.samplers),
            ("scenes", vec![scene]),
            ("textures", self.textures),
        ];
        for (key, list) in lists {
            if !list.is_empty() {
                document.insert(key.to_owned(), Value::Array(list));
            }
        }
        GltfJson::new(Value::Object(document), self.nodes, root)
    }
}

fn no_triangles(piece: &str) -> Error {
    Error::new(
        ErrorKind::Failed,
        Fault::new(
            "",
            format!("the piece {piece:?} is placed but has no triangles"),
            "leave the piece out, or give it a mesh with faces",
        ),
    )
}
