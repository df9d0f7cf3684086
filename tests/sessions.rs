//! A session makes again only what an edit touches, tells what changed, can be cancelled, and stays
//! as small as it was. Loops over what users can make large are no worse than linear.

#![allow(clippy::unwrap_used, reason = "a check that cannot go on has failed")]

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::{Mutex, MutexGuard, PoisonError};

use scatter::brief::{Brief, Layer, LayerKind, On};
use scatter::cancel::Cancel;
use scatter::error::ErrorKind;
use scatter::layout::{Instance, Layout};
use scatter::session::{Change, Session};
use scatter::shot::Shot;
use scatter_tests::meshes;
use serde_json::{Value, json};

/// Memory is measured: each check has the process for itself.
static ALONE: Mutex<()> = Mutex::new(());

fn alone() -> MutexGuard<'static, ()> {
    ALONE.lock().unwrap_or_else(PoisonError::into_inner)
}

fn document() -> Value {
    json!({
        "shot": "session",
        "cameras": [{ "name": "above", "at": [0, 2, 0.2], "toward": [0, 0, 0], "vertical_angle": "25 deg",
            "frame": [900, 700], "far": "10 m" }],
        "ground": { "relief": { "height": "20 mm", "feature": "0.6 m" } },
        "resolve": { "pixels": 1.5 },
        "passes": [
            { "name": "stones", "pieces": ["cobble"], "place": "packed", "cover": 0.15,
              "sizes": { "law": "power", "exponent": 2.0, "from": "20 mm", "to": "60 mm" } },
            { "name": "twigs", "pieces": ["twig"], "place": "strewn", "per_m2": 30,
              "sizes": { "law": "lognormal", "median": "15 mm", "spread": 0.2 } },
            { "name": "leaves", "pieces": ["leaf"], "place": "strewn", "per_m2": 150,
              "sizes": { "law": "lognormal", "median": "30 mm", "spread": 0.2 } }
        ]
    })
}

fn brief(document: &Value) -> Brief {
    let shot = Shot::parse(&document.to_string(), Path::new("session.json"));
    shot.and_then(|s| s.brief())
        .unwrap_or_else(|e| panic!("{e}"))
}

fn dress(session: &mut Session, brief: &Brief) -> (Layout, Change) {
    let dressed = session.dress(brief, &|_| (), &Cancel::new());
    dressed.unwrap_or_else(|e| panic!("{e}"))
}

fn by_id(layout: &Layout) -> BTreeMap<u64, Instance> {
    layout.instances.iter().map(|i| (i.id, *i)).collect()
}

#[test]
fn only_what_an_edit_touches_is_laid_again() {
    let _alone = alone();
    let mut session = Session::open(".");
    let mut document = document();
    let (first, change) = dress(&mut session, &brief(&document));
    assert_eq!(change.pieces.added.len(), first.instances.len());
    assert!(change.work.laid > 500 && change.work.taken_over == 0);
    let all = change.work.laid;

    // The same once more: nothing is laid
    let (_, change) = dress(&mut session, &brief(&document));
    assert!(change.pieces.is_empty());
    assert_eq!([change.work.laid, change.work.taken_over], [0, all]);

    // The last pass: the stones and twigs under it stay
    document["passes"][2]["rest"] = json!({ "wet": 0.9 });
    let (layout, change) = dress(&mut session, &brief(&document));
    let leaves = change.work.laid;
    let placed = |name: &str| {
        let pass = layout.passes.iter().find(|p| p.name == name);
        pass.unwrap().tally.placed
    };
    assert!(leaves >= placed("leaves"));
    assert!(
        leaves < all - placed("stones") - placed("twigs"),
        "{leaves} of {all}"
    );

    // One stone taken away: it, and what lies on it or may lie beside it
    let stone = layout.instances[layout.instances.len() / 40].id;
    document["remove"] = json!([format!("{stone:016x}")]);
    let (_, change) = dress(&mut session, &brief(&document));
    assert_eq!(change.pieces.removed, [stone], "the stone alone goes");
    let around = change.work.laid;
    assert!(
        (1..all / 10).contains(&around),
        "{around} of {all} laid again"
    );
}

