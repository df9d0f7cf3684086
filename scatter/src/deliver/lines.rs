//! Instances as text: formatted on rayon's threads a bounded number at a time, and numbers that
//! read back as themselves.

use std::io::{self, Write};

use rayon::prelude::*;

use super::space::Conversion;
use crate::layout::Instance;

/// Instances formatted by one task: long enough to keep the threads from meeting, short enough to
/// stay in the cache.
const CHUNK: usize = 4096;

/// Chunks formatted while the ones before them are written; two sets of this many buffers bound the
/// memory.
const CHUNKS_AT_ONCE: usize = 4;

/// The bytes that the longest line (one of JSON) usually takes, so that a buffer seldom grows.
const LINE_BYTES: usize = 224;

/// Writes what `line` says of each instance, with `separator` between. Holds a few megabytes at
/// most.
///
/// # Errors
/// Whatever `out` returns.
pub(super) fn write<W: Write + Send>(
    instances: &[Instance],
    separator: &str,
    line: impl Fn(&mut Text<'_>, &Instance) + Sync,
    out: &mut W,
) -> io::Result<()> {
    let format_group = |group: &[Instance], buffers: &mut [Vec<u8>]| {
        buffers.par_iter_mut().enumerate().for_each(|(i, buffer)| {
            buffer.clear();
            let chunk = group.chunks(CHUNK).nth(i).unwrap_or_default();
            buffer.reserve(chunk.len() * LINE_BYTES);
            let mut text = Text::new(buffer);
            for instance in chunk {
                text.text(separator);
                line(&mut text, instance);
            }
        });
    };
    let mut ready: Vec<Vec<u8>> = vec![Vec::new(); CHUNKS_AT_ONCE];
    let mut making = ready.clone();
    for (i, group) in instances.chunks(CHUNK * CHUNKS_AT_ONCE).enumerate() {
        // While one set of buffers is filled, the other goes out
        let (_, written) = rayon::join(
            || format_group(group, &mut making),
            || write_all(&ready, out),
        );
        written?;
        std::mem::swap(&mut ready, &mut making);
        // Nothing is before the first
        if i == 0 {
            ready[0].drain(..separator.len());
        }
    }
    write_all(&ready, out)
}

fn write_all(buffers: &[Vec<u8>], out: &mut impl Write) -> io::Result<()> {
    buffers.iter().try_for_each(|b| out.write_all(b))
}

/// Appends numbers and words to a buffer.
pub(super) struct Text<'a> {
    out: &'a mut Vec<u8>,
    whole: itoa::Buffer,
    real: zmij::Buffer,
}

impl<'a> Text<'a> {
    pub(super) fn new(out: &'a mut Vec<u8>) -> Self {
        Self {
            out,
            whole: itoa::Buffer::new(),
            real: zmij::Buffer::new(),
        }
    }

    pub(super) fn text(&mut self, text: &str) {
        self.out.extend_from_slice(text.as_bytes());
    }

    pub(super) fn integer(&mut self, value: impl itoa::Integer) {
        let text = self.whole.format(value);
        self.out.extend_from_slice(text.as_bytes());
    }

    /// The shortest decimal that reads back as the same number.
    pub(super) fn shortest<F: zmij::Float>(&mut self, value: F) {
        let text = self.real.format_finite(value);
        // A whole number comes with `.0`, which says nothing
        let text = text.strip_suffix(".0").unwrap_or(text);
        self.out.extend_from_slice(text.as_bytes());
    }

    /// Numbers with `separator` between.
    pub(super) fn all<F: zmij::Float>(
        &mut self,
        values: impl IntoIterator<Item = F>,
        separator: &str,
    ) {
        for (i, value) in values.into_iter().enumerate() {
            if i > 0 {
                self.text(separator);
            }
            self.shortest(value);
        }
    }

    /// Sixteen hexadecimal digits.
    pub(super) fn hexadecimal(&mut self, value: u64) {
        for shift in (0..16).rev() {
            let digit = (value >> (4 * shift)) & 0xf;
            self.out.push(b"0123456789abcdef"[digit as usize]);
        }
    }

    /// A place of Strew's frame (metres) in a space, with `separator` between its numbers.
    pub(super) fn place(&mut self, metres: glam::DVec3, way: &Conversion, separator: &str) {
        for (i, v) in way.turned(metres).to_array().into_iter().enumerate() {
            if i > 0 {
                self.text(separator);
            }
            match way.decimals() {
                Some(decimals) => self.lattice(v, decimals, way),
                None => self.shortest(way.length(v)),
            }
        }
    }

    /// A length on the lattice of a nanometre as a plain decimal of the space's unit; any other as
    /// its shortest form. Both read back as the number nearest to the length.
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_precision_loss,
        reason = "a value that the casts would change is caught by the comparison"
    )]
    fn lattice(&mut self, metres: f64, decimals: usize, way: &Conversion) {
        let nanometres = (metres * 1e9).round() as i64;
        // The quotient is the number nearest to the decimal, hence what the decimal reads back as
        if nanometres as f64 / 1e9 != metres || nanometres.unsigned_abs() >= 1 << 53 {
            return self.shortest(way.length(metres));
        }
        if nanometres < 0 {
            self.out.push(b'-');
        }
        let one = 10_u64.pow(decimals as u32);
        let magnitude = nanometres.unsigned_abs();
        self.integer(magnitude / one);
        let mut fraction = magnitude % one;
        if fraction == 0 {
            return;
        }
        let mut digits = *b".000000000";
        let digits = &mut digits[..=decimals];
        for digit in digits[1..].iter_mut().rev() {
            *digit = b'0' + (fraction % 10) as u8;
            fraction /= 10;
        }
        let used = digits
            .iter()
            .rposition(|&d| d != b'0')
            .map_or(0, |last| last + 1);
        self.out.extend_from_slice(&digits[..used]);
    }
}
