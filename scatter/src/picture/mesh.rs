//! One mesh made ready for rays: triangles in the order of a bounding volume hierarchy, and what shading needs of them.

use std::time::Duration;

use glam::{DAffine3, Vec3, Vec3A};
use obvhs::BvhBuildParams;
use obvhs::aabb::Aabb;
use obvhs::bvh2::Bvh2;
use obvhs::bvh2::builder::build_bvh2;
use obvhs::ray::{Ray, RayHit};

use crate::kit::{Material, Mesh, Part};

/// A triangle as the intersection test wants it.
#[derive(Debug, Clone, Copy)]
struct Triangle {
    corner: Vec3,
    edge1: Vec3,
    edge2: Vec3,
}

/// Where a ray met a mesh.
#[derive(Debug, Clone, Copy)]
pub(super) struct MeshHit {
    /// Distance in lengths of the ray's direction.
    pub(super) t: f32,
    /// Barycentric weight of the second corner.
    pub(super) u: f32,
    /// Barycentric weight of the third corner.
    pub(super) v: f32,
    /// Index of the triangle in tree order.
    pub(super) triangle: u32,
}

/// A mesh with its hierarchy. Parts are run together; each triangle knows its material.
pub(super) struct TracedMesh {
    tree: Bvh2,
    triangles: Vec<Triangle>,
    /// Vertex indices and material of each triangle, in tree order.
    faces: Vec<([u32; 3], u32)>,
    normals: Vec<Vec3>,
    colors: Vec<[u16; 4]>,
    /// What the triangles are made of.
    pub(super) materials: Vec<Material>,
}

/// Collects parts before the hierarchy is built.
#[derive(Default)]
pub(super) struct MeshBuilder {
    positions: Vec<Vec3>,
    normals: Vec<Vec3>,
    colors: Vec<[u16; 4]>,
    faces: Vec<([u32; 3], u32)>,
    materials: Vec<Material>,
}

/// Full white, the colour of vertices that carry none.
const WHITE: [u16; 4] = [u16::MAX; 4];

impl MeshBuilder {
    /// Adds a part, its points moved by `place`. Triangles whose indices point nowhere or whose corners are not finite
    /// are left out.
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
        let corners = |f: &[u32; 3]| f.map(|i| self.positions[i as usize]);
        let boxes: Vec<Aabb> = self
            .faces
            .iter()
            .map(|(f, _)| {
                let [a, b, c] = corners(f).map(Vec3A::from);
                Aabb::new(a.min(b).min(c), a.max(b).max(c))
            })
            .collect();
        let tree = if boxes.is_empty() {
            Bvh2::default()
        } else {
            build_bvh2(&boxes, quality, &mut Duration::default())
        };
        let faces: Vec<_> = tree
            .primitive_indices
            .iter()
            .map(|&i| self.faces[i as usize])
            .collect();
        let triangles = faces
            .iter()
            .map(|(f, _)| {
                let [a, b, c] = corners(f);
                Triangle {
                    corner: a,
                    edge1: b - a,
                    edge2: c - a,
                }
            })
            .collect();
        TracedMesh {
            tree,
            triangles,
            faces,
            normals: self.normals,
            colors: self.colors,
            materials: self.materials,
        }
    }
}

impl Triangle {
    /// Distance and barycentric weights where the ray meets the triangle from either side.
    /// Based on: Moeller and Trumbore, "Fast, minimum storage ray/triangle intersection", 1997.
    #[inline(always)]
    fn meet(&self, ray: &Ray) -> Option<(f32, f32, f32)> {
        let edge1 = Vec3A::from(self.edge1);
        let edge2 = Vec3A::from(self.edge2);
        let p = ray.direction.cross(edge2);
        let det = edge1.dot(p);
        let inv = 1.0 / det;
        let s = ray.origin - Vec3A::from(self.corner);
        let u = s.dot(p) * inv;
        let q = s.cross(edge1);
        let v = ray.direction.dot(q) * inv;
        let t = edge2.dot(q) * inv;
        // A zero determinant makes these infinite or NaN, and the comparisons fail
        (u >= 0.0 && v >= 0.0 && u + v <= 1.0 && t > ray.tmin && t < ray.tmax).then_some((t, u, v))
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
    #[inline]
    pub(super) fn nearest(&self, ray: &Ray) -> Option<MeshHit> {
        let mut best = None;
        self.tree.ray_traverse(*ray, &mut RayHit::none(), |ray, i| {
            match self.triangles[i].meet(ray) {
                Some((t, u, v)) => {
                    best = Some(MeshHit {
                        t,
                        u,
                        v,
                        triangle: i as u32,
                    });
                    t
                }
                None => f32::INFINITY,
            }
        });
        best
    }

    /// Whether anything lies within the ray's limits.
    #[inline]
    pub(super) fn blocks(&self, ray: &Ray) -> bool {
        !self.tree.ray_traverse_miss(*ray, |ray, i| {
            self.triangles[i]
                .meet(ray)
                .map_or(f32::INFINITY, |(t, _, _)| t)
        })
    }

    /// Geometric normal, unnormalised, counter-clockwise front.
    #[inline]
    pub(super) fn face_normal(&self, hit: &MeshHit) -> Vec3A {
        let t = &self.triangles[hit.triangle as usize];
        Vec3A::from(t.edge1).cross(Vec3A::from(t.edge2))
    }

    /// The point met, in the mesh's frame.
    #[inline]
    pub(super) fn point(&self, hit: &MeshHit) -> Vec3A {
        let t = &self.triangles[hit.triangle as usize];
        Vec3A::from(t.corner) + hit.u * Vec3A::from(t.edge1) + hit.v * Vec3A::from(t.edge2)
    }

    /// Interpolated vertex normal, unnormalised; zero where the mesh has none.
    #[inline]
    pub(super) fn normal(&self, hit: &MeshHit) -> Vec3A {
        let [a, b, c] = self.faces[hit.triangle as usize].0;
        let n = |i: u32| Vec3A::from(self.normals[i as usize]);
        n(a) * (1.0 - hit.u - hit.v) + n(b) * hit.u + n(c) * hit.v
    }

    /// Interpolated linear vertex colour.
    #[inline]
    pub(super) fn color(&self, hit: &MeshHit) -> Vec3A {
        let [a, b, c] = self.faces[hit.triangle as usize].0;
        let rgb = |i: u32| {
            let [r, g, b, _] = self.colors[i as usize];
            Vec3A::new(f32::from(r), f32::from(g), f32::from(b))
        };
        (rgb(a) * (1.0 - hit.u - hit.v) + rgb(b) * hit.u + rgb(c) * hit.v) * (1.0 / 65_535.0)
    }

    /// What the triangle met is made of: index into `materials`.
    #[inline]
    pub(super) fn material(&self, hit: &MeshHit) -> usize {
        self.faces[hit.triangle as usize].1 as usize
    }

    /// Bytes held.
    pub(super) fn bytes(&self) -> usize {
        size_of_val(self.tree.nodes.as_slice())
            + size_of_val(self.tree.primitive_indices.as_slice())
            + size_of_val(self.triangles.as_slice())
            + size_of_val(self.faces.as_slice())
            + size_of_val(self.normals.as_slice())
            + size_of_val(self.colors.as_slice())
    }
}
