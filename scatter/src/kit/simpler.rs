//! Simpler versions of a piece, for where its triangles would be finer than the picture.
//!
//! Each version has about half the triangles of the one before. Edges are collapsed by quadric
//! error with normals, colours and texture coordinates counted (Garland and Heckbert, "Surface
//! simplification using quadric error metrics", 1997, and "Simplifying surfaces with color and
//! texture using quadric error metrics", 1998; the meshopt library). Vertices are kept or dropped,
//! never moved: a version's normals, colours, texture coordinates and tangents are the piece's own,
//! and what is closed stays closed.

#[cfg(feature = "simplify")]
use glam::Vec3;
use glam::Vec3A;
#[cfg(feature = "simplify")]
use meshopt::SimplifyOptions;

use super::nearest::SurfaceDistance;
use super::{Mesh, Part, Piece};
use crate::error::{Error, Result};

/// Separates a piece's name from its version's. No piece's own name contains it.
pub const VERSION_MARK: char = '~';

/// Names of the versions, finest first. A thousandth of a million triangles is as little as a grown
/// pebble has.
const VERSIONS: [&str; 10] = [
    "half", "quarter", "8th", "16th", "32nd", "64th", "128th", "256th", "512th", "1024th",
];

/// A version that keeps more than this share of the triangles before it is not worth another mesh.
const WORTH: f64 = 0.8;

/// Minimum number of triangles of a version: with fewer a stone is a die.
const FEWEST: usize = 32;

/// Weight of a unit of change in a component of the normal, of the colour and of the texture
/// coordinates, against one of position in extents of the mesh. Common practice, no source.
const NORMAL_WEIGHT: f32 = 0.5;
const COLOR_WEIGHT: f32 = 0.25;
const UV_WEIGHT: f32 = 0.5;

/// Maximum number of vertices of a piece whose distance from a version is measured.
const MEASURED: usize = 20_000;

/// Refuses what asks for simpler versions, at `place`, in a build that makes none.
///
/// # Errors
/// The library was built without its feature `simplify`.
pub fn check_made(place: &str) -> Result<()> {
    if cfg!(feature = "simplify") {
        return Ok(());
    }
    Err(Error::input(
        place,
        "asks for simpler versions of pieces, and this build makes none",
        "leave it out, or build with the feature `simplify`, which needs a C++ compiler",
    ))
}

/// A version of a piece.
#[derive(Debug, Clone, PartialEq)]
pub struct Version {
    /// The piece with fewer triangles; its measure is that of the full one.
    pub piece: Piece,
    /// Its fineness.
    pub fineness: Fineness,
}

/// How fine a mesh is, metres at scale 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fineness {
    /// Side of an equilateral triangle of the mean area of its triangles.
    pub triangle: f64,
    /// Maximum distance between its surface and the full one's, measured both ways: at the full
    /// one's vertices, and at the middles of its own triangles and edges.
    pub deviation: f64,
}

impl Fineness {
    /// The fineness of a full piece.
    #[must_use]
    pub fn of(piece: &Piece) -> Self {
        let triangles = triangles(&piece.parts);
        let area: f64 = triangles
            .iter()
            .map(|[a, b, c]| 0.5 * f64::from((*b - *a).cross(*c - *a).length()))
            .sum();
        let mean = area / (triangles.len().max(1) as f64);
        Self {
            // An equilateral triangle of side s has the area s^2 sqrt(3) / 4
            triangle: libm::sqrt(mean * 4.0 / libm::sqrt(3.0)),
            deviation: 0.0,
        }
    }
}

/// The name of the full piece of which `name` is a version; its own for a full piece.
#[must_use]
pub fn full_name(name: &str) -> &str {
    name.split(VERSION_MARK).next().unwrap_or(name)
}

/// Simpler versions of a piece, finest first: none where its mesh can't be simplified, as when no
/// two triangles share a vertex.
#[must_use]
pub fn versions(piece: &Piece) -> Vec<Version> {
    let full = triangles(&piece.parts);
    if full.is_empty() {
        return Vec::new();
    }
    let surface = SurfaceDistance::new(full);
    let mut versions: Vec<Version> = Vec::new();
    let mut parts = piece.parts.clone();
    for name in VERSIONS {
        let before = count(&parts);
        parts = parts.iter().map(halved).collect();
        if count(&parts) as f64 > WORTH * before as f64 || count(&parts) < FEWEST {
            break;
        }
        let made = Piece {
            name: format!("{}{VERSION_MARK}{name}", piece.name),
            parts: parts.clone(),
            ..piece.clone()
        };
        let fineness = Fineness {
            deviation: deviation(piece, &surface, &made),
            ..Fineness::of(&made)
        };
        versions.push(Version {
            piece: made,
            fineness,
        });
    }
    versions
}

