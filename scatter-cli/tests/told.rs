//! What is said of a shot that dresses, but may not do what is meant: a warning each, and the
//! delivery is there.

#[expect(dead_code, reason = "each test program uses a part of it")]
mod harness;

use harness::{Dir, Run};
use scatter_tests::bad_input::base;
use serde_json::{Value, json};

/// Dresses the good shot of the bad input's corpus with changes at its top.
fn dress(dir: &Dir, changes: &Value) -> Run {
    let mut shot = base();
    for (key, value) in changes.as_object().expect("changes") {
        shot[key] = value.clone();
    }
    dir.write("shot.json", shot.to_string());
    dir.run(&["dress", "shot.json"]).status(0)
}

fn layout(dir: &Dir) -> Value {
    let text = std::fs::read(dir.path().join("out/layout.json")).expect("a layout");
    serde_json::from_slice(&text).expect("JSON")
}

fn warnings(run: &Run) -> Vec<&str> {
    let lines = run.stderr.lines();
    lines.filter(|l| l.starts_with("warning:")).collect()
}

#[test]
fn an_id_that_takes_nothing_away_is_told_once() {
    let dir = Dir::new();
    let pins = json!([{ "piece": "rock", "at": [0, 0], "diameter": "40 mm" }]);
    let run = dress(&dir, &json!({ "pins": pins }));
    assert_eq!(warnings(&run), [""; 0], "{run}");
    let before = layout(&dir);
    let id_of = |pass: &str| {
        let passes = before["passes"].as_array().expect("passes");
        let index = passes.iter().position(|p| p["name"] == pass);
        let instances = before["instances"].as_array().expect("instances");
        let found = instances.iter().find(|i| i["pass"] == index.expect(pass));
        found.expect(pass)["id"].clone()
    };
    // A piece of a pass, a leaf that lies on others, a pin, and no piece
    let ids = [
        id_of("stones"),
        id_of("leaves"),
        id_of("pins"),
        json!("00000000000000ff"),
    ];
    let run = dress(&dir, &json!({ "pins": pins, "remove": ids }));
    let told = warnings(&run);
    assert_eq!(told.len(), 1, "{run}");
    for words in ["shot.json", "remove[3]", "00000000000000ff", "take 1"] {
        assert!(told[0].contains(words), "{run}");
    }
    // A piece that was taken away is counted in a column of its own
    let head = run.stderr.lines().find(|l| l.starts_with("pass "));
    assert!(head.is_some_and(|l| l.contains("removed")), "{run}");
    let look = ["look", "shot.json", "--width", "32", "--samples", "1"];
    dir.run(&look)
        .status(0)
        .stderr_has("no piece 00000000000000ff in view");
    let after = layout(&dir);
    let instances = after["instances"].as_array().expect("instances");
    assert!(instances.iter().all(|i| !ids.contains(&i["id"])));
    // Another take has other pieces: what was liked to be gone in this one is nothing there, and
    // the pin is in every take
    let run = dir.run(&["dress", "shot.json", "--take", "2"]).status(0);
    let told = warnings(&run);
    assert!(told.iter().all(|w| w.contains("take 2")), "{run}");
    assert!(!told.iter().any(|w| w.contains("remove[2]")), "{run}");
    dir.run(&["dress", "shot.json", "--quiet"])
        .status(0)
        .stderr_is("");
}

#[test]
fn tiles_and_sprays_that_are_taken_away_are_no_warning() {
    let dir = Dir::new();
    let sizes = json!({ "law": "power", "exponent": 2, "from": "4 mm", "to": "8 mm" });
    let changes = json!({
        "budget": {},
        "carpet": { "grains": ["pebble"], "sizes": sizes, "variants": 3 },
        "shade": { "lit": 0.5, "fleck": "60 mm", "softness": "20 mm" }
    });
    dress(&dir, &changes);
    let before = layout(&dir);
    let passes = before["passes"].as_array().expect("passes");
    let ids: Vec<Value> = ["carpet", "shade"]
        .iter()
        .map(|name| {
            let index = passes.iter().position(|p| p["name"] == *name);
            let instances = before["instances"].as_array().expect("instances");
            let found = instances.iter().find(|i| i["pass"] == index.expect(name));
            found.expect(name)["id"].clone()
        })
        .collect();
    let mut changes = changes;
    changes["remove"] = json!(ids);
    let run = dress(&dir, &changes);
    assert_eq!(warnings(&run), [""; 0], "{run}");
    let after = layout(&dir);
    let instances = after["instances"].as_array().expect("instances");
    assert!(instances.iter().all(|i| !ids.contains(&i["id"])));
}

