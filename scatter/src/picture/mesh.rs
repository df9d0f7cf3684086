//! One mesh made ready for rays: triangles in the order of a bounding volume hierarchy, and what
//! shading needs of them.

use std::sync::Arc;

use glam::{DAffine3, Vec2, Vec3, Vec3A, Vec4};
use obvhs::BvhBuildParams;

use super::texels::Texels;
use crate::kit::{Alpha, Material, Mesh, Part, Texture};
use crate::rays::{Meeting, Ray, TraversalStack, Triangles};

/// A mesh with its hierarchy. Parts are run together; each triangle knows its material.
pub(super) struct TracedMesh {
    triangles: Triangles,
    /// Vertex indices and material of each triangle, four a block.
    faces: Vec<([u32; 3], u32)>,
    normals: Vec<Vec3>,
    colors: Vec<[u16; 4]>,
    /// As many as vertices, or none: where no material has a texture.
    uvs: Vec<[f32; 2]>,
    /// What the triangles are made of.
    pub(super) materials: Vec<Material>,
    /// The textures of the materials.
    textures: Vec<MaterialTexels>,
    /// The opacity from which a material is there at all; None where it always is.
    cuts: Vec<Option<f32>>,
    /// Whether any material is cut out: otherwise rays need no look at textures on their way.
    cut_out: bool,
    /// What could not be shown as intended.
    pub(super) warnings: Vec<String>,
}

/// The decoded textures of a material.
#[derive(Default)]
struct MaterialTexels {
    color: Option<Texels>,
    /// Roughness (green) and metalness (blue).
    gloss: Option<Texels>,
    normal: Option<Texels>,
}

impl MaterialTexels {
    /// Decodes what can be; the rest is told.
    fn of(material: &Material, warnings: &mut Vec<String>) -> Self {
        let mut decoded = |texture: &Option<Arc<Texture>>| {
            let texture = texture.as_ref()?;
            let told = |e: crate::error::Error| {
                warnings.push(format!(
                    "texture {} of material `{}` is left out: {e}",
                    texture.name, material.name
                ));
            };
            Texels::of(texture).map_err(told).ok()
        };
        Self {
            color: decoded(&material.base_color_texture),
            gloss: decoded(&material.metallic_roughness_texture),
            normal: decoded(&material.normal_texture),
        }
    }

    fn each(&self) -> impl Iterator<Item = &Texels> {
        [&self.color, &self.gloss, &self.normal]
            .into_iter()
            .flatten()
    }
}

/// Collects parts before the hierarchy is built.
#[derive(Default)]
pub(super) struct MeshBuilder {
    positions: Vec<Vec3>,
    normals: Vec<Vec3>,
    colors: Vec<[u16; 4]>,
    uvs: Vec<[f32; 2]>,
    faces: Vec<([u32; 3], u32)>,
    materials: Vec<Material>,
}

/// Full white, the colour of vertices that carry none.
const WHITE: [u16; 4] = [u16::MAX; 4];

impl MeshBuilder {
    /// Adds a part, its points moved by `place`. Triangles whose indices point nowhere or whose
    /// corners are not finite are left out.
    pub(super) fn add(&mut self, mesh: &Mesh, material: &Material, place: Option<&DAffine3>) {
        let first = self.positions.len() as u32;
        let count = mesh.positions.len();
        let normal_place = place.map(|m| m.matrix3.inverse().transpose());
        for (i, &p) in mesh.positions.iter().enumerate() {
            let n = mesh.normals.get(i).copied().unwrap_or(Vec3::ZERO);
            self.positions.push(match place {
                Some(m) => m.transform_point3(p.as_dvec3()).as_vec3(),
                None => p,
            });
            self.normals.push(match &normal_place {
                Some(m) => (*m * n.as_dvec3()).normalize_or_zero().as_vec3(),
                None => n,
            });
            self.colors
                .push(mesh.colors.get(i).copied().unwrap_or(WHITE));
            self.uvs.push(mesh.uvs.get(i).copied().unwrap_or_default());
        }
        let material_index = self.materials.len() as u32;
        self.materials.push(material.clone());
        for corners in mesh.indices.chunks_exact(3) {
            let sound = corners
                .iter()
                .all(|&c| (c as usize) < count && self.positions[(first + c) as usize].is_finite());
            if sound {
                self.faces.push((
                    [first + corners[0], first + corners[1], first + corners[2]],
                    material_index,
                ));
            }
        }
    }

