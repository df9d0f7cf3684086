//! A primitive as triangles in world space.

use glam::{DMat3, DMat4, DVec3, Vec3};
use gltf::json::Root;
use gltf::json::accessor::Type;
use gltf::json::mesh::{Mode, Primitive, Semantic};
use gltf::json::validation::Checked;

use super::accessor::Elements;
use super::buffer::Buffers;
use super::known;
use super::material::{Coordinates, MappedMaterial};
use crate::error::{Error, Result};
use crate::kit::Mesh;
use crate::shot::bounds::MAX_FILE_PLACE_M;

/// From this distance on, metres, a file's first place is far from its origin: a step of 32 bits is
/// 4 micrometres there.
const FAR: f64 = 32.0;

/// The extension that compresses primitives, which is not read.
const DRACO: &str = "KHR_draco_mesh_compression";

/// A primitive with what it refers to.
#[derive(Debug, Clone, Copy)]
pub(super) struct Source<'a> {
    pub(super) root: &'a Root,
    pub(super) buffers: &'a Buffers<'a>,
    pub(super) primitive: &'a Primitive,
    /// Its place in the document.
    pub(super) place: &'a str,
}

/// How much a primitive will make, known before any of it is read.
#[derive(Debug, Clone, Copy)]
pub(super) struct Size {
    pub(super) triangles: u64,
    pub(super) vertices: u64,
}

impl<'a> Source<'a> {
    /// The primitive's size; none if it is made of points or lines.
    pub(super) fn size(&self) -> Result<Option<Size>> {
        let mode = self.mode()?;
        if !matches!(
            mode,
            Mode::Triangles | Mode::TriangleStrip | Mode::TriangleFan
        ) {
            return Ok(None);
        }
        let positions = self.positions()?;
        self.check_draco(&positions)?;
        let corners = match self.indices()? {
            Some(indices) => indices.count(),
            None => positions.count(),
        };
        let triangles = if matches!(mode, Mode::Triangles) {
            if !corners.is_multiple_of(3) {
                return Err(Error::input(
                    self.place,
                    format!("a triangle list of {corners} corners"),
                    "a triangle list has a multiple of three corners",
                ));
            }
            corners / 3
        } else {
            corners.saturating_sub(2)
        };
        let flat = self.attribute(Semantic::Normals).is_none();
        let made = if flat { triangles.saturating_mul(3) } else { 0 };
        Ok(Some(Size {
            triangles,
            vertices: positions.count().max(made),
        }))
    }

    /// Reads the primitive and moves it into the world, less `taken_off`: if that is None, its own
    /// first place if that is far. The mesh has texture coordinates, and tangents of its own, if
    /// the material asks for them and they are present.
    pub(super) fn mesh(
        &self,
        world_from_mesh: DMat4,
        mapped: &MappedMaterial,
        taken_off: &mut Option<DVec3>,
    ) -> Result<Mesh> {
        let place = |name: &str| format!("{}.attributes.{name}", self.place);
        let positions = self
            .positions()?
            .vectors::<3>(Type::Vec3, &place("POSITION"))?;
        let corners = self.corners(positions.len() as u64)?;
        let world = |p: [f32; 3]| world_from_mesh.transform_point3(point(p));
        check_places(positions.iter().map(|p| world(*p)), || place("POSITION"))?;
        let off = *taken_off.get_or_insert_with(|| {
            let first = positions.first().map(|p| world(*p));
            first.filter(|p| p.length() > FAR).unwrap_or_default()
        });
        let mut mesh = Mesh {
            positions: positions
                .into_iter()
                .map(|p| (world(p) - off).as_vec3())
                .collect(),
            indices: list(self.mode()?, corners),
            ..Mesh::default()
        };
        if let Some(index) = self.attribute(Semantic::Colors(0)) {
            mesh.colors = self.colors(index, &place("COLOR_0"))?;
            same_count(mesh.colors.len(), &mesh, &place("COLOR_0"))?;
        }
        if let Some(coordinates) = mapped.coordinates {
            self.read_uvs(&mut mesh, coordinates)?;
        }
        // A mirrored mesh would show its back.
        let linear = DMat3::from_mat4(world_from_mesh);
        if linear.determinant() < 0.0 {
            mesh.indices.chunks_exact_mut(3).for_each(|t| t.swap(1, 2));
        }
        match self.attribute(Semantic::Normals) {
            None => flatten(&mut mesh),
            Some(index) => {
                let place = place("NORMAL");
                let normals = Elements::new(self.root, self.buffers, index, &place)?;
                let normals = normals.vectors::<3>(Type::Vec3, &place)?;
                same_count(normals.len(), &mesh, &place)?;
                let turn = normal_matrix(linear);
                mesh.normals = normals
                    .into_iter()
                    .map(|n| (turn * point(n)).normalize_or_zero().as_vec3())
                    .collect();
                fill_missing(&mut mesh);
                // Flat normals are none that a file's tangents could go with
                if mapped.material.normal_texture.is_some() && !mesh.uvs.is_empty() {
                    self.read_tangents(&mut mesh, linear)?;
                }
                mesh.drop_unused();
            }
        }
        Ok(mesh)
    }

