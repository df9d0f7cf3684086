//! Changes of glTF files: of the JSON, with the lengths of the chunks made right, and of the binary
//! chunk, number by number.

use super::{Chance, bytes, document};

/// Single-precision numbers that no mesh should hold.
const FLOATS: [f32; 12] = [
    f32::NAN,
    f32::INFINITY,
    f32::NEG_INFINITY,
    f32::MAX,
    f32::MIN_POSITIVE,
    1e-45,
    -0.0,
    0.0,
    1e30,
    -1e19,
    1e9,
    1e-20,
];
/// Most numbers of a binary chunk that are changed.
const MOST_NUMBERS: usize = 8;

/// A changed file; None if it is no glTF.
pub(super) fn changed(file: &[u8], other: &[u8], draw: &mut Chance) -> Option<Vec<u8>> {
    let other_json = json_of(other).unwrap_or(other);
    let Some(json) = json_of(file) else {
        return document::changed(file, other_json, draw);
    };
    let binary = file.get(20 + json.len()..).and_then(|rest| rest.get(8..));
    let mut json = json.to_vec();
    let mut binary = binary.unwrap_or_default().to_vec();
    let which = draw.below(8);
    if which < 5 {
        json = document::changed(&json, other_json, draw)?;
    }
    if which >= 4 {
        change_binary(&mut binary, draw);
    }
    Some(joined(json, binary))
}

/// The JSON of a binary glTF.
fn json_of(file: &[u8]) -> Option<&[u8]> {
    let length = file.get(12..16).filter(|_| file.starts_with(b"glTF"))?;
    let length = length.iter().rev().fold(0, |v, b| v << 8 | usize::from(*b));
    file.get(20..)?.get(..length)
}

/// A binary glTF of its two chunks.
fn joined(mut json: Vec<u8>, mut binary: Vec<u8>) -> Vec<u8> {
    json.resize(json.len().next_multiple_of(4), b' ');
    binary.resize(binary.len().next_multiple_of(4), 0);
    let word = |n: usize| (n as u32).to_le_bytes();
    let mut file = b"glTF".to_vec();
    file.extend(word(2));
    file.extend(word(28 + json.len() + binary.len()));
    for (kind, chunk) in [(b"JSON", json), (b"BIN\0", binary)] {
        file.extend(word(chunk.len()));
        file.extend(kind);
        file.extend(chunk);
    }
    file
}

fn change_binary(binary: &mut Vec<u8>, draw: &mut Chance) {
    for _ in 0..draw.few(MOST_NUMBERS) {
        if binary.len() < 4 {
            return;
        }
        let at = draw.below(binary.len() - 3) & !3;
        let word = match draw.below(6) {
            0..3 => draw.one(&FLOATS).to_le_bytes(),
            // An index that may lead to nothing
            3 => (draw.below(20) as u32).to_le_bytes(),
            // The same number twice: points that coincide
            4 => {
                let from = draw.below(binary.len() - 3) & !3;
                let same = &binary[from..from + 4];
                [same[0], same[1], same[2], same[3]]
            }
            _ => {
                bytes::change(binary, &[0; 4], draw);
                continue;
            }
        };
        binary[at..at + 4].copy_from_slice(&word);
    }
}