    /// Builds the hierarchy.
    pub(super) fn build(self, quality: BvhBuildParams) -> TracedMesh {
        let corners: Vec<[Vec3A; 3]> = self
            .faces
            .iter()
            .map(|(face, _)| face.map(|i| Vec3A::from(self.positions[i as usize])))
            .collect();
        let (triangles, places) = Triangles::build(&corners, 0.0, quality);
        let face = |number: &Option<u32>| number.map_or(([0; 3], 0), |i| self.faces[i as usize]);
        let faces = places.iter().map(face).collect();
        let mut warnings = Vec::new();
        let textures: Vec<MaterialTexels> = self
            .materials
            .iter()
            .map(|material| MaterialTexels::of(material, &mut warnings))
            .collect();
        let cuts: Vec<Option<f32>> = self
            .materials
            .iter()
            .map(|material| match material.alpha {
                Alpha::Opaque => None,
                Alpha::Cut(from) => Some(from),
                // A half-covering surface is drawn where it covers more than half
                Alpha::Blend => Some(0.5),
            })
            .collect();
        TracedMesh {
            triangles,
            faces,
            normals: self.normals,
            colors: self.colors,
            uvs: if textures.iter().any(|t| t.each().next().is_some()) {
                self.uvs
            } else {
                Vec::new()
            },
            materials: self.materials,
            cut_out: cuts.iter().any(Option::is_some),
            textures,
            cuts,
            warnings,
        }
    }
}

impl TracedMesh {
    /// A mesh of one piece's parts.
    pub(super) fn of_parts(parts: &[Part]) -> Self {
        let mut builder = MeshBuilder::default();
        for part in parts {
            builder.add(&part.mesh, &part.material, None);
        }
        builder.build(BvhBuildParams::medium_build())
    }

    /// The nearest meeting within the ray's limits.
    // Not inlined: two nested walks would not fit the registers
    #[inline(never)]
    pub(super) fn nearest(&self, ray: &Ray, stack: &mut TraversalStack) -> Option<Meeting> {
        let counts = |hit: &Meeting| !self.cut_out || self.is_there(hit);
        self.triangles.nearest(ray, stack, counts)
    }

    /// Whether anything lies within the ray's limits.
    #[inline(never)]
    pub(super) fn blocks(&self, ray: &Ray, stack: &mut TraversalStack) -> bool {
        if self.cut_out {
            let counts = |hit: &Meeting| self.is_there(hit);
            self.triangles.blocks_where(ray, stack, counts)
        } else {
            self.triangles.blocks(ray, stack)
        }
    }

    /// Whether the surface is there, or cut out.
    fn is_there(&self, hit: &Meeting) -> bool {
        let material = self.material(hit);
        let Some(from) = self.cuts.get(material).copied().flatten() else {
            return true;
        };
        let own = self.materials[material].base_color[3];
        self.color(hit).w * own >= from
    }

    /// Geometric normal, unnormalised, counter-clockwise front.
    #[inline]
    pub(super) fn face_normal(&self, hit: &Meeting) -> Vec3A {
        let [_, edge1, edge2] = self.triangles.edges(hit.place);
        edge1.cross(edge2)
    }

    /// The point met, in the mesh's frame.
    #[inline]
    pub(super) fn point(&self, hit: &Meeting) -> Vec3A {
        let [corner, edge1, edge2] = self.triangles.edges(hit.place);
        corner + hit.u * edge1 + hit.v * edge2
    }

    /// Interpolated vertex normal, unnormalised; zero where the mesh has none.
    #[inline]
    pub(super) fn normal(&self, hit: &Meeting) -> Vec3A {
        let [a, b, c] = self.faces[hit.place as usize].0;
        let n = |i: u32| Vec3A::from(self.normals[i as usize]);
        n(a) * (1.0 - hit.u - hit.v) + n(b) * hit.u + n(c) * hit.v
    }

