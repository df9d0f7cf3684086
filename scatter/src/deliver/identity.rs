//! One digest of all that a delivery holds.

use std::fmt::Debug;

use glam::DVec3;
use sha2::{Digest, Sha256};

use super::manifest::hexadecimal;
use super::{DeliverOptions, Exporter, GENERATOR};
use crate::kit::{Material, Part};
use crate::layout::Layout;

/// Bytes of the digest that are kept: two of a billion deliveries share them by a chance of 1 to
/// 10^21.
const KEPT_BYTES: usize = 16;

/// The digest of a layout as it is delivered, 32 hexadecimal digits: SHA-256 over the shot's
/// digest, the take, what is asked for, each piece, and the meshes and pictures in use.
pub(super) fn identity(
    layout: &Layout,
    options: &DeliverOptions<'_>,
    exporters: &[&dyn Exporter],
) -> String {
    let mut stream = Fed(Sha256::new());
    stream.text(GENERATOR);
    stream.text(&options.shot_digest);
    stream.text(&layout.shot);
    stream.number(layout.take);
    for exporter in exporters {
        stream.text(&exporter.name().join("."));
    }
    stream.debug(&options.space);
    stream.debug(&options.split);
    stream.debug(&options.included.cameras);
    stream.debug(&options.included.sun);
    stream.debug(&options.included.lamp);
    stream.debug(&layout.cameras);
    for pass in &layout.passes {
        stream.text(&pass.name);
        if let Some(tone) = pass.tone {
            stream.debug(&tone);
        }
    }
    for piece in layout.pieces.iter() {
        stream.text(&piece.name);
    }
    for (piece, used) in layout.pieces.iter().zip(layout.used_pieces()) {
        if used {
            stream.parts(&piece.parts);
        }
    }
    for prop in &options.included.props {
        stream.text(&prop.name);
        stream.debug(&prop.world_from_prop);
        stream.parts(&prop.parts);
    }
    for instance in &layout.instances {
        stream.number(instance.id);
        stream.place(instance.position);
        stream.floats(&instance.rotation);
        stream.floats(&[instance.scale, instance.diameter]);
        stream.number(usize::from(instance.pass) as u64);
        stream.number(usize::from(instance.piece) as u64);
    }
    hexadecimal(&stream.0.finalize()[..KEPT_BYTES])
}

/// What is fed into the digest; each text and list follows its length, so that no two read alike.
struct Fed(Sha256);

impl Fed {
    fn number(&mut self, number: u64) {
        self.0.update(number.to_le_bytes());
    }

    fn bytes(&mut self, bytes: &[u8]) {
        self.number(bytes.len() as u64);
        self.0.update(bytes);
    }

    fn text(&mut self, text: &str) {
        self.bytes(text.as_bytes());
    }

    fn debug(&mut self, value: &impl Debug) {
        self.text(&format!("{value:?}"));
    }

    fn place(&mut self, place: DVec3) {
        for x in place.to_array() {
            self.0.update(x.to_le_bytes());
        }
    }

    fn floats(&mut self, floats: &[f32]) {
        for x in floats {
            self.0.update(x.to_le_bytes());
        }
    }

    fn parts(&mut self, parts: &[Part]) {
        self.number(parts.len() as u64);
        for Part { mesh, material } in parts {
            let mut bytes = Vec::new();
            for place in mesh.positions.iter().chain(&mesh.normals) {
                bytes.extend(place.to_array().into_iter().flat_map(f32::to_le_bytes));
            }
            for color in &mesh.colors {
                bytes.extend(color.iter().flat_map(|x| x.to_le_bytes()));
            }
            for uv in &mesh.uvs {
                bytes.extend(uv.iter().flat_map(|x| x.to_le_bytes()));
            }
            bytes.extend(mesh.indices.iter().flat_map(|i| i.to_le_bytes()));
            self.bytes(&bytes);
            self.material(material);
        }
    }

    fn material(&mut self, material: &Material) {
        self.text(&material.name);
        self.floats(&material.base_color);
        self.floats(&[
            material.roughness,
            material.metallic,
            material.normal_scale,
            material.translucency,
        ]);
        self.debug(&(material.alpha, material.double_sided));
        for texture in material.textures() {
            self.bytes(&texture.bytes);
        }
    }
}
