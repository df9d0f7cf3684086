//! The memory that a path tracer will need for a layout.

use serde::Serialize;

use super::Layout;

/// Acceleration structure of one unique triangle, bytes. Measured: Embree 3.13.5 grew by 82 MB for a mesh of
/// 1,002,252 triangles.
const BVH_BYTES_PER_TRIANGLE: u64 = 82;

/// One instance with its transform and its share of the top-level structure, bytes. Measured: Embree 3.13.5 grew by
/// 36 MB for 100,000 instances.
const BYTES_PER_INSTANCE: u64 = 360;

/// Position and normal of a vertex, three 32-bit floats each.
const BYTES_PER_VERTEX: u64 = 24;

/// A vertex colour, four 16-bit components.
const BYTES_PER_COLOR: u64 = 8;

/// Three 32-bit indices.
const INDEX_BYTES_PER_TRIANGLE: u64 = 12;

/// The memory that a path tracer will need to hold the layout: an estimate, in bytes.
///
/// `unique_meshes` (vertices, normals, colours and indices of every piece in use) + `unique_triangles` x 82
/// (acceleration structure) + `instances` x 360 (transforms and top level) + `textures`. The two factors were measured
/// with Embree 3.13.5; other renderers differ, often by a factor of two. Picture buffers and the rest of the scene are
/// not counted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct RenderMemory {
    /// The sum of the parts below.
    pub bytes: u64,
    /// Buffers of the meshes in use, each once.
    pub unique_meshes: u64,
    /// Acceleration structures of the meshes in use.
    pub mesh_structures: u64,
    /// Transforms and top-level structure of all instances.
    pub instances: u64,
    /// Textures of the meshes in use; pieces have none yet.
    pub textures: u64,
    /// The rule in words.
    pub formula: &'static str,
}

impl RenderMemory {
    /// Estimates for the pieces that the layout uses.
    #[must_use]
    pub fn of(layout: &Layout) -> Self {
        let mut unique_meshes = 0;
        let mut triangles = 0;
        for (piece, used) in layout.pieces.iter().zip(layout.used_pieces()) {
            if used {
                triangles += piece.triangles();
                unique_meshes += piece.triangles() * INDEX_BYTES_PER_TRIANGLE;
                for part in &piece.parts {
                    unique_meshes += part.mesh.positions.len() as u64 * BYTES_PER_VERTEX
                        + part.mesh.colors.len() as u64 * BYTES_PER_COLOR;
                }
            }
        }
        let mesh_structures = triangles * BVH_BYTES_PER_TRIANGLE;
        let instances = layout.instances.len() as u64 * BYTES_PER_INSTANCE;
        Self {
            bytes: unique_meshes + mesh_structures + instances,
            unique_meshes,
            mesh_structures,
            instances,
            textures: 0,
            formula: "mesh buffers + 82 B per unique triangle + 360 B per instance + textures",
        }
    }
}
