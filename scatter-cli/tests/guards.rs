//! What would hang, fill the memory or replace a device is refused in words.

#[expect(dead_code, reason = "each test program uses a part of it")]
mod harness;

use std::fs;
use std::os::unix::fs::FileTypeExt;
use std::process::Command;
use std::thread::sleep;
use std::time::{Duration, Instant};

use harness::{Dir, Run};
use scatter_tests::bad_input::base;
use serde_json::json;

/// Longer than any of these runs on a busy machine: what takes longer waits for a pipe.
const PATIENCE: Duration = Duration::from_secs(60);

fn pipe(dir: &Dir, name: &str) {
    let made = Command::new("mkfifo").arg(dir.path().join(name)).status();
    assert!(made.expect("mkfifo runs").success());
}

/// Runs the command, which must end by itself.
fn run_patiently(dir: &Dir, args: &[&str]) -> Run {
    let mut child = dir.command(args).spawn().expect("it runs");
    let begun = Instant::now();
    while child.try_wait().expect("it is asked").is_none() {
        if begun.elapsed() > PATIENCE {
            child.kill().expect("it ends");
            panic!("{args:?} waits for a pipe");
        }
        sleep(Duration::from_millis(20));
    }
    dir.run(args)
}

#[test]
fn a_pipe_is_no_file_to_read() {
    for (place, change) in [
        ("/hero", json!([{ "file": "pipe.glb", "at": [0, 0, 0] }])),
        ("/passes/0/pieces", json!(["pipe.glb"])),
        ("/passes/0/pieces", json!(["pipe.json"])),
        (
            "/ground",
            json!({ "image": { "file": "pipe.png", "extent": ["4 m", "4 m"], "heights": ["0 m", "1 m"] } }),
        ),
        ("/ground", json!({ "mesh": { "file": "pipe.glb" } })),
        (
            "/passes/0/gather",
            json!([{ "mask": { "file": "pipe.png", "extent": ["4 m", "4 m"] } }]),
        ),
    ] {
        let dir = Dir::with_shot(|shot| {
            let (parent, key) = place.rsplit_once('/').expect("a pointer");
            shot.pointer_mut(parent).expect("a place")[key] = change;
        });
        for name in ["pipe.glb", "pipe.json", "pipe.png"] {
            pipe(&dir, name);
        }
        let run = run_patiently(&dir, &["dress", "shot.json"]).status(2);
        assert!(
            run.stderr.contains("pipe.") && !run.stderr.contains("invalid type"),
            "{place}: {run}"
        );
    }
}

#[test]
fn a_pipe_or_a_device_is_never_replaced() {
    let dir = Dir::with_shot(|_| ());
    pipe(&dir, "look.png");
    fs::create_dir(dir.path().join("out")).expect("a folder");
    pipe(&dir, "out/layout.json");
    let still = |name: &str| {
        let kind = fs::symlink_metadata(dir.path().join(name)).expect("it is there");
        assert!(kind.file_type().is_fifo(), "{name} was replaced");
    };
    let small = ["--width", "32", "--samples", "1"];
    let look = [&["look", "shot.json", "--out", "look.png"], &small[..]].concat();
    run_patiently(&dir, &look)
        .status(2)
        .stderr_has("a device or a pipe stands there");
    still("look.png");
    run_patiently(&dir, &["dress", "shot.json"])
        .status(1)
        .stderr_has("a device or a pipe stands where the file should be");
    still("out/layout.json");
    let into_device = [&["look", "shot.json", "--out", "/dev/full"], &small[..]].concat();
    dir.run(&into_device)
        .status(2)
        .stderr_has("a device or a pipe stands there");
    let device = fs::metadata("/dev/full").expect("it is there");
    assert!(device.file_type().is_char_device());
}

#[test]
fn a_sheet_too_large_for_the_memory_is_refused_before_the_work() {
    let dir = Dir::with_shot(|_| ());
    // Takes lay out many small pictures; 400 of these would fill 11.6 GB
    let args = ["takes", "shot.json", "--count", "400", "--width", "4096"];
    let begun = Instant::now();
    dir.run_in_memory(&args, 1_500_000)
        .status(3)
        .stderr_has("400 pictures of 4096 x 2304 pixels are too much")
        .stderr_has("megapixels together");
    assert!(begun.elapsed() < PATIENCE);
    assert!(!dir.path().join("out").exists());
}

#[test]
fn a_key_of_megabytes_is_told_in_a_few_words() {
    let dir = Dir::new();
    let key = "k".repeat(5_000_000);
    let mut shot = base();
    shot[&key] = json!(1);
    dir.write("shot.json", shot.to_string());
    let run = dir
        .run(&["dress", "shot.json"])
        .status(2)
        .stderr_has("unknown field `kkk");
    assert!(run.stderr.len() < 4000, "{} bytes", run.stderr.len());
    let mut shot = base();
    shot["passes"][0]["name"] = json!(key);
    dir.write("shot.json", shot.to_string());
    let run = dir.run(&["dress", "shot.json"]).status(2);
    assert!(run.stderr.len() < 4000, "{} bytes", run.stderr.len());
}

#[test]
fn two_first_deliveries_into_one_folder_do_not_hinder_each_other() {
    let dir = Dir::with_shot(|shot| {
        // Little work, so that the runs meet at the folder
        shot["passes"][0]["cover"] = json!(0.01);
        shot["passes"].as_array_mut().expect("passes").truncate(1);
    });
    for round in 0..3 {
        let out = format!("deep/er/{round}");
        let args = ["dress", "shot.json", "--out", &out];
        let runs = [0; 3].map(|_| dir.command(&args).spawn().expect("it runs"));
        for run in runs {
            let done = run.wait_with_output().expect("it ends");
            let told = String::from_utf8_lossy(&done.stderr);
            assert!(done.status.success(), "round {round}: {told}");
        }
        dir.run(&[
            "compare",
            &format!("{out}/layout.json"),
            &format!("{out}/layout.json"),
        ])
        .status(0)
        .stderr_is("");
    }
}
