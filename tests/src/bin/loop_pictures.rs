//! Makes the pictures of the README's loop, from the frame to a viewer:
//! `cargo run --release -p scatter-tests --bin loop-pictures`, with the names of pictures to make
//! those alone. The viewer is three.js in a browser, as `tests/run` sets them up.
//!
//! Sources: each picture is what the command makes that `PICTURES` names. Set the environment
//! variable `STREW` to take another build of the command.

#![expect(clippy::print_stdout, reason = "says what it has made")]

use std::error::Error;
use std::fs;
use std::path::Path;
use std::process::Command;

use jpeg_encoder::{ColorType, Encoder};
use scatter_tests::pictures::{LOOP, loop_digest, loop_path, made, read_png};
use scatter_tests::tools;

type Fault = Box<dyn Error>;

/// Each picture's name and the command that makes it, without the shot and the file.
const PICTURES: [(&str, &str); 4] = [
    (
        "frame",
        "look --without cobbles,gravel,grit,caught,driftwood --width 640 --samples 48",
    ),
    ("first", "look --take 1 --width 640 --samples 48"),
    ("takes", "takes --count 12 --width 208 --samples 24"),
    (
        "held",
        "takes --hold cobbles --count 4 --width 320 --samples 24",
    ),
];

/// Most that a picture may take, bytes.
const MOST_BYTES: usize = 80_000;

fn main() -> Result<(), Fault> {
    let asked: Vec<String> = std::env::args().skip(1).collect();
    let is_asked = |name: &str| asked.is_empty() || asked.iter().any(|a| a == name);
    let shot = tools::tests_folder().join("../examples").join(LOOP);
    let folder = std::env::temp_dir().join(format!("loop-pictures-{}", std::process::id()));
    fs::create_dir_all(&folder)?;
    for (name, words) in PICTURES {
        if is_asked(name) {
            let png = folder.join(name).with_extension("png");
            strew(&shot, words, &png)?;
            save(name, &png)?;
        }
    }
    if is_asked("viewer") {
        strew(&shot, "dress --include cameras,ground,hero,sun", &folder)?;
        let png = folder.join("viewer.png");
        let seen = tools::node("viewer.mjs", &[&folder.join("layout.glb"), &png]);
        println!("the viewer shows {seen}");
        save("viewer", &png)?;
    }
    fs::write(loop_digest(), format!("{}\n", made(LOOP).digest))?;
    fs::remove_dir_all(folder)?;
    Ok(())
}

/// Runs the command on the shot.
fn strew(shot: &Path, words: &str, out: &Path) -> Result<(), Fault> {
    let mut command = match std::env::var_os("STREW") {
        Some(strew) => Command::new(strew),
        None => {
            let mut command = Command::new(env!("CARGO"));
            command.current_dir(tools::tests_folder());
            command.args(["run", "--release", "--quiet", "-p", "scatter-cli", "--"]);
            command
        }
    };
    let status = command
        .args(words.split(' '))
        .arg("--out")
        .args([out, shot])
        .status()?;
    if status.success() {
        Ok(())
    } else {
        Err(format!("strew {words}: {status}").into())
    }
}

/// Saves a PNG among the README's pictures, as the best JPEG that is not too long.
fn save(name: &str, png: &Path) -> Result<(), Fault> {
    let ([width, height], rgb) = read_png(png);
    let (width, height) = (u16::try_from(width)?, u16::try_from(height)?);
    for quality in (40..=90).rev().step_by(2) {
        let mut jpeg = Vec::new();
        Encoder::new(&mut jpeg, quality).encode(&rgb, width, height, ColorType::Rgb)?;
        if jpeg.len() <= MOST_BYTES {
            let file = loop_path(name);
            fs::write(&file, &jpeg)?;
            println!(
                "{}: {} bytes, quality {quality}",
                file.display(),
                jpeg.len()
            );
            return Ok(());
        }
    }
    Err(format!("{name} takes more than {MOST_BYTES} bytes").into())
}
