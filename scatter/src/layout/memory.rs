//! The memory that a renderer will need for a layout.

use serde::Serialize;

use super::result::Layout;
use crate::kit::{Part, Piece, Texture};

/// Acceleration structure of one unique triangle, bytes. Measured: Embree 3.13.5 grew by 82 MB for
/// a mesh of 1,002,252 triangles.
pub(crate) const BVH_BYTES_PER_TRIANGLE: u64 = 82;

/// One instance with its transform and its share of the top-level structure, bytes. Measured:
/// Embree 3.13.5 grew by 36 MB for 100,000 instances.
pub(crate) const BYTES_PER_INSTANCE: u64 = 360;

/// The memory that a renderer will need to hold a delivery: an estimate, in bytes.
///
/// What the delivered file holds (`geometry`, `texture_files`) is counted, byte by byte as a GLB
/// has it. What a path tracer makes of it is reckoned: `textures`, decoded to 4 bytes a pixel;
/// `mesh_structures`, unique triangles x 82, for it looks for what a ray meets in a hierarchy over
/// every triangle, whose nodes and packed triangles outweigh the mesh itself; `instances`, x 360,
/// for each has a transform, its inverse, bounds and a place in the top hierarchy. Both factors
/// were measured with Embree 3.13.5; other renderers differ, often by a factor of two. Picture
/// buffers and what is not delivered are not counted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct RenderMemory {
    /// The sum of geometry, textures, mesh structures and instances.
    pub bytes: u64,
    /// Buffers of the meshes in use, each once: positions, normals, colours, texture coordinates,
    /// tangents and indices.
    pub geometry: u64,
    /// Pictures of their textures, each once, decoded.
    pub textures: u64,
    /// The same pictures as the file holds them.
    pub texture_files: u64,
    /// Acceleration structures of the meshes in use.
    pub mesh_structures: u64,
    /// Transforms and top-level structure of all instances.
    pub instances: u64,
    /// The rule in words.
    pub formula: &'static str,
}

impl RenderMemory {
    /// Estimates for the pieces that the layout uses, and what is delivered beside them.
    #[must_use]
    pub fn of<'a>(layout: &'a Layout, beside: impl Iterator<Item = &'a Part>) -> Self {
        let pieces = layout.pieces.iter().zip(layout.used_pieces());
        let parts = pieces
            .filter(|(_, used)| *used)
            .flat_map(|(piece, _)| &piece.parts);
        let mut held = Held::default();
        for part in parts.chain(beside) {
            held.add(part);
        }
        let instances = layout.instances.len() as u64 * BYTES_PER_INSTANCE;
        Self {
            bytes: held.bytes() + instances,
            geometry: held.geometry,
            textures: held.textures,
            texture_files: held.texture_files,
            mesh_structures: held.structures(),
            instances,
            formula: "geometry + textures at 4 B a pixel + 82 B per unique triangle + 360 B per instance",
        }
    }
}

/// Meshes that a renderer holds once, and their pictures.
#[derive(Debug, Default)]
pub(crate) struct Held<'a> {
    pub(crate) triangles: u64,
    geometry: u64,
    textures: u64,
    texture_files: u64,
    pictures: Vec<&'a Texture>,
}

impl<'a> Held<'a> {
    pub(crate) fn add_piece(&mut self, piece: &'a Piece) {
        piece.parts.iter().for_each(|part| self.add(part));
    }

    fn add(&mut self, part: &'a Part) {
        if part.mesh.indices.is_empty() {
            return;
        }
        self.triangles += part.mesh.indices.len() as u64 / 3;
        self.geometry += part.buffer_bytes();
        for texture in part.material.textures() {
            if !self
                .pictures
                .iter()
                .any(|known| known.same_picture(texture))
            {
                self.pictures.push(texture);
                self.textures += texture.decoded_bytes();
                self.texture_files += texture.bytes.len() as u64;
            }
        }
    }

    fn structures(&self) -> u64 {
        self.triangles * BVH_BYTES_PER_TRIANGLE
    }

    /// All that they need, without instances.
    pub(crate) fn bytes(&self) -> u64 {
        self.geometry + self.textures + self.structures()
    }
}
