//! Versions of grown pieces, held against what the full mesh says by other ways.

use std::collections::{BTreeMap, BTreeSet};

use super::*;
use crate::kit::{Kind, grow};

const SOLID: [Kind; 3] = [Kind::Rock, Kind::Cobble, Kind::Pebble];

fn corners(piece: &Piece) -> Vec<[Vec3A; 3]> {
    triangles(&piece.parts)
}

/// A place's bits: what lies at one place is one vertex, whatever its normal.
fn bits(p: Vec3A) -> [u32; 3] {
    p.to_array().map(f32::to_bits)
}

#[test]
fn each_version_has_half_the_triangles_and_what_was_closed_is_closed() {
    for kind in SOLID {
        let piece = grow(kind, 0);
        let versions = versions(&piece);
        // Where three creases of a rock meet, nothing may go
        assert!(versions.len() >= 2, "{}: {}", piece.name, versions.len());
        let mut before = piece.triangles();
        for Version { piece, .. } in &versions {
            let share = piece.triangles() as f64 / before as f64;
            assert!((0.4..=WORTH).contains(&share), "{}: {share}", piece.name);
            before = piece.triangles();
            let mut edges: BTreeMap<_, i32> = BTreeMap::new();
            for t in corners(piece) {
                for k in 0..3 {
                    let (a, b) = (bits(t[k]), bits(t[(k + 1) % 3]));
                    assert!(a != b, "{}: an edge without length", piece.name);
                    *edges.entry((a, b)).or_default() += 1;
                    *edges.entry((b, a)).or_default() -= 1;
                }
            }
            // Each edge is passed once either way
            assert!(edges.values().all(|n| *n == 0), "{} is open", piece.name);
        }
    }
}

#[test]
fn vertices_are_the_piece_s_own_with_their_normals_and_colours() {
    for kind in [Kind::Cobble, Kind::Leaf, Kind::Tuft] {
        let piece = grow(kind, 3);
        let key = |mesh: &Mesh, i: usize| {
            let normal = mesh.normals[i].to_array().map(f32::to_bits);
            (
                bits(mesh.positions[i].into()),
                normal,
                mesh.colors.get(i).copied(),
            )
        };
        for version in versions(&piece) {
            assert_eq!(full_name(&version.piece.name), piece.name);
            assert!(version.piece.is_version() && !piece.is_version());
            for (part, full) in version.piece.parts.iter().zip(&piece.parts) {
                let own: BTreeSet<_> = (0..full.mesh.positions.len())
                    .map(|i| key(&full.mesh, i))
                    .collect();
                let count = part.mesh.positions.len();
                assert!((0..count).all(|i| own.contains(&key(&part.mesh, i))));
                assert_eq!(
                    part.mesh.colors.len(),
                    if full.mesh.colors.is_empty() {
                        0
                    } else {
                        count
                    }
                );
                // Faces look where their normals look, all but a few at sharp edges
                let agree = part.mesh.indices.as_chunks::<3>().0.iter().filter(|t| {
                    let [a, b, c] = t.map(|i| part.mesh.positions[i as usize]);
                    let normals: Vec3 = t.iter().map(|i| part.mesh.normals[*i as usize]).sum();
                    (b - a).cross(c - a).dot(normals) >= 0.0
                });
                let share = agree.count() as f64 / (part.mesh.indices.len() / 3) as f64;
                assert!(share > 0.9, "{}: {share}", version.piece.name);
            }
        }
    }
}

#[test]
fn the_side_of_a_triangle_is_that_of_an_equilateral_one_of_the_mean_area() {
    let mesh = Mesh {
        // One equilateral triangle of side 2
        positions: vec![
            Vec3::ZERO,
            Vec3::new(1.0, 0.0, -libm::sqrtf(3.0)),
            Vec3::X * 2.0,
        ],
        normals: vec![Vec3::Y; 3],
        indices: vec![0, 2, 1],
        ..Mesh::default()
    };
    let piece = Piece {
        parts: vec![Part {
            mesh,
            material: crate::kit::Material::default(),
        }],
        ..grow(Kind::Leaf, 0)
    };
    assert!((Fineness::of(&piece).triangle - 2.0).abs() < 1e-6);
    assert_eq!(versions(&piece), []);
}
