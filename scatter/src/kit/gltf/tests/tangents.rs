//! A file's own tangents go with its surface.

use std::path::Path;

use glam::{DVec3, Vec3, Vec4};
use serde_json::{Value, json};

use super::{glb, square_with};
use crate::error::Error;
use crate::kit::gltf::read_bytes;
use crate::kit::library::found_in;
#[cfg(feature = "simplify")]
use crate::kit::simpler::versions;
use crate::kit::{Mesh, Part};

/// A grid of 9 x 9 vertices in the plane z = 0 from 0 to 1, its normals along z, its tangents as
/// given, a texture of normals; the node and the attributes may be changed.
fn grid(tangent: Vec4, changes: &[(&str, Value)]) -> Result<Part, Error> {
    let corners: Vec<[f32; 2]> = (0..81).map(|i| [(i % 9) as f32, (i / 9) as f32]).collect();
    let squares = (0..64_u16).map(|i| 9 * (i / 8) + i % 8);
    let indices: Vec<u16> = squares
        .flat_map(|i| [i, i + 1, i + 10, i, i + 10, i + 9])
        .collect();
    let mut floats: Vec<f32> = Vec::new();
    floats.extend(corners.iter().flat_map(|[x, y]| [x / 8.0, y / 8.0, 0.0]));
    floats.extend([0.0, 0.0, 1.0].repeat(81));
    floats.extend(tangent.to_array().repeat(81));
    floats.extend(corners.iter().flat_map(|[x, y]| [x / 8.0, 1.0 - y / 8.0]));
    let mut binary: Vec<u8> = floats.iter().flat_map(|v| v.to_le_bytes()).collect();
    binary.extend(indices.iter().flat_map(|v| v.to_le_bytes()));
    let mut png = Vec::new();
    let mut encoder = png::Encoder::new(&mut png, 1, 1);
    encoder.set_color(png::ColorType::Rgb);
    let written = encoder
        .write_header()
        .and_then(|mut w| w.write_image_data(&[128, 128, 255]));
    written.unwrap();
    let mut views = Vec::new();
    let mut at = 0;
    for length in [972, 972, 1296, 648, 768, png.len()] {
        views.push(json!({ "buffer": 0, "byteOffset": at, "byteLength": length }));
        at += length;
    }
    binary.extend(png);
    let floats = |view: usize, kind: &str| json!({ "bufferView": view, "componentType": 5126, "count": 81, "type": kind });
    let mut all = vec![
        ("/bufferViews", json!(views)),
        ("/buffers/0/byteLength", json!(binary.len())),
        (
            "/accessors",
            json!([
                floats(0, "VEC3"), floats(1, "VEC3"), floats(2, "VEC4"), floats(3, "VEC2"),
                { "bufferView": 4, "componentType": 5123, "count": 384, "type": "SCALAR" },
            ]),
        ),
        (
            "/meshes/0/primitives/0",
            json!({
                "attributes": { "POSITION": 0, "NORMAL": 1, "TANGENT": 2, "TEXCOORD_0": 3 },
                "indices": 4, "material": 0,
            }),
        ),
        (
            "/images",
            json!([{ "bufferView": 5, "mimeType": "image/png" }]),
        ),
        ("/textures", json!([{ "source": 0 }])),
        ("/materials/0/normalTexture", json!({ "index": 0 })),
    ];
    all.extend_from_slice(changes);
    let model = read_bytes(&glb(&square_with(&all), &binary), Path::new(""))?;
    assert_eq!(model.warnings, [""; 0]);
    Ok(model.into_parts().remove(0))
}

fn all_are(mesh: &Mesh, tangent: Vec3, hand: f32) {
    assert_eq!(mesh.tangents.len(), mesh.positions.len());
    for found in &mesh.tangents {
        assert!(
            found.distance(tangent.normalize().extend(hand)) < 1e-6,
            "{found}"
        );
    }
}

