//! The binary part, block by block.

use std::borrow::Cow;
use std::io::{self, Write};
use std::sync::Arc;

use glam::{DVec3, Vec3, Vec4};

use crate::layout::{Instance, Tints};

/// Items encoded before they are handed on: bounds the memory of a block of any length.
const ITEMS_AT_ONCE: usize = 4096;

/// The contents of one buffer view: borrowed from the layout, but for what tangents add to a mesh.
#[derive(Debug, Clone)]
pub(super) enum BufferBlock<'a> {
    /// Positions or normals, three 32-bit floats each.
    Vectors(Cow<'a, [Vec3]>),
    /// Tangents, four 32-bit floats each.
    Tangents(Cow<'a, [Vec4]>),
    /// Texture coordinates, two 32-bit floats each.
    Pairs(Cow<'a, [[f32; 2]]>),
    /// Four 16-bit components each.
    Colors(Cow<'a, [[u16; 4]]>),
    /// Indices that fit in 16 bits.
    ShortIndices(Cow<'a, [u32]>),
    /// Indices of 32 bits.
    Indices(Cow<'a, [u32]>),
    /// An encoded picture as it is.
    Bytes(&'a [u8]),
    /// Positions of instances less the root's, three 32-bit floats each.
    Translations(&'a [Instance], DVec3),
    /// Unit quaternions, x, y, z, w.
    Rotations(&'a [Instance]),
    /// The scale, three times over.
    Scales(&'a [Instance]),
    /// Factors on the piece's colours, three 32-bit floats each; 1 where it keeps its own.
    TintFactors(&'a [Instance], Arc<Tints>),
}

impl BufferBlock<'_> {
    /// Length without padding.
    pub(super) fn bytes(&self) -> u64 {
        let (count, size) = match self {
            Self::Vectors(v) => (v.len(), 12),
            Self::Tangents(v) => (v.len(), 16),
            Self::Pairs(v) => (v.len(), 8),
            Self::Colors(v) => (v.len(), 8),
            Self::Bytes(v) => (v.len(), 1),
            Self::ShortIndices(v) => (v.len(), 2),
            Self::Indices(v) => (v.len(), 4),
            Self::Translations(v, _) | Self::Scales(v) | Self::TintFactors(v, _) => (v.len(), 12),
            Self::Rotations(v) => (v.len(), 16),
        };
        count as u64 * size
    }

    /// Length with the zeros that bring the next block to a multiple of four bytes.
    pub(super) fn padded_bytes(&self) -> u64 {
        self.bytes().next_multiple_of(4)
    }

    /// Writes the block and its padding.
    pub(super) fn write<W: Write>(&self, out: &mut W) -> io::Result<()> {
        match self {
            Self::Vectors(items) => stream(out, items, |bytes, v| floats(bytes, &v.to_array())),
            Self::Tangents(items) => stream(out, items, |bytes, v| floats(bytes, &v.to_array())),
            Self::Pairs(items) => stream(out, items, |bytes, uv| floats(bytes, uv)),
            Self::Bytes(bytes) => out.write_all(bytes),
            Self::Colors(items) => stream(out, items, |bytes, color| {
                for component in color {
                    bytes.extend_from_slice(&component.to_le_bytes());
                }
            }),
            Self::ShortIndices(items) => stream(out, items, |bytes, index| {
                // The plan uses this block only where every index fits.
                bytes.extend_from_slice(&index.to_le_bytes()[..2]);
            }),
            Self::Indices(items) => stream(out, items, |bytes, index| {
                bytes.extend_from_slice(&index.to_le_bytes());
            }),
            Self::Translations(items, root) => stream(out, items, |bytes, instance| {
                floats(bytes, &(instance.position - *root).as_vec3().to_array());
            }),
            Self::Rotations(items) => stream(out, items, |bytes, instance| {
                floats(bytes, &instance.rotation)
            }),
            Self::Scales(items) => stream(out, items, |bytes, instance| {
                floats(bytes, &[instance.scale; 3])
            }),
            Self::TintFactors(items, tints) => stream(out, items, |bytes, instance| {
                floats(bytes, &tints.tint(instance).unwrap_or([1.0; 3]))
            }),
        }?;
        let padding = self.padded_bytes() - self.bytes();
        out.write_all(&[0; 4][..padding as usize])
    }
}

fn floats(bytes: &mut Vec<u8>, values: &[f32]) {
    for value in values {
        bytes.extend_from_slice(&value.to_le_bytes());
    }
}

/// Encodes `items` a bounded number at a time.
fn stream<W: Write, T>(
    out: &mut W,
    items: &[T],
    encode: impl Fn(&mut Vec<u8>, &T),
) -> io::Result<()> {
    let mut bytes = Vec::new();
    for some in items.chunks(ITEMS_AT_ONCE) {
        bytes.clear();
        some.iter().for_each(|item| encode(&mut bytes, item));
        out.write_all(&bytes)?;
    }
    Ok(())
}
