//! A delivery that is killed at a system call leaves files that are whole and of one take, or a
//! folder that tells.

#[expect(dead_code, reason = "each test program uses a part of it")]
mod harness;

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use harness::Dir;
use scatter::deliver::manifest::{problem_of_layout, state};
use serde_json::{Value, json};

/// The system calls of a delivery: it is killed as it enters each of them, one after the other.
const CALLS: [&str; 9] = [
    "mkdir",
    "flock",
    "write",
    "fdatasync",
    "fsync",
    "linkat",
    "renameat",
    "unlink",
    "rmdir",
];
/// With the variable `STREW_ALL_CALLS` set, also at those that change nothing.
const MORE_CALLS: [&str; 2] = ["openat", "close"];
/// More calls of one kind than a delivery of four files makes.
const MOST: usize = 100;

fn shot() -> Value {
    json!({
        "shot": "small",
        "cameras": [{ "name": "above", "at": [0, 2, 0.2], "toward": [0, 0, 0], "vertical_angle": "20 deg",
            "frame": [200, 200], "far": "5 m" }],
        "passes": [
            { "name": "stones", "pieces": ["twig"], "place": "spaced", "cover": 0.05,
              "sizes": { "law": "power", "exponent": 2, "from": "30 mm", "to": "60 mm" } }
        ],
        "deliver": { "as": ["csv", "glb", "json"] }
    })
}

/// The files of a folder that are not temporary, with their bytes but for what tells the time.
fn files(folder: &Path) -> Vec<(PathBuf, Vec<u8>)> {
    let entries = fs::read_dir(folder).into_iter().flatten();
    let mut found: Vec<(PathBuf, Vec<u8>)> = entries
        .map(|entry| entry.expect("readable").path())
        .filter(|path| path.is_file() && path.extension().is_some_and(|e| e != "tmp"))
        .map(|path| {
            let mut bytes = fs::read(&path).expect("readable");
            if path.ends_with("report.json") {
                let report: Value = serde_json::from_slice(&bytes).expect("a whole report");
                bytes = report["delivery"].to_string().into_bytes();
            }
            (path.file_name().expect("a name").into(), bytes)
        })
        .collect();
    found.sort();
    found
}

fn copy(from: &Path, to: &Path) {
    let _ = fs::remove_dir_all(to);
    fs::create_dir(to).expect("a folder");
    for entry in fs::read_dir(from).expect("a folder") {
        let path = entry.expect("readable").path();
        fs::copy(&path, to.join(path.file_name().expect("a name"))).expect("copied");
    }
}

/// Runs the command and kills it as it enters the system call `call` for the `nth` time. Whether it
/// was killed.
fn killed(dir: &Dir, args: &[&str], call: &str, nth: usize) -> bool {
    let status = Command::new("strace")
        .args(["-f", "-qq", "-o", "/dev/null", "-e"])
        .arg(format!("trace={call}"))
        .arg("-e")
        .arg(format!("inject={call}:signal=KILL:when={nth}"))
        .arg(env!("CARGO_BIN_EXE_strew"))
        .args(args)
        .current_dir(dir.path())
        .output()
        .expect("strace runs")
        .status;
    !status.success()
}

#[test]
#[ignore = "needs tests/run"]
fn a_delivery_killed_at_any_system_call_is_of_one_take_or_told() {
    let dir = Dir::new();
    dir.write("shot.json", shot().to_string());
    let at = |name: &str| dir.path().join(name);
    for take in ["1", "2"] {
        let args = ["dress", "shot.json", "--take", take, "--out", take];
        dir.run(&args).status(0);
    }
    // A delivery of fewer files stood there before, too
    let fewer = [
        "dress",
        "shot.json",
        "--take",
        "1",
        "--as",
        "glb",
        "--out",
        "fewer",
    ];
    dir.run(&fewer).status(0);
    let all = std::env::var_os("STREW_ALL_CALLS").is_some();
    let more = MORE_CALLS.iter().filter(|_| all);
    let (mut kills, mut mixed) = (0, 0);
    for before in ["1", "fewer", "none"] {
        for call in CALLS.iter().chain(more.clone()) {
            for nth in 1..=MOST {
                match before {
                    "none" => drop(fs::remove_dir_all(at("out"))),
                    _ => copy(&at(before), &at("out")),
                }
                let args = ["dress", "shot.json", "--take", "2", "--out", "out"];
                if !killed(&dir, &args, call, nth) {
                    assert_eq!(files(&at("out")), files(&at("2")));
                    break;
                }
                kills += 1;
                let found = files(&at("out"));
                let old = if before == "none" {
                    Vec::new()
                } else {
                    files(&at(before))
                };
                let whole = found == old || found == files(&at("2"));
                let problem = state(&at("out")).problem();
                let of_layout = problem_of_layout(&at("out/layout.json"));
                let told = problem.is_some() || of_layout.is_some();
                mixed += usize::from(!whole);
                assert!(
                    whole || told,
                    "{before}, {call} {nth}: nothing tells of {:?}",
                    names(&found)
                );
                // What is whole is not called into question
                assert!(
                    !(whole && told) || found.is_empty(),
                    "{before}, {call} {nth}: {problem:?} {of_layout:?}"
                );
            }
        }
    }
    assert!(kills >= 90, "{kills} kills");
    assert!(mixed >= 10, "{mixed} kills met files of two takes");
    // The next delivery says so, and mends it
    copy(&at("1"), &at("out"));
    let args = ["dress", "shot.json", "--take", "2", "--out", "out"];
    assert!(killed(&dir, &args, "renameat", 3));
    dir.run(&["compare", "out/layout.json", "1/layout.json"])
        .stderr_has("a delivery was cut off");
    dir.run(&args)
        .status(0)
        .stderr_has("a delivery was cut off");
    assert_eq!(files(&at("out")), files(&at("2")));
    dir.run(&["compare", "out/layout.json", "2/layout.json"])
        .status(0)
        .stderr_is("");
}

fn names(files: &[(PathBuf, Vec<u8>)]) -> Vec<&PathBuf> {
    files.iter().map(|(name, _)| name).collect()
}
