//! Buffer views that are compressed as EXT_meshopt_compression has it.
//!
//! Source: Khronos Group, "EXT_meshopt_compression", 2021: modes, filters and their bit streams,
//! version 0 of the attribute codec and version 1 of the index codecs.
//!
//! A byte of data makes at most 64 bytes of attributes, or twelve of indices, so the size of the
//! file bounds what a view may claim.

use serde::Deserialize;

/// A view's compression, as its document tells.
#[derive(Debug, Clone, Deserialize)]
#[serde(rename_all = "camelCase")]
pub(super) struct Compression {
    pub(super) buffer: usize,
    #[serde(default)]
    pub(super) byte_offset: u64,
    pub(super) byte_length: u64,
    pub(super) byte_stride: usize,
    pub(super) count: u64,
    pub(super) mode: Mode,
    #[serde(default)]
    pub(super) filter: Filter,
}

/// What the data is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "UPPERCASE")]
pub(super) enum Mode {
    Attributes,
    Triangles,
    Indices,
}

/// What is done to attributes once they are decoded.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
#[serde(rename_all = "UPPERCASE")]
pub(super) enum Filter {
    #[default]
    None,
    Octahedral,
    Quaternion,
    Exponential,
}

/// First bytes of the three kinds of data, with their versions.
const ATTRIBUTES: u8 = 0xa0;
const TRIANGLES: u8 = 0xe1;
const INDICES: u8 = 0xd1;

/// Elements of a group of attributes.
const GROUP: usize = 16;
/// Maximum number of bytes and of elements of a block of attributes.
const BLOCK_BYTES: usize = 8192;
const BLOCK_ELEMENTS: usize = 256;
/// Minimum number of bytes of the tail, which ends in the first element's baseline.
const TAIL: usize = 32;

impl Compression {
    /// The bytes of the view; none if the data is not what it should be.
    pub(super) fn decode(&self, data: &[u8]) -> Option<Vec<u8>> {
        let count = usize::try_from(self.count).ok()?;
        let mut bytes = match self.mode {
            Mode::Attributes => attributes(data, count, self.byte_stride)?,
            Mode::Triangles => narrow(&triangles(data, count)?, self.byte_stride)?,
            Mode::Indices => narrow(&indices(data, count)?, self.byte_stride)?,
        };
        match (self.filter, self.byte_stride) {
            (Filter::None, _) => {}
            (Filter::Octahedral, 4) => {
                for e in bytes.chunks_exact_mut(4) {
                    let [x, y, one] = [e[0], e[1], e[2]].map(|b| f32::from(b.cast_signed()));
                    for (b, v) in e.iter_mut().zip(octahedral(x, y, one, 127.0)) {
                        *b = (v as i8).cast_unsigned();
                    }
                }
            }
            (Filter::Octahedral, 8) => {
                for e in bytes.chunks_exact_mut(8) {
                    let word = |i: usize| f32::from(i16::from_le_bytes([e[2 * i], e[2 * i + 1]]));
                    let turned = octahedral(word(0), word(1), word(2), 32767.0);
                    for (b, v) in e.chunks_exact_mut(2).zip(turned) {
                        b.copy_from_slice(&(v as i16).to_le_bytes());
                    }
                }
            }
            (Filter::Exponential, stride) if stride % 4 == 0 => {
                for b in bytes.chunks_exact_mut(4) {
                    let word = i32::from_le_bytes([b[0], b[1], b[2], b[3]]);
                    let mantissa = (word << 8 >> 8) as f32;
                    // A power of two as the bits of its exponent.
                    let power = f32::from_bits(((word >> 24) + 127).cast_unsigned() << 23);
                    b.copy_from_slice(&(power * mantissa).to_le_bytes());
                }
            }
            // Rotations are no attribute of a mesh.
            _ => return None,
        }
        Some(bytes)
    }
}

/// A vector of length `most` from its octahedral coordinates, in which `one` stands for 1.
fn octahedral(x: f32, y: f32, one: f32, most: f32) -> [f32; 3] {
    let z = one - x.abs() - y.abs();
    let fold = z.min(0.0);
    let folded = |c: f32| if c >= 0.0 { c + fold } else { c - fold };
    let v = [folded(x), folded(y), z];
    let length = v.iter().map(|c| c * c).sum::<f32>().sqrt();
    v.map(|c| (c * most / length + if c >= 0.0 { 0.5 } else { -0.5 }).trunc())
}

