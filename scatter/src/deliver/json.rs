//! `layout.json`: a layout as text, one instance a line, so that two layouts diff.
//!
//! Positions are written as decimals of at most nine places (they lie on a lattice of one nanometre), other numbers
//! as the shortest decimal that reads back as the same number.

use std::collections::BTreeMap;
use std::io::{self, Write};

use rayon::prelude::*;
use serde::Serialize;

use super::GENERATOR;
use crate::kit::Piece;
use crate::layout::{Instance, Layout, PassRecord};
use crate::optics::Camera;

/// The version of the form.
pub const VERSION: u32 = 1;

/// Instances formatted by one task: long enough to keep the threads from meeting, short enough to stay in the cache.
const CHUNK: usize = 4096;

/// Chunks formatted while the ones before them are written; two sets of this many buffers bound the memory.
const CHUNKS_AT_ONCE: usize = 4;

/// The bytes that a line of an instance usually takes, so that a buffer seldom grows.
const LINE_BYTES: usize = 224;

/// Writes the layout. Holds a few megabytes at most, whatever its size; formats on rayon's threads.
///
/// # Errors
/// Whatever `out` returns.
pub fn write<W: Write + Send>(layout: &Layout, out: &mut W) -> io::Result<()> {
    write_head(layout, out)?;
    let mut ready: Vec<Vec<u8>> = vec![Vec::new(); CHUNKS_AT_ONCE];
    let mut making = ready.clone();
    let groups = layout.instances.chunks(CHUNK * CHUNKS_AT_ONCE);
    for (i, group) in groups.enumerate() {
        // While one set of buffers is filled, the other goes out.
        let (_, written) = rayon::join(
            || format_group(group, &mut making),
            || write_all(&ready, out),
        );
        written?;
        std::mem::swap(&mut ready, &mut making);
        // The first line has no comma before it.
        if i == 0 {
            ready[0].drain(..1);
        }
    }
    write_all(&ready, out)?;
    out.write_all(b"\n  ]\n}\n")
}

fn write_all(buffers: &[Vec<u8>], out: &mut impl Write) -> io::Result<()> {
    buffers.iter().try_for_each(|b| out.write_all(b))
}

/// Fills one buffer a chunk; empties those that have none.
fn format_group(group: &[Instance], buffers: &mut [Vec<u8>]) {
    buffers.par_iter_mut().enumerate().for_each(|(i, buffer)| {
        buffer.clear();
        let chunk = group.chunks(CHUNK).nth(i).unwrap_or_default();
        buffer.reserve(chunk.len() * LINE_BYTES);
        let mut line = Line {
            out: buffer,
            whole: itoa::Buffer::new(),
            real: zmij::Buffer::new(),
        };
        for instance in chunk {
            line.instance(instance);
        }
    });
}

/// Appends numbers to a buffer.
struct Line<'a> {
    out: &'a mut Vec<u8>,
    whole: itoa::Buffer,
    real: zmij::Buffer,
}

