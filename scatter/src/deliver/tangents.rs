//! Tangents for surfaces with a texture of normals, which a glTF file should bring along.
//!
//! Based on: Lengyel, "Computing tangent space basis vectors for an arbitrary mesh", 2001: each
//! vertex has the mean of its triangles' directions of growing u, weighted by their areas. Departs:
//! the hand is that of most of its triangles, and a vertex without a direction takes any across its
//! normal. What other programs make for themselves (MikkTSpace, which the format names as the
//! default) differs where triangles of one vertex are laid out askew to each other.

use glam::{Vec2, Vec3, Vec4};

use crate::kit::Mesh;

/// One a vertex: the unit direction of growing u, and the hand in w. The third axis, normal x
/// tangent times w, goes against v, which points down the picture.
pub(super) fn of(mesh: &Mesh) -> Vec<Vec4> {
    let mut along_u = vec![Vec3::ZERO; mesh.positions.len()];
    let mut against_v = vec![Vec3::ZERO; mesh.positions.len()];
    for corners in mesh.indices.as_chunks::<3>().0 {
        let [a, b, c] = corners.map(|i| mesh.positions[i as usize]);
        let [s, t, r] = corners.map(|i| Vec2::from_array(mesh.uvs[i as usize]));
        let (e, f) = (b - a, c - a);
        let (g, h) = (t - s, r - s);
        // Twice the triangle's area on the picture, of which only the sign counts: a triangle
        // weighs by its own area
        let turn = g.perp_dot(h);
        if turn == 0.0 {
            continue;
        }
        let weight = turn.signum() * e.cross(f).length();
        let u = (e * h.y - f * g.y).normalize_or_zero() * weight;
        let v = (f * g.x - e * h.x).normalize_or_zero() * weight;
        for i in corners {
            along_u[*i as usize] += u;
            against_v[*i as usize] -= v;
        }
    }
    let vertices = mesh.normals.iter().zip(&along_u).zip(&against_v);
    vertices
        .map(|((normal, u), v)| {
            let across = (*u - *normal * normal.dot(*u)).normalize_or_zero();
            let tangent = if across == Vec3::ZERO {
                normal.any_orthogonal_vector().normalize_or(Vec3::X)
            } else {
                across
            };
            let hand = if normal.cross(tangent).dot(*v) < 0.0 {
                -1.0
            } else {
                1.0
            };
            tangent.extend(hand)
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A square on the ground with the picture laid over it by a linear map: u and v of a place (x,
    /// z).
    fn square(u: [f32; 2], v: [f32; 2]) -> Mesh {
        let corners = [[0.0, 0.0], [0.0, 1.0], [1.0, 1.0], [1.0, 0.0]];
        Mesh {
            positions: corners.map(|[x, z]| Vec3::new(x, 0.0, z)).to_vec(),
            normals: vec![Vec3::Y; 4],
            uvs: corners
                .map(|[x, z]| [u[0] * x + u[1] * z, v[0] * x + v[1] * z])
                .to_vec(),
            indices: vec![0, 1, 2, 0, 2, 3],
            ..Mesh::default()
        }
    }

    #[test]
    fn tangents_follow_u_and_their_hand_tells_a_mirrored_picture() {
        // Seen from above with x to the right, z is down: v along z is a picture that lies face up
        for (u, v, tangent, hand) in [
            ([1.0, 0.0], [0.0, 1.0], Vec3::X, 1.0),
            ([-3.0, 0.0], [0.0, 0.5], Vec3::NEG_X, -1.0),
            ([0.0, 1.0], [-1.0, 0.0], Vec3::Z, 1.0),
            ([0.0, 2.0], [2.0, 0.0], Vec3::Z, -1.0),
        ] {
            for found in of(&square(u, v)) {
                assert!(
                    found.truncate().distance(tangent) < 1e-6,
                    "{u:?} {v:?}: {found}"
                );
                assert_eq!(found.w, hand, "{u:?} {v:?}");
                let third = Vec3::Y.cross(found.truncate()) * found.w;
                // Against v on the ground
                let falls = Vec3::new(-v[0], 0.0, -v[1]).normalize();
                assert!(third.distance(falls) < 1e-6, "{u:?} {v:?}: {third}");
            }
        }
    }

    #[test]
    fn a_picture_without_extent_gives_some_unit_tangent_across_the_normal() {
        for found in of(&square([0.0; 2], [0.0; 2])) {
            assert!((found.truncate().length() - 1.0).abs() < 1e-6);
            assert!(found.truncate().dot(Vec3::Y).abs() < 1e-6);
            assert_eq!(found.w.abs(), 1.0);
        }
    }
}
