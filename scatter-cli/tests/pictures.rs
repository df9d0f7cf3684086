//! The commands that make pictures: what they write, what they say, what they refuse.

#[expect(dead_code, reason = "each test program uses a part of it")]
mod harness;

use harness::Dir;
use scatter_tests::bad_input;
use serde_json::{Value, json};

/// The corpus's good shot with a change.
fn folder(change: impl FnOnce(&mut Value)) -> Dir {
    let dir = Dir::new();
    let mut shot = bad_input::base();
    change(&mut shot);
    dir.write("shot.json", shot.to_string());
    dir
}

fn png_size(bytes: &[u8]) -> [u32; 2] {
    assert_eq!(&bytes[..8], b"\x89PNG\r\n\x1a\n");
    [16, 20].map(|at| u32::from_be_bytes(bytes[at..at + 4].try_into().expect("four bytes")))
}

const SMALL: [&str; 4] = ["--width", "48", "--samples", "1"];

#[test]
fn look_writes_the_same_picture_twice_and_from_its_layout() {
    let dir = folder(|_| {});
    let look = |more: &[&str]| dir.run(&[&["look", "shot.json"], &SMALL[..], more].concat());
    look(&[]).status(0).stdout_is("").stderr_has("out/look.png");
    look(&["--out", "again.png"]).status(0);
    dir.run(&["dress", "shot.json"]).status(0);
    look(&["--out", "read.png", "--layout", "out/layout.json"]).status(0);
    let read = |name: &str| std::fs::read(dir.path().join(name)).unwrap();
    let first = read("out/look.png");
    assert_eq!(png_size(&first)[0], 48);
    assert!(first == read("again.png"), "two runs differ");
    assert!(
        first == read("read.png"),
        "the layout read back looks other"
    );
    look(&["--out", "night.png", "--mood", "night"]).status(0);
    assert!(first != read("night.png"), "night looks like day");
}

#[test]
fn look_writes_light_depth_and_mattes() {
    let dir = folder(|_| {});
    let args = [&["look", "shot.json", "--exr", "look.exr"], &SMALL[..]].concat();
    dir.run(&args).status(0);
    let bytes = std::fs::read(dir.path().join("look.exr")).unwrap();
    // Magic number of the OpenEXR file layout
    assert_eq!(bytes[..4], [0x76, 0x2f, 0x31, 0x01]);
    for channel in ["Z\0", "matte."] {
        let found = bytes
            .windows(channel.len())
            .any(|w| w == channel.as_bytes());
        assert!(found, "{channel:?}");
    }
}

#[test]
fn hours_need_a_day_and_light() {
    let dir = folder(|_| {});
    let args = [&["look", "shot.json", "--hours", "9,12"], &SMALL[..]].concat();
    dir.run(&args).status(2).stderr_has("day");
    let dir = folder(|shot| {
        shot["light"] = json!({ "day": { "latitude": "47 deg", "longitude": "8 deg", "date": "2026-06-21", "hour": 12 } });
    });
    dir.run(&args).status(0).stderr_has("2 hours");
    let args = [&["look", "shot.json", "--hours", "9,23"], &SMALL[..]].concat();
    dir.run(&args).status(2).stderr_has("under the horizon");
}

#[test]
fn takes_are_numbered_and_told_a_line_each() {
    let dir = folder(|_| {});
    let run = dir
        .run(&[
            "takes",
            "shot.json",
            "--count",
            "3",
            "--from",
            "5",
            "--width",
            "48",
            "--samples",
            "1",
        ])
        .status(0)
        .stderr_has("takes.png");
    let firsts: Vec<&str> = run
        .stdout
        .lines()
        .filter_map(|line| line.split_whitespace().next())
        .collect();
    assert_eq!(firsts, ["take", "5", "6", "7"], "{run}");
    dir.run(&["takes", "shot.json", "--hold", "moss"])
        .status(2)
        .stderr_has("no pass `moss`");
}

#[test]
fn plan_writes_a_drawing_and_its_picture() {
    let dir = folder(|_| {});
    dir.run(&["plan", "shot.json", "--width", "300"]).status(0);
    let svg = std::fs::read_to_string(dir.path().join("out/plan.svg")).unwrap();
    assert!(svg.starts_with("<svg") && svg.ends_with("</svg>\n"));
    let png = std::fs::read(dir.path().join("out/plan.png")).unwrap();
    assert_eq!(png_size(&png)[0], 300);
    dir.run(&["plan", "shot.json", "--across", "0"])
        .status(2)
        .stderr_has("--across");
}

#[test]
fn what_cannot_be_looked_at_is_refused_and_leaves_nothing() {
    let cases: [(&[&str], i32, &str); 7] = [
        (&["--camera", "far"], 2, "no camera `far`"),
        (&["--only", "moss"], 2, "no pass `moss`"),
        (&["--width", "0"], 2, "--width"),
        (&["--width", "65536"], 3, "GB"),
        (&["--layout", "none.json"], 2, "none.json"),
        (&["--layout", "shot.json"], 2, "no layout"),
        (&["--kept", "calm"], 2, "calm"),
    ];
    for (args, status, says) in cases {
        let dir = folder(|_| {});
        let before = dir.contents();
        let run = dir.run(&[&["look", "shot.json"], args].concat());
        let run = run.status(status).stderr_has(says);
        assert_eq!(run.stderr.matches("error:").count(), 1, "{run}");
        assert!(dir.contents() == before, "files changed\n{run}");
    }
}

#[test]
fn a_picture_never_replaces_a_folder() {
    let dir = folder(|_| {});
    dir.write("here/x", "");
    dir.run(&["look", "shot.json", "--out", "here"])
        .status(2)
        .stderr_has("folder");
}