    /// Linear colour and opacity: the vertices', interpolated, times the texture's.
    #[inline]
    pub(super) fn color(&self, hit: &Meeting) -> Vec4 {
        let ([a, b, c], material) = self.faces[hit.place as usize];
        let (wa, wb, wc) = (1.0 - hit.u - hit.v, hit.u, hit.v);
        let rgba = |i: u32| Vec4::from_array(self.colors[i as usize].map(f32::from));
        let own = (rgba(a) * wa + rgba(b) * wb + rgba(c) * wc) * (1.0 / 65_535.0);
        let textures = self.textures.get(material as usize);
        let Some(texels) = textures.and_then(|t| t.color.as_ref()) else {
            return own;
        };
        own * texels.at(self.uv(hit))
    }

    /// Texture coordinates of the point met.
    fn uv(&self, hit: &Meeting) -> [f32; 2] {
        let [a, b, c] = self.faces[hit.place as usize].0;
        let uv = |i: u32| Vec2::from_array(self.uvs[i as usize]);
        (uv(a) * (1.0 - hit.u - hit.v) + uv(b) * hit.u + uv(c) * hit.v).to_array()
    }

    /// Roughness and metalness: the material's times the texture's.
    #[inline]
    pub(super) fn gloss(&self, hit: &Meeting) -> [f32; 2] {
        let material = self.material(hit);
        let own = &self.materials[material];
        let Some(texels) = &self.textures[material].gloss else {
            return [own.roughness, own.metallic];
        };
        let texel = texels.plain(self.uv(hit));
        [own.roughness * texel.y, own.metallic * texel.z]
    }

    /// The unit shading normal `smooth` leaned as the texture of normals says; all in the mesh's
    /// frame. The triangle's own directions of u and v are taken, so that a lean has a small step
    /// at an edge where these turn.
    pub(super) fn leaned(&self, hit: &Meeting, smooth: Vec3A) -> Vec3A {
        let material = self.material(hit);
        let Some(texels) = &self.textures[material].normal else {
            return smooth;
        };
        let [a, b, c] = self.faces[hit.place as usize].0;
        let uv = |i: u32| Vec2::from_array(self.uvs[i as usize]);
        let (first, second) = (uv(b) - uv(a), uv(c) - uv(a));
        let [_, edge1, edge2] = self.triangles.edges(hit.place);
        let turned = first.perp_dot(second);
        // Where u or v stands still there is no direction to lean in
        let along_u = (edge1 * second.y - edge2 * first.y) * turned.signum();
        let along_u = along_u - smooth * smooth.dot(along_u);
        let Some(u) = along_u.try_normalize().filter(|_| turned != 0.0) else {
            return smooth;
        };
        // Green leans against v, which is how u x v lies about the front of an unmirrored triangle
        let against_v = smooth.cross(u) * -turned.signum();
        let texel = texels.plain(self.uv(hit)) * 2.0 - Vec4::ONE;
        let scale = self.materials[material].normal_scale;
        let lean = u * (texel.x * scale) + against_v * (texel.y * scale) + smooth * texel.z;
        lean.normalize_or(smooth)
    }

    /// Mean of the vertices' colours times their material's.
    pub(super) fn mean_color(&self) -> Vec3A {
        let mut sum = Vec3A::ZERO;
        for (face, material) in &self.faces {
            let own = Vec3A::from_slice(&self.materials[*material as usize].base_color);
            let color = self.colors.get(face[0] as usize).unwrap_or(&WHITE);
            sum += Vec3A::from_slice(&color.map(|c| f32::from(c) / 65_535.0)) * own;
        }
        sum / self.faces.len().max(1) as f32
    }

    /// Whether light passes through any of it as through glass.
    pub(super) fn has_glass(&self) -> bool {
        let passes = |m: &Material| m.glass.is_some_and(|g| g.transmission > 0.0);
        self.materials.iter().any(passes)
    }

