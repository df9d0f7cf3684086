//! Pieces that can be placed.

mod bark;
mod draw;
pub mod files;
mod form;
mod fracture;
mod frame;
pub mod gltf;
pub mod grow;
pub mod image;
pub mod inspect;
mod kinds;
mod leaf;
pub mod library;
pub mod list;
mod lithology;
mod lying;
mod measure;
pub mod mesh;
mod nearest;
mod perlin;
mod refine;
mod shelf;
pub mod simpler;
mod sphere;
mod spray;
mod stone;
#[cfg(test)]
mod tests;
mod tube;
mod tuft;
mod twig;
mod work_mesh;

pub use crate::shot::Kind;
pub use frame::Up;
pub use grow::{grow, grow_all};
pub use image::{Texture, Wrap};
pub(crate) use kinds::Surface;
pub use library::{Library, Serving};
pub use list::KitList;
pub(crate) use measure::covered_share;
pub use mesh::{Alpha, Glass, GlassBody, Material, Mesh, Part};
pub(crate) use shelf::MODEL_HINT;
pub use shelf::Shelf;
pub(crate) use sphere::geodesic;

use glam::{DVec3, Vec3};

use crate::brief::Lies;

/// A mesh that can be placed, lying as it would lie: +y up, its lowest point at y = 0, long (a)
/// axis along x, intermediate (b) axis along z, the plan centre of its bounds at the origin.
/// Metres. What is rooted (a tuft) stands with the ground at y = 0 instead and extends a few
/// millimetres below it.
#[derive(Debug, Clone, PartialEq)]
pub struct Piece {
    /// Unique within a kit, such as `cobble-03`; a simpler version's is `cobble-03~half`.
    pub name: String,
    /// Where it came from: `grown`, or the file that it was read from, as the shot names it.
    pub source: String,
    /// Meshes with one material each.
    pub parts: Vec<Part>,
    /// Its size, as a sieve and a plan drawing would show it.
    pub measure: Measure,
    /// How it comes to lie.
    pub lies: Lies,
}

/// The number of a piece in a list of pieces: the kit's, which is also a layout's.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, serde::Serialize)]
pub struct PieceIndex(u16);

impl PieceIndex {
    /// The piece of a number.
    #[must_use]
    pub const fn new(number: u16) -> Self {
        Self(number)
    }

    /// The piece of a position in a list; None beyond 65,535 pieces.
    #[must_use]
    pub fn of(position: usize) -> Option<Self> {
        u16::try_from(position).ok().map(Self)
    }
}

impl From<PieceIndex> for usize {
    fn from(index: PieceIndex) -> Self {
        Self::from(index.0)
    }
}

impl From<PieceIndex> for u16 {
    fn from(index: PieceIndex) -> Self {
        index.0
    }
}

/// The measured size of a piece at scale 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Measure {
    /// Extents of the bounds along x, y, z in metres.
    pub size: Vec3,
    /// Intermediate axis in metres (for what grows upright: the width of its crown): the piece's
    /// diameter at scale 1.
    pub b_axis: f64,
    /// Long axis over intermediate axis in plan, at least 1.
    pub elongation: f64,
    /// Plan area of the silhouette seen from above, over the square of the b-axis (a disc: pi / 4).
    pub plan_fill: f64,
    /// Height over b-axis.
    pub flatness: f64,
}

impl Piece {
    /// The kind as which the tool grew it, if it did.
    #[must_use]
    pub fn kind(&self) -> Option<Kind> {
        let part = self.parts.first().filter(|_| self.source == "grown")?;
        Kind::named(&part.material.name)
    }

    /// Mean linear colour over its surface, without textures; white if it has no area.
    #[must_use]
    pub fn mean_color(&self) -> [f32; 3] {
        let mut sum = DVec3::ZERO;
        let mut area = 0.0;
        for Part { mesh, material } in &self.parts {
            let [r, g, b, _] = material.base_color.map(f64::from);
            let tone = |i: usize| {
                let vertex = mesh.colors.get(i).map_or(DVec3::ONE, |c| {
                    DVec3::new(c[0].into(), c[1].into(), c[2].into()) / f64::from(u16::MAX)
                });
                vertex * DVec3::new(r, g, b)
            };
            for corners in mesh.indices.as_chunks::<3>().0 {
                let corners = corners.map(|i| i as usize);
                if corners.iter().any(|i| *i >= mesh.positions.len()) {
                    continue;
                }
                let [p, q, s] = corners.map(|i| mesh.positions[i].as_dvec3());
                let twice = (q - p).cross(s - p).length();
                let [p, q, s] = corners.map(tone);
                sum += (p + q + s) * (twice / 3.0);
                area += twice;
            }
        }
        if area > 0.0 && sum.is_finite() {
            (sum / area).as_vec3().to_array()
        } else {
            [1.0; 3]
        }
    }

    /// Whether it is a simpler version of another piece.
    #[must_use]
    pub fn is_version(&self) -> bool {
        simpler::full_name(&self.name) != self.name
    }

    /// Triangles in all parts.
    #[must_use]
    pub fn triangles(&self) -> u64 {
        self.parts
            .iter()
            .map(|p| p.mesh.indices.len() as u64 / 3)
            .sum()
    }
}
