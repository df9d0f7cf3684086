//! Evenly spread directions: an icosahedron with each face cut into frequency² triangles.

use glam::DVec3;

use super::shape::Shape;

/// Unit geodesic sphere of 20 n² triangles and 10 n² + 2 vertices, closed, front faces outward, colourless.
pub(crate) fn geodesic(frequency: u32) -> Shape {
    // Golden ratio: the icosahedron's corners are the cyclic permutations of (0, ±1, ±g).
    let g = (1.0 + 5.0_f64.sqrt()) / 2.0;
    let corners: Vec<DVec3> = [
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
    .into_iter()
    .map(|(x, y, z)| DVec3::new(x, y, z))
    .collect();
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
    let mut shape = Shape::default();
    // Vertices on shared edges are met twice: find them by their exact barycentric key (corner and weight, sorted).
    let mut known = std::collections::BTreeMap::new();
    let n = frequency.max(1);
    for face in FACES {
        let mut vertex = |i: u32, j: u32| {
            let mut key: Vec<(usize, u32)> = [(face[0], n - i - j), (face[1], i), (face[2], j)]
                .into_iter()
                .filter(|&(_, weight)| weight > 0)
                .collect();
            key.sort_unstable();
            *known.entry(key.clone()).or_insert_with(|| {
                let p: DVec3 = key
                    .iter()
                    .map(|&(corner, weight)| corners[corner] * f64::from(weight))
                    .sum();
                shape.push(p.normalize(), DVec3::ONE)
            })
        };
        let mut triangles = Vec::new();
        for i in 0..n {
            for j in 0..n - i {
                triangles.push([vertex(i, j), vertex(i + 1, j), vertex(i, j + 1)]);
                if i + j + 2 <= n {
                    triangles.push([vertex(i + 1, j), vertex(i + 1, j + 1), vertex(i, j + 1)]);
                }
            }
        }
        shape.triangles.extend(triangles);
    }
    shape
}
