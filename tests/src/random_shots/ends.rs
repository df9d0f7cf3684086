//! Numbers at the ends of their ranges.

use std::path::Path;

use scatter::shot::Shot;
use serde_json::{Value, json};

use super::Draw;

/// The ends of what may be said, by key: metres, degrees and plain numbers, from `bounds.rs` of the
/// document. Where a range is open, a number that is hardly inside. A key that means several things
/// has the ends of each. Not there: the south pole and the farthest clock, where the sun of the dates
/// is not up, and the softest flecks, which have to be large as well.
pub const ENDS: [(&str, &[f64]); 69] = [
    ("ahead", &[-14.0]),
    ("at", &[-130e3, 0.0, 130e3]),
    ("azimuth", &[-3600.0, 3600.0]),
    ("black", &[0.0, 1.0]),
    ("bury", &[0.0, 1.0]),
    ("candela", &[1e-9, 1000.0]),
    ("clear", &[0.0, 1000.0]),
    ("corners", &[-130e3, 130e3]),
    ("cover", &[1e-9, 1.0]),
    ("d63", &[5e-5, 100.0]),
    ("dew", &[0.0, 1.0]),
    ("diameter", &[1e-4, 100.0]),
    ("diameters", &[0.0, 1000.0]),
    ("dip", &[0.0, 60.0]),
    ("elevation", &[1e-3, 90.0]),
    ("elsewhere", &[0.0, 1.0]),
    ("exponent", &[-10.0, 10.0]),
    ("extent", &[1e-3, 260e3]),
    ("far", &[1e-2, 520e3]),
    ("feature", &[1e-3, 1e5]),
    ("fill", &[1e-9, 1.0]),
    ("fleck", &[1.0]),
    ("focus", &[1.0, 520e3]),
    ("dust", &[0.0, 1.0]),
    ("grain", &[1e-4, 0.03]),
    ("hollows", &[0.0, 1.0]),
    ("level", &[-1e5, 1e5]),
    ("lichen", &[0.0, 1.0]),
    ("ragged", &[0.0, 1.0]),
    ("fps", &[1e-3, 1000.0]),
    ("frame", &[1.0, 65_536.0]),
    ("from", &[5e-5, 0.0]),
    ("heading", &[-3600.0, 3600.0]),
    ("height", &[0.0, 1000.0]),
    ("heights", &[1e-9, 100.0, -1e5, 1e5]),
    ("hour", &[0.0, 24.0]),
    ("kelvin", &[1000.0, 10_000.0]),
    ("latitude", &[90.0]),
    ("lens", &[1e-4, 10.0]),
    ("lit", &[0.02, 0.9]),
    ("longitude", &[-180.0, 180.0]),
    ("near", &[1e-6, 1.0]),
    ("outside", &[0.0, 1.0]),
    ("overlap", &[0.0, 0.9]),
    ("parents_per_m2", &[1e-9, 1e6]),
    ("per_m2", &[1e-9, 1e9]),
    ("pixels", &[1e-3, 64.0]),
    ("radius", &[1e-3, 1000.0]),
    ("ratio", &[1e-3, 1.0]),
    ("roll", &[-3600.0, 3600.0, 0.0, 1.0]),
    ("roughness", &[0.0, 1.0]),
    ("scale", &[1e-6, 1e6]),
    ("share", &[0.0, 1.0]),
    ("sink", &[0.0, 1000.0]),
    ("smallest", &[1e-6, 1000.0]),
    ("softness", &[0.004]),
    ("spacing", &[1.0, 4.0]),
    ("spread", &[0.0, 3.0, 30.0, 180.0, 1000.0]),
    ("stop", &[1e-3, 1000.0]),
    ("tile", &[1e-2, 4.0]),
    ("tilt", &[0.0, 80.0, 90.0]),
    ("to", &[100.0, 90.0]),
    ("triangle_pixels", &[1e-3, 1000.0]),
    ("turn", &[-3600.0, 3600.0]),
    ("uniformity", &[0.1, 20.0]),
    ("vertical_angle", &[1e-3, 179.0]),
    ("wet", &[0.0, 1.0]),
    ("white", &[0.0, 1.0]),
    ("within", &[0.0, 1000.0]),
];

/// Most numbers that are tried: what the check refuses stays as it was.
const TRIED: usize = 8;

impl Draw {
    /// Sets some numbers to their ends.
    pub(super) fn push_to_ends(&mut self, shot: &mut Value) {
        let mut places = Vec::new();
        numbers(shot, "", "", &mut places);
        for _ in 0..=self.below(TRIED) {
            let (at, ends) = self.one(&places).clone();
            let mut changed = shot.clone();
            let Some(number) = changed.pointer_mut(&at) else {
                continue;
            };
            let end = *self.one(ends);
            // A whole number where one is asked for
            *number = if end == end.trunc() {
                json!(end as i64)
            } else {
                json!(end)
            };
            if Shot::parse(&changed.to_string(), Path::new("shot.json")).is_ok() {
                *shot = changed;
            }
        }
    }
}

/// Pointers to all numbers, or texts that stand for one, whose ends are known.
fn numbers(value: &Value, at: &str, key: &str, into: &mut Vec<(String, &'static [f64])>) {
    match value {
        Value::Object(map) => {
            for (key, value) in map {
                numbers(value, &format!("{at}/{key}"), key, into);
            }
        }
        Value::Array(list) => {
            for (i, value) in list.iter().enumerate() {
                numbers(value, &format!("{at}/{i}"), key, into);
            }
        }
        Value::Number(_) | Value::String(_) => {
            if let Some((_, ends)) = ENDS.iter().find(|(name, _)| *name == key) {
                into.push((at.to_owned(), ends));
            }
        }
        _ => {}
    }
}