    /// The vertex of each corner, of `count` vertices: as listed, or one after the other.
    fn corners(&self, count: u64) -> Result<Vec<u32>> {
        match self.indices()? {
            Some(indices) => indices.indices(count, &format!("{}.indices", self.place)),
            None => {
                let too_many = |_| {
                    let hint = "a mesh has fewer than 4,294,967,296 vertices";
                    Error::input(self.place, format!("{count} vertices"), hint)
                };
                Ok((0..u32::try_from(count).map_err(too_many)?).collect())
            }
        }
    }

    /// Reads the texture coordinates that a material uses, where the primitive has them.
    fn read_uvs(&self, mesh: &mut Mesh, coordinates: Coordinates) -> Result<()> {
        let Some(index) = self.attribute(Semantic::TexCoords(coordinates.set)) else {
            return Ok(());
        };
        let place = format!("{}.attributes.TEXCOORD_{}", self.place, coordinates.set);
        let uvs = Elements::new(self.root, self.buffers, index, &place)?;
        let uvs = uvs.vectors::<2>(Type::Vec2, &place)?;
        same_count(uvs.len(), mesh, &place)?;
        mesh.uvs = uvs.into_iter().map(|uv| coordinates.moved(uv)).collect();
        if mesh.uvs.iter().flatten().all(|c| c.is_finite()) {
            return Ok(());
        }
        Err(Error::input(
            place,
            "with KHR_texture_transform a coordinate is not finite",
            "use an offset, a turn and a scale of a size that 32-bit numbers can hold",
        ))
    }

    /// Refuses a primitive whose data are in an extension that is not read alone: by the core format
    /// its positions are zeros.
    fn check_draco(&self, positions: &Elements<'_>) -> Result<()> {
        let extensions = self.primitive.extensions.as_ref();
        if !positions.is_unbacked() || !extensions.is_some_and(|e| e.others.contains_key(DRACO)) {
            return Ok(());
        }
        Err(Error::input(
            format!("{}.extensions.{DRACO}", self.place),
            "the primitive has no other data, and these are not read here",
            "save the meshes without Draco compression; quantised meshes are read",
        ))
    }

    /// Reads the primitive's own tangents, where it has them, and turns them as `linear` turns its
    /// surface.
    fn read_tangents(&self, mesh: &mut Mesh, linear: DMat3) -> Result<()> {
        let Some(index) = self.attribute(Semantic::Tangents) else {
            return Ok(());
        };
        let place = format!("{}.attributes.TANGENT", self.place);
        let tangents = Elements::new(self.root, self.buffers, index, &place)?;
        let tangents = tangents.vectors::<4>(Type::Vec4, &place)?;
        same_count(tangents.len(), mesh, &place)?;
        let mirrored = linear.determinant() < 0.0;
        let turned = tangents
            .into_iter()
            .zip(&mesh.normals)
            .map(|([x, y, z, w], normal)| {
                let tangent = (linear * point([x, y, z])).normalize_or_zero().as_vec3();
                let across = normal.any_orthogonal_vector().normalize_or(Vec3::X);
                let tangent = if tangent == Vec3::ZERO {
                    across
                } else {
                    tangent
                };
                tangent.extend(if (w < 0.0) == mirrored { 1.0 } else { -1.0 })
            });
        mesh.tangents = turned.collect();
        Ok(())
    }

    /// Whether positions or normals are integers, which only KHR_mesh_quantization allows.
    pub(super) fn is_quantized(&self) -> Result<bool> {
        let positions = !self.positions()?.is_float();
        let Some(normals) = self.attribute(Semantic::Normals) else {
            return Ok(positions);
        };
        let place = format!("{}.attributes.NORMAL", self.place);
        let normals = Elements::new(self.root, self.buffers, normals, &place)?;
        Ok(positions || !normals.is_float())
    }

    fn mode(&self) -> Result<Mode> {
        known(
            self.primitive.mode,
            || format!("{}.mode", self.place),
            "an integer from 0 (points) to 6 (triangle fan)",
        )
    }

    fn attribute(&self, semantic: Semantic) -> Option<usize> {
        let attributes = &self.primitive.attributes;
        attributes.get(&Checked::Valid(semantic)).map(|i| i.value())
    }

