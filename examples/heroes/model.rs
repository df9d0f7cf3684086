//! A thing in the making: painted surfaces, gathered by material.

use glam::DVec3;
use scatter::kit::{Material, Part};

use crate::surface::{Surface, Vertex};
use crate::wear::Color;

/// What a part is made of; its colours are painted on the vertices.
#[derive(Clone, Copy)]
pub(crate) struct Stuff {
    pub(crate) name: &'static str,
    /// 0 (mirror) to 1 (matt).
    pub(crate) roughness: f32,
    /// 0 (dielectric) to 1 (metal).
    pub(crate) metallic: f32,
    /// A sheet that is seen from both sides.
    pub(crate) two_sided: bool,
}

/// Parts of a thing, one a material.
#[derive(Default)]
pub(crate) struct Model {
    pub(crate) parts: Vec<Part>,
}

impl Model {
    /// Adds a surface that has its normals, each vertex painted by `paint`.
    pub(crate) fn paint(
        &mut self,
        stuff: &Stuff,
        surface: &Surface,
        paint: impl Fn(&Vertex) -> Color,
    ) {
        let found = self
            .parts
            .iter()
            .position(|p| p.material.name == stuff.name);
        let index = found.unwrap_or_else(|| {
            self.parts.push(Part {
                mesh: scatter::kit::Mesh::default(),
                material: Material {
                    name: stuff.name.to_owned(),
                    base_color: [1.0; 4],
                    roughness: stuff.roughness,
                    metallic: stuff.metallic,
                    double_sided: stuff.two_sided,
                    translucency: 0.0,
                    ..Material::default()
                },
            });
            self.parts.len() - 1
        });
        let mesh = &mut self.parts[index].mesh;
        let base = mesh.positions.len() as u32;
        for v in &surface.vertices {
            mesh.positions.push(v.at.as_vec3());
            mesh.normals.push(v.normal.as_vec3());
            let [r, g, b] = paint(v).clamp(DVec3::ZERO, DVec3::ONE).to_array();
            let channel = |c: f64| libm::round(c * 65535.0) as u16;
            mesh.colors
                .push([channel(r), channel(g), channel(b), u16::MAX]);
        }
        mesh.indices
            .extend(surface.triangles.iter().flatten().map(|i| i + base));
    }
}
