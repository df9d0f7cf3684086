//! A shot dressed again after an edit is the shot dressed afresh, bit for bit: whatever was edited,
//! and however many edits came before, sketches among them. A sketch itself is the layout within
//! what its pictures show.

#![allow(clippy::unwrap_used, reason = "a check that cannot go on has failed")]

use std::collections::BTreeMap;
use std::path::Path;

use scatter::brief::{Brief, LayerIndex};
use scatter::cancel::Cancel;
use scatter::error::ErrorKind;
use scatter::layout::{Instance, Layout};
use scatter::session::Session;
use scatter::shot::Shot;
use scatter_tests::meshes;
use serde_json::{Value, json};

fn shot() -> Value {
    json!({
        "shot": "again",
        "cameras": [{ "name": "above", "at": [0, 2, 0.2], "toward": [0, 0, 0], "vertical_angle": "25 deg",
            "frame": [900, 700], "far": "10 m" }],
        "ground": { "relief": { "height": "20 mm", "feature": "0.6 m" } },
        "resolve": { "pixels": 1.5 },
        "passes": [
            { "name": "stones", "pieces": ["cobble"], "place": "spaced", "cover": 0.15,
              "sizes": { "law": "power", "exponent": 2.0, "from": "20 mm", "to": "60 mm" } },
            { "name": "gravel", "pieces": ["pebble", "block.glb"], "place": "spaced", "cover": 0.1, "stretch": true,
              "sizes": { "law": "power", "exponent": 2.0, "from": "8 mm", "to": "12 mm" },
              "gather": [{ "clear_of": { "what": "stones" } }] },
            { "name": "twigs", "pieces": ["twig"], "place": "strewn", "per_m2": 30,
              "sizes": { "law": "lognormal", "median": "15 mm", "spread": 0.2 } },
            { "name": "leaves", "pieces": ["leaf"], "place": "strewn", "per_m2": 150,
              "sizes": { "law": "lognormal", "median": "30 mm", "spread": 0.2 } }
        ]
    })
}

fn brief(document: &Value) -> Brief {
    let shot = Shot::parse(&document.to_string(), Path::new("again.json"));
    shot.and_then(|s| s.brief())
        .unwrap_or_else(|e| panic!("{e}"))
}

fn dress(document: &Value, session: &mut Session) -> Layout {
    let dressed = session.dress(&brief(document), &|_| (), &Cancel::new());
    dressed.unwrap_or_else(|e| panic!("{e}")).0
}

/// As in a session of its own.
fn fresh(document: &Value, folder: &Path) -> Layout {
    dress(document, &mut Session::forgetful(folder))
}

/// Edits one after the other, each on what the one before left: a place in the document and what
/// stands there then; null takes it away.
fn edits(first: &Layout) -> Vec<(&'static str, Value)> {
    let ids: Vec<String> = first
        .instances
        .iter()
        .step_by(40)
        .map(|i| format!("{:016x}", i.id))
        .collect();
    let tufts = json!({ "name": "tufts", "pieces": ["tuft"], "place": "strewn", "per_m2": 20,
        "sizes": { "law": "lognormal", "median": "40 mm", "spread": 0.2 } });
    let mut turned = shot()["passes"].clone();
    turned.as_array_mut().unwrap().swap(2, 3);
    let mut fewer = turned.clone();
    fewer.as_array_mut().unwrap().remove(1);
    vec![
        ("/passes/3/per_m2", json!(170)),
        ("/passes/0/cover", json!(0.17)),
        ("/passes/0/rest", json!({ "bury": [0.3, 0.5] })),
        ("/passes/3/rest", json!({ "wet": 0.9 })),
        ("/passes/2/rest", json!({ "on": "ground" })),
        ("/remove", json!(ids)),
        (
            "/pins",
            json!([{ "piece": "rock", "at": [0.1, 0.1], "diameter": "0.15 m" }]),
        ),
        ("/pins/0/bury", json!(0.6)),
        ("/remove", json!(ids[1..])),
        ("/passes/4", tufts),
        (
            "/clear",
            json!([{ "disc": { "at": [-0.1, 0], "radius": 0.1, "passes": ["leaves"] } }]),
        ),
        ("/cameras/0/at/0", json!(0.1)),
        (
            "/light",
            json!({ "sun": { "azimuth": 200, "elevation": 15 } }),
        ),
        ("/take", json!(2)),
        ("/takes", json!({ "stones": 1 })),
        ("/take", json!(1)),
        ("/passes", turned),
        ("/passes", fewer),
        ("/pins", Value::Null),
        ("/ground/relief/height", json!("25 mm")),
        ("/takes/stones", json!(3)),
        ("/takes", json!({ "leaves": 1 })),
        ("/passes/0/name", json!("blocks")),
        ("/cameras/0/at/1", json!(1.2)),
    ]
}

