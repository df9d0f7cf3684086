//! Judging a shot by eye: parts of the picture, its exposure, frames of a moving camera, layouts of
//! any space, and what stands at a pixel.

#[expect(dead_code, reason = "each test program uses a part of it")]
mod harness;

use std::fs;
use std::io::{BufRead, BufReader};
use std::sync::mpsc;
use std::thread;
use std::time::Duration;

use harness::Dir;
use scatter_tests::bad_input::base;
use serde_json::{Value, json};

/// Longer than any step of a small shot on a busy machine.
const PATIENCE: Duration = Duration::from_secs(60);
const SMALL: [&str; 4] = ["--width", "96", "--samples", "1"];

/// A camera that moves from frame 10 to frame 19.
fn moving(shot: &mut Value) {
    let camera = &mut shot["cameras"][0];
    camera.as_object_mut().expect("a camera").remove("at");
    camera.as_object_mut().expect("a camera").remove("toward");
    camera["keys"] = json!([
        { "at_frame": 10, "at": [0, "0.5 m", "0.8 m"], "toward": [0, 0, 0] },
        { "at_frame": 19, "at": ["0.3 m", "0.5 m", "0.8 m"], "toward": [0, 0, 0] },
    ]);
}

/// Width, height and 8-bit pixels.
fn pixels(dir: &Dir, file: &str) -> ([usize; 2], Vec<u8>) {
    let bytes = fs::read(dir.path().join(file)).expect(file);
    let mut reader = png::Decoder::new(std::io::Cursor::new(bytes))
        .read_info()
        .expect("a head");
    let mut pixels = vec![0; reader.output_buffer_size().expect("a size")];
    let info = reader.next_frame(&mut pixels).expect("a picture");
    ([info.width as usize, info.height as usize], pixels)
}

fn look(dir: &Dir, out: &str, more: &[&str]) -> harness::Run {
    let args = [&["look", "shot.json", "--out", out], &SMALL[..], more].concat();
    dir.run(&args).status(0)
}

#[test]
fn a_crop_is_the_part_of_the_whole_picture() {
    let dir = Dir::with_shot(|_| ());
    look(&dir, "whole.png", &[]);
    look(&dir, "part.png", &["--crop", "33,17,40,20"]);
    let ([wide, _], whole) = pixels(&dir, "whole.png");
    let (size, part) = pixels(&dir, "part.png");
    assert_eq!(size, [40, 20]);
    for row in 0..20 {
        let from = 3 * ((17 + row) * wide + 33);
        assert!(
            part[3 * 40 * row..3 * 40 * (row + 1)] == whole[from..from + 3 * 40],
            "row {row}"
        );
    }
    let args = ["look", "shot.json", "--width", "96", "--crop", "90,0,7,5"];
    dir.run(&args)
        .status(2)
        .stderr_has("7 x 5 pixels at 90,0 are not within the picture")
        .stderr_has("96 x 54");
}

#[test]
fn exposure_brightens_and_finds_the_middle_by_itself() {
    let dir = Dir::with_shot(|_| ());
    let mean = |file: &str| {
        let (_, pixels) = pixels(&dir, file);
        pixels.iter().map(|v| f64::from(*v)).sum::<f64>() / pixels.len() as f64
    };
    look(&dir, "plain.png", &[]);
    look(&dir, "same.png", &["--exposure", "0"]);
    look(&dir, "bright.png", &["--exposure", "1.5"]);
    look(&dir, "dark.png", &["--exposure", "-1.5"]);
    assert!(pixels(&dir, "plain.png") == pixels(&dir, "same.png"));
    assert!(mean("dark.png") < mean("plain.png") - 10.0);
    assert!(mean("plain.png") < mean("bright.png") - 10.0);
    // A grey card of 18 % under the plain curve is 118 of 255 (IEC 61966-2-1); the mean of the
    // light in stops stands there, and the mean of the pixels near it
    let auto = ["--exposure", "auto", "--tone", "plain"];
    look(&dir, "auto.png", &auto).stderr_has("exposure ");
    let found = mean("auto.png");
    assert!((95.0..=140.0).contains(&found), "{found}");
    dir.run(&["look", "shot.json", "--exposure", "11"])
        .status(2)
        .stderr_has("stops from -10 to 10");
}

