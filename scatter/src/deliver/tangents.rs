//! Tangents for surfaces with a texture of normals: the file's own, or else those that glTF names
//! as the default.
//!
//! Source: Khronos Group, "glTF 2.0 Specification", 2021, section "Meshes": without tangents, they
//! are those of MikkTSpace with the coordinates of the texture of normals. Mikkelsen, "Simulation
//! of wrinkled surfaces revisited", 2008, through the crate `bevy_mikktspace`. That algorithm knows
//! corners, not vertices: a vertex whose corners get different tangents is parted.
//!
//! Its v runs up the picture, glTF's down, so the hand is the other one.

use std::borrow::Cow;

use bevy_mikktspace::{Geometry, Ops, TangentSpace, generate_tangents};
use glam::{Vec3, Vec4};
use rustc_hash::FxHashMap;

use crate::kit::Mesh;

/// Maximum number of triangles round a vertex. The algorithm's time grows with the square of it,
/// and its stack with it; the pole of a finely divided disc has some hundreds. Beyond, readers are
/// left to make their own.
const MOST_AROUND: u32 = 1024;

/// How far a tangent may be from unit length: rounding to single precision. What is farther off is
/// no direction.
const TOLERANCE: f32 = 1e-3;

/// The tangents of a mesh.
#[derive(Debug)]
pub(super) struct Tangents<'a> {
    /// One a vertex: the unit direction of growing u, and the hand in w. The third axis, normal x
    /// tangent times w, goes against v, which points down the picture.
    pub(super) tangents: Cow<'a, [Vec4]>,
    /// The vertices that are needed once more, after the mesh's own.
    pub(super) again: Vec<u32>,
    /// Three a triangle.
    pub(super) indices: Cow<'a, [u32]>,
}

/// The tangents that a mesh brings, or those of MikkTSpace. None for one without texture
/// coordinates, and where more than [`MOST_AROUND`] triangles meet.
pub(super) fn of(mesh: &Mesh) -> Option<Tangents<'_>> {
    if !mesh.tangents.is_empty() {
        return Some(Tangents {
            tangents: Cow::Borrowed(&mesh.tangents),
            again: Vec::new(),
            indices: Cow::Borrowed(&mesh.indices),
        });
    }
    if mesh.uvs.len() != mesh.positions.len() {
        return None;
    }
    let alike = alike(mesh);
    let mut around = vec![0; mesh.positions.len()];
    for i in &mesh.indices {
        around[alike[*i as usize] as usize] += 1;
    }
    if around.iter().any(|n| *n > MOST_AROUND) {
        return None;
    }
    let faces = mesh.indices.as_chunks::<3>().0;
    let place = |i: u32| mesh.positions[i as usize];
    // Faces without area change nothing for the others, and would take the square of the time
    let whole = |[a, b, c]: &[u32; 3]| {
        let [a, b, c] = [place(*a), place(*b), place(*c)];
        a != b && b != c && c != a
    };
    let mut corners = TangentCorners {
        mesh,
        faces: (0..faces.len()).filter(|f| whole(&faces[*f])).collect(),
        found: vec![None; mesh.indices.len()],
    };
    match generate_tangents(&mut corners) {
        Ok(()) => Some(parted(mesh, &alike, corners.found)),
        // It has no errors yet
        Err(_) => None,
    }
}

/// For each vertex the first one with the same place, normal and coordinates.
fn alike(mesh: &Mesh) -> Vec<u32> {
    let mut first = FxHashMap::default();
    (0..mesh.positions.len())
        .map(|i| {
            let [x, y, z] = mesh.positions[i].to_array().map(f32::to_bits);
            let [a, b, c] = mesh.normals[i].to_array().map(f32::to_bits);
            let [u, v] = mesh.uvs[i].map(f32::to_bits);
            *first.entry([x, y, z, a, b, c, u, v]).or_insert(i as u32)
        })
        .collect()
}