fn edit(document: &mut Value, place: &str, value: &Value) {
    let (parent, key) = place.rsplit_once('/').unwrap();
    match document.pointer_mut(parent).unwrap() {
        Value::Object(map) if value.is_null() => drop(map.remove(key).unwrap()),
        Value::Object(map) => drop(map.insert(key.into(), value.clone())),
        Value::Array(list) => {
            let at: usize = key.parse().unwrap();
            list.resize(list.len().max(at + 1), Value::Null);
            list[at] = value.clone();
        }
        other => panic!("{place} leads into {other}"),
    }
}

#[test]
fn dressed_again_is_dressed_afresh() {
    let folder = tempfile::tempdir().unwrap();
    // A tetrahedron of four of its corners
    let tetrahedron = [[0, 3, 5], [0, 5, 6], [0, 6, 3], [3, 6, 5]];
    let block = |height| meshes::mesh(&meshes::block_corners([0.012, height, 0.01]), &tetrahedron);
    let file = folder.path().join("block.glb");
    std::fs::write(&file, block(0.008)).unwrap();
    let mut document = shot();
    let mut session = Session::open(folder.path());
    let mut before = dress(&document, &mut session);
    let mut check = |document: &Value, what: &str| {
        let again = dress(document, &mut session);
        let fresh = fresh(document, folder.path());
        assert!(
            again.instances.len() > 100,
            "{what}: {}",
            again.instances.len()
        );
        assert!(again.pieces == fresh.pieces, "{what}: other pieces");
        assert_eq!(again.passes, fresh.passes, "{what}");
        let differ = again
            .instances
            .iter()
            .zip(&fresh.instances)
            .filter(|(a, b)| a != b);
        let lengths = [again.instances.len(), fresh.instances.len()];
        assert!(
            lengths[0] == lengths[1] && differ.count() == 0,
            "{what}: other instances"
        );
        let same = again.instances == before.instances;
        before = again;
        same
    };
    assert!(check(&document, "nothing"), "nothing was edited");
    for (place, value) in edits(&fresh(&document, folder.path())) {
        edit(&mut document, place, &value);
        assert!(
            !check(&document, place),
            "{place}: the edit changes nothing"
        );
    }
    // A file behind a pass
    std::fs::write(&file, block(0.011)).unwrap();
    edit(&mut document, "/passes", &shot()["passes"]);
    check(&document, "the passes as at first");
    std::fs::write(&file, block(0.008)).unwrap();
    check(&document, "the file as at first");
}

/// A shot with all that a session remembers something of, in a folder of its own.
fn rich(folder: &Path) -> Value {
    let tetrahedron = [[0, 3, 5], [0, 5, 6], [0, 6, 3], [3, 6, 5]];
    let block = |size: f32| {
        let corners = meshes::block_corners([1.5 * size, 0.8 * size, size]);
        meshes::mesh(&corners, &tetrahedron)
    };
    std::fs::write(folder.join("hero.glb"), block(0.2)).unwrap();
    std::fs::write(folder.join("block.glb"), block(0.01)).unwrap();
    write_mask(folder, 255);
    write_list(folder, "rigid");
    write_camera(folder, 2.0);
    let mut document = shot();
    document["cameras"] =
        json!([{ "name": "filed", "file": "camera.gltf", "frame": [600, 400], "far": "8 m" }]);
    document["hero"] = json!([{ "file": "hero.glb", "at": [0, 0, 0], "clear": "10 mm" }]);
    document["carpet"] = json!({ "grains": ["bark-flake"], "tile": "80 mm", "variants": 3,
        "sizes": { "law": "power", "exponent": 2, "from": "3 mm", "to": "5 mm" } });
    document["shade"] = json!({ "lit": 0.6, "fleck": "60 mm", "softness": "15 mm" });
    document["resolve"] = json!({ "pixels": 2 });
    let passes = document["passes"].as_array_mut().unwrap();
    // Few pieces: each dressing from nothing grows and measures them all
    passes[0]["pieces"] = json!(["block.glb"]);
    passes[0]["stretch"] = json!(true);
    passes[1]["pieces"] = json!(["kit.json"]);
    passes[2]["pieces"] = json!(["block.glb"]);
    passes[2]["stretch"] = json!(true);
    passes[2]["gather"] = json!([{ "near": { "what": "stones", "within": "50 mm" } }]);
    passes[3]["gather"] = json!([{ "mask": { "file": "mask.png", "extent": [3, 3] } }, { "patches": { "feature": "0.2 m", "fill": 0.5 } }]);
    document
}

