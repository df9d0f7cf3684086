//! Triangle meshes and what they are made of.

use std::sync::Arc;

use glam::{Vec3, Vec4};

use super::Texture;

/// Triangles with a normal and a colour at each vertex. Metres, +y up, front faces
/// counter-clockwise.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Mesh {
    /// Vertex positions.
    pub positions: Vec<Vec3>,
    /// Unit vertex normals, as many as positions.
    pub normals: Vec<Vec3>,
    /// Linear base colour and opacity at each vertex, 65535 = 1.0; as many as positions, or none
    /// (white).
    pub colors: Vec<[u16; 4]>,
    /// Texture coordinates, as many as positions, or none: u to the right, v down from the top of
    /// the picture.
    pub uvs: Vec<[f32; 2]>,
    /// A file's own tangents, as many as positions, or none: the unit direction along u for the
    /// texture of normals, and in w the hand, 1 or -1. The third axis, normal x tangent times w,
    /// goes against v.
    pub tangents: Vec<Vec4>,
    /// Three a triangle.
    pub indices: Vec<u32>,
}

impl Mesh {
    /// Triangles with flat faces, by their corners counter-clockwise seen from outside.
    #[must_use]
    pub fn flat(triangles: impl IntoIterator<Item = [Vec3; 3]>) -> Self {
        let mut mesh = Self::default();
        for corners in triangles {
            let [a, b, c] = corners;
            let normal = (b - a).cross(c - a).normalize_or(Vec3::Y);
            let first = mesh.positions.len() as u32;
            mesh.positions.extend(corners);
            mesh.normals.extend([normal; 3]);
            mesh.indices.extend([first, first + 1, first + 2]);
        }
        mesh
    }

    /// Takes vertices away that no triangle uses; the others keep their order.
    pub(crate) fn drop_unused(&mut self) {
        let mut numbers = vec![u32::MAX; self.positions.len()];
        for &corner in &self.indices {
            numbers[corner as usize] = 0;
        }
        if numbers.iter().all(|&n| n == 0) {
            return;
        }
        let used: Vec<bool> = numbers.iter().map(|&n| n == 0).collect();
        for (number, count) in numbers.iter_mut().filter(|n| **n == 0).zip(0..) {
            *number = count;
        }
        fn keep<T>(list: &mut Vec<T>, used: &[bool]) {
            let mut used = used.iter();
            list.retain(|_| used.next().is_some_and(|u| *u));
        }
        keep(&mut self.positions, &used);
        keep(&mut self.normals, &used);
        keep(&mut self.colors, &used);
        keep(&mut self.uvs, &used);
        keep(&mut self.tangents, &used);
        for corner in &mut self.indices {
            *corner = numbers[*corner as usize];
        }
    }
}

/// How a surface reflects light. The base colour is multiplied with the vertex colours and the
/// texture.
///
/// The textures share the mesh's one set of coordinates.
#[derive(Debug, Clone, PartialEq)]
pub struct Material {
    /// Name, unique within a kit for different contents.
    pub name: String,
    /// Linear base colour and opacity.
    pub base_color: [f32; 4],
    /// Base colour, sRGB, and opacity, linear.
    pub base_color_texture: Option<Arc<Texture>>,
    /// 0 (mirror) to 1 (matt).
    pub roughness: f32,
    /// 0 (dielectric) to 1 (metal).
    pub metallic: f32,
    /// Roughness (green) and metalness (blue), linear, multiplied with the values above.
    pub metallic_roughness_texture: Option<Arc<Texture>>,
    /// Normals in tangent space, red along u, green against v, as in glTF 2.0.
    pub normal_texture: Option<Arc<Texture>>,
    /// How much the normals lean: a factor of their red and green.
    pub normal_scale: f32,
    /// What opacity means.
    pub alpha: Alpha,
    /// Seen from both sides (leaves, blades).
    pub double_sided: bool,
    /// Share of the diffuse light that passes through a thin sheet, 0 to 1.
    pub translucency: f32,
    /// Light that passes through as through glass, bent. None for all else.
    pub glass: Option<Glass>,
}

/// How light passes through a surface without being scattered. Source: the extensions
/// `KHR_materials_transmission`, `KHR_materials_ior` and `KHR_materials_volume` of glTF 2.0.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Glass {
    /// Share of the light that enters which passes, tinted by the base colour; the rest is
    /// scattered. 0 to 1.
    pub transmission: f32,
    /// Refractive index, 1 to 4: water 1.33, glass 1.5, diamond 2.4.
    pub index: f32,
    /// What fills the closed mesh; None where the surface is a thin wall with air on both sides.
    pub body: Option<GlassBody>,
}

/// What solid glass takes of the light on its way.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GlassBody {
    /// Linear colour that white light has after `distance`, above 0, to 1.
    pub color: [f32; 3],
    /// Metres, above 0; infinite where nothing is taken.
    pub distance: f32,
}

/// What the opacity of a surface means.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub enum Alpha {
    /// Nothing: the surface is there everywhere.
    #[default]
    Opaque,
    /// The surface is there where its opacity is at least this (0 to 1): leaves cut out of a card.
    Cut(f32),
    /// The surface covers what is behind it by this share.
    Blend,
}

/// A white matt dielectric without textures.
impl Default for Material {
    fn default() -> Self {
        Self {
            name: "default".to_owned(),
            base_color: [1.0; 4],
            base_color_texture: None,
            roughness: 1.0,
            metallic: 0.0,
            metallic_roughness_texture: None,
            normal_texture: None,
            normal_scale: 1.0,
            alpha: Alpha::Opaque,
            double_sided: false,
            translucency: 0.0,
            glass: None,
        }
    }
}

impl Material {
    /// The material without its textures.
    #[must_use]
    pub fn without_textures(self) -> Self {
        Self {
            base_color_texture: None,
            metallic_roughness_texture: None,
            normal_texture: None,
            ..self
        }
    }

    /// Its textures.
    pub fn textures(&self) -> impl Iterator<Item = &Arc<Texture>> {
        [
            &self.base_color_texture,
            &self.metallic_roughness_texture,
            &self.normal_texture,
        ]
        .into_iter()
        .flatten()
    }
}

/// A mesh with its material.
#[derive(Debug, Clone, PartialEq)]
pub struct Part {
    /// The triangles.
    pub mesh: Mesh,
    /// What they are made of.
    pub material: Material,
}

impl Part {
    /// Length of its buffers as a GLB has them, bytes: a vertex's position and normal, colour,
    /// texture coordinates and tangent as far as its surface asks for them, and indices of 16 bits
    /// where they suffice.
    #[must_use]
    pub fn buffer_bytes(&self) -> u64 {
        let vertices = self.mesh.positions.len() as u64;
        let given = |is: bool, bytes: u64| if is { bytes } else { 0 };
        let vertex = 24
            + given(!self.mesh.colors.is_empty(), 8)
            + given(self.material.textures().next().is_some(), 8)
            + given(self.material.normal_texture.is_some(), 16);
        let index = if vertices <= u64::from(u16::MAX) {
            2
        } else {
            4
        };
        vertices * vertex + self.mesh.indices.len() as u64 * index
    }
}