/// Takes bytes off the front of data.
struct ByteReader<'a>(&'a [u8]);

impl<'a> ByteReader<'a> {
    fn take(&mut self, count: usize) -> Option<&'a [u8]> {
        let (taken, rest) = self.0.split_at_checked(count)?;
        self.0 = rest;
        Some(taken)
    }

    fn byte(&mut self) -> Option<u8> {
        Some(self.take(1)?[0])
    }

    /// A number in groups of seven bits, the lowest first.
    fn number(&mut self) -> Option<u32> {
        let mut number = 0_u32;
        for shift in (0..35).step_by(7) {
            let byte = self.byte()?;
            number |= u32::from(byte & 0x7f) << shift;
            if byte < 0x80 {
                return Some(number);
            }
        }
        None
    }

    /// An index by its difference from another.
    fn index(&mut self, last: u32) -> Option<u32> {
        Some(last.wrapping_add(unfold(self.number()?)))
    }
}

/// Even numbers count up from 0, odd ones down from -1.
fn unfold(v: u32) -> u32 {
    (v >> 1) ^ 0_u32.wrapping_sub(v & 1)
}

/// Elements of `stride` bytes, each byte by its difference from that of the element before.
fn attributes(data: &[u8], count: usize, stride: usize) -> Option<Vec<u8>> {
    if stride == 0 || stride > 256 || !stride.is_multiple_of(4) || data.first() != Some(&ATTRIBUTES)
    {
        return None;
    }
    let (body, tail) =
        data[1..].split_at_checked((data.len() - 1).checked_sub(stride.max(TAIL))?)?;
    let mut last = tail[tail.len() - stride..].to_vec();
    let block = (BLOCK_BYTES / stride / GROUP * GROUP).min(BLOCK_ELEMENTS);
    let mut reader = ByteReader(body);
    let mut bytes = Vec::new();
    let mut done = 0;
    while done < count {
        let elements = block.min(count - done);
        let begin = bytes.len();
        bytes.resize(begin + elements * stride, 0);
        for (column, last) in last.iter_mut().enumerate() {
            let groups = elements.div_ceil(GROUP);
            let heads = reader.take(groups.div_ceil(4))?;
            for group in 0..groups {
                let head = heads[group / 4] >> (2 * (group % 4)) & 3;
                let deltas = deltas(&mut reader, head)?;
                let first = group * GROUP;
                for (i, delta) in deltas.iter().take(elements - first).enumerate() {
                    let step = delta >> 1 ^ 0_u8.wrapping_sub(delta & 1);
                    *last = last.wrapping_add(step);
                    bytes[begin + (first + i) * stride + column] = *last;
                }
            }
        }
        done += elements;
    }
    reader.0.is_empty().then_some(bytes)
}

/// The sixteen differences of a group: none, or of 2, 4 or 8 bits, where the largest of 2 or 4 bits
/// stands for a byte that follows.
fn deltas(reader: &mut ByteReader<'_>, head: u8) -> Option<[u8; GROUP]> {
    let mut deltas = [0; GROUP];
    let bits = match head {
        0 => return Some(deltas),
        3 => {
            deltas.copy_from_slice(reader.take(GROUP)?);
            return Some(deltas);
        }
        head => 2 * usize::from(head),
    };
    let packed = reader.take(GROUP * bits / 8)?;
    let escape = (1 << bits) - 1;
    let each = 8 / bits;
    for (i, delta) in deltas.iter_mut().enumerate() {
        let small = packed[i / each] >> (8 - bits * (i % each + 1)) & escape;
        *delta = if small == escape {
            reader.byte()?
        } else {
            small
        };
    }
    Some(deltas)
}

/// A ring of the last sixteen values.
#[derive(Default)]
struct Recent<T> {
    items: [T; 16],
    next: usize,
}

impl<T: Copy + Default> Recent<T> {
    fn push(&mut self, item: T) {
        self.items[self.next] = item;
        self.next = (self.next + 1) % 16;
    }

    /// The value that came `back` before the next, from 1 on.
    fn get(&self, back: u8) -> T {
        self.items[(self.next + 16 - usize::from(back)) % 16]
    }
}

