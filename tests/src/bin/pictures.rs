//! Makes the README's pictures: `cargo run --release -p scatter-tests --bin pictures`, with the
//! names of examples to make those alone. Beside each goes what its truth is told by: a digest and
//! a small picture.

#![expect(clippy::print_stdout, reason = "says what it has made")]

use std::error::Error;
use std::fs;

use jpeg_encoder::{ColorType, Encoder};
use scatter::picture::{Tone, png};
use scatter_tests::pictures::{SHOWN, made, path, picture};

/// Of the JPEG: the three stay under 300 kB each.
const QUALITY: u8 = 84;

fn main() -> Result<(), Box<dyn Error>> {
    let asked: Vec<String> = std::env::args().skip(1).collect();
    if let Some(folder) = path("any", "").parent() {
        fs::create_dir_all(folder)?;
    }
    for name in SHOWN {
        if !asked.is_empty() && !asked.iter().any(|a| a == name) {
            continue;
        }
        let shown = picture(name);
        let file = path(name, ".jpg");
        let encoder = Encoder::new_file(&file, QUALITY)?;
        let (width, height) = (u16::try_from(shown.width)?, u16::try_from(shown.height)?);
        encoder.encode(&shown.to_srgb8(Tone::Film), width, height, ColorType::Rgb)?;
        let made = made(name);
        png::write(
            &path(name, "-small.png"),
            made.size[0],
            made.size[1],
            &made.small,
        )?;
        fs::write(path(name, ".digest"), format!("{}\n", made.digest))?;
        println!("{}", file.display());
    }
    Ok(())
}