fn count(parts: &[Part]) -> usize {
    parts.iter().map(|p| p.mesh.indices.len() / 3).sum()
}

/// The part with about half its triangles, or with more if no more can go.
fn halved(part: &Part) -> Part {
    let mesh = &part.mesh;
    if mesh.indices.is_empty() {
        return part.clone();
    }
    let textured = part.material.textures().next().is_some();
    let mut weights = vec![NORMAL_WEIGHT; 3];
    if !mesh.colors.is_empty() {
        weights.extend([COLOR_WEIGHT; 4]);
    }
    if textured {
        weights.extend([UV_WEIGHT; 2]);
    }
    let mut attributes = Vec::with_capacity(mesh.positions.len() * weights.len());
    for (i, normal) in mesh.normals.iter().enumerate() {
        attributes.extend(normal.to_array());
        if let Some(color) = mesh.colors.get(i) {
            attributes.extend(color.map(|c| f32::from(c) / 65535.0));
        }
        if textured && let Some(uv) = mesh.uvs.get(i) {
            attributes.extend(uv);
        }
    }
    let indices = half_of(mesh, &attributes, &weights);
    Part {
        mesh: with_indices(mesh, &indices),
        material: part.material.clone(),
    }
}

/// The indices of half a mesh's triangles, or of more if no more can go. Each vertex has as many
/// attributes as there are weights.
#[cfg(feature = "simplify")]
fn half_of(mesh: &Mesh, attributes: &[f32], weights: &[f32]) -> Vec<u32> {
    let positions: Vec<[f32; 3]> = mesh.positions.iter().map(Vec3::to_array).collect();
    meshopt::simplify_with_attributes_and_locks_decoder(
        &mesh.indices,
        &positions,
        attributes,
        weights,
        size_of_val(weights),
        &vec![false; positions.len()],
        mesh.indices.len() / 6 * 3,
        // Any, over the mesh's extent: how far it may go is decided where a version is chosen
        1.0,
        SimplifyOptions::None,
        None,
    )
}

/// All of them: see [`check_made`].
#[cfg(not(feature = "simplify"))]
fn half_of(mesh: &Mesh, _attributes: &[f32], _weights: &[f32]) -> Vec<u32> {
    mesh.indices.clone()
}

/// The vertices that the indices use, in the order of their first use.
fn with_indices(mesh: &Mesh, indices: &[u32]) -> Mesh {
    let mut renamed = vec![u32::MAX; mesh.positions.len()];
    let mut kept = Mesh::default();
    for &old in indices {
        let i = old as usize;
        if renamed[i] == u32::MAX {
            renamed[i] = kept.positions.len() as u32;
            kept.positions.push(mesh.positions[i]);
            kept.normals.push(mesh.normals[i]);
            kept.colors.extend(mesh.colors.get(i));
            kept.uvs.extend(mesh.uvs.get(i));
            kept.tangents.extend(mesh.tangents.get(i));
        }
        kept.indices.push(renamed[i]);
    }
    kept
}

fn triangles(parts: &[Part]) -> Vec<[Vec3A; 3]> {
    let of_part = |part: &Part| -> Vec<[Vec3A; 3]> {
        let corner = |i: &u32| Vec3A::from(part.mesh.positions[*i as usize]);
        let corners = part.mesh.indices.as_chunks().0;
        corners
            .iter()
            .map(|t: &[u32; 3]| t.each_ref().map(corner))
            .collect()
    };
    parts.iter().flat_map(of_part).collect()
}

/// Maximum distance between the surfaces of a piece and of its version, metres.
fn deviation(piece: &Piece, surface: &SurfaceDistance, version: &Piece) -> f64 {
    let simple = triangles(&version.parts);
    let mut most = 0.0_f32;
    for [a, b, c] in &simple {
        for p in [
            (*a + *b) / 2.0,
            (*b + *c) / 2.0,
            (*c + *a) / 2.0,
            (*a + *b + *c) / 3.0,
        ] {
            most = most.max(surface.distance(p));
        }
    }
    let simple = SurfaceDistance::new(simple);
    let vertices = || piece.parts.iter().flat_map(|p| &p.mesh.positions);
    let every = vertices().count().div_ceil(MEASURED).max(1);
    for p in vertices().step_by(every) {
        most = most.max(simple.distance(Vec3A::from(*p)));
    }
    f64::from(most)
}

#[cfg(all(test, feature = "simplify"))]
mod tests;
