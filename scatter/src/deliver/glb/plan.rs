//! What goes where in the file, before a byte of it is written.

use std::collections::BTreeMap;
use std::io::{self, Write};

use glam::{DVec3, Vec3};
use serde_json::{Map, Value, json};

use super::nodes::{Group, Json, Node};
use super::stream::Block;
use crate::deliver::GENERATOR;
use crate::deliver::contents::Contents;
use crate::deliver::materials;
use crate::deliver::pictures::Pictures;
use crate::deliver::setting::Setting;
use crate::error::{Error, Fault, Kind, Result};
use crate::kit::{Material, Mesh, Part, Texture, Wrap};
use crate::layout::Instance;
use crate::optics::Camera;

/// The extension that instances hang on.
const INSTANCING: &str = "EXT_mesh_gpu_instancing";
/// The extension that lights hang on: Khronos Group, "KHR_lights_punctual", 2018.
const LIGHTS: &str = "KHR_lights_punctual";

// Component types and buffer targets as the specification numbers them.
const UNSIGNED_SHORT: u32 = 5123;
const UNSIGNED_INT: u32 = 5125;
const FLOAT: u32 = 5126;
const ARRAY_BUFFER: u32 = 34962;
const ELEMENT_ARRAY_BUFFER: u32 = 34963;
const REPEAT: u32 = 10497;
const MIRRORED_REPEAT: u32 = 33648;
const CLAMP_TO_EDGE: u32 = 33071;

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

/// A planned file: its JSON part, and the blocks of its binary part as borrowed slices of the layout.
#[derive(Debug)]
pub struct Glb<'a> {
    json: Json<'a>,
    json_bytes: u64,
    blocks: Vec<Block<'a>>,
    binary_bytes: u64,
}

impl<'a> Glb<'a> {
    /// Plans a file. Its size is some kilobytes a pass and piece, whatever the number of instances.
    ///
    /// # Errors
    /// [`Kind::Failed`] if the file would pass the format's 4 GiB, or if a placed piece has no triangles.
    pub fn plan(contents: &Contents<'a>, form: Form) -> Result<Self> {
        let mut document = Document::default();
        document.dress(contents, form)?;
        let binary_bytes = document.bytes;
        let blocks = std::mem::take(&mut document.blocks);
        let json = document.json(contents);
        let written = json.bytes().map_err(|e| {
            let fault = Fault::new("", format!("can't be measured: {e}"), "please report it");
            Error::new(Kind::Failed, fault)
        })?;
        let glb = Self {
            json,
            json_bytes: written.next_multiple_of(4),
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
struct Document<'a> {
    bytes: u64,
    blocks: Vec<Block<'a>>,
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
}

impl<'a> Document<'a> {
    /// Adds cameras, props and lights, then one node for each pass and piece.
    fn dress(&mut self, contents: &Contents<'a>, form: Form) -> Result<()> {
        let layout = contents.layout;
        let root = contents.root;
        if let Some(setting) = contents.setting {
            if setting.cameras {
                for camera in &layout.cameras {
                    self.camera(camera, root);
                }
            }
            self.setting(setting, root);
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
                Form::Nodes => Node::Group(Group {
                    name,
                    mesh,
                    instances: group,
                    root,
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
        let attributes = json!({
            "TRANSLATION": self.accessor(Block::Translations(group, root), "VEC3", FLOAT, count, None),
            "ROTATION": self.accessor(Block::Rotations(group), "VEC4", FLOAT, count, None),
            "SCALE": self.accessor(Block::Scales(group), "VEC3", FLOAT, count, None),
        });
        self.instanced = true;
        Node::One(json!({
            "name": name,
            "mesh": mesh,
            "extensions": { INSTANCING: { "attributes": attributes } },
        }))
    }

    /// Ground, heroes and lights.
    fn setting(&mut self, setting: &'a Setting<'a>, root: DVec3) {
        for prop in &setting.props {
            let Some(mesh) = self.mesh(&prop.name, &prop.parts) else {
                continue;
            };
            let (scale, rotation, place) = prop.world_from_prop.to_scale_rotation_translation();
            self.nodes.push(Node::One(json!({
                "name": prop.name,
                "mesh": mesh,
                "translation": (place - root).to_array(),
                "rotation": rotation.normalize().to_array(),
                "scale": scale.to_array(),
            })));
        }
        if let Some(sun) = &setting.sun {
            self.nodes.push(Node::One(json!({
                "name": sun.name,
                "rotation": sun.rotation.normalize().to_array(),
                "extensions": { LIGHTS: { "light": self.lights.len() } },
            })));
            self.lights.push(json!({
                "name": sun.name,
                "type": "directional",
                "intensity": sun.lux,
            }));
        }
        if let Some(lamp) = &setting.lamp {
            self.nodes.push(Node::One(json!({
                "name": "lamp",
                "translation": (lamp.position - root).to_array(),
                "extensions": { LIGHTS: { "light": self.lights.len() } },
            })));
            self.lights.push(json!({
                "name": "lamp",
                "type": "point",
                "intensity": lamp.candela,
                "color": glow(lamp.kelvin),
            }));
        }
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
        self.nodes.push(Node::One(json!({
            "name": camera.name,
            "camera": self.cameras.len(),
            "translation": (camera.position - root).to_array(),
            "rotation": camera.rotation.normalize().to_array(),
        })));
        self.cameras.push(json!({
            "name": camera.name,
            "type": "perspective",
            "perspective": perspective,
        }));
    }

    /// Adds a mesh of all parts that have triangles; none if no part has.
    fn mesh(&mut self, name: &str, parts: &'a [Part]) -> Option<usize> {
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
        if material.normal_texture.is_some() {
            let block = Block::Tangents(mesh);
            attributes["TANGENT"] = json!(self.accessor(block, "VEC4", FLOAT, count, vertex));
        }
        if material.textures().next().is_some() {
            let block = Block::Pairs(&mesh.uvs);
            attributes["TEXCOORD_0"] = json!(self.accessor(block, "VEC2", FLOAT, count, vertex));
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
    fn view(&mut self, block: Block<'a>, target: Option<u32>) -> usize {
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

    /// Adds a texture, its picture and its sampler, or finds the same ones.
    fn texture(&mut self, texture: &'a Texture) -> usize {
        let source = self.pictures.add(texture);
        if source == self.images.len() {
            let view = self.view(Block::Bytes(&texture.bytes), None);
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

    /// The whole document. Empty lists are left out, as the specification asks.
    fn json(self, contents: &Contents<'_>) -> Json<'a> {
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
        Json::new(Value::Object(document), self.nodes, root)
    }
}

/// Where a value stands in a list, at whose end it is put if it is not there.
fn place_of(list: &mut Vec<Value>, value: Value) -> usize {
    list.iter().position(|v| *v == value).unwrap_or_else(|| {
        list.push(value);
        list.len() - 1
    })
}

/// Linear colour of a glowing body at a temperature, its largest component 1: Planck's law at the middle wavelengths of
/// the sRGB primaries, with daylight of 6500 K as white.
fn glow(kelvin: f64) -> [f64; 3] {
    /// Second radiation constant, metre kelvin.
    const C2: f64 = 0.014_388;
    let planck = |metres: f64, t: f64| 1.0 / (libm::exp(C2 / (metres * t)) - 1.0);
    let color = [610e-9, 550e-9, 465e-9].map(|w| planck(w, kelvin) / planck(w, 6500.0));
    let most = color.into_iter().fold(0.0, f64::max);
    color.map(|c| c / most)
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