#[test]
fn a_pin_in_the_hero_is_laid_and_told() {
    let dir = Dir::new();
    let kettle = concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/../examples/river-kettle/kettle.glb"
    );
    dir.write("kettle.glb", std::fs::read(kettle).expect(kettle));
    let pin = |x: f64| json!({ "piece": "rock", "at": [x, 0], "diameter": "20 mm" });
    let run = dress(
        &dir,
        &json!({
            "hero": [{ "file": "kettle.glb", "at": [0, 0, 0] }],
            "pins": [pin(0.4), pin(0.0)]
        }),
    );
    let told = warnings(&run);
    assert_eq!(told.len(), 1, "{run}");
    assert!(told[0].contains("pins[1].at"), "{run}");
    assert!(told[0].contains("hero[0]"), "{run}");
    let passes = layout(&dir)["passes"].clone();
    let pins = passes.as_array().and_then(|p| p.last()).cloned();
    assert_eq!(pins.map(|p| p["placed"].clone()), Some(json!(2)));
}

#[test]
fn what_a_file_holds_and_is_left_out_is_told() {
    let dir = Dir::new();
    let kettle = concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/../examples/river-kettle/kettle.glb"
    );
    let bytes = std::fs::read(kettle).expect(kettle);
    // The same hero with a texture that is not there
    let number = |at: usize| {
        let four: [u8; 4] = bytes[at..at + 4].try_into().expect("four bytes");
        u32::from_le_bytes(four) as usize
    };
    let length = number(12);
    let mut gltf: Value = serde_json::from_slice(&bytes[20..20 + length]).expect("JSON");
    gltf["images"] = json!([{ "uri": "gone.png" }]);
    gltf["textures"] = json!([{ "source": 0 }]);
    gltf["materials"][0]["pbrMetallicRoughness"]["baseColorTexture"] = json!({ "index": 0 });
    let mut text = gltf.to_string().into_bytes();
    text.resize(text.len().next_multiple_of(4), b' ');
    let rest = &bytes[20 + length..];
    let mut glb = bytes[..8].to_vec();
    for n in [20 + text.len() + rest.len(), text.len()] {
        glb.extend(u32::try_from(n).expect("small").to_le_bytes());
    }
    glb.extend(b"JSON");
    glb.extend(text);
    glb.extend(rest);
    dir.write("kettle.glb", glb);
    let run = dress(
        &dir,
        &json!({ "hero": [{ "file": "kettle.glb", "at": [0, 0, 0] }] }),
    );
    let told = warnings(&run);
    assert!(!told.is_empty(), "{run}");
    assert!(told[0].contains("kettle.glb"), "{run}");
}

/// The corpus's good shot with values set at pointers.
fn with(changes: &[(&str, Value)]) -> Dir {
    let dir = Dir::new();
    let mut shot = base();
    for (place, value) in changes {
        let (parent, key) = place.rsplit_once('/').expect("a pointer");
        shot.pointer_mut(parent).expect("a place")[key] = value.clone();
    }
    dir.write("shot.json", shot.to_string());
    dir
}

#[test]
fn lengths_as_people_type_them_are_told_in_the_form_that_is_read() {
    for (typed, told) in [
        ("0,3 m", "write \"0.3 m\""),
        ("12 in", "\"12 in\" is \"304.8 mm\""),
        ("1.5 ft", "\"1.5 ft\" is \"457.2 mm\""),
        ("3 furlongs", "unknown unit \"furlongs\""),
    ] {
        with(&[("/cameras/0/far", json!(typed))])
            .run(&["dress", "shot.json"])
            .status(2)
            .stderr_has(told);
    }
}

#[test]
fn what_is_sound_and_hardly_meant_is_told() {
    let dress = |changes: &[(&str, Value)]| with(changes).run(&["dress", "shot.json"]).status(0);
    let run = dress(&[("/cameras/0/focus", Value::Null)]);
    let run = run.stderr_has("`close` has a stop and no `focus`");
    assert_eq!(warnings(&run).len(), 1, "{run}");
    let ended = json!({ "plane": {}, "extent": ["1 m", "1 m"] });
    dress(&[("/ground", ended.clone())])
        .stderr_has("`close` stands beyond the end of the ground: the ground is x -0.50 to 0.50 m");
    // Off the ground for good
    dress(&[
        ("/ground", ended),
        ("/cameras/0/at", json!([10, 0.5, 10.8])),
        ("/cameras/0/toward", json!([10, 0, 10])),
    ])
    .stderr_has("no camera sees any ground that a pass could lie on");
    let run = dress(&[]);
    assert_eq!(warnings(&run), [""; 0], "{run}");
}

