//! How a piece from a file lies where nobody says so: judged from its mesh.

use glam::{DVec3, Vec3};

use super::Part;
use crate::brief::Lies;

/// Faces of a sheet look one way: the sum of its area vectors is this share of its area, or more.
/// It is 1 for what is flat, a half for an open hemisphere, and 0 for a closed body; a leaf that
/// curls up to half a circle has 0.64. By eye, no source.
const ONE_WAY: f64 = 0.62;

/// A sheet if the mesh is open and its faces look one way, else a rigid body. Nothing in a mesh
/// tells what is rooted.
#[must_use]
pub(super) fn judged(parts: &[Part]) -> Lies {
    let (mut sum, mut area) = (DVec3::ZERO, 0.0);
    for mesh in parts.iter().map(|p| &p.mesh) {
        for t in mesh.indices.chunks_exact(3) {
            let [a, b, c] = [0, 1, 2].map(|i| mesh.positions[t[i] as usize].as_dvec3());
            let face = (b - a).cross(c - a);
            sum += face;
            area += face.length();
        }
    }
    if sum.length() >= ONE_WAY * area && area > 0.0 {
        Lies::Sheet
    } else {
        Lies::Rigid
    }
}

/// Whether every edge, with corners at one place taken as one, is passed once in each direction.
pub(super) fn is_closed(parts: &[Part]) -> bool {
    let mut places: Vec<[u32; 3]> = Vec::new();
    // Adding zero makes the two zeros one.
    let key = |p: Vec3| (p + Vec3::ZERO).to_array().map(f32::to_bits);
    for mesh in parts.iter().map(|p| &p.mesh) {
        places.extend(mesh.positions.iter().map(|p| key(*p)));
    }
    places.sort_unstable();
    places.dedup();
    let number = |p: Vec3| places.binary_search(&key(p)).unwrap_or_default() as u32;
    let mut edges: Vec<(u32, u32, bool)> = Vec::new();
    for mesh in parts.iter().map(|p| &p.mesh) {
        let numbers: Vec<u32> = mesh.positions.iter().map(|p| number(*p)).collect();
        for triangle in mesh.indices.chunks_exact(3) {
            let [a, b, c] = [0, 1, 2].map(|i| numbers[triangle[i] as usize]);
            // A triangle without area closes nothing.
            if a == b || b == c || c == a {
                continue;
            }
            for (from, to) in [(a, b), (b, c), (c, a)] {
                edges.push((from.min(to), from.max(to), from < to));
            }
        }
    }
    edges.sort_unstable();
    !edges.is_empty()
        && edges
            .chunk_by(|a, b| (a.0, a.1) == (b.0, b.1))
            .all(|edge| edge.len() == 2 && edge[0].2 != edge[1].2)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::kit::{Kind, grow_all};

    use glam::Mat3;

    /// Grown pieces, read without their names: leaves are sheets; stones, twigs and bark are not.
    /// The leaves of a spray all look up, as those of a pressed branch do.
    #[test]
    fn leaves_are_told_from_stones_by_their_meshes() {
        let told = |kind: &Kind| !matches!(kind, Kind::Tuft | Kind::Spray);
        for kind in Kind::ALL.into_iter().filter(told) {
            for piece in grow_all(kind) {
                assert_eq!(judged(&piece.parts), kind.lies(), "{}", piece.name);
            }
        }
    }

    /// Strips bent to an arc, whose area vectors sum to 2 sin(a / 2) / a of their area: a quarter
    /// circle is a sheet (0.90), three quarters are not (0.30), however they are turned.
    #[test]
    fn a_strip_is_a_sheet_until_it_rolls_up() {
        let strip = |angle: f32| {
            let mut part = crate::kit::grow(Kind::Leaf, 0).parts.remove(0);
            let turn = Mat3::from_rotation_z(0.7) * Mat3::from_rotation_x(0.4);
            part.mesh.positions = (0..=64u8)
                .flat_map(|i| {
                    let (sin, cos) = (angle * f32::from(i) / 64.0).sin_cos();
                    [0.0, 1.0].map(|y| turn * Vec3::new(cos, y, sin))
                })
                .collect();
            part.mesh.indices = (0..64u32)
                .flat_map(|i| [0, 1, 2, 2, 1, 3].map(|k| 2 * i + k))
                .collect();
            judged(&[part])
        };
        let quarter = std::f32::consts::FRAC_PI_2;
        assert_eq!(strip(quarter), Lies::Sheet);
        assert_eq!(strip(2.0 * quarter), Lies::Sheet);
        assert_eq!(strip(3.0 * quarter), Lies::Rigid);
    }
}
