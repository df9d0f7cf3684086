//! Small glTF files, written by hand: what ground and cameras are read from.

use serde_json::{Value, json};

/// A binary glTF of a document and its one buffer.
///
/// # Panics
/// The file would be over 4 GiB.
#[must_use]
pub fn glb(document: &Value, binary: &[u8]) -> Vec<u8> {
    let mut text = document.to_string().into_bytes();
    text.resize(text.len().next_multiple_of(4), b' ');
    let mut binary = binary.to_vec();
    binary.resize(binary.len().next_multiple_of(4), 0);
    let word = |n: usize| u32::try_from(n).expect("a small file").to_le_bytes();
    let mut file = b"glTF".to_vec();
    file.extend(word(2));
    file.extend(word(28 + text.len() + binary.len()));
    for (kind, chunk) in [(b"JSON", text), (b"BIN\0", binary)] {
        file.extend(word(chunk.len()));
        file.extend(kind);
        file.extend(chunk);
    }
    file
}

/// A binary glTF of one mesh.
#[must_use]
pub fn mesh(positions: &[[f32; 3]], triangles: &[[u32; 3]]) -> Vec<u8> {
    let mut binary: Vec<u8> = positions
        .iter()
        .flatten()
        .flat_map(|v| v.to_le_bytes())
        .collect();
    let corners = binary.len();
    binary.extend(triangles.iter().flatten().flat_map(|v| v.to_le_bytes()));
    let end = |of: fn(f32, f32) -> f32, from: f32| {
        [0, 1, 2].map(|k| positions.iter().map(|p| p[k]).fold(from, of))
    };
    let document = json!({
        "asset": { "version": "2.0" }, "scene": 0, "scenes": [{ "nodes": [0] }], "nodes": [{ "mesh": 0 }],
        "meshes": [{ "primitives": [{ "attributes": { "POSITION": 0 }, "indices": 1 }] }],
        "accessors": [
            { "bufferView": 0, "componentType": 5126, "count": positions.len(), "type": "VEC3",
              "min": end(f32::min, f32::INFINITY), "max": end(f32::max, f32::NEG_INFINITY) },
            { "bufferView": 1, "componentType": 5125, "count": 3 * triangles.len(), "type": "SCALAR" }
        ],
        "bufferViews": [
            { "buffer": 0, "byteLength": corners },
            { "buffer": 0, "byteOffset": corners, "byteLength": binary.len() - corners }
        ],
        "buffers": [{ "byteLength": binary.len() }]
    });
    glb(&document, &binary)
}

/// The sides of a block, counter-clockwise from outside. Its corner i is at the far end along x, y
/// and z where bits 0, 1 and 2 of i are set.
pub const SIDES: [[u32; 4]; 6] = [
    [0, 4, 6, 2],
    [1, 3, 7, 5],
    [0, 1, 5, 4],
    [2, 6, 7, 3],
    [0, 2, 3, 1],
    [4, 5, 7, 6],
];

/// The triangles of a block.
#[must_use]
pub fn block_triangles() -> Vec<[u32; 3]> {
    let halves = |[a, b, c, d]: [u32; 4]| [[a, b, c], [a, c, d]];
    SIDES.into_iter().flat_map(halves).collect()
}

/// The corners of a block between the origin and a corner.
#[must_use]
pub fn block_corners(size: [f32; 3]) -> Vec<[f32; 3]> {
    let corner = |i: u32| [0, 1, 2].map(|bit| if i >> bit & 1 == 1 { size[bit] } else { 0.0 });
    (0..8).map(corner).collect()
}

/// A binary glTF of one mesh in a node of its own making.
///
/// # Panics
/// The file is not one of [`mesh`].
#[must_use]
pub fn at(file: &[u8], node: &Value) -> Vec<u8> {
    let parts = crate::glb::Glb::open(file).expect("a GLB");
    let mut document = parts.json;
    document["nodes"][0] = node.clone();
    glb(&document, &parts.binary)
}

/// A hilly quarry, 8 m x 8 m: a sheet of 80 x 80 squares with a square hole, a step with an upright
/// wall, a roof over part of it, and a closed block whose underside looks down.
#[must_use]
pub fn quarry() -> Vec<u8> {
    const SIDE: u32 = 81;
    let mut positions = Vec::new();
    let mut triangles = Vec::new();
    for i in 0..SIDE * SIDE {
        let (x, z) = ((i % SIDE) as f32 * 0.1 - 4.0, (i / SIDE) as f32 * 0.1 - 4.0);
        let hills = 0.3 * libm::sinf(1.7 * x) * libm::cosf(2.3 * z)
            + 0.02 * libm::sinf(31.0 * x + 17.0 * z);
        positions.push([x, hills + if x > 2.05 { 0.9 } else { 0.0 }, z]);
    }
    for row in 0..SIDE - 1 {
        for column in 0..SIDE - 1 {
            let hole = (20..28).contains(&column) && (30..44).contains(&row);
            if !hole {
                let a = row * SIDE + column;
                triangles.extend([[a, a + SIDE, a + 1], [a + 1, a + SIDE, a + SIDE + 1]]);
            }
        }
    }
    // A block from (-1, -1) to (0.5, 0): its top at 2 m looks up, its underside at 1.5 m looks down
    let first = positions.len() as u32;
    for y in [1.5, 2.0] {
        positions.extend([
            [-1.0, y, -1.0],
            [0.5, y, -1.0],
            [0.5, y, 0.0],
            [-1.0, y, 0.0],
        ]);
    }
    let quads = [
        [4, 7, 6, 5],
        [0, 1, 2, 3],
        [0, 4, 5, 1],
        [1, 5, 6, 2],
        [2, 6, 7, 3],
        [3, 7, 4, 0],
    ];
    for q in quads {
        let q = q.map(|c: u32| first + c);
        triangles.extend([[q[0], q[1], q[2]], [q[0], q[2], q[3]]]);
    }
    mesh(&positions, &triangles)
}
