//! Reading glTF 2.0 files (.glb and .gltf) into triangles in world space.
//!
//! Source: Khronos Group, "glTF 2.0 Specification", 2021.
//!
//! What is read: the default scene (or the first one, or all root nodes), every node's transform, triangle lists, strips
//! and fans, positions, normals, COLOR_0, and of the material its factors, its name and its sides. Normals that are
//! missing come out flat, as the specification asks. Textures, skins, morph targets and animations are left aside: a
//! skinned mesh is read as it is stored.
//!
//! Files are read with distrust: every index, length and number is checked before it is used, nothing is fetched, no
//! file outside the document's own folder is opened, and what a file may claim is bounded by [`MAX_FILE_BYTES`],
//! [`MAX_TRIANGLES`] and [`MAX_VERTICES`].

mod accessor;
mod buffer;
mod cameras;
mod container;
mod geometry;
mod nodes;
#[cfg(test)]
mod tests;

pub use cameras::{FileCamera, read_camera};

use std::path::Path;

use glam::DMat4;
use gltf::json::Root;
use gltf::json::validation::Checked;

use super::{Material, Part};
use crate::error::{Error, Result};

/// The longest file that is read, and the most that a document's buffers may hold together: 1 GiB.
pub const MAX_FILE_BYTES: u64 = 1 << 30;

/// The most triangles that a document may hold, counted with every use of a mesh by a node.
pub const MAX_TRIANGLES: u64 = 50_000_000;

/// The most vertices, counted likewise: what [`MAX_TRIANGLES`] without a shared corner have.
pub const MAX_VERTICES: u64 = 3 * MAX_TRIANGLES;

/// The most primitives, counted likewise: each costs time and some hundred bytes, however small it is.
pub const MAX_PRIMITIVES: u64 = 200_000;

/// The most characters of a text from a file that are kept as a name or quoted in an error.
const MAX_TEXT: usize = 120;

/// Reads a file into parts, one for each primitive of each node, in the file's world space.
///
/// # Errors
/// [`Kind::Input`](crate::error::Kind::Input), naming the file, the place in its JSON, what is wrong and what would be
/// right. Any bytes give parts or an error, never a panic.
pub fn read(path: &Path) -> Result<Vec<Part>> {
    let bytes = buffer::read_file(path).map_err(|e| e.in_file(path))?;
    let folder = path.parent().unwrap_or(Path::new(""));
    read_bytes(&bytes, folder).map_err(|e| e.in_file(path))
}

/// Reads the bytes of a file; `folder` is where its external buffers are looked for.
///
/// # Errors
/// As [`read`], but the error names no file.
pub fn read_bytes(bytes: &[u8], folder: &Path) -> Result<Vec<Part>> {
    let file = container::open(bytes)?;
    let root = container::parse(file.json)?;
    let buffers = buffer::Buffers::new(&root, file.binary, folder);
    let mut reader = Reader {
        root: &root,
        buffers: &buffers,
        parts: Vec::new(),
        primitives: 0,
        triangles: 0,
        vertices: 0,
    };
    for placed in nodes::placed_meshes(&root)? {
        reader.mesh(placed.mesh, placed.world_from_mesh)?;
    }
    if reader.triangles == 0 {
        return Err(Error::input(
            "",
            "the scene shows no triangles",
            "put a mesh with faces into the default scene",
        ));
    }
    Ok(reader.parts)
}

/// Gathers parts and keeps count.
struct Reader<'a> {
    root: &'a Root,
    buffers: &'a buffer::Buffers<'a>,
    parts: Vec<Part>,
    primitives: u64,
    triangles: u64,
    vertices: u64,
}

impl Reader<'_> {
    fn mesh(&mut self, mesh: usize, world_from_mesh: DMat4) -> Result<()> {
        let root = self.root;
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
            let material = self.material(primitive.material.map(|m| m.value()), &place)?;
            let mesh = source.mesh(world_from_mesh)?;
            self.parts.push(Part { mesh, material });
        }
        Ok(())
    }

    fn material(&self, index: Option<usize>, place: &str) -> Result<Material> {
        let Some(index) = index else {
            // What the specification says of a primitive without one.
            return Ok(Material {
                name: "default".to_owned(),
                base_color: [1.0; 4],
                roughness: 1.0,
                metallic: 1.0,
                double_sided: false,
                translucency: 0.0,
            });
        };
        let material = lookup(&self.root.materials, index, "materials", || {
            format!("{place}.material")
        })?;
        let surface = &material.pbr_metallic_roughness;
        let name = material.name.as_deref().map(shorten);
        Ok(Material {
            name: name.unwrap_or_else(|| format!("material-{index}")),
            base_color: surface.base_color_factor.0.map(|c| c.clamp(0.0, 1.0)),
            roughness: surface.roughness_factor.0.clamp(0.0, 1.0),
            metallic: surface.metallic_factor.0.clamp(0.0, 1.0),
            double_sided: material.double_sided,
            translucency: 0.0,
        })
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
