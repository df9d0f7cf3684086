//! What a shot is of: families of rock, soil, water, weather.

use scatter::color::Family;
use serde_json::{Value, json};

use super::Draw;

impl Draw {
    /// What is of stone, of soil, and wet.
    pub(super) fn colours(&mut self, shot: &mut Value) {
        let family = |d: &mut Self| json!(d.one(&Family::ALL).name());
        let mut grown = false;
        for i in 0..shot["passes"].as_array().map_or(0, Vec::len) {
            let pass = &mut shot["passes"][i];
            let pieces = pass["pieces"].to_string();
            if ["rock", "cobble", "pebble"]
                .iter()
                .any(|kind| pieces.contains(&format!("\"{kind}\"")))
            {
                grown = true;
                self.maybe(0.3, pass, "stone", family);
            }
        }
        if grown {
            self.maybe(0.3, shot, "stone", family);
        }
        self.maybe(0.3, &mut shot["ground"], "soil", |d| {
            let words = [
                "dark-brown",
                "brown",
                "yellow-brown",
                "red",
                "grey",
                "pale",
                "#8a7358",
            ];
            let mut soil = json!({ "colour": d.one(&words) });
            d.maybe(0.5, &mut soil, "grain", |d| d.length(0.000_2, 0.02));
            soil
        });
        self.maybe(
            0.3,
            shot,
            "weathering",
            |d| json!({ "lichen": d.number(0.0, 1.0), "dust": d.number(0.0, 1.0) }),
        );
        let plane = shot["ground"].get("plane").is_some();
        self.maybe(0.3, shot, "wet", |d| {
            let mut wet = json!({ "level": d.length(-0.1, 0.1) });
            d.maybe(0.5, &mut wet, "ragged", |d| d.length(0.0, 0.2));
            d.maybe(0.5, &mut wet, "dew", |d| json!(d.number(0.0, 1.0)));
            if !plane {
                d.maybe(0.5, &mut wet, "hollows", |d| json!(d.number(0.0, 0.5)));
            }
            wet
        });
    }
}
