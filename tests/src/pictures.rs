//! The pictures of the README: what they show, how they are made, whether they are still true.

use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};

use crate::dresser::Dresser;
use scatter::layout::Layout;
use scatter::picture::{LookOptions, Picture, Tone, TracedKit, render_with};
use scatter::random::fnv;
use scatter::shot::Shot;

use crate::tools::tests_folder;

/// The examples that the README shows.
pub const SHOWN: [&str; 3] = ["river-kettle", "orchard-pot", "scree-lamp"];

/// The example whose way from frame to delivery the README shows.
pub const LOOP: &str = "river-kettle";

/// How the pictures are made: 40 samples leave a grain that eight bits at this size hardly show.
pub const LOOK: [u32; 2] = [960, 40];

/// The small picture that a picture's truth is told by: width and samples.
const SMALL: [u32; 2] = [96, 8];

/// Finest piece of the layout that is compared, in pixels of the shot's frame: what is smaller lies
/// by the same rules.
const FINEST: f64 = 6.0;

/// What a picture was made from.
#[derive(Debug, Clone, PartialEq)]
pub struct Made {
    /// Of the shot's document and of the larger pieces' places.
    pub digest: String,
    /// A small picture of these pieces, 8-bit sRGB.
    pub small: Vec<u8>,
    /// Its width and height.
    pub size: [u32; 2],
}

/// Where the picture of an example lies.
#[must_use]
pub fn path(name: &str, ending: &str) -> PathBuf {
    tests_folder()
        .join("../docs/pictures")
        .join(format!("{name}{ending}"))
}

/// Where a picture of the loop lies.
#[must_use]
pub fn loop_path(name: &str) -> PathBuf {
    path("loop", &format!("/{name}.jpg"))
}

/// Where it is told what the pictures of the loop were made from.
#[must_use]
pub fn loop_digest() -> PathBuf {
    path("loop", "/made-from.digest")
}

fn read(name: &str) -> (Shot, PathBuf) {
    let folder = tests_folder().join("../examples").join(name);
    let shot = Shot::read(&folder.join("shot.json")).unwrap_or_else(|e| panic!("{e}"));
    (shot, folder)
}

fn dressed(shot: &Shot, folder: &Path, look: [u32; 2]) -> (Layout, Picture) {
    let dresser = Dresser::new(shot, folder).unwrap_or_else(|e| panic!("{e}"));
    let layout = dresser
        .dress(shot.take)
        .unwrap_or_else(|e| panic!("{e}"))
        .layout;
    let options = LookOptions {
        width: look[0],
        samples: look[1],
        ..LookOptions::default()
    };
    let camera = shot.cameras[0].optics();
    let kit = TracedKit::new(&layout.pieces);
    let scene = dresser.subject(&layout);
    let picture = render_with(&kit, &scene, &camera, &options, &mut |_, _| true)
        .unwrap_or_else(|e| panic!("{e}"));
    (layout, picture)
}

/// The README's picture of an example.
///
/// # Panics
/// The example can't be dressed.
#[must_use]
pub fn picture(name: &str) -> Picture {
    let (shot, folder) = read(name);
    dressed(&shot, &folder, LOOK).1
}

/// What the picture of an example would be made from now.
///
/// # Panics
/// The example can't be dressed.
#[must_use]
pub fn made(name: &str) -> Made {
    let (mut shot, folder) = read(name);
    let mut text = format!("{} {LOOK:?}", shot.digest());
    shot.resolve.pixels = shot.resolve.pixels.max(FINEST);
    let (layout, picture) = dressed(&shot, &folder, SMALL);
    for piece in &layout.instances {
        // A tenth of a millimetre and a hundredth of a turn: a change that nobody sees makes no
        // picture old
        let place = piece.position.to_array().map(|v| (v * 1e4).round() as i64);
        let turn = piece.rotation.map(|v| (v * 100.0).round() as i64);
        write!(text, " {:x} {place:?} {turn:?}", piece.id).unwrap_or_else(|e| panic!("{e}"));
    }
    Made {
        // 64 bits are enough to tell that something has changed
        digest: format!("{:016x}", fnv(text.bytes())),
        small: picture.to_srgb8(Tone::Film),
        size: [picture.width, picture.height],
    }
}

/// Reads a PNG of 8-bit red, green and blue.
///
/// # Panics
/// It is not there, or no such PNG.
#[must_use]
pub fn read_png(path: &Path) -> ([u32; 2], Vec<u8>) {
    let bytes = fs::read(path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    let mut reader = png::Decoder::new(std::io::Cursor::new(bytes))
        .read_info()
        .unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    let mut rgb = vec![0; reader.output_buffer_size().unwrap_or(0)];
    let info = reader
        .next_frame(&mut rgb)
        .unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    assert_eq!(info.color_type, png::ColorType::Rgb, "{}", path.display());
    ([info.width, info.height], rgb)
}

/// How two pictures of one size differ, in steps of eight bits: on the mean, and in the worst
/// hundredth of the values.
#[must_use]
pub fn difference(a: &[u8], b: &[u8]) -> (f64, u8) {
    let mut steps: Vec<u8> = a.iter().zip(b).map(|(a, b)| a.abs_diff(*b)).collect();
    steps.sort_unstable();
    let mean = steps.iter().map(|&s| f64::from(s)).sum::<f64>() / steps.len().max(1) as f64;
    let worst = steps.get(steps.len() * 99 / 100).copied().unwrap_or(0);
    (mean, worst)
}