#[test]
fn what_changed_is_told_by_id() {
    let _alone = alone();
    let mut session = Session::open(".");
    let mut document = document();
    let (before, _) = dress(&mut session, &brief(&document));
    for (key, value) in [("per_m2", json!(170)), ("rest", json!({ "wet": 0.1 }))] {
        document["passes"][2][key] = value;
    }
    let (after, change) = dress(&mut session, &brief(&document));
    let (before, after) = (by_id(&before), by_id(&after));
    let added: Vec<u64> = after
        .keys()
        .filter(|id| !before.contains_key(id))
        .copied()
        .collect();
    let removed: Vec<u64> = before
        .keys()
        .filter(|id| !after.contains_key(id))
        .copied()
        .collect();
    let moved = |(id, now): (&u64, &Instance)| {
        let was = before.get(id)?;
        let place = |i: &Instance| (i.position, i.rotation, i.scale, i.diameter, i.piece);
        (place(was) != place(now)).then_some(*id)
    };
    let changed: Vec<u64> = after.iter().filter_map(moved).collect();
    assert!(!added.is_empty() && !changed.is_empty());
    assert_eq!(change.pieces.added, added);
    assert_eq!(change.pieces.removed, removed);
    assert_eq!(change.pieces.changed, changed);
}

/// Cancelled as each layer begins, among them a carpet and a shade: the session then knows what it
/// knew before.
#[test]
fn a_cancelled_dressing_leaves_the_session_as_it_was() {
    let _alone = alone();
    let mut document = document();
    document["carpet"] = json!({ "grains": ["pebble"],
        "sizes": { "law": "power", "exponent": 2, "from": "2 mm", "to": "4 mm" } });
    document["shade"] = json!({ "lit": 0.6, "fleck": "50 mm", "softness": "15 mm" });
    let brief = brief(&document);
    let names: Vec<&str> = brief.layers.iter().map(|l| l.name.as_str()).collect();
    assert_eq!(names, ["stones", "twigs", "leaves", "carpet", "shade"]);
    let mut session = Session::open(".");
    let (first, change) = dress(&mut session, &brief);
    let all = change.work.laid;
    let mut edited = brief.clone();
    edited.take = 2;
    for stage in ["kit"].iter().chain(&names) {
        let cancel = Cancel::new();
        let stop = |at: &str| {
            if at == *stage {
                cancel.cancel();
            }
        };
        let error = session.dress(&edited, &stop, &cancel).unwrap_err();
        assert_eq!(error.kind, ErrorKind::Cancelled, "{stage}: {error}");
    }
    let (again, change) = dress(&mut session, &brief);
    assert!(again.instances == first.instances && again.passes == first.passes);
    assert_eq!([change.work.laid, change.work.taken_over], [0, all]);
    assert!(change.pieces.is_empty());
}

/// Resident memory in MB, from Linux' own account; None elsewhere.
fn resident() -> Option<f64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find(|l| l.starts_with("VmRSS"))?;
    let kilobytes: f64 = line.split_whitespace().nth(1)?.parse().ok()?;
    Some(kilobytes / 1e3)
}

/// A thousand edits, a hundred of them all over the place: passes, takes, sizes, cameras.
#[test]
#[expect(
    clippy::print_stdout,
    reason = "the figures, for who asks with --nocapture"
)]
fn memory_is_steady_over_a_thousand_edits() {
    let _alone = alone();
    let mut document = document();
    document["resolve"] = json!({ "pixels": 12 });
    document["passes"].as_array_mut().unwrap().remove(1);
    let mut session = Session::open(".");
    let mut held = Vec::new();
    for edit in 0..1000_u32 {
        document["take"] = json!(1 + edit % 3);
        document["passes"][1]["per_m2"] = json!(20 + edit % 50);
        document["cameras"][0]["at"][0] = json!(0.01 * f64::from(edit % 7));
        if edit % 10 == 0 {
            document["passes"][0]["cover"] = json!(0.1 + 0.001 * f64::from(edit % 100));
        }
        let (layout, _) = dress(&mut session, &brief(&document));
        assert!(!layout.instances.is_empty());
        if edit % 100 == 99 {
            held.extend(resident());
        }
    }
    println!("MB after each hundred edits: {held:.0?}");
    // The first hundred fill what is remembered and the allocator's pools
    if let (Some(early), Some(late)) = (held.get(1), held.last()) {
        assert!(
            *late < early + 8.0,
            "{early} MB after 200 edits, {late} MB after 1000"
        );
    }
}

