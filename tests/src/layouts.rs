//! Layouts made by hand, for checks that need no shot.

use std::sync::Arc;

use glam::{DMat4, DQuat, DVec3, Vec3};
use scatter::brief::{LayerIndex, LayerTone};
use scatter::kit::{Alpha, Material, Measure, Mesh, Part, Piece, PieceIndex, Texture, Wrap};
use scatter::layout::{Instance, Layout, PassRecord, Tally};
use scatter::optics::Camera;
use scatter::shot::Lies;
use serde_json::Value;

/// Layouts that differ in what a writer could get wrong, each with a name.
#[must_use]
pub fn all() -> Vec<(&'static str, Layout)> {
    let far = DVec3::new(100_000.0, 12.0, -70_000.0);
    vec![
        ("at the origin", layout(500, DVec3::ZERO)),
        ("beside the origin", layout(500, DVec3::new(3.0, 0.0, 11.0))),
        ("100 km from the origin", layout(500, far)),
        ("one instance", layout(1, DVec3::ZERO)),
        ("no instance", layout(0, far)),
        ("ten thousand", layout(10_000, far)),
    ]
}

/// `count` instances about `centre`, of three pieces in two passes, and a camera.
#[must_use]
pub fn layout(count: u32, centre: DVec3) -> Layout {
    let on_lattice = |v: f64| (v * 1e9).round() / 1e9;
    let mut instances: Vec<Instance> = (0..count)
        .map(|i| {
            let t = f64::from(i);
            let radius = 0.02 * t.sqrt();
            let place = centre
                + DVec3::new(
                    radius * libm::cos(2.4 * t),
                    0.01 * libm::sin(t),
                    radius * libm::sin(2.4 * t),
                );
            let axis = DVec3::new(libm::sin(t), 1.0, libm::cos(3.0 * t)).normalize();
            Instance {
                id: u64::from(i).wrapping_mul(0x9e37_79b9_7f4a_7c15),
                position: DVec3::from_array(place.to_array().map(on_lattice)),
                rotation: DQuat::from_axis_angle(axis, 0.7 * t)
                    .as_quat()
                    .normalize()
                    .to_array(),
                scale: 0.2 + 0.001 * (i % 997) as f32,
                diameter: 0.01,
                pass: LayerIndex::new((i % 2) as u16),
                piece: PieceIndex::new((i % 3) as u16),
            }
        })
        .collect();
    instances.sort_by_key(|i| (i.pass, i.piece, i.id));
    let pass = |name: &str| PassRecord {
        name: name.to_owned(),
        tone: None,
        tally: Tally::default(),
    };
    Layout {
        shot: "made by hand".to_owned(),
        take: 1,
        cameras: vec![Camera {
            name: "close".to_owned(),
            position: centre + DVec3::new(0.1, 0.32, 0.95),
            rotation: DQuat::from_rotation_x(-0.3),
            yfov: 0.4711,
            frame: [1920, 1080],
            near: 0.05,
            far: 40.0,
            focal_length: 0.05,
            focus: Some(0.95),
            stop: Some(4.0),
        }],
        pieces: Arc::new(vec![
            sheet("leaf", 3, true),
            sheet("stone", 9, false),
            sheet("bank", 300, false),
        ]),
        passes: vec![
            pass("litter / \"dry\""),
            PassRecord {
                tone: Some(LayerTone::Even([0.3, 0.25, 0.2])),
                ..pass("stones")
            },
        ],
        instances,
        ..Layout::default()
    }
}

/// The stones of [`layout`] with textures: of colour (cut out), roughness and normals, the leaf's
/// colour from a texture of another name and wrapping with the same picture. Each picture is a PNG
/// of its own colour.
#[must_use]
pub fn textured(count: u32) -> Layout {
    let mut layout = layout(count, DVec3::ZERO);
    let texture = |name: &str, color: [u8; 4], wrap| {
        let picture = picture(color).into();
        Texture::new(name.to_owned(), picture, wrap)
            .map(Arc::new)
            .ok()
    };
    let mut pieces = (*layout.pieces).clone();
    for piece in &mut pieces[..2] {
        let mesh = &mut piece.parts[0].mesh;
        // u to the right along x, v down along z
        mesh.uvs = mesh
            .positions
            .iter()
            .map(|p| [2.0 * p.x, 0.5 + p.z])
            .collect();
    }
    let red = [200, 30, 20, 128];
    let leaf = &mut pieces[0].parts[0].material;
    leaf.base_color_texture = texture("leaf red", red, [Wrap::Clamp, Wrap::Mirror]);
    let stone = &mut pieces[1].parts[0].material;
    stone.alpha = Alpha::Cut(0.25);
    stone.base_color_texture = texture("../stone.png", red, [Wrap::Repeat; 2]);
    stone.metallic_roughness_texture = texture("rough", [0, 180, 10, 255], [Wrap::Repeat; 2]);
    stone.normal_texture = texture("\u{77f3}", [128, 128, 255, 255], [Wrap::Repeat; 2]);
    layout.pieces = Arc::new(pieces);
    layout
}