#[test]
fn a_moving_camera_is_seen_in_any_frame_and_in_a_strip() {
    let dir = Dir::with_shot(moving);
    look(&dir, "first.png", &[]);
    look(&dir, "ten.png", &["--frame", "10"]);
    look(&dir, "last.png", &["--frame", "19"]);
    assert!(pixels(&dir, "first.png") == pixels(&dir, "ten.png"));
    assert!(pixels(&dir, "first.png") != pixels(&dir, "last.png"));
    let args = ["look", "shot.json", "--frame", "20"];
    dir.run(&args)
        .status(2)
        .stderr_has("has no frame 20")
        .stderr_has("its frames are 10 to 19");
    look(&dir, "strip.png", &["--strip", "3"]).stderr_has("3 of 10 frames");
    let ([wide, high], strip) = pixels(&dir, "strip.png");
    assert!(wide >= 96 && high >= 54);
    // Each picture of the sheet is that of its frame
    for file in ["first.png", "last.png"] {
        let ([w, _], one) = pixels(&dir, file);
        let row = &one[3 * w * 20..3 * w * 21];
        let found = strip.windows(row.len()).any(|part| part == row);
        assert!(found, "{file} is not on the sheet");
    }
    let still = Dir::with_shot(|_| ());
    still
        .run(&["look", "shot.json", "--strip", "3"])
        .status(2)
        .stderr_has("camera `close` does not move");
    still
        .run(&["look", "shot.json", "--frame", "2"])
        .status(2)
        .stderr_has("leave out --frame");
}

#[test]
fn a_layout_of_any_space_looks_the_same() {
    let dir = Dir::with_shot(|_| ());
    look(&dir, "own.png", &[]);
    for space in ["m", "cm,+z", "mm,left", "in,+z,left"] {
        let args = ["dress", "shot.json", "--as", "json", "--space", space];
        dir.run(&args).status(0);
        look(&dir, "read.png", &["--layout", "out/layout.json"]);
        assert!(
            pixels(&dir, "own.png") == pixels(&dir, "read.png"),
            "{space}"
        );
    }
}

/// The value of a line of `strew at`.
fn said(text: &str, key: &str) -> String {
    let line = text.lines().find(|l| l.starts_with(key));
    let line = line.unwrap_or_else(|| panic!("no {key} in {text}"));
    line[key.len()..].trim().to_owned()
}

#[test]
fn what_stands_at_a_pixel_is_told_and_can_be_taken_away_and_pinned() {
    let dir = Dir::with_shot(|_| ());
    let at = |x: usize, y: usize| {
        let pixel = format!("{x},{y}");
        dir.run(&["at", "shot.json", &pixel, "--width", "96"])
            .status(0)
            .stdout
    };
    let mut found = None;
    let mut ground = 0;
    for (x, y) in (0..54)
        .step_by(9)
        .flat_map(|y| (0..96).step_by(12).map(move |x| (x, y)))
    {
        let told = at(x, y);
        assert!(
            told.starts_with(&format!("pixel {x},{y} of 96 x 54\n")),
            "{told}"
        );
        if told.contains("\nground") {
            ground += 1;
        } else if told.contains("\npass") && said(&told, "pass") == "stones" {
            found = Some((x, y, told));
            break;
        }
    }
    let (x, y, told) = found.expect("a stone somewhere");
    assert!(ground > 0, "ground somewhere");
    let id = said(&told, "id");
    dir.run(&["dress", "shot.json"]).status(0);
    let layout: Value =
        serde_json::from_slice(&fs::read(dir.path().join("out/layout.json")).expect("a layout"))
            .expect("JSON");
    let listed = layout["instances"].as_array().expect("instances");
    let one = listed
        .iter()
        .find(|i| i["id"] == id.as_str())
        .expect("the id");
    let piece = &layout["pieces"][one["piece"].as_u64().expect("a number") as usize]["name"];
    assert_eq!(said(&told, "piece"), piece.as_str().expect("a name"));
    let diameter = 1e3 * one["diameter"].as_f64().expect("a number");
    assert_eq!(said(&told, "diameter"), format!("{diameter:.1} mm"));
    // The lines, pasted as they are
    let line = |key: &str| {
        let from = told.find(&format!("\"{key}\":")).expect("a line to paste");
        let text = told[from..].lines().next().expect("a line").to_owned();
        serde_json::from_str::<Value>(&format!("{{{text}}}")).expect("JSON")
    };
    let mut shot = base();
    shot["remove"] = line("remove")["remove"].take();
    dir.write("shot.json", shot.to_string());
    dir.run(&["dress", "shot.json"]).status(0);
    let after = at(x, y);
    assert!(!after.contains(&id), "{after}");
    // The next one joins the list
    assert!(!after.contains("\"remove\":"), "{after}");
    shot["pins"] = line("pins")["pins"].take();
    dir.write("shot.json", shot.to_string());
    let after = at(x, y);
    assert!(after.contains("it is a pin"), "{told}{after}");
    for (pixel, told) in [("96,0", "0,0 to 95,53"), ("a", "such as 480,300")] {
        dir.run(&["at", "shot.json", pixel, "--width", "96"])
            .status(2)
            .stderr_has(told);
    }
}

