//! Reading glTF 2.0 files (.glb and .gltf) into triangles in world space.
//!
//! Source: Khronos Group, "glTF 2.0 Specification", 2021.
//!
//! What is read: the default scene (or the first one, or all root nodes), every node's transform,
//! triangle lists, strips and fans, positions, normals, COLOR_0, the texture coordinates that the
//! material uses, tangents where it has a texture of normals, and the material's name, sides, factors and textures of base colour, roughness
//! and normals. Missing normals come out flat, as the specification requires. Compression:
//! EXT_meshopt_compression is read, Draco is not. Skins, morph targets and animations are left
//! aside: a skinned mesh is read as it is stored.
//!
//! Files are read with distrust: every index, length and number is checked before it is used,
//! nothing is fetched, no file outside the document's own folder is opened, and what a file may
//! claim is bounded by [`MAX_FILE_BYTES`],
//! [`MAX_TRIANGLES`] and [`MAX_VERTICES`].

mod accessor;
mod animation;
mod buffer;
mod cameras;
mod container;
mod geometry;
mod glass;
mod material;
mod meshopt;
mod nodes;
mod numbers;
#[cfg(test)]
pub(super) mod tests;

pub(super) use buffer::decode_percent;
pub use cameras::{FileCamera, read_camera};

use std::path::Path;

use glam::{DMat4, DVec3};
use gltf::json::Root;
use gltf::json::validation::Checked;

use super::Part;
use crate::error::{Error, Result};

/// Maximum length of a file, and of a document's buffers together: 1 GiB.
pub const MAX_FILE_BYTES: u64 = 1 << 30;

/// Maximum number of triangles of a document, counted with every use of a mesh by a node.
pub const MAX_TRIANGLES: u64 = 50_000_000;

/// Maximum number of vertices, counted likewise: those of [`MAX_TRIANGLES`] without a shared
/// corner.
pub const MAX_VERTICES: u64 = 3 * MAX_TRIANGLES;

/// Maximum number of primitives, counted likewise: each costs time and some hundred bytes, however
/// small it is.
pub const MAX_PRIMITIVES: u64 = 200_000;

/// Maximum number of characters of a text from a file that are kept as a name or quoted in an
/// error.
const MAX_TEXT: usize = 120;

/// What a file shows.
#[derive(Debug, Clone, PartialEq)]
pub struct Model {
    /// What hangs on each root node, in the order of the scene; at least one.
    pub objects: Vec<Object>,
    /// Where the file's origin lies, as seen from that of the parts: 0 unless it was read by
    /// [`read_near`].
    pub origin: DVec3,
    /// What was left out, such as a texture that is missing: for the person who looks at the
    /// result.
    pub warnings: Vec<String>,
}

/// What hangs on one root node.
#[derive(Debug, Clone, PartialEq)]
pub struct Object {
    /// The node's name, or its mesh's, if there is one.
    pub name: Option<String>,
    /// One for each primitive of each node, in the file's world space; at least one.
    pub parts: Vec<Part>,
}

impl Model {
    /// All parts, in the order of the scene.
    #[must_use]
    pub fn into_parts(self) -> Vec<Part> {
        self.objects.into_iter().flat_map(|o| o.parts).collect()
    }
}

/// Reads a glTF file (`.gltf` or `.glb`). Its parts are in the file's world space: metres, +y up,
/// right-handed, rounded to 32 bits. [`read_near`] is for what lies far from the file's origin.
///
/// # Errors
/// [`ErrorKind::Input`](crate::error::ErrorKind::Input), naming the file, the place in its JSON,
/// what is wrong and what would be right. Any bytes give a model or an error, never a panic.
pub fn read(path: &Path) -> Result<Model> {
    let bytes = buffer::read_model(path).map_err(|e| e.in_file(path))?;
    let folder = path.parent().unwrap_or(Path::new(""));
    read_bytes(&bytes, folder).map_err(|e| e.in_file(path))
}

/// As [`read`], but what lies far from the file's origin is moved near the origin before its places
/// are rounded to 32 bits.
///
/// # Errors
/// As [`read`].
pub fn read_near(path: &Path) -> Result<Model> {
    let bytes = buffer::read_model(path).map_err(|e| e.in_file(path))?;
    let folder = path.parent().unwrap_or(Path::new(""));
    read_moved(&bytes, folder, None).map_err(|e| e.in_file(path))
}

/// Reads the bytes of a file; `folder` is where its external buffers and textures are looked for.
///
/// # Errors
/// As [`read`], but the error names no file.
pub fn read_bytes(bytes: &[u8], folder: &Path) -> Result<Model> {
    read_moved(bytes, folder, Some(DVec3::ZERO))
}