#[test]
fn a_hero_in_another_unit_is_told() {
    let dir = with(&[(
        "/hero",
        json!([{ "file": "slab.glb", "at": [15.2, 0, 0], "scale": 1000 }]),
    )]);
    let corners = scatter_tests::meshes::block_corners([0.03, 0.025, 0.02]);
    let triangles = scatter_tests::meshes::block_triangles();
    dir.write(
        "slab.glb",
        scatter_tests::meshes::mesh(&corners, &triangles),
    );
    dir.run(&["dress", "shot.json"])
        .status(0)
        .stderr_has("slab.glb is 25.0");
    // Round the camera it is told once, and not what follows from it; behind it, it is not seen
    let hero = |at: Value| json!([{ "file": "slab.glb", "at": at, "scale": 1000 }]);
    let mut shot = base();
    shot["hero"] = hero(json!([0, 0, 0]));
    dir.write("shot.json", shot.to_string());
    let run = dir.run(&["dress", "shot.json"]).status(0);
    let run = run.stderr_has("hero[0]: the camera `close` stands inside its outline, 25.0");
    assert_eq!(warnings(&run).len(), 1, "{run}");
    shot["hero"] = hero(json!([0, 0, 90]));
    dir.write("shot.json", shot.to_string());
    dir.run(&["dress", "shot.json"])
        .status(0)
        .stderr_has("hero[0]: no camera sees slab.glb");
}

#[test]
fn options_that_change_nothing_are_told() {
    let dir = with(&[]);
    for (args, told) in [
        (
            ["--include", "hero,ground", "--as", "glb"],
            "the shot has none",
        ),
        (["--space", "cm", "--as", "glb"], "glTF stays in metres"),
        (["--as", "glb", "--seen", "--quiet"], ""),
        (["--as", "glb", "--seen", "--take=2"], "none moves"),
    ] {
        let args = [&["dress", "shot.json"][..], &args].concat();
        let run = dir.run(&args).status(0).stderr_has(told);
        assert_eq!(warnings(&run).is_empty(), told.is_empty(), "{run}");
    }
}

#[test]
fn deleted_files_are_told_last_and_in_quiet() {
    let dir = with(&[]);
    dir.run(&["dress", "shot.json"]).status(0);
    let run = dir.run(&["dress", "shot.json", "--as", "json", "-q"]);
    let run = run.status(0);
    assert_eq!(warnings(&run).len(), 1, "{run}");
    let run = run.stderr_has("layout.glb is deleted");
    assert_eq!(run.stderr.lines().count(), 1, "{run}");
    let run = dir.run(&["dress", "shot.json", "--as", "glb"]).status(0);
    let last = run.stderr.lines().last().unwrap_or_default();
    assert!(last.contains("layout.json is deleted"), "{run}");
}

#[test]
fn a_mask_that_empties_a_pass_is_told() {
    let mask = json!([{ "mask": { "file": "black.png", "extent": ["40 m", "40 m"] } }]);
    let dir = with(&[("/passes/0/gather", mask), ("/passes/1/gather", json!([]))]);
    let mut bytes = Vec::new();
    let mut encoder = png::Encoder::new(&mut bytes, 8, 8);
    encoder.set_color(png::ColorType::Grayscale);
    encoder.set_depth(png::BitDepth::Eight);
    let mut writer = encoder.write_header().expect("a head");
    writer.write_image_data(&[0; 64]).expect("its pixels");
    writer.finish().expect("an end");
    dir.write("black.png", bytes);
    let run = dir.run(&["dress", "shot.json"]).status(0);
    let run = run.stderr_has(
        "stones: no piece is asked for on the ground that the frames show; see its mask black.png",
    );
    assert_eq!(warnings(&run).len(), 1, "{run}");
}

#[test]
fn a_wrong_ending_of_a_file_to_write_is_told() {
    let dir = with(&[]);
    for (args, told) in [
        (
            ["look", "shot.json", "--out", "a.jpg"],
            "the picture is a PNG, and a.jpg says otherwise\n  hint: give it a name that ends in .png",
        ),
        (
            ["takes", "shot.json", "--out", "a.exr"],
            "the picture is a PNG, and a.exr says otherwise",
        ),
        (
            ["look", "shot.json", "--exr", "a.png"],
            "give it a name that ends in .exr",
        ),
        (
            ["plan", "shot.json", "--out", "a.jpg"],
            "a.jpg is neither .svg nor .png",
        ),
    ] {
        dir.run(&args).status(2).stderr_has(told);
    }
}
