//! The commands that make pictures: what they write, what they say, what they refuse.

#[expect(dead_code, reason = "each test program uses a part of it")]
mod harness;

use harness::Dir;
use serde_json::{Value, json};

fn png_size(bytes: &[u8]) -> [u32; 2] {
    assert_eq!(&bytes[..8], b"\x89PNG\r\n\x1a\n");
    [16, 20].map(|at| u32::from_be_bytes(bytes[at..at + 4].try_into().expect("four bytes")))
}

const SMALL: [&str; 4] = ["--width", "48", "--samples", "1"];

#[test]
fn look_writes_the_same_picture_twice_and_from_its_layout() {
    let dir = Dir::with_shot(|_| {});
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

/// A large picture: a coarse one comes before it, of the pieces alone that are as large as its
/// blocks.
const LARGE: [&str; 4] = ["--width", "480", "--samples", "1"];

#[test]
fn what_was_laid_for_the_coarse_picture_changes_nothing() {
    let dir = Dir::with_shot(|_| {});
    let look = |more: &[&str]| dir.run(&[&["look", "shot.json"], &LARGE[..], more].concat());
    look(&[]).status(0);
    dir.run(&["dress", "shot.json"]).status(0);
    look(&["--out", "read.png", "--layout", "out/layout.json"]).status(0);
    let read = |name: &str| std::fs::read(dir.path().join(name)).unwrap();
    let first = read("out/look.png");
    let [width, height] = png_size(&first);
    assert!(width * height >= 100_000, "too small for a coarse picture");
    assert!(first == read("read.png"), "laid at once it looks other");
}

#[test]
fn over_its_budget_no_picture_is_begun() {
    let dir = Dir::with_shot(|shot| shot["budget"] = json!({ "pieces": 20 }));
    let before = dir.contents();
    let run = dir.run(&[&["look", "shot.json"], &LARGE[..]].concat());
    run.status(3).stderr_has("the budget is 20");
    assert!(dir.contents() == before, "files changed");
}

/// The pixels of a PNG file.
fn pixels(bytes: &[u8]) -> Vec<u8> {
    let mut reader = png::Decoder::new(std::io::Cursor::new(bytes))
        .read_info()
        .expect("a PNG");
    let mut pixels = vec![0; reader.output_buffer_size().expect("a small picture")];
    reader.next_frame(&mut pixels).expect("its pixels");
    pixels
}

/// A camera that was delivered and read back shows what it showed before.
#[test]
fn look_and_takes_see_through_a_camera_from_a_file() {
    let dir = Dir::with_shot(|shot| {
        let camera = shot["cameras"][0].as_object_mut().expect("a camera");
        camera.remove("focus");
        camera.remove("stop");
    });
    dir.run(&["dress", "shot.json"]).status(0);
    let delivered = std::fs::read(dir.path().join("out/layout.glb")).unwrap();
    dir.write("camera.glb", delivered);
    let shot = std::fs::read(dir.path().join("shot.json")).unwrap();
    let mut shot: Value = serde_json::from_slice(&shot).unwrap();
    shot["cameras"] =
        json!([{ "name": "again", "file": "camera.glb", "camera": "close", "frame": [320, 180] }]);
    dir.write("filmed.json", shot.to_string());
    for command in [&["look"][..], &["takes", "--count", "2"]] {
        let picture = |shot: &str| {
            let args = [command, &[shot, "--out", "seen.png"], &SMALL[..]].concat();
            dir.run(&args).status(0);
            pixels(&std::fs::read(dir.path().join("seen.png")).unwrap())
        };
        let (plain, filmed) = (picture("shot.json"), picture("filmed.json"));
        assert_eq!(plain.len(), filmed.len());
        let apart = plain.iter().zip(&filmed).map(|(a, b)| a.abs_diff(*b));
        let mean = apart.map(f64::from).sum::<f64>() / plain.len() as f64;
        // Turns are a matter of the last bit; another frame would be some 20 apart
        assert!(mean < 1.0, "{command:?}: {mean}");
    }
    dir.run(&["look", "filmed.json", "--camera", "nowhere"])
        .status(2)
        .stderr_has("the cameras are: again");
}

#[test]
fn look_writes_light_depth_and_mattes() {
    let dir = Dir::with_shot(|_| {});
    let args = [&["look", "shot.json", "--exr", "look.exr"], &SMALL[..]].concat();
    dir.run(&args).status(0);
    let bytes = std::fs::read(dir.path().join("look.exr")).unwrap();
    // Magic number of the OpenEXR file layout
    assert_eq!(bytes[..4], [0x76, 0x2f, 0x31, 0x01]);
    for channel in ["Z\0", "matte.", "id.high\0", "id.low\0"] {
        let found = bytes
            .windows(channel.len())
            .any(|w| w == channel.as_bytes());
        assert!(found, "{channel:?}");
    }
}

#[test]
fn hours_need_a_day_and_light() {
    let dir = Dir::with_shot(|_| {});
    let args = [&["look", "shot.json", "--hours", "9,12"], &SMALL[..]].concat();
    dir.run(&args).status(2).stderr_has("day");
    let dir = Dir::with_shot(|shot| {
        shot["light"] = json!({ "day": { "latitude": "47 deg", "longitude": "8 deg", "date": "2026-06-21", "hour": 12 } });
    });
    dir.run(&args).status(0).stderr_has("2 hours");
    let args = [&["look", "shot.json", "--hours", "9,23"], &SMALL[..]].concat();
    dir.run(&args)
        .status(0)
        .stderr_has("--hours: at 23 the sun is")
        .stderr_has("under the horizon; it is left out")
        .stderr_has("1 hour,");
    let args = [&["look", "shot.json", "--hours", "23"], &SMALL[..]].concat();
    dir.run(&args).status(2).stderr_has("--hours: at 23");
}

#[test]
fn takes_are_numbered_and_told_a_line_each() {
    let dir = Dir::with_shot(|_| {});
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
    let dir = Dir::with_shot(|_| {});
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
        let dir = Dir::with_shot(|_| {});
        let before = dir.contents();
        let run = dir.run(&[&["look", "shot.json"], args].concat());
        let run = run.status(status).stderr_has(says);
        assert_eq!(run.stderr.matches("error:").count(), 1, "{run}");
        assert!(dir.contents() == before, "files changed\n{run}");
    }
}

