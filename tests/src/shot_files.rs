//! The files that random shots name: small ones of every kind that a shot can read.

use std::fs;
use std::path::Path;

use serde_json::{Value, json};

use crate::{layouts, meshes};

/// A block of 60 mm x 30 mm x 50 mm: a piece whose diameter is 50 mm.
pub const STONE: &str = "stone.glb";
/// The diameter of [`STONE`], metres.
pub const STONE_M: f64 = 0.05;
/// A block of 60 mm x 2 mm x 2 mm.
pub const NEEDLE: &str = "needle.glb";
/// A kit's list of [`STONE`].
pub const KIT: &str = "kit.json";
/// A block of 0.2 m, the hero.
pub const HERO: &str = "hero.glb";
/// A patch for a carpet: 48 x 48 squares of bumps.
pub const PATCH: &str = "patch.glb";
/// A grey image of 60 x 40 pixels: heights, or strengths.
pub const IMAGE: &str = "image.png";
/// A hilly ground of 8 m x 8 m with a hole, a wall and a roof.
pub const QUARRY: &str = "quarry.glb";
/// A camera `shotcam` that moves 0.4 m along x in a second (animation `pan`), 0.7 m over the
/// ground, looking down at 45 degrees. Its aspect is 3 to 2.
pub const FILM: &str = "film.glb";

/// Writes all of them into a folder.
///
/// # Panics
/// The folder can't be written.
pub fn write(folder: &Path) {
    let stone = shifted([0.06, 0.03, 0.05]);
    let list = json!({ "format": "strew-kit", "version": 1, "pieces": [
        { "name": "slab", "file": STONE, "sizes": ["30 mm", "70 mm"], "share": 2, "scale": 1, "up": "+y" }
    ] });
    let files: [(&str, Vec<u8>); 8] = [
        (STONE, stone),
        (NEEDLE, shifted([0.06, 0.002, 0.002])),
        (KIT, list.to_string().into_bytes()),
        (HERO, shifted([0.2, 0.2, 0.2])),
        (PATCH, patch()),
        (IMAGE, image()),
        (QUARRY, meshes::quarry()),
        (FILM, film()),
    ];
    for (name, bytes) in files {
        fs::write(folder.join(name), bytes).unwrap_or_else(|e| panic!("{name}: {e}"));
    }
}

/// A block with its middle over the origin.
fn shifted(size: [f32; 3]) -> Vec<u8> {
    let corners = meshes::block_corners(size);
    let corner = |c: &[f32; 3]| [c[0] - 0.5 * size[0], c[1], c[2] - 0.5 * size[2]];
    meshes::mesh(
        &corners.iter().map(corner).collect::<Vec<_>>(),
        &meshes::block_triangles(),
    )
}

/// A square metre of bumps that joins itself at its borders.
fn patch() -> Vec<u8> {
    const SIDE: u32 = 49;
    let turn = std::f32::consts::TAU / (SIDE - 1) as f32;
    let corner = |i: u32| {
        let (x, z) = ((i % SIDE) as f32, (i / SIDE) as f32);
        let bumps = libm::sinf(5.0 * turn * x) * libm::cosf(4.0 * turn * z);
        let step = 1.0 / (SIDE - 1) as f32;
        [x * step - 0.5, 0.03 * bumps, z * step - 0.5]
    };
    let squares = (0..SIDE * (SIDE - 1)).filter(|i| i % SIDE + 1 < SIDE);
    let triangles: Vec<[u32; 3]> = squares
        .flat_map(|a| [[a, a + SIDE, a + 1], [a + 1, a + SIDE, a + SIDE + 1]])
        .collect();
    meshes::mesh(
        &(0..SIDE * SIDE).map(corner).collect::<Vec<_>>(),
        &triangles,
    )
}

fn image() -> Vec<u8> {
    let (width, height) = (60_u32, 40_u32);
    let grey = |i: u32| {
        let (u, v) = ((i % width) as f32 / 60.0, (i / width) as f32 / 40.0);
        let wave = libm::sinf(7.0 * u) * libm::cosf(5.0 * v);
        ((0.5 + 0.5 * wave) * 65_535.0) as u16
    };
    let data: Vec<u8> = (0..width * height)
        .flat_map(|i| grey(i).to_be_bytes())
        .collect();
    layouts::grey_png(width, height, &data)
}

/// A file with a camera that moves.
fn film() -> Vec<u8> {
    let numbers: [f32; 8] = [0.0, 1.0, 0.0, 0.7, 0.7, 0.4, 0.7, 0.7];
    let binary: Vec<u8> = numbers.iter().flat_map(|v| v.to_le_bytes()).collect();
    let (s, c) = (
        -libm::sin(std::f64::consts::FRAC_PI_8),
        libm::cos(std::f64::consts::FRAC_PI_8),
    );
    let document: Value = json!({
        "asset": { "version": "2.0" }, "scene": 0, "scenes": [{ "nodes": [0] }],
        "nodes": [{ "name": "shotcam", "translation": [0, 0.7, 0.7], "rotation": [s, 0, 0, c], "camera": 0 }],
        "cameras": [{ "type": "perspective", "perspective": { "yfov": 0.6, "aspectRatio": 1.5, "znear": 0.05, "zfar": 3 } }],
        "animations": [{ "name": "pan", "samplers": [{ "input": 0, "output": 1 }],
            "channels": [{ "sampler": 0, "target": { "node": 0, "path": "translation" } }] }],
        "accessors": [
            { "bufferView": 0, "componentType": 5126, "count": 2, "type": "SCALAR", "min": [0], "max": [1] },
            { "bufferView": 1, "componentType": 5126, "count": 2, "type": "VEC3" }
        ],
        "bufferViews": [{ "buffer": 0, "byteLength": 8 }, { "buffer": 0, "byteOffset": 8, "byteLength": 24 }],
        "buffers": [{ "byteLength": 32 }]
    });
    meshes::glb(&document, &binary)
}
