//! Broken files: whatever bytes a reader is given, it reads them or refuses them in words, soon and
//! in little memory.
//!
//! Each reader of `src/readers.rs` reads its corpus, with the files that were once too much for it,
//! and then files that are made from it. `STREW_CASES` says how many of these (a run of each reader
//! by itself), `STREW_SEED` from which seed.

#![allow(
    clippy::print_stdout,
    reason = "the figures, for who asks with --nocapture"
)]

use std::fs;
use std::path::Path;

use scatter_tests::readers::{Desk, READERS, Reader};
use scatter_tests::{mutate, trials};

/// The seed of the files unless another is asked for.
const SEED: u64 = 0x000d_1ce5;
/// Longest file of the corpus, bytes, and longest corpus: files that git keeps for ever.
const LONGEST: usize = 20_000;
const LONGEST_ALL: usize = 1_000_000;

/// How many files are made for a reader unless another number is asked for: a second or two of its
/// work in the test profile.
const CASES: u64 = 5000;

fn number(name: &str) -> Option<u64> {
    let text = std::env::var(name).ok()?;
    Some(
        text.parse()
            .unwrap_or_else(|_| panic!("{name} is a number, not {text:?}")),
    )
}

/// Reads broken files, and keeps those that the reader could not cope with in `target`.
fn hold(name: &str) {
    let reader = Reader::of(name);
    let files: Vec<Vec<u8>> = reader.files().into_iter().map(|(_, bytes)| bytes).collect();
    let seed = number("STREW_SEED").unwrap_or(SEED);
    let asked = number("STREW_CASES");
    let count = asked.unwrap_or(CASES);
    let threads = asked.map_or(1, |_| {
        std::thread::available_parallelism().map_or(1, usize::from)
    });
    let make = |i| mutate::file(&files, reader.form, seed, i);
    let outcome = trials::run(&reader, 0..count, threads, make);
    println!(
        "{name}: {} files from seed {seed}, {} taken, {} faults",
        outcome.cases,
        outcome.taken,
        outcome.faults.len()
    );
    assert_eq!(outcome.cases, count, "every file is read");
    let kept = Path::new(env!("CARGO_TARGET_TMPDIR"));
    let mut told = Vec::new();
    for fault in &outcome.faults {
        let file = kept.join(format!("found-{name}-{seed}-{}", fault.number));
        fs::write(&file, &fault.bytes).expect("a file");
        told.push(format!("{}: {}", file.display(), fault.why));
    }
    assert!(told.is_empty(), "{name}:\n{}", told.join("\n"));
    // What is always refused tries the first checks alone
    let some = outcome.taken * 100 > count;
    assert!(some, "{name}: {} of {count} taken", outcome.taken);
}

#[test]
fn the_corpus_is_there_and_small() {
    let mut all = 0;
    for reader in READERS {
        for (path, bytes) in reader.files() {
            assert!(bytes.len() <= LONGEST, "{} is long", path.display());
            all += bytes.len();
        }
    }
    assert!(all <= LONGEST_ALL, "{all} bytes");
}

#[test]
fn every_file_of_the_corpus_is_read_or_refused_in_words() {
    let desk = Desk::new();
    for reader in READERS {
        let mut taken = 0;
        for (path, bytes) in reader.files() {
            match trials::one(&reader, &bytes, &desk) {
                Ok(was) => taken += usize::from(was),
                Err(why) => panic!("{}: {}: {why}", reader.name, path.display()),
            }
        }
        assert!(taken > 0, "{} takes no file of its corpus", reader.name);
    }
}

/// A test a reader, so that they run side by side and each is named.
macro_rules! readers {
    ($($name:ident)*) => {
        $(
            #[test]
            fn $name() {
                hold(stringify!($name));
            }
        )*

        #[test]
        fn every_reader_is_held() {
            let held = [$(stringify!($name)),*];
            assert_eq!(READERS.map(|r| r.name), held);
        }
    };
}

readers! {
    shot kit_list layout pieces kit hero ground_mesh patch cameras meshopt image texture
}
