//! What is refused at rest is there for nobody: a shot from which it is taken away by hand has the
//! same layout.
//!
//! All is read from the layout alone; the rule is the project's own words, no outside source.

#![allow(clippy::unwrap_used, reason = "a check that cannot go on has failed")]

use std::path::Path;

use scatter::brief::LayerIndex;
use scatter::layout::Refused;
use scatter::shot::Shot;
use scatter_tests::dresser::{Dressed, Dresser};
use serde_json::{Value, json};

/// Cobbles, shingle strewn on them of which a part slides off, and grit that keeps clear of both
/// and gathers near.
fn shot() -> Value {
    json!({
        "shot": "refused",
        "cameras": [{ "name": "above", "at": [0, 2, 0.1], "toward": [0, 0, 0], "vertical_angle": "30 deg",
            "frame": [900, 900], "far": "10 m" }],
        "ground": { "relief": { "height": "20 mm", "feature": "0.6 m" } },
        "resolve": { "pixels": 1.0 },
        "passes": [
            { "name": "cobbles", "pieces": ["cobble"], "place": "packed", "cover": 0.3,
              "sizes": { "law": "power", "exponent": 2.0, "from": "40 mm", "to": "120 mm" } },
            { "name": "shingle", "pieces": ["pebble"], "place": "strewn", "per_m2": 500,
              "sizes": { "law": "power", "exponent": 2.0, "from": "14 mm", "to": "40 mm" } },
            { "name": "grit", "pieces": ["pebble"], "place": "packed", "cover": 0.3,
              "sizes": { "law": "power", "exponent": 2.0, "from": "5 mm", "to": "14 mm" },
              "gather": [{ "clear_of": { "what": "cobbles" } }, { "clear_of": { "what": "shingle" } },
                { "near": { "what": "shingle", "within": "60 mm" } }] }
        ]
    })
}

fn dress(document: &Value) -> Dressed {
    let shot = Shot::parse(&document.to_string(), Path::new("refused.json"))
        .unwrap_or_else(|e| panic!("{e}"));
    let dresser = Dresser::new(&shot, Path::new(".")).unwrap();
    dresser.dress(1).unwrap()
}

#[test]
fn what_is_refused_is_there_for_nobody() {
    let whole = dress(&shot());
    assert!(whole.refused.len() > 20, "{} refused", whole.refused.len());
    let ids: Vec<String> = whole
        .refused
        .iter()
        .map(|id| format!("{id:016x}"))
        .collect();
    let mut without = shot();
    without["remove"] = json!(ids);
    let without = dress(&without);
    assert!(
        whole.layout.instances == without.layout.instances,
        "{} pieces and {} without what was refused",
        whole.layout.instances.len(),
        without.layout.instances.len()
    );
}

/// And the other way: what lies and is taken away is missed. Pieces of later passes come to lie
/// where it was.
#[test]
fn what_is_taken_away_leaves_its_ground_to_later_passes() {
    let whole = dress(&shot()).layout;
    let cobble = whole
        .instances
        .iter()
        .filter(|i| i.pass == LayerIndex::new(0))
        .max_by(|a, b| {
            // The largest in the middle of the frame
            let worth =
                |i: &&scatter::layout::Instance| f64::from(i.diameter) - i.position.length();
            worth(a).total_cmp(&worth(b))
        });
    let cobble = cobble.unwrap();
    let mut without = shot();
    without["remove"] = json!([format!("{:016x}", cobble.id)]);
    let without = dress(&without).layout;
    let inside = |layout: &scatter::layout::Layout| {
        let near = |i: &&scatter::layout::Instance| {
            let off = i.position - cobble.position;
            i.pass == LayerIndex::new(2) && off.x.hypot(off.z) < 0.3 * f64::from(cobble.diameter)
        };
        layout.instances.iter().filter(near).count()
    };
    let (before, after) = (inside(&whole), inside(&without));
    assert!(before == 0 && after > 3, "{before} and {after}");
}

/// Whole numbers that add up, pass by pass: what was thrown lies or was refused.
#[test]
fn the_ledger_adds_up() {
    let layout = dress(&shot()).layout;
    for pass in &layout.passes {
        let tally = &pass.tally;
        let refused: u64 = tally.refused.iter().map(|(_, n)| n).sum();
        assert_eq!(tally.thrown, tally.laid + refused, "{}", pass.name);
        assert!(tally.laid <= tally.placed, "{}: {tally:?}", pass.name);
        // Nothing is shown of a layout that is not in it
        let missing = tally.placed - tally.laid;
        assert!(missing * 3 < tally.placed, "{}: {tally:?}", pass.name);
    }
    let slides = |r: &(Refused, u64)| r.0 == Refused::Slides && r.1 > 10;
    assert!(layout.passes[1].tally.refused.iter().any(slides));
    let short = layout.passes[1].tally.shortfall.as_ref();
    let short = short.map(ToString::to_string).unwrap_or_default();
    assert!(short.contains("slide off"), "{short:?}");
}
