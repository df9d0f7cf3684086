//! Takes as the artist holds and keeps them, and layouts read back: checked on the pieces
//! themselves, bit for bit.

#![expect(clippy::unwrap_used, reason = "a check that fails here fails the test")]

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use scatter::layout::{Instance, Layout};
use scatter::session::Session;
use scatter::shot::Shot;
use scatter_tests::dresser::{Dresser, dress as dress_once};
use serde_json::{Value, json};

/// Rocks, tufts near rocks, and leaves that refer to nothing, on 2 m of ground.
fn document() -> Value {
    json!({ "shot": "held", "take": 1,
        "cameras": [{ "name": "a", "at": [0, 0.6, 1], "toward": [0, 0, 0], "lens": "50 mm", "frame": [320, 200], "far": "3 m" }],
        "passes": [
            { "name": "rocks", "pieces": ["rock"], "place": "spaced", "cover": 0.15,
              "sizes": { "law": "power", "exponent": 2, "from": "30 mm", "to": "120 mm" } },
            { "name": "tufts", "pieces": ["tuft"], "place": "strewn", "per_m2": 40,
              "gather": [{ "near": { "what": "rocks", "within": "60 mm" } }],
              "sizes": { "law": "lognormal", "median": "60 mm", "spread": 0.2 } },
            { "name": "leaves", "pieces": ["leaf"], "place": "strewn", "per_m2": 60,
              "sizes": { "law": "lognormal", "median": "40 mm", "spread": 0.2 } }] })
}

fn read(value: &Value) -> Shot {
    Shot::parse(&value.to_string(), Path::new("held.json")).unwrap_or_else(|e| panic!("{e}"))
}

fn dress(shot: &Shot) -> Layout {
    dress_once(shot, Path::new(""))
        .unwrap_or_else(|e| panic!("{e}"))
        .layout
}

/// Every number of a pass's pieces, by id.
fn bits(layout: &Layout, pass: &str) -> BTreeMap<u64, Vec<u64>> {
    let index = layout.passes.iter().position(|p| p.name == pass).unwrap();
    let of_piece = |p: &Instance| {
        let mut all: Vec<u64> = p.position.to_array().map(f64::to_bits).to_vec();
        all.extend(p.rotation.map(|v| u64::from(v.to_bits())));
        all.extend([p.scale, p.diameter].map(|v| u64::from(v.to_bits())));
        all.push(u64::from(u16::from(p.piece)));
        all
    };
    let pieces = layout.instances.iter();
    pieces
        .filter(|p| usize::from(p.pass) == index)
        .map(|p| (p.id, of_piece(p)))
        .collect()
}

#[test]
fn a_held_pass_keeps_its_pieces_bit_for_bit_while_the_others_change() {
    let shot = read(&document());
    let before = dress(&shot);
    let mut held = shot.holding(&["tufts".into()]).unwrap();
    for take in [2, 3, 77] {
        held.take = take;
        let after = dress(&held);
        // Tufts stand by rocks: these are held with them
        for pass in ["rocks", "tufts"] {
            let (was, is) = (bits(&before, pass), bits(&after, pass));
            assert!(was.len() > 10, "{} {pass}", was.len());
            assert_eq!(was, is, "{pass} in take {take}");
        }
        let (was, is) = (bits(&before, "leaves"), bits(&after, "leaves"));
        let same = is
            .values()
            .filter(|v| was.values().any(|w| w == *v))
            .count();
        assert_eq!(same, 0, "leaves of another take in take {take}");
    }
}

#[test]
fn a_kept_take_is_made_again_from_the_shot_file_alone() {
    let mut held = read(&document()).holding(&["rocks".into()]).unwrap();
    held.take = 9;
    let liked = dress(&held);
    let mut value = document();
    value["keep"] = json!([{ "name": "calm", "take": 9, "takes": { "rocks": 1 } }]);
    let again = dress(&read(&value).kept("calm").unwrap());
    for pass in ["rocks", "tufts", "leaves"] {
        assert_eq!(bits(&liked, pass), bits(&again, pass), "{pass}");
    }
}

/// The layout as `layout.json`, changed by `change`, read back.
fn read_back(change: impl FnOnce(&mut Value)) -> (Layout, Result<Layout, String>) {
    let shot = read(&document());
    let dresser = Dresser::new(&shot, Path::new("")).unwrap();
    let layout = dresser.dress(1).unwrap().layout;
    let mut text = Vec::new();
    scatter::deliver::json::write(&layout, &mut text).unwrap();
    let mut value: Value = serde_json::from_slice(&text).unwrap();
    change(&mut value);
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("layout.json");
    fs::write(&file, value.to_string()).unwrap();
    let back = Session::forgetful("").read(&file, &shot.brief().unwrap());
    let back = back.map_err(|e| e.to_string());
    (layout, back)
}

#[test]
fn a_layout_reads_back_as_it_was() {
    let (was, is) = read_back(|_| {});
    let is = is.unwrap();
    assert_eq!(was.instances, is.instances);
    assert_eq!(was.pieces, is.pieces);
    let moved = read_back(|v| v["instances"][3]["position"][0] = json!(0.125)).1;
    assert_eq!(moved.unwrap().instances[3].position.x, 0.125);
}

#[test]
fn layouts_edited_by_hand_are_judged() {
    let refused = |change: fn(&mut Value), says: &[&str]| {
        let error = read_back(change).1.expect_err("refused");
        for words in says {
            assert!(error.contains(words), "no {words:?} in: {error}");
        }
    };
    refused(|v| v["version"] = json!(2), &["version 2", "version 1"]);
    refused(|v| v["format"] = json!("other"), &["no layout"]);
    refused(|v| v["instances"] = json!(7), &["line 1"]);
    refused(
        |v| v["instances"][4]["rotation"] = json!([1, 1, 0, 0]),
        &["instances[4].rotation", "unit quaternion"],
    );
    refused(
        |v| v["instances"][4]["scale"] = json!(-1),
        &["instances[4].scale"],
    );
    refused(
        |v| v["instances"][4]["position"][1] = json!(1e300),
        &["instances[4].position"],
    );
    refused(
        |v| v["instances"][4]["piece"] = json!(999),
        &["instances[4].piece"],
    );
    refused(
        |v| v["instances"][4]["pass"] = json!(3),
        &["instances[4].pass"],
    );
    refused(
        |v| v["instances"][4]["id"] = json!("x"),
        &["instances[4].id"],
    );
    refused(
        |v| v["instances"][4]["id"] = v["instances"][5]["id"].clone(),
        &["same id"],
    );
    refused(
        |v| v["pieces"][0]["name"] = json!("gem"),
        &["pieces[0].name", "gem"],
    );
    refused(
        |v| v["pieces"][0]["triangles"] = json!(3),
        &["pieces[0].triangles"],
    );
}
