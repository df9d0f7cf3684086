//! Dresses random valid shots under limits of computing and memory, and lists what broke and what
//! took longest:
//! `cargo run --release -p scatter-tests --bin random-shots -- --count 2000 --seed 1 --jobs 2`.
//! With `--hard` the shots of `tests/hard-shots` instead, with 60 s and 4 GB each; with
//! `--write FOLDER` the shot of `--seed`, or with `--only NAME` a hard one, is written with its
//! files and not dressed.

#![expect(clippy::print_stdout, reason = "says what it has found")]

use std::path::Path;
use std::process::ExitCode;
use std::sync::Mutex;
use std::sync::atomic::{AtomicU64, Ordering};

use scatter_tests::hard_shots::HardShot;
use scatter_tests::limited::{End, LIMITS, Limits, Run, dress};
use scatter_tests::{hard_shots, random_shots, shot_files};
use serde_json::Value;

/// What hard shots are measured with.
const HARD: Limits = Limits {
    cpu_s: 60,
    memory: 4_000_000_000,
};
/// How many of the slowest are listed.
const SLOWEST: usize = 10;

/// The word after an option.
fn word(name: &str) -> Option<String> {
    std::env::args().skip_while(|a| a != name).nth(1)
}

/// A number after an option.
fn number(name: &str, default: u64) -> u64 {
    word(name).map_or(default, |word| {
        word.parse()
            .unwrap_or_else(|_| panic!("{name} takes a number, not {word:?}"))
    })
}

fn write(shot: &Value, folder: &Path) {
    shot_files::write(folder);
    std::fs::write(folder.join("shot.json"), format!("{shot:#}\n")).expect("a file");
}

fn run(shot: &Value, limits: Limits) -> Run {
    let folder = tempfile::tempdir().expect("a folder for temporary files");
    write(shot, folder.path());
    dress(folder.path(), limits)
}

fn main() -> ExitCode {
    let only = word("--only");
    let meant = |hard: &HardShot| only.as_ref().is_none_or(|name| *name == hard.name);
    if let Some(folder) = word("--write") {
        let hard = only
            .as_ref()
            .and_then(|_| hard_shots::all().into_iter().find(meant));
        let shot = hard.map_or_else(|| random_shots::shot(number("--seed", 1)), |h| h.shot);
        std::fs::create_dir_all(&folder).expect("a folder");
        write(&shot, Path::new(&folder));
        return ExitCode::SUCCESS;
    }
    if std::env::args().any(|a| a == "--hard") {
        for hard in hard_shots::all().into_iter().filter(meant) {
            println!("{:30} {}", hard.name, run(&hard.shot, HARD));
        }
        return ExitCode::SUCCESS;
    }
    let (count, first, jobs) = (
        number("--count", 2000),
        number("--seed", 1),
        number("--jobs", 1),
    );
    let next = AtomicU64::new(first);
    let runs = Mutex::new(Vec::new());
    std::thread::scope(|scope| {
        for _ in 0..jobs.max(1) {
            scope.spawn(|| {
                loop {
                    let seed = next.fetch_add(1, Ordering::Relaxed);
                    if seed >= first + count {
                        break;
                    }
                    let run = run(&random_shots::shot(seed), LIMITS);
                    if let End::Broke(why) = &run.end {
                        println!("seed {seed}: {run}\n{why}");
                    }
                    runs.lock().expect("no thread panicked").push((seed, run));
                }
            });
        }
    });
    let mut runs = runs.into_inner().expect("no thread panicked");
    let ended = |is: fn(&End) -> bool| runs.iter().filter(|(_, r)| is(&r.end)).count();
    let broke = ended(|e| matches!(e, End::Broke(_)));
    println!(
        "{} shots from seed {first}: {} dressed, {} refused in words, {broke} broke",
        runs.len(),
        ended(|e| *e == End::Dressed),
        ended(|e| matches!(e, End::Refused(_))),
    );
    runs.sort_by_key(|(_, run)| run.memory);
    if let Some((seed, run)) = runs.last() {
        println!("most memory: seed {seed}: {run}");
    }
    runs.sort_by(|a, b| b.1.cpu_s.total_cmp(&a.1.cpu_s));
    println!("the slowest:");
    for (seed, run) in runs.iter().take(SLOWEST) {
        println!("  seed {seed:6}: {run}");
    }
    let mut refused: Vec<&(u64, Run)> = runs
        .iter()
        .filter(|(_, r)| matches!(r.end, End::Refused(_)))
        .collect();
    refused.sort_by_key(|(seed, _)| *seed);
    for (seed, run) in refused {
        println!("refused: seed {seed}: {run}");
    }
    if broke > 0 {
        ExitCode::FAILURE
    } else {
        ExitCode::SUCCESS
    }
}