/// A grey image of one tone in its left half, black in its right.
fn write_mask(folder: &Path, tone: u8) {
    let file = std::fs::File::create(folder.join("mask.png")).unwrap();
    let mut encoder = png::Encoder::new(file, 4, 4);
    encoder.set_color(png::ColorType::Grayscale);
    let mut writer = encoder.write_header().unwrap();
    let row = [tone, tone, 0, 0];
    writer.write_image_data(&row.repeat(4)).unwrap();
}

fn write_list(folder: &Path, lies: &str) {
    let list = json!({ "format": "strew-kit", "version": 1,
        "pieces": [{ "name": "shard", "file": "block.glb", "lies": lies, "sizes": ["2 mm", "50 mm"] }] });
    std::fs::write(folder.join("kit.json"), list.to_string()).unwrap();
}

/// A camera straight above the origin.
fn write_camera(folder: &Path, height: f64) {
    let down = [
        -std::f64::consts::FRAC_1_SQRT_2,
        0.0,
        0.0,
        std::f64::consts::FRAC_1_SQRT_2,
    ];
    let document = json!({
        "asset": { "version": "2.0" },
        "cameras": [{ "type": "perspective", "perspective": { "yfov": 0.45, "aspectRatio": 1.5, "znear": 0.01 } }],
        "nodes": [{ "name": "lens", "camera": 0, "translation": [0, height, 0], "rotation": down }],
        "scenes": [{ "nodes": [0] }], "scene": 0
    });
    std::fs::write(folder.join("camera.gltf"), document.to_string()).unwrap();
}

/// Every key that the memory of a session hangs on, one after the other: those of the document, and
/// the files behind it.
#[test]
fn every_key_that_the_memory_hangs_on_is_heeded() {
    let folder = tempfile::tempdir().unwrap();
    let here = folder.path();
    let mut document = rich(here);
    let mut session = Session::open(here);
    let mut before = dress(&document, &mut session);
    let mut check = |document: &Value, what: &str| {
        let again = dress(document, &mut session);
        let fresh = fresh(document, here);
        assert!(again.pieces == fresh.pieces, "{what}: other pieces");
        assert!(again.passes == fresh.passes, "{what}: other figures");
        assert!(
            again.instances == fresh.instances,
            "{what}: other instances"
        );
        assert_eq!(again.cameras, fresh.cameras, "{what}");
        assert_eq!(again.warnings, fresh.warnings, "{what}");
        let same = again.instances == before.instances && again.pieces == before.pieces;
        assert!(!same, "{what}: the edit changes nothing");
        before = again;
    };
    let edits = [
        ("/hero/0/at/0", json!(0.1)),
        ("/hero/0/clear", json!("60 mm")),
        ("/hero/0/turn", json!("30 deg")),
        ("/passes/2/gather/0/near/within", json!("20 mm")),
        ("/passes/2/gather/0/near/smallest", json!("30 mm")),
        ("/passes/3/gather/0/mask/extent", json!([2, 2])),
        ("/passes/3/gather/1/patches/fill", json!(0.7)),
        ("/passes/3/gather/1/patches/name", json!("damp")),
        ("/carpet/tile", json!("70 mm")),
        ("/carpet/sizes/to", json!("6 mm")),
        ("/shade/lit", json!(0.5)),
        ("/shade/fleck", json!("80 mm")),
        ("/resolve/pixels", json!(8)),
        ("/passes/1/lies", json!("sheet")),
        ("/passes/0/spacing", json!(1.2)),
        ("/passes/1/gather/0/clear_of/within", json!("8 mm")),
        (
            "/light",
            json!({ "sun": { "azimuth": 230, "elevation": 25 } }),
        ),
        ("/ground/relief/feature", json!("0.5 m")),
        (
            "/passes/0/clumps",
            json!({ "parents_per_m2": 3, "spread": "0.1 m" }),
        ),
        ("/shade", Value::Null),
        ("/carpet", Value::Null),
        ("/hero", Value::Null),
        ("/resolve/triangle_pixels", json!(12)),
        ("/resolve/triangle_pixels", json!(30)),
    ];
    for (place, value) in edits {
        edit(&mut document, place, &value);
        check(&document, place);
    }
    document = rich(here);
    check(&document, "as at first");
    write_mask(here, 90);
    check(&document, "mask.png");
    write_list(here, "sheet");
    check(&document, "kit.json");
    write_camera(here, 1.7);
    check(&document, "camera.gltf");
    let corners = meshes::block_corners([0.2, 0.3, 0.25]);
    std::fs::write(
        here.join("hero.glb"),
        meshes::mesh(&corners, &[[0, 3, 5], [0, 5, 6], [0, 6, 3], [3, 6, 5]]),
    )
    .unwrap();
    check(&document, "hero.glb");
    let corners = meshes::block_corners([0.02, 0.01, 0.014]);
    std::fs::write(
        here.join("block.glb"),
        meshes::mesh(&corners, &[[0, 3, 5], [0, 5, 6], [0, 6, 3], [3, 6, 5]]),
    )
    .unwrap();
    check(&document, "block.glb behind kit.json");
}