impl Line<'_> {
    /// One instance, with the comma and line break that part it from the one before.
    fn instance(&mut self, instance: &Instance) {
        self.text(b",\n    {\"id\":\"");
        self.hexadecimal(instance.id);
        self.text(b"\",\"pass\":");
        self.integer(u64::from(instance.pass));
        self.text(b",\"piece\":");
        self.integer(u64::from(instance.piece));
        self.text(b",\"position\":[");
        for (i, v) in instance.position.to_array().into_iter().enumerate() {
            self.comma(i);
            self.metres(v);
        }
        self.text(b"],\"rotation\":[");
        for (i, v) in instance.rotation.into_iter().enumerate() {
            self.comma(i);
            self.shortest(v);
        }
        self.text(b"],\"scale\":");
        self.shortest(instance.scale);
        self.text(b",\"diameter\":");
        self.shortest(instance.diameter);
        self.text(b"}");
    }

    fn text(&mut self, text: &[u8]) {
        self.out.extend_from_slice(text);
    }

    fn comma(&mut self, i: usize) {
        if i > 0 {
            self.out.push(b',');
        }
    }

    fn integer(&mut self, value: u64) {
        let text = self.whole.format(value);
        self.out.extend_from_slice(text.as_bytes());
    }

    fn shortest<F: zmij::Float>(&mut self, value: F) {
        let text = self.real.format_finite(value);
        // A whole number comes with `.0`, which says nothing in JSON.
        let text = text.strip_suffix(".0").unwrap_or(text);
        self.out.extend_from_slice(text.as_bytes());
    }

    fn hexadecimal(&mut self, value: u64) {
        for shift in (0..16).rev() {
            let digit = (value >> (4 * shift)) & 0xf;
            self.out.push(b"0123456789abcdef"[digit as usize]);
        }
    }

    /// A length on the lattice as a plain decimal; any other as its shortest form. Both read back as the same number.
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_precision_loss,
        reason = "a value that the casts would change is caught by the comparison"
    )]
    fn metres(&mut self, value: f64) {
        let nanometres = (value * 1e9).round() as i64;
        // The quotient is the number nearest to the decimal, hence what the decimal reads back as.
        if nanometres as f64 / 1e9 != value || nanometres.unsigned_abs() >= 1 << 53 {
            return self.shortest(value);
        }
        if nanometres < 0 {
            self.out.push(b'-');
        }
        let magnitude = nanometres.unsigned_abs();
        self.integer(magnitude / 1_000_000_000);
        let mut fraction = magnitude % 1_000_000_000;
        if fraction == 0 {
            return;
        }
        let mut digits = *b".000000000";
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

/// Everything before the instances.
fn write_head<W: Write>(layout: &Layout, out: &mut W) -> io::Result<()> {
    writeln!(out, "{{")?;
    field(out, "format", &"scatter-layout")?;
    field(out, "version", &VERSION)?;
    field(out, "generator", &GENERATOR)?;
    field(out, "shot", &layout.shot)?;
    field(out, "take", &layout.take)?;
    field(out, "space", &Space::OF_SCATTER)?;
    list(out, "cameras", layout.cameras.iter().map(CameraLine::new))?;
    list(out, "pieces", layout.pieces.iter().map(PieceLine::new))?;
    list(out, "passes", layout.passes.iter().map(PassLine::new))?;
    write!(out, "  \"instances\": [")
}

fn field<W: Write>(out: &mut W, key: &str, value: &impl Serialize) -> io::Result<()> {
    write!(out, "  \"{key}\": ")?;
    serde_json::to_writer(&mut *out, value)?;
    writeln!(out, ",")
}

/// An array with one element a line.
fn list<W: Write>(
    out: &mut W,
    key: &str,
    values: impl Iterator<Item = impl Serialize>,
) -> io::Result<()> {
    write!(out, "  \"{key}\": [")?;
    for (i, value) in values.enumerate() {
        out.write_all(if i > 0 { b",\n    " } else { b"\n    " })?;
        serde_json::to_writer(&mut *out, &value)?;
    }
    writeln!(out, "\n  ],")
}

/// Axes and unit, as words.
#[derive(Serialize)]
struct Space {
    unit: &'static str,
    up: &'static str,
    forward: &'static str,
    hand: &'static str,
}

impl Space {
    const OF_SCATTER: Self = Self {
        unit: "m",
        up: "+y",
        forward: "-z",
        hand: "right",
    };
}

/// A camera. Distances that are not set, or not finite, are null.
#[derive(Serialize)]
struct CameraLine<'a> {
    name: &'a str,
    position: [f64; 3],
    rotation: [f64; 4],
    yfov: f64,
    aspect: f64,
    frame: [u32; 2],
    near: f64,
    far: f64,
    focus: Option<f64>,
    stop: Option<f64>,
}

impl<'a> CameraLine<'a> {
    fn new(camera: &'a Camera) -> Self {
        Self {
            name: &camera.name,
            position: camera.position.to_array(),
            rotation: camera.rotation.to_array(),
            yfov: camera.yfov,
            aspect: camera.aspect(),
            frame: camera.frame,
            near: camera.near,
            far: camera.far,
            focus: camera.focus,
            stop: camera.stop,
        }
    }
}

#[derive(Serialize)]
struct PieceLine<'a> {
    name: &'a str,
    source: &'a str,
    triangles: u64,
    size: [f32; 3],
}

impl<'a> PieceLine<'a> {
    fn new(piece: &'a Piece) -> Self {
        Self {
            name: &piece.name,
            source: &piece.source,
            triangles: piece.triangles(),
            size: piece.measure.size.to_array(),
        }
    }
}

#[derive(Serialize)]
struct PassLine<'a> {
    name: &'a str,
    asked: u64,
    placed: u64,
    cover: f64,
    refused: BTreeMap<&'a str, u64>,
}

impl<'a> PassLine<'a> {
    fn new(pass: &'a PassRecord) -> Self {
        Self {
            name: &pass.name,
            asked: pass.tally.asked,
            placed: pass.tally.placed,
            cover: pass.tally.cover,
            refused: refused(pass),
        }
    }
}

/// Pieces refused, by reason; a reason told twice is summed.
pub(super) fn refused(pass: &PassRecord) -> BTreeMap<&str, u64> {
    let mut reasons = BTreeMap::new();
    for (reason, count) in &pass.tally.refused {
        *reasons.entry(reason.as_str()).or_default() += count;
    }
    reasons
}
