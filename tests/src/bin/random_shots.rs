//! Dresses random valid shots under limits of computing and memory, counts how they end, and lists
//! what broke and what took longest:
//! `cargo run --release -p scatter-tests --bin random-shots -- --from 0 --count 2000 --threads 2`.
//!
//! `--command PATH` names the `strew` that dresses them; this program needs nothing else, so that
//! both can be carried to a machine with many processors. With `--extreme` numbers are at their
//! ends. With `--hard` the shots of `tests/hard-shots` instead, with 60 s and 4 GB each. With
//! `--write FOLDER` the shot of `--from`, or with `--only NAME` a hard one, is written with its
//! files and not dressed.

#![expect(clippy::print_stdout, reason = "says what it has found")]

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use scatter_tests::hard_shots::HardShot;
use scatter_tests::limited::{End, Limits, Run};
use scatter_tests::survey::{dress_all, dress_one, summary, write};
use scatter_tests::{hard_shots, random_shots, shots};
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

fn is_given(name: &str) -> bool {
    std::env::args().any(|a| a == name)
}

fn shot(seed: u64) -> Value {
    if is_given("--extreme") {
        random_shots::extreme(seed)
    } else {
        random_shots::shot(seed)
    }
}

fn main() -> ExitCode {
    let only = word("--only");
    let meant = |hard: &HardShot| only.as_ref().is_none_or(|name| *name == hard.name);
    let from = number("--from", 0);
    if let Some(folder) = word("--write") {
        let hard = only
            .as_ref()
            .and_then(|_| hard_shots::all().into_iter().find(meant));
        std::fs::create_dir_all(&folder).expect("a folder");
        write(
            &hard.map_or_else(|| shot(from), |h| h.shot),
            Path::new(&folder),
        );
        return ExitCode::SUCCESS;
    }
    let command = word("--command").map_or_else(|| shots::command().into(), PathBuf::from);
    if is_given("--hard") {
        for hard in hard_shots::all().into_iter().filter(meant) {
            println!("{:30} {}", hard.name, dress_one(&hard.shot, &command, HARD));
        }
        return ExitCode::SUCCESS;
    }
    let seeds: Vec<u64> = (from..from + number("--count", 2000)).collect();
    let runs = dress_all(
        &seeds,
        shot,
        &command,
        number("--threads", 1),
        |seed, run| {
            if let End::Broke(_, why) = &run.end {
                println!("seed {seed}: {run}\n{why}");
            }
        },
    );
    if tell(runs) {
        ExitCode::SUCCESS
    } else {
        ExitCode::FAILURE
    }
}

/// Lists what is worth a look; whether nothing broke.
fn tell(mut runs: Vec<(u64, Run)>) -> bool {
    let refused = |run: &Run| matches!(run.end, End::Refused(_));
    for (seed, run) in runs.iter().filter(|(_, r)| refused(r)) {
        println!("refused: seed {seed}: {run}");
    }
    let broke: Vec<String> = runs
        .iter()
        .filter(|(_, r)| matches!(r.end, End::Broke(..)))
        .map(|(seed, _)| seed.to_string())
        .collect();
    let line = summary(&runs);
    if let Some((seed, run)) = runs.iter().max_by_key(|(_, run)| run.memory) {
        println!("most memory: seed {seed}: {run}");
    }
    runs.sort_by(|a, b| b.1.cpu_s.total_cmp(&a.1.cpu_s));
    println!("the slowest:");
    for (seed, run) in runs.iter().take(SLOWEST) {
        println!("  seed {seed:6}: {run}");
    }
    println!("seeds that broke: {}", broke.join(" "));
    println!("{line}");
    broke.is_empty()
}
