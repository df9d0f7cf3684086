//! Shots that ask for far more than they lay are refused before it is made, in words that name the
//! pass and the key.

use scatter_tests::limited::{End, Limits, Run, dress};
use scatter_tests::{hard_shots, shot_files};

/// Seconds of computing that a refusal may take: one in a release build, three in the test profile.
const CPU_S: f64 = 3.0;
/// Most resident memory of a refusal, bytes.
const MEMORY: u64 = 300_000_000;
/// What ends a run that goes astray.
const LIMITS: Limits = Limits {
    cpu_s: 20,
    memory: 2_000_000_000,
};

/// Dresses a hard shot, quickly and in little memory.
fn run(name: &str) -> Run {
    let hard = hard_shots::all().into_iter().find(|h| h.name == name);
    let hard = hard.unwrap_or_else(|| panic!("there is no hard shot {name}"));
    let folder = tempfile::tempdir().expect("a folder");
    shot_files::write(folder.path());
    let file = folder.path().join("shot.json");
    std::fs::write(file, hard.shot.to_string()).expect("a file");
    let run = dress(folder.path(), LIMITS);
    assert!(run.cpu_s < CPU_S && run.memory < MEMORY, "{name}: {run}");
    run
}

/// Asserts that a hard shot is refused in words with all of these in them.
fn is_refused(name: &str, words: &[&str]) {
    let run = run(name);
    let (End::Refused(said) | End::OverBudget(said)) = &run.end else {
        panic!("{name}: {run}");
    };
    for word in words {
        assert!(said.contains(word), "{name}: no {word:?} in {said}");
    }
}

#[test]
fn a_relation_that_looks_too_far_is_refused() {
    let words = ["passes[1].gather[0].near.within", "pass `grit`", "smallest"];
    is_refused("near-within-a-kilometre", &words);
}

#[test]
fn ground_that_is_resolved_too_finely_is_refused() {
    let words = ["passes[0].sizes", "pass `gravel`", "resolve.pixels", "far"];
    is_refused("resolved-to-the-horizon", &words);
}

#[test]
fn too_many_names_are_refused() {
    is_refused("a-hundred-thousand-names", &["passes[0].pieces", "1000"]);
}

#[test]
fn clumps_of_countless_parents_are_dressed_as_even() {
    let run = run("clumps-of-ten-thousand-parents");
    assert_eq!(run.end, End::Dressed, "{run}");
}