fn many_cameras() -> Value {
    let key = |i: i32| json!({ "at_frame": 2500 * i - i / 4, "at": [0.2 * f64::from(i), 1.2, 1.2], "toward": [0.2 * f64::from(i), 0, 0] });
    json!([{ "name": "long", "lens": "35 mm", "frame": [480, 270], "far": "4 m",
        "keys": (0..5).map(key).collect::<Vec<_>>() }])
}

/// Ten thousand frames, ten thousand pins in one place, a thousand heroes, a hundred passes: each
/// dresses. Not timed; any loop over their pairs that does
/// real work would take minutes here.
#[test]
fn what_users_can_make_large_dresses() {
    let _alone = alone();
    let mut frames = document();
    frames["cameras"] = many_cameras();
    let brief_of = brief(&frames);
    let mut session = Session::forgetful(".");
    let prepared = session.prepare(&brief_of).unwrap();
    let (layout, _) = dress(&mut session, &brief_of);
    assert_eq!(prepared.scene().cameras.len(), 1);
    assert!(layout.instances.len() > 200);

    let mut pins = document();
    let pin = |i: i32| {
        // Some 35 on each other
        let at = [0.003 * f64::from(i % 100), 0.003 * f64::from(i / 100)];
        json!({ "piece": "pebble", "at": at, "diameter": "20 mm" })
    };
    pins["pins"] = json!((0..10_000).map(pin).collect::<Vec<_>>());
    let (layout, _) = dress(&mut Session::forgetful("."), &brief(&pins));
    let pinned = layout.passes.iter().find(|p| p.name == "pins").unwrap();
    assert_eq!(pinned.tally.placed, 10_000);

    let mut heroes = document();
    let hero = |i: i32| {
        let at = [f64::from(i % 40) - 20.0, 0.0, f64::from(i / 40) - 12.0];
        json!({ "file": "block.glb", "at": at })
    };
    heroes["hero"] = json!((0..1000).map(hero).collect::<Vec<_>>());
    heroes["passes"].as_array_mut().unwrap().truncate(1);
    let folder = tempfile::tempdir().unwrap();
    let corners = meshes::block_corners([0.2, 0.15, 0.1]);
    let faces = [[0, 3, 5], [0, 5, 6], [0, 6, 3], [3, 6, 5]];
    std::fs::write(
        folder.path().join("block.glb"),
        meshes::mesh(&corners, &faces),
    )
    .unwrap();
    let mut session = Session::forgetful(folder.path());
    let brief_of = brief(&heroes);
    let prepared = session.prepare(&brief_of).unwrap();
    assert_eq!(prepared.scene().heroes.len(), 1000);
    let (layout, _) = dress(&mut session, &brief_of);
    assert!(layout.instances.len() > 50);

    let mut passes = brief(&document());
    let stones = passes.layers.remove(0);
    let LayerKind::Pass(mut pass) = stones.kind else {
        panic!("the first layer is a pass");
    };
    // What lies on all passes before it has to look at them all
    pass.rest.on = On::Ground;
    // Names whose marks in ids differ
    passes.layers = (0..100)
        .map(|i| Layer::new(format!("bed-{i}"), LayerKind::Pass(pass.clone())))
        .collect();
    let (layout, _) = dress(&mut Session::forgetful("."), &passes);
    assert_eq!(layout.passes.len(), 100);
}
