//! Triangle meshes and what they are made of.

use glam::Vec3;

/// Triangles with a normal and a colour at each vertex. Metres, +y up, front faces counter-clockwise.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Mesh {
    /// Vertex positions.
    pub positions: Vec<Vec3>,
    /// Unit vertex normals, as many as positions.
    pub normals: Vec<Vec3>,
    /// Linear base colour and opacity at each vertex, 65535 = 1.0; as many as positions, or none (white).
    pub colors: Vec<[u16; 4]>,
    /// Texture coordinates, as many as positions, or none.
    pub uvs: Vec<[f32; 2]>,
    /// Three a triangle.
    pub indices: Vec<u32>,
}

/// How a surface answers to light. The base colour is multiplied with the vertex colours.
#[derive(Debug, Clone, PartialEq)]
pub struct Material {
    /// Name, unique within a kit for different contents.
    pub name: String,
    /// Linear base colour and opacity.
    pub base_color: [f32; 4],
    /// 0 (mirror) to 1 (matt).
    pub roughness: f32,
    /// 0 (dielectric) to 1 (metal).
    pub metallic: f32,
    /// Seen from both sides (leaves, blades).
    pub double_sided: bool,
    /// Share of the diffuse light that passes through a thin sheet, 0 to 1.
    pub translucency: f32,
}

/// A mesh with its material.
#[derive(Debug, Clone, PartialEq)]
pub struct Part {
    /// The triangles.
    pub mesh: Mesh,
    /// What they are made of.
    pub material: Material,
}