#[test]
fn own_tangents_go_through_the_node_s_transform() {
    // Not what any rule would make of the coordinates
    let own = Vec4::new(0.6, 0.8, 0.0, -1.0);
    all_are(&grid(own, &[]).unwrap().mesh, own.truncate(), -1.0);
    let node = |node: Value| [("/nodes/0", node)];
    // A quarter turn about +y: +x becomes -z
    let half = std::f32::consts::FRAC_1_SQRT_2;
    let turned = grid(
        own,
        &node(json!({ "mesh": 0, "rotation": [0, half, 0, half] })),
    );
    all_are(&turned.unwrap().mesh, Vec3::new(0.0, 0.8, -0.6), -1.0);
    // Tangents run in the surface: they scale as it does, where normals scale against it
    let wide = grid(own, &node(json!({ "mesh": 0, "scale": [2, 1, 1] })));
    all_are(&wide.unwrap().mesh, Vec3::new(1.2, 0.8, 0.0), -1.0);
    // Mirrored in x: u runs the other way, and the third axis still goes against v
    let mirrored = grid(own, &node(json!({ "mesh": 0, "scale": [-1, 1, 1] })));
    let mesh = mirrored.unwrap().mesh;
    all_are(&mesh, Vec3::new(-0.6, 0.8, 0.0), 1.0);
    let third = |t: &Vec4, n: &Vec3| n.cross(t.truncate()) * t.w;
    let was = Vec3::Z.cross(own.truncate()) * own.w;
    let is = third(&mesh.tangents[0], &mesh.normals[0]);
    assert!(
        is.distance(was * Vec3::new(-1.0, 1.0, 1.0)) < 1e-6,
        "{is} {was}"
    );
}

#[test]
fn tangents_that_nothing_asks_for_or_that_go_with_nothing_are_left_aside() {
    let own = Vec4::new(1.0, 0.0, 0.0, 1.0);
    let without = grid(own, &[("/materials/0/normalTexture", Value::Null)]).unwrap();
    assert!(without.mesh.tangents.is_empty());
    // Without normals the specification ignores the tangents, too
    let attributes = json!({ "POSITION": 0, "TANGENT": 2, "TEXCOORD_0": 3 });
    let flat = grid(own, &[("/meshes/0/primitives/0/attributes", attributes)]).unwrap();
    assert!(flat.mesh.tangents.is_empty());
    // One of no length turns to some direction across the normal
    let none = grid(Vec4::W, &[]).unwrap();
    assert!(
        none.mesh
            .tangents
            .iter()
            .all(|t| t.truncate().dot(Vec3::Z) == 0.0)
    );
    assert!(
        none.mesh
            .tangents
            .iter()
            .all(|t| t.truncate().is_normalized())
    );
    // Too few of them
    let error = grid(own, &[("/accessors/2/count", json!(80))]).unwrap_err();
    assert_eq!(
        error.faults[0].place,
        "meshes[0].primitives[0].attributes.TANGENT"
    );
}

#[test]
fn own_tangents_turn_with_the_piece_and_stay_with_its_vertices() {
    // Lying on the ground, and longer along z: the piece turns its long side to x
    let half = std::f32::consts::FRAC_1_SQRT_2;
    let node = json!({ "mesh": 0, "rotation": [-half, 0, 0, half], "scale": [1, 3, 1] });
    let part = grid(Vec4::new(1.0, 0.0, 0.0, 1.0), &[("/nodes/0", node)]).unwrap();
    all_are(&part.mesh, Vec3::X, 1.0);
    let piece = found_in(vec![part], "card", "card").unwrap().piece;
    let mesh = &piece.parts[0].mesh;
    let size = piece.measure.size.as_dvec3();
    assert!((size - DVec3::new(3.0, 0.0, 1.0)).length() < 1e-5, "{size}");
    let along = mesh.tangents[0].truncate();
    assert!(along.z.abs() > 0.999, "{along}");
    all_are(mesh, along, 1.0);
    // A simpler version keeps vertices, with all that they have
    #[cfg(feature = "simplify")]
    {
        let versions = versions(&piece);
        let simple = &versions[0].piece.parts[0].mesh;
        assert!(simple.positions.len() < mesh.positions.len());
        all_are(simple, along, 1.0);
    }
}