/// A PNG of 8 x 8 pixels of one colour.
#[must_use]
pub fn picture(color: [u8; 4]) -> Vec<u8> {
    let mut bytes = Vec::new();
    let mut encoder = png::Encoder::new(&mut bytes, 8, 8);
    encoder.set_color(png::ColorType::Rgba);
    encoder.set_depth(png::BitDepth::Eight);
    let written = encoder
        .write_header()
        .and_then(|mut writer| writer.write_image_data(&color.repeat(64)));
    assert!(written.is_ok(), "a small PNG can be written");
    bytes
}

/// A grey PNG of 16 bits a pixel, from its big-endian samples row by row.
///
/// # Panics
/// The samples are not as many as the pixels.
#[must_use]
pub fn grey_png(width: u32, height: u32, samples: &[u8]) -> Vec<u8> {
    let mut bytes = Vec::new();
    let mut encoder = png::Encoder::new(&mut bytes, width, height);
    encoder.set_color(png::ColorType::Grayscale);
    encoder.set_depth(png::BitDepth::Sixteen);
    let written = encoder
        .write_header()
        .and_then(|mut writer| writer.write_image_data(samples));
    assert!(written.is_ok(), "a small PNG can be written");
    bytes
}

/// A waved square of `side` x `side` vertices; from 256 on its indices need 32 bits. Two-sided ones
/// have colours.
fn sheet(name: &str, side: u32, double_sided: bool) -> Piece {
    let mut mesh = Mesh::default();
    for row in 0..side {
        for column in 0..side {
            let [x, z] = [column, row].map(|k| k as f32 / (side - 1) as f32 - 0.5);
            let slope = 0.2 * libm::cosf(6.0 * x);
            mesh.positions.push(Vec3::new(
                x,
                slope / 6.0 * libm::tanf(6.0 * x).clamp(-1.0, 1.0),
                z,
            ));
            mesh.normals.push(Vec3::new(-slope, 1.0, 0.0).normalize());
            if double_sided {
                mesh.colors.push([40_000, (row * 999) as u16, 0, 65535]);
            }
            if row > 0 && column > 0 {
                let here = row * side + column;
                mesh.indices.extend([here - side - 1, here - 1, here]);
                mesh.indices.extend([here - side - 1, here, here - side]);
            }
        }
    }
    let material = Material {
        name: format!("{name} surface"),
        base_color: [0.4, 0.3, 0.2, 1.0],
        roughness: 0.8,
        metallic: 0.0,
        double_sided,
        translucency: if double_sided { 0.3 } else { 0.0 },
        ..Material::default()
    };
    Piece {
        name: name.to_owned(),
        source: "by hand".to_owned(),
        parts: vec![Part { mesh, material }],
        measure: Measure {
            size: Vec3::new(1.0, 0.07, 1.0),
            b_axis: 1.0,
            elongation: 1.0,
            plan_fill: 1.0,
            flatness: 0.07,
        },
        lies: Lies::Rigid,
    }
}

/// Holds world transforms read from a GLB, in its order and by columns, against a `layout.json`:
/// the same nodes (`pass/piece`) and matrices. Positions agree to 1e-6 of their distance from the
/// origin, turn and scale to 1e-6 of the scale.
///
/// # Panics
/// At the first difference.
pub fn compare(name: &str, layout: &Value, read: &[(String, [f64; 16])]) {
    let instances = layout["instances"]
        .as_array()
        .map_or(&[][..], Vec::as_slice);
    assert_eq!(instances.len(), read.len(), "{name}: number of instances");
    let number = |value: &Value| value.as_f64().unwrap_or(f64::NAN);
    for (i, (instance, (node, matrix))) in instances.iter().zip(read).enumerate() {
        let named = |list: &str, key: &str| {
            let index = instance[key].as_u64().unwrap_or(u64::MAX) as usize;
            layout[list][index]["name"].as_str().unwrap_or_default()
        };
        let expected_node = format!("{}/{}", named("passes", "pass"), named("pieces", "piece"));
        assert_eq!(*node, expected_node, "{name}: instance {i}");
        let position = DVec3::from_array([0, 1, 2].map(|k| number(&instance["position"][k])));
        let rotation = DQuat::from_array([0, 1, 2, 3].map(|k| number(&instance["rotation"][k])));
        let scale = number(&instance["scale"]);
        let expected =
            DMat4::from_scale_rotation_translation(DVec3::splat(scale), rotation, position);
        for (k, (got, want)) in matrix.iter().zip(expected.to_cols_array()).enumerate() {
            let size = match k {
                12..15 => position.length(),
                15 => 1.0,
                _ => scale,
            };
            // Written so that a number that is not one fails.
            let agrees = (got - want).abs() <= 1e-6 * size;
            assert!(
                agrees,
                "{name}: instance {i} of {node}, element {k}: {got} read, {want} written"
            );
        }
    }
}