/// Reads the bytes of a file, with `taken_off` subtracted from its world places; without it, the
/// first place if that is far.
fn read_moved(bytes: &[u8], folder: &Path, taken_off: Option<DVec3>) -> Result<Model> {
    let file = container::open(bytes)?;
    let root = container::parse(&file.json)?;
    let buffers = buffer::Buffers::new(&root, file.binary, folder);
    let mut reader = PartReader {
        root: &root,
        buffers: &buffers,
        materials: material::Materials::new(&root, &buffers),
        warnings: material::Warnings::default(),
        taken_off,
        may_quantize: root
            .extensions_used
            .iter()
            .any(|name| name == "KHR_mesh_quantization"),
        primitives: 0,
        triangles: 0,
        vertices: 0,
    };
    if let Some(told) = nodes::told_of_copies(&root) {
        reader.warnings.add(told);
    }
    let mut objects: Vec<Object> = Vec::new();
    let mut last_root = None;
    for placed in nodes::placed_meshes(&root)? {
        let parts = reader.mesh(placed.mesh, placed.world_from_mesh)?;
        if parts.is_empty() {
            continue;
        }
        // A walk of the tree: what hangs on one root comes in one row.
        match objects.last_mut() {
            Some(object) if last_root == Some(placed.root) => object.parts.extend(parts),
            _ => objects.push(Object {
                name: object_name(&root, placed.root, placed.mesh),
                parts,
            }),
        }
        last_root = Some(placed.root);
    }
    if objects.is_empty() {
        return Err(Error::input(
            "",
            "the scene shows no triangles",
            "put a mesh with faces into the default scene",
        ));
    }
    Ok(Model {
        objects,
        origin: -reader.taken_off.unwrap_or_default(),
        warnings: reader.warnings.into_texts(),
    })
}

fn object_name(root: &Root, node: usize, mesh: usize) -> Option<String> {
    let node = root.nodes[node].name.as_deref();
    let mesh = root.meshes[mesh].name.as_deref();
    let named = |name: &&str| !name.trim().is_empty();
    node.filter(named).or(mesh.filter(named)).map(shorten)
}

/// Makes parts and keeps count.
struct PartReader<'a> {
    root: &'a Root,
    buffers: &'a buffer::Buffers<'a>,
    materials: material::Materials<'a>,
    warnings: material::Warnings,
    /// What is subtracted from the world places; None until the first one is known.
    taken_off: Option<DVec3>,
    /// The file names KHR_mesh_quantization.
    may_quantize: bool,
    primitives: u64,
    triangles: u64,
    vertices: u64,
}

impl PartReader<'_> {
    fn mesh(&mut self, mesh: usize, world_from_mesh: DMat4) -> Result<Vec<Part>> {
        let root = self.root;
        let mut parts = Vec::new();
        for (j, primitive) in root.meshes[mesh].primitives.iter().enumerate() {
            let place = format!("meshes[{mesh}].primitives[{j}]");
            self.primitives += 1;
            if self.primitives > MAX_PRIMITIVES {
                return Err(too_much(place, MAX_PRIMITIVES, "primitives"));
            }
            let source = geometry::Source {
                root,
                buffers: self.buffers,
                primitive,
                place: &place,
            };
            let Some(size) = source.size()? else {
                continue; // points or lines
            };
            self.triangles = self.triangles.saturating_add(size.triangles);
            self.vertices = self.vertices.saturating_add(size.vertices);
            if self.triangles > MAX_TRIANGLES {
                return Err(too_much(place, MAX_TRIANGLES, "triangles"));
            }
            if self.vertices > MAX_VERTICES {
                return Err(too_much(place, MAX_VERTICES, "vertices"));
            }
            if size.triangles == 0 {
                continue;
            }
            let index = primitive.material.map(|m| m.value());
            let mapped = self.materials.material(index, &place, &mut self.warnings)?;
            let mesh = source.mesh(world_from_mesh, &mapped, &mut self.taken_off)?;
            if !self.may_quantize && source.is_quantized()? {
                self.warnings.add(format!(
                    "{place}: positions or normals are integers, but the file does not name KHR_mesh_quantization; other readers may refuse it"
                ));
            }
            let mut material = mapped.material;
            if let Some(coordinates) = mapped.coordinates
                && mesh.uvs.is_empty()
            {
                self.warnings.add(format!(
                    "{place}: there is no TEXCOORD_{} for its textures; the surface keeps its plain colour",
                    coordinates.set
                ));
                material = material.without_textures();
            }
            parts.push(Part { mesh, material });
        }
        Ok(parts)
    }
}

fn too_much(place: String, most: u64, what: &str) -> Error {
    Error::input(
        place,
        format!("with this primitive the scene passes {most} {what}"),
        "simplify the mesh, or show fewer copies of it",
    )
}

/// A text of bounded length.
fn shorten(text: &str) -> String {
    let mut short: String = text.chars().take(MAX_TEXT).collect();
    if short.len() < text.len() {
        short.push_str("...");
    }
    short
}

/// The element that an index names; an index to nothing is an error at `place`.
fn lookup<'a, T>(
    list: &'a [T],
    index: usize,
    list_name: &str,
    place: impl FnOnce() -> String,
) -> Result<&'a T> {
    list.get(index).ok_or_else(|| {
        let hint = match list.len() {
            0 => format!("the document has no {list_name}"),
            count => format!("{list_name} go from 0 to {}", count - 1),
        };
        Error::input(
            place(),
            format!("{list_name}[{index}] does not exist"),
            hint,
        )
    })
}

/// A value that the format knows; what it does not know is an error at `place`.
fn known<T: Copy>(value: Checked<T>, place: impl FnOnce() -> String, hint: &str) -> Result<T> {
    match value {
        Checked::Valid(value) => Ok(value),
        Checked::Invalid => Err(Error::input(place(), "no value that glTF knows", hint)),
    }
}