/// The tangents of the corners as those of vertices: the first one that a vertex gets is its own,
/// and others have it once more.
fn parted<'a>(mesh: &'a Mesh, alike: &[u32], found: Vec<Option<Vec4>>) -> Tangents<'a> {
    // What a face without area, or without extent on the picture, takes from its neighbours
    let mut borrowed: Vec<Option<Vec4>> = vec![None; mesh.positions.len()];
    for (i, tangent) in mesh.indices.iter().zip(&found) {
        let known = &mut borrowed[alike[*i as usize] as usize];
        *known = known.or(*tangent);
    }
    let mut own: Vec<Option<Vec4>> = vec![None; mesh.positions.len()];
    let mut further = FxHashMap::default();
    let (mut again, mut added) = (Vec::new(), Vec::new());
    let mut indices = Cow::Borrowed(&mesh.indices[..]);
    let any = |i: usize| {
        mesh.normals[i]
            .any_orthogonal_vector()
            .normalize_or(Vec3::X)
    };
    for (corner, tangent) in found.into_iter().enumerate() {
        let i = mesh.indices[corner];
        let vertex = i as usize;
        let tangent = tangent.or(borrowed[alike[vertex] as usize]);
        let tangent = tangent.unwrap_or_else(|| any(vertex).extend(1.0));
        if *own[vertex].get_or_insert(tangent) == tangent {
            continue;
        }
        let key = (i, tangent.to_array().map(f32::to_bits));
        indices.to_mut()[corner] = *further.entry(key).or_insert_with(|| {
            again.push(i);
            added.push(tangent);
            (mesh.positions.len() + again.len() - 1) as u32
        });
    }
    let own = own.into_iter().enumerate();
    let own = own.map(|(i, t)| t.unwrap_or_else(|| any(i).extend(1.0)));
    Tangents {
        tangents: own.chain(added).collect(),
        again,
        indices,
    }
}

/// Triangles as the algorithm sees them.
struct TangentCorners<'a> {
    mesh: &'a Mesh,
    /// Those with three places.
    faces: Vec<usize>,
    /// For each index of the mesh.
    found: Vec<Option<Vec4>>,
}

impl TangentCorners<'_> {
    fn vertex(&self, face: usize, corner: usize) -> usize {
        self.mesh.indices[3 * self.faces[face] + corner] as usize
    }
}

impl Geometry<LibmOps> for TangentCorners<'_> {
    fn num_faces(&self) -> usize {
        self.faces.len()
    }

    fn num_vertices_of_face(&self, _face: usize) -> usize {
        3
    }

    fn position(&self, face: usize, corner: usize) -> [f32; 3] {
        self.mesh.positions[self.vertex(face, corner)].to_array()
    }

    fn normal(&self, face: usize, corner: usize) -> [f32; 3] {
        self.mesh.normals[self.vertex(face, corner)].to_array()
    }

    fn tex_coord(&self, face: usize, corner: usize) -> [f32; 2] {
        self.mesh.uvs[self.vertex(face, corner)]
    }

    fn set_tangent(&mut self, space: Option<TangentSpace>, face: usize, corner: usize) {
        let Some(space) = space else { return };
        let [x, y, z, hand] = space.tangent_encoded();
        let tangent = Vec3::new(x, y, z);
        // Where the picture has no extent its length is zero
        if (tangent.length() - 1.0).abs() <= TOLERANCE {
            self.found[3 * self.faces[face] + corner] = Some(tangent.extend(-hand));
        }
    }
}

/// The same on every machine.
struct LibmOps;

impl Ops for LibmOps {
    fn sqrt(x: f32) -> f32 {
        libm::sqrtf(x)
    }

    fn acos(x: f32) -> f32 {
        // Twice as precise, as the original has it
        libm::acos(f64::from(x)) as f32
    }
}

#[cfg(test)]
mod tests;
