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