    fn positions(&self) -> Result<Elements<'a>> {
        let place = format!("{}.attributes.POSITION", self.place);
        let index = self.attribute(Semantic::Positions).ok_or_else(|| {
            Error::input(
                &*place,
                "the primitive has no positions",
                "give it a POSITION attribute",
            )
        })?;
        Elements::new(self.root, self.buffers, index, &place)
    }

    fn indices(&self) -> Result<Option<Elements<'a>>> {
        let place = format!("{}.indices", self.place);
        let index = self.primitive.indices.map(|i| i.value());
        index
            .map(|i| Elements::new(self.root, self.buffers, i, &place))
            .transpose()
    }

    /// Vertex colours with three components or four.
    fn colors(&self, index: usize, place: &str) -> Result<Vec<[u16; 4]>> {
        let elements = Elements::new(self.root, self.buffers, index, place)?;
        let sixteen_bits = |c: f32| (c.clamp(0.0, 1.0) * 65535.0).round() as u16;
        if elements.kind() == Type::Vec3 {
            let colors = elements.vectors::<3>(Type::Vec3, place)?;
            let opaque = |[r, g, b]: [f32; 3]| [r, g, b, 1.0].map(sixteen_bits);
            return Ok(colors.into_iter().map(opaque).collect());
        }
        let colors = elements.vectors::<4>(Type::Vec4, place)?;
        Ok(colors.into_iter().map(|c| c.map(sixteen_bits)).collect())
    }
}

/// Refuses world places that nothing of a shot can have; `place` is where the document has them.
fn check_places(places: impl Iterator<Item = DVec3>, place: impl Fn() -> String) -> Result<()> {
    let most = MAX_FILE_PLACE_M;
    // Not a number is not near either
    let far = |(_, p): &(usize, DVec3)| !p.to_array().iter().all(|c| c.abs() <= most);
    let Some((i, p)) = places.enumerate().find(far) else {
        return Ok(());
    };
    let [x, y, z] = p.to_array();
    Err(Error::input(
        place(),
        format!("in world space vertex {i} is at {x:.3e}, {y:.3e}, {z:.3e}"),
        format!(
            "at most {most:.0} m from the origin along each axis: look at the positions, and at the translations and scales of the nodes"
        ),
    ))
}

fn point(p: [f32; 3]) -> DVec3 {
    Vec3::from_array(p).as_dvec3()
}

fn same_count(count: usize, mesh: &Mesh, place: &str) -> Result<()> {
    let vertices = mesh.positions.len();
    if count == vertices {
        return Ok(());
    }
    Err(Error::input(
        place,
        format!("{count} elements, but there are {vertices} vertices"),
        "all attributes of a primitive have the same number of elements",
    ))
}

/// Corners of a list, strip or fan as a list; every triangle turns as the first one does.
fn list(mode: Mode, corners: Vec<u32>) -> Vec<u32> {
    match mode {
        Mode::TriangleStrip => corners
            .windows(3)
            .enumerate()
            .flat_map(|(i, t)| {
                if i % 2 == 0 {
                    [t[0], t[1], t[2]]
                } else {
                    [t[0], t[2], t[1]]
                }
            })
            .collect(),
        Mode::TriangleFan => match corners.split_first() {
            Some((&hub, rim)) => rim.windows(2).flat_map(|t| [t[0], t[1], hub]).collect(),
            None => corners,
        },
        _ => corners,
    }
}

/// Turns normals as `linear` turns surfaces: the matrix of cofactors, which exists for singular
/// matrices too.
fn normal_matrix(linear: DMat3) -> DMat3 {
    let (x, y, z) = (linear.x_axis, linear.y_axis, linear.z_axis);
    let sign = if linear.determinant() < 0.0 {
        -1.0
    } else {
        1.0
    };
    DMat3::from_cols(y.cross(z) * sign, z.cross(x) * sign, x.cross(y) * sign)
}

/// Gives every triangle corners and a normal of its own.
fn flatten(mesh: &mut Mesh) {
    let old = std::mem::take(mesh);
    for triangle in old.indices.chunks_exact(3) {
        let normal = unit(face_normal(&old, triangle));
        for &corner in triangle {
            mesh.indices.push(mesh.positions.len() as u32);
            mesh.positions.push(old.positions[corner as usize]);
            mesh.normals.push(normal);
            mesh.colors.extend(old.colors.get(corner as usize));
            mesh.uvs.extend(old.uvs.get(corner as usize));
        }
    }
}

/// Replaces normals of no length by the mean of the faces about the vertex, weighted by area.
fn fill_missing(mesh: &mut Mesh) {
    if mesh.normals.iter().all(|&n| n != Vec3::ZERO) {
        return;
    }
    let mut sums = vec![Vec3::ZERO; mesh.positions.len()];
    for triangle in mesh.indices.chunks_exact(3) {
        let normal = face_normal(mesh, triangle);
        for &corner in triangle {
            sums[corner as usize] += normal;
        }
    }
    for (normal, sum) in mesh.normals.iter_mut().zip(sums) {
        if *normal == Vec3::ZERO {
            *normal = unit(sum);
        }
    }
}

/// A vector's direction; up for none.
fn unit(vector: Vec3) -> Vec3 {
    let short = vector.normalize_or(Vec3::Y);
    if short.is_normalized() {
        return short;
    }
    // The square of the length of a tiny one has few digits left in single precision
    vector.as_dvec3().normalize_or(DVec3::Y).as_vec3()
}

/// Normal of a triangle, as long as twice its area.
fn face_normal(mesh: &Mesh, triangle: &[u32]) -> Vec3 {
    let [a, b, c] = [0, 1, 2].map(|i| mesh.positions[triangle[i] as usize]);
    (b - a).cross(c - a)
}
