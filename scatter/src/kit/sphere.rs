//! Evenly spread directions: an icosahedron with each face cut into frequency² triangles.

use glam::DVec3;

use super::work_mesh::WorkMesh;

/// Corners of each face of an icosahedron, counter-clockwise seen from outside.
const FACES: [[usize; 3]; 20] = [
    [0, 11, 5],
    [0, 5, 1],
    [0, 1, 7],
    [0, 7, 10],
    [0, 10, 11],
    [1, 5, 9],
    [5, 11, 4],
    [11, 10, 2],
    [10, 7, 6],
    [7, 1, 8],
    [3, 9, 4],
    [3, 4, 2],
    [3, 2, 6],
    [3, 6, 8],
    [3, 8, 9],
    [4, 9, 5],
    [2, 4, 11],
    [6, 2, 10],
    [8, 6, 7],
    [9, 8, 1],
];

/// The corners of an icosahedron: the cyclic permutations of (0, ±1, ±g), g the golden ratio.
fn icosahedron() -> [DVec3; 12] {
    let g = (1.0 + 5.0_f64.sqrt()) / 2.0;
    [
        (-1.0, g, 0.0),
        (1.0, g, 0.0),
        (-1.0, -g, 0.0),
        (1.0, -g, 0.0),
        (0.0, -1.0, g),
        (0.0, 1.0, g),
        (0.0, -1.0, -g),
        (0.0, 1.0, -g),
        (g, 0.0, -1.0),
        (g, 0.0, 1.0),
        (-g, 0.0, -1.0),
        (-g, 0.0, 1.0),
    ]
    .map(|(x, y, z)| DVec3::new(x, y, z))
}

/// Unit geodesic sphere of 20 n² triangles and 10 n² + 2 vertices, closed, front faces outward,
/// colourless.
pub(crate) fn geodesic(frequency: u32) -> WorkMesh {
    let corners = icosahedron();
    let mut shape = WorkMesh::default();
    // Vertices on shared edges are met twice: find them by corner and weight, sorted; corners
    // without weight sort last.
    let mut known = std::collections::BTreeMap::new();
    // 32 is far finer than any piece needs, and keeps a corner and its weight in one number.
    let n = frequency.clamp(1, 32);
    for face in FACES {
        // The face's vertices, row by row.
        let mut grid = Vec::new();
        for i in 0..=n {
            for j in 0..=n - i {
                let mut key =
                    [(face[0], n - i - j), (face[1], i), (face[2], j)].map(|(corner, weight)| {
                        if weight > 0 {
                            corner as u32 * 64 + weight
                        } else {
                            u32::MAX
                        }
                    });
                key.sort_unstable();
                grid.push(*known.entry(key).or_insert_with(|| {
                    let p: DVec3 = key
                        .iter()
                        .filter(|&&part| part != u32::MAX)
                        .map(|part| corners[(part / 64) as usize] * f64::from(part % 64))
                        .sum();
                    shape.push(p.normalize(), DVec3::ONE)
                }));
            }
        }
        // Rows shrink by one: row i starts after n + 1, n, ... vertices.
        let vertex = |i: u32, j: u32| grid[(i * (2 * n + 3 - i) / 2 + j) as usize];
        for i in 0..n {
            for j in 0..n - i {
                shape
                    .triangles
                    .push([vertex(i, j), vertex(i + 1, j), vertex(i, j + 1)]);
                if i + j + 2 <= n {
                    shape.triangles.push([
                        vertex(i + 1, j),
                        vertex(i + 1, j + 1),
                        vertex(i, j + 1),
                    ]);
                }
            }
        }
    }
    shape
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn counts_and_area_are_a_spheres() {
        for n in [1, 5, 8] {
            let sphere = geodesic(n);
            assert_eq!(sphere.triangles.len() as u32, 20 * n * n);
            assert_eq!(sphere.positions.len() as u32, 10 * n * n + 2);
            let volume: f64 = sphere
                .triangles
                .iter()
                .map(|t| {
                    let [a, b, c] = t.map(|i| sphere.positions[i as usize]);
                    a.dot(b.cross(c)) / 6.0
                })
                .sum();
            let share = volume / (4.0 / 3.0 * std::f64::consts::PI);
            // The regular icosahedron fills 0.6055 of its circumscribed sphere.
            assert!(
                share < 1.0 && share > if n == 1 { 0.6054 } else { 0.95 },
                "{n}: {share}"
            );
        }
    }
}
