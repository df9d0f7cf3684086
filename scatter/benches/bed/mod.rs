//! Stones, gravel, twigs and leaves seen from straight above: what the benches of dressing,
//! resting, watching and pictures lay.

#![allow(dead_code, reason = "each bench lays some of it")]

use std::path::Path;

use scatter::shot::Shot;
use serde_json::{Value, json};

/// The document of a shot whose camera is `height` metres up, which decides how many pieces there
/// are: 6000 x 6000 pixels resolve all of them.
pub(crate) fn document(height: f64, relief: Option<Value>, passes: &[Value]) -> Value {
    let mut document = json!({
        "shot": "bench",
        "cameras": [{ "name": "above", "at": [0, height, 0], "toward": [0, 0, 0], "vertical_angle": "60 deg",
            "frame": [6000, 6000], "far": 2.0 * height }],
        "passes": passes
    });
    if let Some(relief) = relief {
        document["ground"] = json!({ "relief": relief });
    }
    document
}

/// The shot of a document.
pub(crate) fn parse(document: &Value) -> Shot {
    Shot::parse(&document.to_string(), Path::new("bench.json")).expect("the bench's shot is sound")
}

/// Ground as uneven as a trodden bank.
pub(crate) fn uneven() -> Value {
    json!({ "height": "30 mm", "feature": "0.8 m" })
}

pub(crate) fn stones(cover: f64) -> Value {
    json!({ "name": "stones", "pieces": ["cobble"], "place": "spaced", "cover": cover,
        "sizes": { "law": "power", "exponent": 2.2, "from": "16 mm", "to": "60 mm" } })
}

/// Gravel that keeps clear of the stones.
pub(crate) fn gravel(cover: f64, from: &str) -> Value {
    json!({ "name": "gravel", "pieces": ["pebble"], "place": "spaced", "cover": cover,
        "sizes": { "law": "power", "exponent": 2.5, "from": from, "to": "16 mm" },
        "gather": [{ "clear_of": { "what": "stones" } }] })
}

pub(crate) fn twigs(per_m2: f64, median: &str, spread: f64) -> Value {
    json!({ "name": "twigs", "pieces": ["twig"], "place": "strewn", "per_m2": per_m2,
        "sizes": { "law": "lognormal", "median": median, "spread": spread } })
}

pub(crate) fn leaves(per_m2: f64) -> Value {
    json!({ "name": "leaves", "pieces": ["leaf"], "place": "strewn", "per_m2": per_m2,
        "sizes": { "law": "lognormal", "median": "30 mm", "spread": 0.25 } })
}
