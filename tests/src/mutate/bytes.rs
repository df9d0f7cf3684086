//! Changes of bytes that know of no form.

use super::{Chance, MOST_BYTES};

/// Whole numbers at the ends of what bytes can hold, and signs gone wrong.
const WORDS: [u64; 14] = [
    0,
    1,
    2,
    0x7f,
    0x80,
    0xff,
    0x7fff,
    0xffff,
    0x7fff_ffff,
    0x8000_0000,
    0xffff_ffff,
    0x1_0000_0000,
    0x7fff_ffff_ffff_ffff,
    u64::MAX,
];

/// Numbers in texts that are too large, too small, of another kind, or none.
pub(super) const NUMBERS: [&str; 24] = [
    "0",
    "-0",
    "1",
    "-1",
    "0.5",
    "1.0",
    "1e-9",
    "1e-320",
    "-1e-9",
    "255",
    "65535",
    "65536",
    "130000",
    "1e9",
    "4294967295",
    "4294967296",
    "4294967296.0",
    "9007199254740993",
    "18446744073709551615",
    "-9223372036854775808",
    "1e39",
    "-1e39",
    "1e308",
    "1e999",
];

/// Most changes of one file: each makes it likelier that the first check ends it.
const MOST_CHANGES: usize = 6;
/// Longest piece that is copied or taken out, bytes: about a chunk's head with its data.
const PIECE: usize = 96;

/// A file with some of its bytes changed.
pub(super) fn changed(file: &[u8], other: &[u8], draw: &mut Chance) -> Vec<u8> {
    let mut bytes = file.to_vec();
    for _ in 0..draw.few(MOST_CHANGES) {
        change(&mut bytes, other, draw);
    }
    bytes
}

/// One change.
pub(super) fn change(bytes: &mut Vec<u8>, other: &[u8], draw: &mut Chance) {
    if bytes.is_empty() {
        bytes.extend(&other[..other.len().min(PIECE)]);
        return;
    }
    let at = draw.below(bytes.len());
    let end = (at + draw.few(PIECE)).min(bytes.len());
    match draw.below(10) {
        0 => bytes[at] ^= 1 << draw.below(8),
        1 => bytes[at] = draw.bits() as u8,
        2 => bytes[at] = bytes[at].wrapping_add(*draw.one(&[1, 255])),
        3 | 4 => {
            let width = *draw.one(&[1, 2, 4, 8]);
            let word = *draw.one(&WORDS);
            put(bytes, at - at % width, width, word, draw);
        }
        5 => {
            bytes.drain(at..end);
        }
        6 if bytes.len() + end - at < MOST_BYTES => {
            let copy = bytes[at..end].to_vec();
            let to = draw.below(bytes.len());
            bytes.splice(to..to, copy);
        }
        7 => {
            let from = draw.below(other.len());
            let to = (from + draw.few(PIECE)).min(other.len());
            bytes.splice(at..end, other[from..to].iter().copied());
        }
        8 => bytes.truncate(at),
        _ => number(bytes, at, draw),
    }
}

/// Writes a number over the bytes at a place, in either order.
fn put(bytes: &mut [u8], at: usize, width: usize, word: u64, draw: &mut Chance) {
    let mut word = word.to_le_bytes();
    if draw.below(3) == 0 {
        word[..width].reverse();
    }
    for (byte, new) in bytes[at..].iter_mut().zip(&word[..width]) {
        *byte = *new;
    }
}

/// Swaps the next number of a text for another.
fn number(bytes: &mut Vec<u8>, at: usize, draw: &mut Chance) {
    let part = |b: &u8| b.is_ascii_digit() || b"+-.eE".contains(b);
    let Some(begin) = bytes[at..].iter().position(u8::is_ascii_digit) else {
        return;
    };
    let begin = at + begin;
    let length = bytes[begin..].iter().take_while(|b| part(b)).count();
    let new = draw.one(&NUMBERS).bytes();
    bytes.splice(begin..begin + length, new);
}
