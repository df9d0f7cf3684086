//! What each command does when all is well, and how it says so.

#[expect(dead_code, reason = "each test program uses a part of it")]
mod harness;

use std::fs;
use std::io::Read;

use harness::Dir;
use scatter::shot::{Preset, Shot};
use scatter_tests::bad_input;
use serde_json::{Value, json};

#[test]
fn new_writes_a_shot_that_dresses_for_every_preset() {
    for preset in Preset::names() {
        let dir = Dir::new();
        dir.run(&["new", "place", "--preset", preset])
            .status(0)
            .stdout_is("")
            .stderr_has("strew dress place/shot.json");
        let shot =
            Shot::read(&dir.path().join("place/shot.json")).unwrap_or_else(|e| panic!("{e}"));
        assert_eq!(shot.name, "place");
        assert_eq!(shot, Preset::find(preset).unwrap().shot("place"));
    }
}

#[test]
fn a_new_shot_dresses_as_it_stands() {
    let dir = Dir::new();
    dir.run(&["new", "bar", "--preset", "river-gravel", "--quiet"])
        .status(0)
        .stderr_is("");
    dir.run(&["dress", "bar"])
        .status(0)
        .stdout_is("")
        .stderr_has("cobbles")
        .stderr_has("layout.glb");
    for file in ["layout.glb", "layout.json", "report.json"] {
        assert!(dir.path().join("bar/out").join(file).is_file(), "{file}");
    }
}

#[test]
fn dress_takes_the_formats_the_folder_and_the_take_that_are_asked_for() {
    let dir = Dir::new();
    dir.write("shot.json", bad_input::base().to_string());
    dir.run(&[
        "dress",
        "shot.json",
        "--take",
        "7",
        "--out",
        "made/here",
        "--as",
        "json",
        "--quiet",
    ])
    .status(0)
    .stdout_is("")
    .stderr_is("");
    let folder = dir.path().join("made/here");
    assert!(!folder.join("layout.glb").exists(), "not asked for");
    let layout = fs::read_to_string(folder.join("layout.json")).unwrap();
    let layout: Value = serde_json::from_str(&layout).unwrap();
    assert_eq!(layout["take"], 7);
    assert_eq!(layout["format"], "strew-layout");
}

#[test]
fn the_same_shot_gives_the_same_bytes() {
    let dir = Dir::new();
    dir.write("shot.json", bad_input::base().to_string());
    for out in ["a", "b"] {
        dir.run(&["dress", "shot.json", "--out", out]).status(0);
    }
    for file in ["layout.glb", "layout.json"] {
        let [a, b] = ["a", "b"].map(|out| fs::read(dir.path().join(out).join(file)).unwrap());
        assert!(a == b, "{file} differs");
    }
}

#[test]
fn presets_are_listed_a_line_each_and_printed_as_their_files() {
    let dir = Dir::new();
    let run = dir.run(&["presets"]).status(0).stderr_is("");
    assert_eq!(run.stdout.lines().count(), Preset::names().count());
    for name in Preset::names() {
        assert!(run.stdout.contains(name), "{name} is not listed");
        let file = format!("{}/../presets/{name}.json", env!("CARGO_MANIFEST_DIR"));
        dir.run(&["presets", name])
            .status(0)
            .stdout_is(&fs::read_to_string(file).unwrap());
    }
}

#[test]
fn schema_is_the_librarys() {
    let run = Dir::new().run(&["schema"]).status(0).stderr_is("");
    let schema: Value = serde_json::from_str(&run.stdout).unwrap();
    assert_eq!(schema, scatter::shot::schema());
}

#[test]
fn completions_are_there_for_each_shell() {
    for shell in ["bash", "zsh", "fish", "elvish", "powershell"] {
        Dir::new()
            .run(&["completions", shell])
            .status(0)
            .stdout_has("dress");
    }
}

#[test]
fn a_reader_that_goes_away_is_no_error() {
    let dir = Dir::new();
    let mut child = dir.command(&["schema"]).spawn().unwrap();
    // Takes nothing and closes: the command's next write finds no reader.
    drop(child.stdout.take());
    let mut stderr = String::new();
    child
        .stderr
        .take()
        .unwrap()
        .read_to_string(&mut stderr)
        .unwrap();
    assert_eq!(child.wait().unwrap().code(), Some(0), "{stderr}");
    assert_eq!(stderr, "");
}

#[test]
fn no_colour_where_there_is_no_terminal() {
    let run = Dir::new().run(&["dress", "nowhere.json"]).status(2);
    assert!(!run.stderr.contains('\x1b'), "{run}");
}

#[test]
fn help_and_version_are_data() {
    let dir = Dir::new();
    dir.run(&["--version"]).status(0).stdout_has("strew 0.");
    dir.run(&["dress", "--help"]).status(0).stdout_has("--take");
    dir.run(&["--help"]).status(0).stdout_has("3 over budget");
}

#[test]
fn a_missing_file_gets_the_name_that_was_likely_meant() {
    let camera = json!([{ "name": "close", "file": "in/shotcma.glb", "frame": [192, 108] }]);
    let image =
        json!({ "image": { "file": "in/hils.png", "extent": ["4 m", "4 m"], "heights": [0, 1] } });
    let mask = json!([{ "mask": { "file": "in/clam.png", "extent": ["4 m", "4 m"] } }]);
    let cases = [
        (
            "/hero",
            json!([{ "file": "in/pto.glb", "at": [0, 0, 0] }]),
            "pot.glb",
        ),
        ("/passes/0/pieces", json!(["in/pots.gltf"]), "pot.glb"),
        ("/passes/0/pieces", json!(["in/scan.json"]), "scans.json"),
        // The list is there; what it names is not
        ("/passes/0/pieces", json!(["in/scans.json"]), "stone.glb"),
        ("/passes/0/gather", mask, "calm.png"),
        ("/ground", image, "hills.png"),
        (
            "/ground",
            json!({ "mesh": { "file": "in/quary.glb" } }),
            "quarry.glb",
        ),
        ("/cameras", camera, "shotcam.glb"),
        (
            "/carpet",
            json!({ "patch": "in/patsh.glb", "tile": "0.2 m" }),
            "patch.glb",
        ),
    ];
    let dir = Dir::new();
    let scans = json!({ "format": "strew-kit", "version": 1,
        "pieces": [{ "name": "stone", "file": "stoen.glb" }] });
    dir.write("in/scans.json", scans.to_string());
    for name in ["pot", "stone", "quarry", "shotcam", "patch"] {
        dir.write(&format!("in/{name}.glb"), "");
    }
    for name in ["calm", "hills"] {
        dir.write(&format!("in/{name}.png"), "");
    }
    for (place, value, meant) in cases {
        let mut shot: Value = bad_input::base();
        let (parent, key) = place.rsplit_once('/').unwrap();
        shot.pointer_mut(parent).unwrap()[key] = value;
        dir.write("shot.json", shot.to_string());
        dir.run(&["dress", "shot.json"])
            .status(2)
            .stderr_has("there is no file in/")
            .stderr_has(&format!("hint: did you mean `{meant}`?"));
    }
    // Nothing near: what would be right
    let mut shot = bad_input::base();
    shot["hero"] = json!([{ "file": "in/windmill.glb", "at": [0, 0, 0] }]);
    dir.write("shot.json", shot.to_string());
    dir.run(&["dress", "shot.json"])
        .status(2)
        .stderr_has("hint: name a .glb or .gltf file");
}
