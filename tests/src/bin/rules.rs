//! Makes the pictures of `docs/rules.md`, each rule without and with: `cargo run --release -p
//! scatter-tests --bin rules`, with the names of rules to make those alone.

#![expect(clippy::print_stdout, reason = "says what it has made")]

use std::error::Error;
use std::fs;

use jpeg_encoder::{ColorType, Encoder};
use scatter::picture::{LookOptions, Sheet, Tone, TracedKit, render_with};
use scatter::shot::Shot;
use scatter_tests::dresser::Dresser;
use scatter_tests::rules::{all, folder, picture};

/// Width of each of the two pictures, pixels.
const WIDTH: u32 = 480;
/// Light samples a pixel: leaves a grain that the JPEG hides.
const SAMPLES: u32 = 10;
/// Of the JPEG: a pair stays near 150 kB.
const QUALITY: u8 = 72;

/// A shot through its camera: 8-bit sRGB and its size.
fn look(shot: &Shot) -> Result<(Vec<u8>, [u32; 2]), Box<dyn Error>> {
    let dresser = Dresser::new(shot, &folder())?;
    let layout = dresser.dress(shot.take)?.layout;
    let options = LookOptions {
        width: WIDTH,
        samples: SAMPLES,
        ..LookOptions::default()
    };
    let kit = TracedKit::new(&layout.pieces);
    let camera = shot.cameras[0].optics();
    let scene = dresser.subject(&layout);
    let seen = render_with(&kit, &scene, &camera, &options, &mut |_, _| true)?;
    Ok((seen.to_srgb8(Tone::Film), [seen.width, seen.height]))
}

fn main() -> Result<(), Box<dyn Error>> {
    let asked: Vec<String> = std::env::args().skip(1).collect();
    for rule in all() {
        if !asked.is_empty() && !asked.contains(&rule.name) {
            continue;
        }
        let pictures = [look(&rule.shots[0])?, look(&rule.shots[1])?];
        let mut sheet = Sheet::with_columns(2, pictures[0].1, 2)?;
        for (i, ((rgb, _), label)) in (0..).zip(pictures.iter().zip(&rule.labels)) {
            sheet.place(i, rgb, label);
        }
        let file = picture(&rule.name);
        if let Some(folder) = file.parent() {
            fs::create_dir_all(folder)?;
        }
        let [width, height] = sheet.size();
        let encoder = Encoder::new_file(&file, QUALITY)?;
        encoder.encode(
            sheet.rgb(),
            u16::try_from(width)?,
            u16::try_from(height)?,
            ColorType::Rgb,
        )?;
        println!("{}", file.display());
    }
    Ok(())
}
