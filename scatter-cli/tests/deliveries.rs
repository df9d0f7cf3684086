//! Deliveries by the command: formats, splits, what is included, and comparing what came of them.

#[expect(dead_code, reason = "each test program uses a part of it")]
mod harness;

use std::fs;

use harness::Dir;
use scatter_tests::bad_input;
use scatter_tests::glb::Glb;
use serde_json::{Value, json};

fn names(dir: &Dir, folder: &str) -> Vec<String> {
    let mut names: Vec<String> = fs::read_dir(dir.path().join(folder))
        .expect("readable")
        .map(|e| {
            e.expect("readable")
                .file_name()
                .into_string()
                .expect("readable")
        })
        .collect();
    names.sort();
    names
}

fn layout(dir: &Dir, file: &str) -> Value {
    serde_json::from_slice(&fs::read(dir.path().join(file)).expect("readable")).expect("readable")
}

#[test]
fn every_format_can_be_asked_for_by_name() {
    let dir = Dir::with_shot(|_| {});
    let all = "glb,glb-nodes,usda,json,csv";
    dir.run(&["dress", "shot.json", "--as", all]).status(0);
    let expected = [
        "layout-nodes.glb",
        "layout.csv",
        "layout.glb",
        "layout.json",
        "layout.usda",
        "report.json",
    ];
    assert_eq!(names(&dir, "out"), expected);
    let count = layout(&dir, "out/layout.json")["instances"]
        .as_array()
        .unwrap()
        .len();
    assert!(count > 10);
    let csv = fs::read_to_string(dir.path().join("out/layout.csv")).unwrap();
    assert_eq!(csv.lines().count(), count + 1);
}

#[test]
fn a_scene_has_what_it_was_asked_to_include() {
    let dir = Dir::with_shot(|shot| {
        let kettle = format!(
            "{}/../examples/river-kettle/kettle.glb",
            env!("CARGO_MANIFEST_DIR")
        );
        shot["hero"] = json!([{ "file": kettle, "at": [0, 0, 0] }]);
        shot["deliver"] = json!({ "as": ["glb", "usda"], "include": ["ground", "hero", "sun"] });
    });
    dir.run(&["dress", "shot.json"]).status(0);
    let bytes = fs::read(dir.path().join("out/layout.glb")).unwrap();
    let glb = Glb::open(&bytes).unwrap();
    let nodes = glb.json["nodes"].as_array().unwrap();
    let node = |name: &str| nodes.iter().find(|n| n["name"] == name);
    for name in ["ground", "kettle", "sun"] {
        assert!(node(name).is_some(), "no {name}");
    }
    assert!(glb.json.get("cameras").is_none(), "cameras not asked for");
    let light = &glb.json["extensions"]["KHR_lights_punctual"]["lights"][0];
    assert_eq!(light["type"], "directional");
    // Illuminance by the sun 40 degrees up in a clear sky: some 90 klx by Gillette and others 1984
    let lux = light["intensity"].as_f64().unwrap();
    assert!((8e4..1e5).contains(&lux), "{lux}");
    // It shines from azimuth 140 degrees, elevation 40 degrees: along its own -z, away from there
    let rotation: Vec<f64> =
        serde_json::from_value(node("sun").unwrap()["rotation"].clone()).unwrap();
    let [x, y, z, w] = rotation[..] else {
        panic!("no rotation")
    };
    // -z turned by the quaternion
    let shines = [
        -2.0 * (x * z + y * w),
        -2.0 * (y * z - x * w),
        -(1.0 - 2.0 * (x * x + y * y)),
    ];
    let (azimuth, elevation) = (140_f64.to_radians(), 40_f64.to_radians());
    let expected = [
        -elevation.cos() * azimuth.sin(),
        -elevation.sin(),
        elevation.cos() * azimuth.cos(),
    ];
    for (got, want) in shines.iter().zip(expected) {
        assert!((got - want).abs() < 1e-9, "{shines:?}");
    }
    let usda = fs::read_to_string(dir.path().join("out/layout.usda")).unwrap();
    for prim in [
        "def Xform \"ground\"",
        "def Xform \"kettle\"",
        "def DistantLight \"sun\"",
    ] {
        assert!(usda.contains(prim), "no {prim}");
    }
    assert!(!usda.contains("def Camera"));
}

#[test]
fn a_split_delivery_has_a_file_a_pass() {
    let dir = Dir::with_shot(|shot| {
        shot["deliver"] = json!({ "as": ["glb", "usda", "json", "csv"], "split": "passes" });
    });
    dir.run(&["dress", "shot.json"]).status(0);
    let expected = [
        "layout.glb",
        "layout.leaves.csv",
        "layout.leaves.glb",
        "layout.leaves.json",
        "layout.leaves.usda",
        "layout.stones.csv",
        "layout.stones.glb",
        "layout.stones.json",
        "layout.stones.usda",
        "layout.usda",
        "report.json",
    ];
    assert_eq!(names(&dir, "out"), expected);
    let report = layout(&dir, "out/report.json");
    for (i, pass) in ["stones", "leaves"].into_iter().enumerate() {
        let part = layout(&dir, &format!("out/layout.{pass}.json"));
        let instances = part["instances"].as_array().unwrap();
        assert_eq!(instances.len() as u64, report["passes"][i]["placed"]);
        assert!(instances.iter().all(|line| line["pass"] == i));
    }
}

