//! Dressing whole shots: seconds by stage, bytes and peak memory. Run with `cargo bench -p scatter
//! --bench dressing`.

#![expect(clippy::print_stdout, reason = "a benchmark prints its figures")]

mod bed;
#[path = "../../tests/src/dresser.rs"]
#[allow(dead_code, unreachable_pub, reason = "a bench uses a part of it")]
mod dresser;

use std::path::Path;
use std::time::Instant;

use dresser::{Dresser, dress};
use scatter::deliver::{DeliverOptions, Format, write};
use scatter::shot::Shot;

/// Stones from 4 to 60 mm and leaves on a plane, seen from above by a camera `height` metres up.
fn shot(height: f64) -> Shot {
    let passes = [
        bed::stones(0.15),
        bed::gravel(0.3, "4 mm"),
        bed::leaves(200.0),
    ];
    bed::parse(&bed::document(height, None, &passes))
}

/// Peak resident memory of this process so far, bytes; None where the system does not say.
fn peak_memory() -> Option<u64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find(|l| l.starts_with("VmHWM:"))?;
    line.split_whitespace()
        .nth(1)?
        .parse::<u64>()
        .ok()
        .map(|kib| kib * 1024)
}

fn main() {
    let folder = tempfile::tempdir().expect("a folder for the files");

    // A small shot, dressed again with new takes: the kit is at hand, nothing is written
    let small = shot(1.7);
    let dresser = Dresser::new(&small, Path::new(".")).expect("the bench's kit grows");
    let mut seconds: Vec<(f64, usize)> = (1..=9)
        .map(|take| {
            let begun = Instant::now();
            let dressed = dresser.dress(take).expect("the bench's shot dresses");
            (
                begun.elapsed().as_secs_f64(),
                dressed.layout.instances.len(),
            )
        })
        .collect();
    seconds.sort_by(|a, b| a.0.total_cmp(&b.0));
    println!(
        "a new take of {} pieces: median {:.0} ms, best {:.0} ms",
        seconds[4].1,
        1e3 * seconds[4].0,
        1e3 * seconds[0].0
    );

    // A large one, from the document to the files
    let large = shot(7.3);
    let before = peak_memory();
    let begun = Instant::now();
    let dressed = dress(&large, Path::new(".")).expect("the bench's shot dresses");
    let dressing = begun.elapsed().as_secs_f64();
    let options = DeliverOptions {
        shot_digest: large.digest(),
        stages: dressed.stages.clone(),
        ..DeliverOptions::new(folder.path(), &[Format::Glb, Format::Json])
    };
    let files = write(&dressed.layout, &options).expect("the bench's files are written");
    let whole = begun.elapsed().as_secs_f64();
    let pieces = dressed.layout.instances.len();
    println!("{pieces} pieces: dressed in {dressing:.2} s, with files in {whole:.2} s");
    for stage in &dressed.stages {
        println!("  {:16} {:.3} s", stage.name, stage.seconds);
    }
    for file in &files.files {
        println!(
            "  {} {} bytes",
            file.path.file_name().unwrap_or_default().display(),
            file.bytes
        );
    }
    if let (Some(before), Some(after)) = (before, peak_memory()) {
        println!(
            "  peak memory {} MB, {} bytes a piece over the {} MB before",
            after >> 20,
            (after - before) / pieces as u64,
            before >> 20
        );
    }
}