/// Triangles by the edges and vertices that they share with those just before.
fn triangles(data: &[u8], count: usize) -> Option<Vec<u32>> {
    if !count.is_multiple_of(3) || data.first() != Some(&TRIANGLES) {
        return None;
    }
    let mut reader = ByteReader(&data[1..]);
    let codes = reader.take(count / 3)?;
    let (body, table) = reader.0.split_at_checked(reader.0.len().checked_sub(16)?)?;
    let mut reader = ByteReader(body);
    let mut edges: Recent<[u32; 2]> = Recent::default();
    let mut vertices: Recent<u32> = Recent::default();
    let (mut next, mut last) = (0_u32, 0_u32);
    let new = |next: &mut u32| {
        let index = *next;
        *next = index.wrapping_add(1);
        index
    };
    let mut corners = Vec::with_capacity(count);
    for &code in codes {
        if code < 0xf0 {
            let [a, b] = edges.get((code >> 4) + 1);
            let how = code & 15;
            let c = match how {
                0 => new(&mut next),
                1..=12 => vertices.get(how + 1),
                13 => last.wrapping_sub(1),
                14 => last.wrapping_add(1),
                _ => reader.index(last)?,
            };
            if how >= 13 {
                last = c;
            }
            if how == 0 || how >= 13 {
                vertices.push(c);
            }
            edges.push([c, b]);
            edges.push([a, c]);
            corners.extend([a, b, c]);
            continue;
        }
        let how = if code < 0xfe {
            table[usize::from(code & 15)]
        } else {
            reader.byte()?
        };
        if code >= 0xfe && how == 0 {
            next = 0;
        }
        // The first corner is new, or told; the others may be recent too.
        let kinds = [if code == 0xff { 15 } else { 0 }, how >> 4, how & 15];
        let mut triangle = kinds.map(|kind| match kind {
            0 => new(&mut next),
            15 => 0,
            back => vertices.get(back),
        });
        for (corner, kind) in triangle.iter_mut().zip(kinds) {
            // The table holds no such kind in a sound file.
            if kind == 15 {
                *corner = reader.index(last)?;
                last = *corner;
            }
        }
        for (corner, kind) in triangle.iter().zip(kinds) {
            if kind == 0 || kind == 15 {
                vertices.push(*corner);
            }
        }
        let [a, b, c] = triangle;
        edges.push([b, a]);
        edges.push([c, b]);
        edges.push([a, c]);
        corners.extend(triangle);
    }
    reader.0.is_empty().then_some(corners)
}

/// Indices, each by its difference from the last of one of two rows.
fn indices(data: &[u8], count: usize) -> Option<Vec<u32>> {
    /// Bytes after the data, which some decoders read ahead.
    const TAIL: usize = 4;
    if data.first() != Some(&INDICES) {
        return None;
    }
    let body = data.get(1..data.len().checked_sub(TAIL)?)?;
    // An index takes a byte at least.
    if count > body.len() {
        return None;
    }
    let mut reader = ByteReader(body);
    let mut last = [0_u32; 2];
    let mut indices = Vec::with_capacity(count);
    for _ in 0..count {
        let number = reader.number()?;
        let row = &mut last[(number & 1) as usize];
        *row = row.wrapping_add(unfold(number >> 1));
        indices.push(*row);
    }
    reader.0.is_empty().then_some(indices)
}

