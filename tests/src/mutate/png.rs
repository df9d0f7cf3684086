//! Changes of PNG files, chunk by chunk, with their checksums made right.

use super::{Chance, bytes};

/// The first bytes of a PNG.
const HEAD: &[u8] = b"\x89PNG\r\n\x1a\n";
/// Most changes of the chunks.
const MOST_CHANGES: usize = 4;

/// A changed file; None if it is no PNG.
pub(super) fn changed(file: &[u8], draw: &mut Chance) -> Option<Vec<u8>> {
    let mut chunks = chunks(file.strip_prefix(HEAD)?)?;
    for _ in 0..draw.few(MOST_CHANGES) {
        let (at, to) = (draw.below(chunks.len()), draw.below(chunks.len()));
        match draw.below(12) {
            0 => {
                let copy = chunks[at].clone();
                chunks.insert(to, copy);
            }
            1 if chunks.len() > 1 => {
                chunks.remove(at);
            }
            2 => chunks.swap(at, to),
            3 => bytes::change(&mut chunks[at].0, b"tRNS", draw),
            // The head tells the size and the kind of pixels: odd values of these reach farthest
            4..8 => {
                if let Some(byte) = chunks[0].1.get_mut(draw.below(13)) {
                    *byte = *draw.one(&[0, 1, 2, 3, 4, 6, 8, 16, 32, 255]);
                }
            }
            _ => bytes::change(&mut chunks[at].1, &[0; 8], draw),
        }
    }
    let mut made = HEAD.to_vec();
    for (mut kind, data) in chunks {
        kind.resize(4, b'x');
        made.extend((data.len() as u32).to_be_bytes());
        let begin = made.len();
        made.extend(kind);
        made.extend(data);
        let sum = checksum(&made[begin..]);
        made.extend(sum.to_be_bytes());
    }
    Some(made)
}

/// Kinds and data of the chunks; None if there are none.
fn chunks(mut rest: &[u8]) -> Option<Vec<(Vec<u8>, Vec<u8>)>> {
    let mut chunks = Vec::new();
    while let Some((head, behind)) = rest.split_at_checked(8) {
        let length = head[..4].iter().fold(0, |v, b| v << 8 | usize::from(*b));
        let data = behind.get(..length)?;
        chunks.push((head[4..].to_vec(), data.to_vec()));
        rest = behind.get(length + 4..).unwrap_or_default();
    }
    (!chunks.is_empty()).then_some(chunks)
}

/// The checksum of a chunk: CRC-32 (W3C, "Portable Network Graphics Specification, Third Edition",
/// 2025, annex D).
fn checksum(bytes: &[u8]) -> u32 {
    !bytes.iter().fold(!0_u32, |sum, byte| {
        (0..8).fold(sum ^ u32::from(*byte), |sum, _| {
            (sum >> 1) ^ if sum & 1 == 1 { 0xedb8_8320 } else { 0 }
        })
    })
}

#[cfg(test)]
mod tests {
    #[test]
    fn the_checksum_is_that_of_the_specification() {
        // The closing chunk of every PNG
        assert_eq!(super::checksum(b"IEND"), 0xae42_6082);
    }
}