#[test]
fn layouts_that_are_the_same_compare_as_the_same_in_any_space() {
    let dir = Dir::with_shot(|_| {});
    dir.run(&["dress", "shot.json", "--out", "a"]).status(0);
    let mut shot = bad_input::base();
    shot["deliver"] =
        json!({ "as": ["json"], "space": { "unit": "in", "up": "+z", "hand": "left" } });
    dir.write("shot.json", shot.to_string());
    dir.run(&["dress", "shot.json", "--out", "b"]).status(0);
    let [a, b] = ["a", "b"].map(|out| layout(&dir, &format!("{out}/layout.json")));
    assert_eq!(b["space"]["forward"], "-y");
    assert!(a["instances"] != b["instances"]);
    let run = dir
        .run(&["compare", "a/layout.json", "b/layout.json"])
        .status(0)
        .stderr_is("")
        .stdout_has("stones");
    // The table of passes, and no list of pieces
    assert_eq!(run.stdout.lines().count(), 3, "{run}");
}

/// Layouts of before the tool was called Strew.
#[test]
fn layouts_under_their_former_name_are_read() {
    let dir = Dir::with_shot(|shot| shot["deliver"] = json!({ "as": ["json"] }));
    dir.run(&["dress", "shot.json", "--out", "a"]).status(0);
    let mut former = layout(&dir, "a/layout.json");
    former["format"] = json!("scatter-layout");
    dir.write("former.json", former.to_string());
    dir.run(&["compare", "a/layout.json", "former.json"])
        .status(0)
        .stderr_is("");
    let small = ["--width", "64", "--samples", "1"];
    let args = [
        &["look", "shot.json", "--layout", "former.json"],
        &small[..],
    ]
    .concat();
    dir.run(&args).status(0);
    former["format"] = json!("some-layout");
    dir.write("other.json", former.to_string());
    dir.run(&["compare", "a/layout.json", "other.json"])
        .status(2)
        .stderr_has("the file is no layout");
}

#[test]
fn what_was_changed_by_hand_is_told_piece_by_piece_and_drawn() {
    let dir = Dir::with_shot(|_| {});
    dir.run(&["dress", "shot.json", "--out", "a"]).status(0);
    let mut edited = layout(&dir, "a/layout.json");
    let list = edited["instances"].as_array_mut().unwrap();
    let x = list[0]["position"][0].as_f64().unwrap();
    list[0]["position"][0] = json!(x + 0.01);
    let scale = list[1]["scale"].as_f64().unwrap();
    list[1]["scale"] = json!(scale * 1.5);
    list[2]["rotation"] = json!([0, 1, 0, 0]);
    let gone = list.remove(3)["id"].as_str().unwrap().to_owned();
    dir.write("b.json", edited.to_string());
    let run = dir
        .run(&["compare", "a/layout.json", "b.json", "--out", "plan.png"])
        .status(1)
        .stdout_has("moved 10.000 mm")
        .stdout_has("scaled x 1.5000")
        .stdout_has("turned ")
        .stdout_has(&gone)
        .stdout_has("only first");
    assert_eq!(run.stdout.matches("stones  rock").count(), 4, "{run}");
    let png = fs::read(dir.path().join("plan.png")).unwrap();
    assert_eq!(&png[..4], b"\x89PNG");
    // Within a wide tolerance only the piece that is gone remains
    let wide = ["--moved", "0.02", "--turned", "180", "--scaled", "0.6"];
    let args = [&["compare", "a/layout.json", "b.json"], &wide[..]].concat();
    let run = dir.run(&args).status(1).stdout_has(&gone);
    assert!(!run.stdout.contains("moved 10"), "{run}");
    dir.run(&[
        "compare",
        "b.json",
        "a/layout.json",
        "--list",
        "0",
        "--out",
        "plan.svg",
    ])
    .status(1);
    assert!(dir.path().join("plan.svg").is_file());
}

#[test]
fn what_a_killed_run_left_is_taken_away_by_the_next() {
    let dir = Dir::with_shot(|_| {});
    dir.write("out/.strew-delivery-x1y2z3.tmp", "half");
    dir.write("out/mine.tmp", "not the program's");
    dir.run(&["dress", "shot.json"]).status(0);
    assert_eq!(
        names(&dir, "out"),
        ["layout.glb", "layout.json", "mine.tmp", "report.json"]
    );
}