/// The document's full layout, and its sketch, made for pictures whose pixel is 1.5 times the
/// diameter of the finest gravel.
fn full_and_sketch(document: &Value, session: &mut Session) -> [Layout; 2] {
    let full = fresh(document, Path::new("."));
    // Two metres over the ground a pixel of the frame is 1 mm
    let mut brief = brief(document);
    brief.resolve.pixels = 12.0;
    brief.sketch = true;
    let (sketch, _) = session.dress(&brief, &|_| (), &Cancel::new()).unwrap();
    [full, sketch]
}

/// Stones and leaves on gravel of 8 to 12 mm.
fn leaves_on_gravel() -> Value {
    let mut document = shot();
    document["passes"].as_array_mut().unwrap().remove(2);
    document["passes"][1]["pieces"] = json!(["pebble"]);
    document["passes"][1]["cover"] = json!(0.3);
    document
}

#[test]
fn what_a_sketch_leaves_changes_no_layout_after_it() {
    let document = leaves_on_gravel();
    let mut session = Session::open(".");
    for _ in 0..2 {
        let [full, sketch] = full_and_sketch(&document, &mut session);
        assert!(sketch.instances != full.instances);
        let after = dress(&document, &mut session);
        assert!(full.instances == after.instances && full.passes == after.passes);
    }
}

#[test]
fn a_sketch_is_the_layout_within_what_its_pictures_show() {
    let [full, sketch] = full_and_sketch(&leaves_on_gravel(), &mut Session::open("."));
    let of = |layout: &Layout, pass: u16| -> BTreeMap<u64, Instance> {
        let all = layout
            .instances
            .iter()
            .filter(|i| i.pass == LayerIndex::new(pass));
        all.map(|i| (i.id, *i)).collect()
    };
    let gravel = [&full, &sketch].map(|layout| of(layout, 1).len());
    assert!(
        gravel[0] > 1000 && gravel[1] == 0,
        "no picture shows gravel: {gravel:?}"
    );
    assert!(of(&full, 0) == of(&sketch, 0), "stones lie on the ground");
    let (full, sketch) = (of(&full, 2), of(&sketch, 2));
    let both: Vec<_> = full
        .iter()
        .filter_map(|(id, f)| Some((f, sketch.get(id)?)))
        .collect();
    // One leaf in twenty may stay in one and slide in the other: of 1,490 in another shot 2.6 % and
    // 1.7 % did
    let least = full.len().max(sketch.len()) * 19 / 20;
    assert!(
        both.len() > 100 && both.len() >= least,
        "{} of {} and {}",
        both.len(),
        full.len(),
        sketch.len()
    );
    // A pixel is 12 mm there; 99 in 100 are within it in a large layout, 98 in 100 of these few
    let off = |(a, b): &&(&Instance, &Instance)| (a.position - b.position).length() > 0.012;
    let strays = both.iter().filter(off).count();
    assert!(50 * strays <= both.len(), "{strays} of {}", both.len());
}

#[test]
fn an_edit_that_fails_leaves_what_was_there() {
    let mut session = Session::open(".");
    let mut document = shot();
    document["passes"][1]["pieces"] = json!(["pebble"]);
    let first = dress(&document, &mut session);
    let mut tight = document.clone();
    tight["budget"] = json!({ "pieces": 10 });
    let failed = session.dress(&brief(&tight), &|_| (), &Cancel::new());
    assert_eq!(failed.unwrap_err().kind, ErrorKind::OverBudget);
    let again = dress(&document, &mut session);
    assert!(first.instances == again.instances && first.passes == again.passes);
}

#[test]
fn more_of_a_strewn_pass_are_the_same_pieces_and_others() {
    let folder = tempfile::tempdir().unwrap();
    let of = |per_m2: u32| {
        let mut document = shot();
        document["passes"] = json!([{ "name": "leaves", "pieces": ["leaf"], "place": "strewn", "per_m2": per_m2,
            "sizes": { "law": "lognormal", "median": "30 mm", "spread": 0.2 }, "rest": { "on": "ground" } }]);
        fresh(&document, folder.path()).instances
    };
    let (few, more) = (of(150), of(180));
    assert!(few.len() > 100 && more.len() > few.len() + 10);
    // On the bare ground nothing that is added can move them
    let kept = few.iter().filter(|i| more.contains(i)).count();
    assert_eq!(kept, few.len(), "of {} and {}", few.len(), more.len());
}