    /// What the triangle met is made of: index into `materials`.
    #[inline]
    pub(super) fn material(&self, hit: &Meeting) -> usize {
        self.faces[hit.place as usize].1 as usize
    }

    /// Bytes held.
    pub(super) fn bytes(&self) -> usize {
        self.triangles.bytes()
            + size_of_val(self.faces.as_slice())
            + size_of_val(self.normals.as_slice())
            + size_of_val(self.colors.as_slice())
            + size_of_val(self.uvs.as_slice())
            + self
                .textures
                .iter()
                .flat_map(MaterialTexels::each)
                .map(Texels::bytes)
                .sum::<usize>()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::picture::sample::{mix2, unit};

    fn vector(i: u32) -> Vec3 {
        Vec3::new(unit(mix2(i, 1)), unit(mix2(i, 2)), unit(mix2(i, 3))) * 2.0 - Vec3::ONE
    }

    /// Distance by solving for the plane and testing the three sides, in f64: another way than the
    /// block's.
    fn by_sides(corners: [Vec3; 3], origin: Vec3, direction: Vec3) -> Option<f64> {
        let [a, b, c] = corners.map(|v| v.as_dvec3());
        let (o, d) = (origin.as_dvec3(), direction.as_dvec3());
        let n = (b - a).cross(c - a);
        let t = (a - o).dot(n) / d.dot(n);
        let p = o + d * t;
        let inside = [(a, b), (b, c), (c, a)]
            .into_iter()
            .all(|(from, to)| (to - from).cross(p - from).dot(n) >= 0.0);
        (inside && t > 0.0).then_some(t)
    }

    #[test]
    fn the_hierarchy_finds_what_trying_every_triangle_finds() {
        let soup: Vec<[Vec3; 3]> = (0..700)
            .map(|i| [0, 1, 2].map(|k| vector(i) + 0.3 * vector(10_000 + 3 * i + k)))
            .collect();
        let mesh = Mesh {
            positions: soup.iter().flatten().copied().collect(),
            indices: (0..2100).collect(),
            ..Mesh::default()
        };
        let material = Material::default();
        let mut stack = TraversalStack::new();
        for quality in [
            BvhBuildParams::very_fast_build(),
            BvhBuildParams::medium_build(),
        ] {
            let mut builder = MeshBuilder::default();
            builder.add(&mesh, &material, None);
            let traced = builder.build(quality);
            let mut hits = 0;
            for i in 0..1500 {
                let origin = vector(50_000 + i) * 2.0;
                // Some rays run along the axes: zero components of the direction
                let direction = match i % 10 {
                    0 => Vec3::X,
                    1 => Vec3::NEG_Y,
                    _ => vector(90_000 + i),
                };
                let expect = soup
                    .iter()
                    .filter_map(|&t| by_sides(t, origin, direction))
                    .min_by(f64::total_cmp);
                let ray = Ray::from(origin.into(), direction.into());
                let got = traced.nearest(&ray, &mut stack);
                assert_eq!(traced.blocks(&ray, &mut stack), got.is_some());
                match (expect, got) {
                    (None, None) => {}
                    (Some(e), Some(g)) => {
                        hits += 1;
                        assert!(
                            (f64::from(g.t) - e).abs() < 1e-4 * e.max(1.0),
                            "{e}, {}",
                            g.t
                        );
                    }
                    other => panic!("ray {i}: {other:?}"),
                }
            }
            assert!(hits > 300, "{hits} rays hit something");
            assert!(stack.is_empty());
        }
    }

    #[test]
    fn broken_triangles_are_left_out() {
        let mesh = Mesh {
            positions: vec![Vec3::ZERO, Vec3::X, Vec3::NAN, Vec3::Z],
            indices: vec![0, 1, 2, 0, 1, 9, 0, 1, 3],
            ..Mesh::default()
        };
        let mut builder = MeshBuilder::default();
        let material = Material::default();
        builder.add(&mesh, &material, None);
        assert_eq!(builder.faces.len(), 1);
    }
}