#[test]
fn the_delivery_is_what_the_options_say() {
    let dir = Dir::with_shot(|shot| shot["keep"] = json!([{ "name": "good", "take": 5 }]));
    let layout = || -> Value {
        let bytes = fs::read(dir.path().join("out/layout.json")).expect("a layout");
        serde_json::from_slice(&bytes).expect("JSON")
    };
    let args = [
        "dress",
        "shot.json",
        "--kept",
        "good",
        "--space",
        "cm,+z,left",
        "--as",
        "json",
    ];
    dir.run(&args).status(0);
    assert_eq!(layout()["take"], 5);
    assert_eq!(layout()["space"]["unit"], "cm");
    assert_eq!(layout()["space"]["up"], "+z");
    assert_eq!(layout()["space"]["hand"], "left");
    let gltf = |file: &str| -> Value {
        let bytes = fs::read(dir.path().join(file)).expect(file);
        let glb = scatter_tests::glb::Glb::open(&bytes);
        glb.expect("a GLB").json
    };
    let as_glb = ["dress", "shot.json", "--as", "glb"];
    dir.run(&[&as_glb[..], &["--include", "ground,sun"]].concat())
        .status(0);
    let json = gltf("out/layout.glb");
    assert!(json["cameras"].is_null());
    assert!(json["extensions"]["KHR_lights_punctual"].is_object());
    dir.run(&[&as_glb[..], &["--include", "none", "--split", "passes"]].concat())
        .status(0);
    let json = gltf("out/layout.stones.glb");
    assert!(json["cameras"].is_null());
    assert!(
        !dir.path().join("out/layout.glb").exists(),
        "nothing would be in it"
    );
    let names = ["--kept", "nothing"];
    dir.run(&[&as_glb[..], &names].concat())
        .status(2)
        .stderr_has("good");
}

/// What a watched look says, line by line.
#[test]
fn a_watched_picture_is_made_again_when_the_shot_changes() {
    let dir = Dir::with_shot(|_| ());
    let args = [
        &["look", "shot.json", "--watch", "--out", "w.png"],
        &SMALL[..],
    ]
    .concat();
    let mut child = dir.command(&args).spawn().expect("it runs");
    let (send, told) = mpsc::channel();
    let lines = BufReader::new(child.stderr.take().expect("standard error")).lines();
    thread::spawn(move || {
        lines
            .map_while(Result::ok)
            .try_for_each(|line| send.send(line))
    });
    let wait_for = |words: &str| loop {
        let line = told.recv_timeout(PATIENCE).expect(words);
        if line.contains(words) {
            return line;
        }
    };
    wait_for("w.png  96 x 54");
    wait_for("watching");
    let before = pixels(&dir, "w.png");
    let mut shot = base();
    shot["passes"][0]["cover"] = json!(0.3);
    dir.write("shot.json", shot.to_string());
    wait_for("w.png  96 x 54");
    wait_for("watching");
    assert!(before != pixels(&dir, "w.png"));
    // A mistake is told, and the next change waited for
    dir.write("shot.json", "{");
    wait_for("error:");
    dir.write("shot.json", base().to_string());
    wait_for("w.png  96 x 54");
    wait_for("watching");
    assert!(before == pixels(&dir, "w.png"));
    child.kill().expect("it ends");
    child.wait().expect("it ends");
}