/// Indices as bytes of the width that the view has; none if it is no width or too small.
fn narrow(indices: &[u32], width: usize) -> Option<Vec<u8>> {
    match width {
        2 => {
            let words: Option<Vec<_>> = indices.iter().map(|&i| u16::try_from(i).ok()).collect();
            Some(words?.iter().flat_map(|w| w.to_le_bytes()).collect())
        }
        4 => Some(indices.iter().flat_map(|w| w.to_le_bytes()).collect()),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    //! Data made by another encoder: meshoptimizer 1.3.0 (npm), `encodeGltfBuffer` with version 0,
    //! and what its own decoder makes of it.

    use super::super::buffer::decode_base64;
    use super::*;

    const VERTICES: &str = "oKqqqqoO7u7u7u7u7u7u7u7u7u7u7u7u7u7u7u7u7u7u7u7u7u7u7u7u7u7u7u7u7u7u7u7u7u7u7u7u7u7u7u7u7u7u7u7u7u7u7u7u7u7u7u7u7u7u7u7u7u7u7u7u7u7u7u7u7u7u7u7u7u7u7u7u7u7u7u7u7u7u7u7u7u7u7u7u7hARRAQAIAAAAAAIAAAAAAgCAAAAAAIAAAAAAIBVVVVVKrquqwcHB6rquq4HBwerquq6BwcHrquq6gcHB7quq6oHBwfquq6rBwcHB6rquq4HBwerquq6BwcHrquq6gcHB7quq6oHBwfquq6rBwcHB6rquq4HBwerquq6BwcHrquq6gcHB7quq6oHBwfquq6rBwcHB/////8Aw8PDw8HDw8PDwcPDw8HDw8PDwcPDw8PBw8PDwcPDw8PBw8PDwcPDw8PBw8PDw8HDw8PBw8PDw8HDw8PBw8PDw8HDw8PDwcPDw8HDw8PDwcPDw8PBw8PDwcPDw8PBw8PDwcPDw8PBw8PDw8HDw8PBw8PDw8HDw8PBw8PDw8HDw8PDwcPDw8HDw8PDwcPDw8PBw8PDwcPDw8PBw8PDwcPDw8PBw8PDw8HDw8PBw8PDw8HDw8PBw8PDw8HDw8PDwcPDw8HDw8PDwcPDw8PBw8PDwcPDw8PBw8PDwcPDw8PBw8PDw8HDw8PBw8PDw8HDw8PBw8PDw8HDw8PDwcPDw8HDKu7u7u7u7u7u7u7u7u7u7u7u7u7u7u4AABGAAAAAACAAABWq6rquBwcHq6rqugcHB66rqgAHBz/Dw8PBw8PDw8HDw8PBw8PDw8HDw8PBw8PDw8HDw8PDwcPDw8HDw8PDwcPDwwAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA==";
    const TRIANGLES: &str = "4f4eEA4QDhAOEA4QDv4eGw4aDhkOGA4XDv8eFw4XDhcOFw4XDv8eFw4XDhcOFw4XDv8eFw4XDhcOFw4XDv///w8OvwJvCw5vCw5vCw4fUSj/IQAM/7YBuQGyqQcAdodWZ3iphmWJaJgBaQAA";
    const INDICES: &str = "0QAEGBYcAhYEGBYcAhYEGBYcAhYEGBYcAhYEGBYcAhYEGBYcAhIEGBYcAhYEGBYcAhYEGBYcAhYEGBYcAhYEGBYcAhYEGBYcAhIEGBYcAhYEGBYcAhYEGBYcAhYEGBYcAhYEGBYcAhYEGBYcAhIEGBYcAhYEGBYcAhYEGBYcAhYEGBYcAhYEGBYcAhYEGBYcAhIEGBYcAhYEGBYcAhYEGBYcAhYEGBYcAhYEGBYcAhYEGBYcAgEEUkIAGJEDBvHPDgAAAAA=";

    fn decode(
        text: &str,
        mode: Mode,
        filter: Filter,
        count: u64,
        stride: usize,
    ) -> Option<Vec<u8>> {
        let data = decode_base64(text).unwrap();
        decode_data(&data, mode, filter, count, stride)
    }

    fn decode_data(
        data: &[u8],
        mode: Mode,
        filter: Filter,
        count: u64,
        stride: usize,
    ) -> Option<Vec<u8>> {
        let compression = Compression {
            buffer: 0,
            byte_offset: 0,
            byte_length: data.len() as u64,
            byte_stride: stride,
            count,
            mode,
            filter,
        };
        compression.decode(data)
    }

    /// A sheet of 6 x 5 squares, and three triangles with no neighbour: what was encoded.
    fn sheet() -> Vec<u16> {
        let mut sheet = Vec::new();
        for y in 0..5 {
            for x in 0..6 {
                let a = y * 7 + x;
                sheet.extend([a, a + 1, a + 7, a + 1, a + 8, a + 7]);
            }
        }
        sheet.extend([0, 41, 20, 3, 3, 9, 100, 7, 60000]);
        sheet
    }

    #[test]
    fn attributes_come_out_as_they_went_in() {
        let bytes = decode(VERTICES, Mode::Attributes, Filter::None, 300, 4).unwrap();
        let wanted = (0..300_u32).flat_map(|i| {
            let scattered = i.wrapping_mul(2_654_435_761) >> 24;
            [(i * 7) & 255, (i * 7) >> 8, i % 5, scattered].map(|v| v as u8)
        });
        assert_eq!(bytes, wanted.collect::<Vec<_>>());
    }

    #[test]
    fn triangles_and_indices_come_out_as_they_went_in() {
        let words = |bytes: Vec<u8>| -> Vec<u16> {
            let pairs = bytes.chunks_exact(2);
            pairs.map(|b| u16::from_le_bytes([b[0], b[1]])).collect()
        };
        let sheet = sheet();
        let count = sheet.len() as u64;
        let found = decode(INDICES, Mode::Indices, Filter::None, count, 2).unwrap();
        assert_eq!(words(found), sheet);
        let found = words(decode(TRIANGLES, Mode::Triangles, Filter::None, count, 2).unwrap());
        // A triangle may begin at another of its corners.
        for (found, wanted) in found.chunks_exact(3).zip(sheet.chunks_exact(3)) {
            let turns = (0..3).map(|i| [wanted[i], wanted[(i + 1) % 3], wanted[(i + 2) % 3]]);
            assert!(
                turns.into_iter().any(|t| t == found),
                "{found:?} {wanted:?}"
            );
        }
    }

    #[test]
    fn filters_give_what_the_other_decoder_gives() {
        let eight = "oAE/wAAA/v3+YgEPwAAA/W8mAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAB/AA==";
        let bytes = decode(eight, Mode::Attributes, Filter::Octahedral, 5, 4).unwrap();
        let bytes: Vec<i8> = bytes.iter().map(|b| b.cast_signed()).collect();
        let wanted = [
            0, 0, 127, 0, 127, 0, 0, 0, 0, -127, 0, 0, 76, 0, -102, 0, -60, 81, -77, 0,
        ];
        assert_eq!(bytes, wanted);
        let sixteen = "oAEZwAAAuwE/wAAA/v3+YAELwAAARkYBD8AAAP9tJgAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA/38AAA==";
        let bytes = decode(sixteen, Mode::Attributes, Filter::Octahedral, 5, 8).unwrap();
        let words = bytes
            .chunks_exact(2)
            .map(|b| i16::from_le_bytes([b[0], b[1]]));
        let wanted = [
            0, 0, 32767, 0, 32767, 0, 0, 0, 0, -32767, 0, 0, 19660, 0, -26214, 0, -15728, 20970,
            -19661, 0,
        ];
        assert_eq!(words.collect::<Vec<i16>>(), wanted);
        let powers = "oAEwAAAAAwEDAAAAQAABPwAAAA0cHwE1AAAAdAEjAAAAQAEgAAAAAT8AAAANHB8BPwAAAPiQjwE/AAAACwg3AAE/AAAADRwfAAAAAAAAAAAAAAAAAAAAAAAAAAACAAD8yP///IQ+APw=";
        let bytes = decode(powers, Mode::Attributes, Filter::Exponential, 4, 12).unwrap();
        let floats = bytes
            .chunks_exact(4)
            .map(|b| f32::from_le_bytes([b[0], b[1], b[2], b[3]]));
        let wanted = [
            0.125,
            -3.5,
            1000.25,
            0.0,
            0.000_976_562_5,
            7.0,
            0.0,
            8.0,
            123_456.0,
            1.0,
            1.0,
            1.0,
        ];
        assert_eq!(floats.collect::<Vec<f32>>(), wanted);
    }

    #[test]
    fn broken_data_is_refused_or_decoded_but_never_a_panic() {
        let whole = [
            (VERTICES, Mode::Attributes, 300, 4),
            (TRIANGLES, Mode::Triangles, 189, 2),
            (INDICES, Mode::Indices, 189, 2),
        ];
        for (text, mode, count, stride) in whole {
            let data = decode_base64(text).unwrap();
            for at in 0..data.len() {
                let cut = decode_data(&data[..at], mode, Filter::None, count, stride);
                assert_eq!(cut, None, "{mode:?} cut at {at}");
                let mut broken = data.clone();
                broken[at] ^= 0x35;
                decode_data(&broken, mode, Filter::None, count, stride);
            }
            // Data for few elements that tells of many.
            for count in [count + 30, 3_000_000_000, u64::MAX / 3 * 3] {
                assert_eq!(decode_data(&data, mode, Filter::None, count, stride), None);
            }
        }
    }
}
