//! Broken files from good ones: the same seed makes the same file.
//!
//! Bytes are flipped, spliced and cut, numbers swapped for odd ones. Of JSON, glTF and PNG the parts
//! are changed as well, with lengths and checksums made right again, so that what lies behind the
//! first checks is reached.

mod binary;
mod bytes;
mod document;
mod png;

use scatter::random::{Stream, join, stream};

/// What a file is made of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Form {
    /// A JSON document.
    Json,
    /// glTF, as JSON or with binary chunks.
    Gltf,
    /// A picture: the chunks of a PNG, the bytes of any other.
    Picture,
    /// Bytes without a form.
    Bytes,
}

/// Longest file that is made, bytes: a few times the longest of the corpus.
pub const MOST_BYTES: usize = 64 << 10;

/// One in so many files of a form is changed byte by byte all the same.
const PLAIN: usize = 6;

/// The `number`th broken file of a seed, made from files of one form.
///
/// # Panics
/// There are no files.
#[must_use]
pub fn file(files: &[Vec<u8>], form: Form, seed: u64, number: u64) -> Vec<u8> {
    let mut draw = Chance(stream(join(seed, number)));
    let (at, other) = (draw.below(files.len()), draw.below(files.len()));
    from(&files[at], &files[other], form, &mut draw)
}

/// A broken file from a good one, with parts of another.
#[must_use]
pub fn from(file: &[u8], other: &[u8], form: Form, draw: &mut Chance) -> Vec<u8> {
    let plain = draw.below(PLAIN) == 0;
    let made = match form {
        _ if plain => None,
        Form::Json => document::changed(file, other, draw),
        Form::Gltf => binary::changed(file, other, draw),
        Form::Picture => png::changed(file, draw),
        Form::Bytes => None,
    };
    let mut made = made.unwrap_or_else(|| bytes::changed(file, other, draw));
    made.truncate(MOST_BYTES);
    made
}

/// Random choices.
#[derive(Debug)]
pub struct Chance(Stream);

impl Chance {
    /// The choices of a seed.
    #[must_use]
    pub fn of(seed: u64) -> Self {
        Self(stream(seed))
    }

    /// Random bits.
    pub fn bits(&mut self) -> u64 {
        self.0.bits()
    }

    /// A number in `0..count`; 0 if that is empty.
    pub fn below(&mut self, count: usize) -> usize {
        ((self.0.unit() * count as f64) as usize).min(count.saturating_sub(1))
    }

    /// One of a list.
    ///
    /// # Panics
    /// The list is empty.
    pub fn one<'a, T>(&mut self, list: &'a [T]) -> &'a T {
        &list[self.below(list.len())]
    }

    /// 1, or with falling chance more, up to `most`.
    pub fn few(&mut self, most: usize) -> usize {
        1 + self.below(most).min(self.below(most))
    }
}