#[test]
fn a_picture_never_replaces_a_folder() {
    let dir = Dir::with_shot(|_| {});
    dir.write("here/x", "");
    dir.run(&["look", "shot.json", "--out", "here"])
        .status(2)
        .stderr_has("folder");
}

#[test]
fn where_nothing_can_be_written_is_found_out_before_the_work() {
    // A shot that could not be dressed: that the target is told of shows that it was looked at
    // first
    let cases: [&[&str]; 5] = [
        &["look", "shot.json", "--out", "none/look.png"],
        &["look", "shot.json", "--exr", "none/look.exr"],
        // Nobody may write here, root neither
        &["look", "shot.json", "--out", "/dev/null/look.png"],
        &["takes", "shot.json", "--out", "none/takes.png"],
        &["plan", "shot.json", "--out", "none/plan"],
    ];
    for args in cases {
        let dir = Dir::with_shot(|shot| shot["budget"]["pieces"] = json!(1));
        let before = dir.contents();
        let (status, told) = if args[3].starts_with("none") {
            (2, "there is no folder none")
        } else {
            (1, "can't write the picture")
        };
        let run = dir.run(args).status(status).stderr_has(told);
        assert_eq!(run.stderr.matches("error:").count(), 1, "{run}");
        assert!(dir.contents() == before, "files changed\n{run}");
    }
}

#[test]
fn frames_without_area_or_without_end_are_refused() {
    let dir = Dir::with_shot(|shot| shot["cameras"][0]["frame"] = json!([320, 0]));
    dir.run(&["look", "shot.json"])
        .status(2)
        .stderr_has("frame");
    // 65536 x 36864 pixels of three 4-byte numbers are 29 GB
    let dir = Dir::with_shot(|_| {});
    let args = ["look", "shot.json", "--width", "65536"];
    dir.run(&args).status(3).stderr_has("29.0 GB");
}

/// The good shot's folder with its layout, changed.
fn with_layout(change: impl FnOnce(&mut Value)) -> Dir {
    let dir = Dir::with_shot(|_| {});
    dir.run(&["dress", "shot.json"]).status(0);
    let path = dir.path().join("out/layout.json");
    let mut layout: Value =
        serde_json::from_slice(&std::fs::read(&path).expect("the layout is there")).expect("JSON");
    change(&mut layout);
    dir.write("changed.json", layout.to_string());
    dir
}

const CHANGED: [&str; 4] = ["look", "shot.json", "--layout", "changed.json"];

#[test]
fn layouts_of_another_version_or_broken_by_hand_are_refused() {
    type Edit = fn(&mut Value);
    let cases: [(Edit, &str); 5] = [
        (|v| v["space"]["unit"] = json!("ell"), "ell"),
        (|v| v["version"] = json!(2), "version 2"),
        (|v| v["instances"][0]["scale"] = json!(0), "scale"),
        (|v| v["instances"][0]["piece"] = json!(4000), "piece"),
        (|v| v["passes"] = json!("none"), "changed.json"),
    ];
    for (change, says) in cases {
        let dir = with_layout(change);
        let run = dir.run(&[&CHANGED[..], &SMALL[..]].concat());
        let run = run.status(2).stderr_has(says).stderr_has("changed.json");
        assert_eq!(run.stderr.matches("error:").count(), 1, "{run}");
        assert!(!dir.path().join("out/look.png").exists(), "{run}");
    }
}

#[test]
fn a_lens_inside_a_stone_is_told_of() {
    let dir = with_layout(|layout| {
        let stones = layout["passes"].as_array().unwrap();
        let pass = stones.iter().position(|p| p["name"] == "stones");
        let instances = layout["instances"].as_array_mut().unwrap();
        let stone = instances
            .iter_mut()
            .find(|i| i["pass"] == json!(pass))
            .unwrap();
        // A rock some six metres across about the lens at 0, 0.5, 0.8
        stone["position"] = json!([0, -1, 0.8]);
        stone["rotation"] = json!([0, 0, 0, 1]);
        stone["scale"] = json!(40);
    });
    dir.run(&[&CHANGED[..], &SMALL[..]].concat())
        .status(2)
        .stderr_has("camera close")
        .stderr_has("the lens is inside a piece");
}
