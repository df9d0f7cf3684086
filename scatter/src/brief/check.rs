//! What a brief built in code may say. A checked document's brief holds to it already.

mod figures;
mod pass;
mod scene;

use std::collections::HashSet;

use super::{Brief, Carpet, Grains, LayerKind, Pin, Shade};
use crate::color::LayerTone;
use crate::error::Result;
use crate::shot::Faults;
use crate::shot::bounds::{
    BY_HAND, CAMERAS, COVER, GRAINS_RATIO, HEROES, LEAST_BUDGET, LIT, LONG_NAME, MAX_FLECK_M,
    MAX_RATIO, MAX_TILE_M, PASSES, PIN_M, PIXELS, SHARE, SOFTNESS_M, TRIANGLE_PIXELS, VARIANTS,
};
use crate::size::SizeLaw;

impl Brief {
    /// Checks that every number is in its range and every reference refers to something. A session
    /// checks each brief that it is given.
    ///
    /// # Errors
    /// [`ErrorKind::Input`](crate::error::ErrorKind::Input), with every fault; places are paths of
    /// the brief's fields, such as `layers[0].sizes`.
    pub fn check(&self) -> Result<()> {
        let mut faults = Faults::default();
        faults.name("name", &self.name, LONG_NAME);
        faults.count("cameras", self.cameras.len(), CAMERAS);
        faults.count("heroes", self.heroes.len(), HEROES);
        faults.count("layers", self.passes().count(), PASSES);
        scene::check(self, &mut faults);
        for (name, mix) in &self.mixes {
            let at = format!("mixes[{name:?}]");
            sizes(&mix.sizes, MAX_RATIO, &format!("{at}.sizes"), &mut faults);
            faults.above(format!("{at}.cover"), mix.cover, COVER, "");
        }
        layers(self, &mut faults);
        let Self {
            resolve, budget, ..
        } = self;
        faults.above("resolve.pixels", resolve.pixels, PIXELS, "");
        if let Some(pixels) = resolve.triangle_pixels {
            faults.above("resolve.triangle_pixels", pixels, TRIANGLE_PIXELS, "");
        }
        if [budget.pieces, budget.triangles, budget.memory.bytes()]
            .into_iter()
            .any(|most| most < LEAST_BUDGET)
        {
            faults.add("budget", "it leaves no room for anything", "1 or more");
        }
        faults.done()
    }
}

/// Names, order, and what each layer says.
fn layers(brief: &Brief, faults: &mut Faults) {
    let mut names = HashSet::new();
    let mut before = 0;
    for (i, layer) in brief.layers.iter().enumerate() {
        let at = format!("layers[{i}]");
        faults.key(format!("{at}.name"), &layer.name, "name of a layer");
        if !names.insert(&layer.name) {
            faults.add(
                format!("{at}.name"),
                format!("another layer is called {:?}", layer.name),
                "give each layer its own name: its random streams hang on it",
            );
        }
        let place = match &layer.kind {
            LayerKind::Pass(_) => 1,
            LayerKind::Pins(_) => 2,
            LayerKind::Carpet(_) => 3,
            LayerKind::Shade(_) => 4,
        };
        if place < before || (place == before && place > 1) {
            faults.add(
                &at,
                "it is out of order",
                "passes first, then at most one layer each of pins, carpet and shade",
            );
        }
        before = before.max(place);
        if let Some(LayerTone::Even(color)) = layer.tone {
            for (k, albedo) in color.into_iter().enumerate() {
                faults.within(format!("{at}.tone[{k}]"), f64::from(albedo), SHARE, "");
            }
        }
        match &layer.kind {
            LayerKind::Pass(one) => pass::check(brief, (i, one), &at, faults),
            LayerKind::Pins(all) => pins(all, &at, faults),
            LayerKind::Carpet(one) => carpet(one, &at, faults),
            LayerKind::Shade(one) => shade(one, &at, faults),
        }
    }
}

fn pins(pins: &[Pin], at: &str, faults: &mut Faults) {
    faults.count(at, pins.len(), BY_HAND);
    for (k, pin) in pins.iter().enumerate() {
        let at = format!("{at}[{k}]");
        faults.name(&format!("{at}.piece"), &pin.piece, LONG_NAME);
        faults.at(&format!("{at}.at"), pin.at);
        faults.metres(format!("{at}.diameter"), pin.diameter, PIN_M);
        faults.turn(format!("{at}.heading"), pin.heading);
        faults.within(format!("{at}.bury"), pin.bury, SHARE, "");
    }
}

fn carpet(carpet: &Carpet, at: &str, faults: &mut Faults) {
    faults.metres_above(format!("{at}.tile"), carpet.tile, MAX_TILE_M);
    let Grains::Grown {
        kinds,
        sizes: law,
        variants,
    } = &carpet.grains
    else {
        return;
    };
    let unknown = kinds.iter().any(|k| !Carpet::KINDS.contains(&k.as_str()));
    if kinds.is_empty() || unknown {
        faults.add(
            format!("{at}.kinds"),
            format!("{kinds:?} are no grains"),
            format!("one or more of {}", Carpet::KINDS.join(", ")),
        );
    }
    sizes(law, GRAINS_RATIO, &format!("{at}.sizes"), faults);
    faults.within(format!("{at}.variants"), *variants, VARIANTS, "");
}

fn shade(shade: &Shade, at: &str, faults: &mut Faults) {
    faults.within(format!("{at}.lit"), shade.lit, LIT, "");
    faults.metres(format!("{at}.softness"), shade.softness, SOFTNESS_M);
    faults.metres_above(format!("{at}.fleck"), shade.fleck, MAX_FLECK_M);
    if shade.fleck < shade.softness {
        faults.add(
            format!("{at}.fleck"),
            "flecks are smaller than the softness",
            "no fleck is smaller than the sun's own image",
        );
    }
}

/// A size law, its largest diameter at most `most` times its smallest.
fn sizes(law: &SizeLaw, most: f64, at: &str, faults: &mut Faults) {
    let (from, to) = (law.from(), law.to());
    // A hair over the limit is rounding, not a wider range
    if !law.is_sound() || to / from > most * (1.0 + 1e-9) {
        faults.add(
            at,
            format!("from {from} m to {to} m it is no law of sizes"),
            format!("finite figures, from above 0 to at most {most} times that"),
        );
    }
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use serde_json::json;

    use crate::shot::Shot;

    /// What a document may say a brief may say: every length, angle and share at an end of its
    /// range.
    #[test]
    fn the_ends_of_a_documents_ranges_are_allowed() {
        let pass = |name: &str, from: &str, to: &str, overlap: f64, spacing: f64| {
            json!({
                "name": name, "pieces": ["rock"], "place": "packed", "roll": 1, "cover": 1,
                "overlap": overlap, "spacing": spacing,
                "sizes": { "law": "power", "exponent": 10, "from": from, "to": to },
                "clumps": { "parents_per_m2": 1e6, "spread": "1 km", "share": 1 },
                "rest": { "bury": [0, 1], "wet": 1, "tilt": "90 deg",
                    "heading": { "toward": "-3600 deg", "spread": "180 deg" },
                    "lean": { "from": "3600 deg", "dip": "60 deg", "spread": "30 deg" } },
                "gather": [
                    { "patches": { "feature": "1 mm", "fill": 1, "roughness": 1 } },
                    { "slope": { "from": "0 deg", "to": "90 deg" } },
                    { "hollows": { "radius": "1 mm" } },
                    { "crests": { "radius": "1 km" } },
                    { "grade": { "radius": "1 km", "ratio": 1 } },
                    { "near": { "what": "hero", "within": "1 km", "diameters": 1000, "elsewhere": 1,
                        "smallest": "100 m" } },
                    { "lee_of": { "what": "hero", "wind_from": "3600 deg", "heights": 100 } },
                    { "mask": { "file": "m.png", "extent": ["260 km", "260 km"],
                        "at": ["130 km", "-130 km"], "black": 1, "white": 0, "outside": 1 } }
                ]
            })
        };
        let camera = |name: &str, angle: &str, near: &str| {
            json!({ "name": name, "at": ["130 km", "-130 km", 0], "toward": [0, 0, 0],
                "vertical_angle": angle, "near": near, "far": "520 km", "stop": 1000,
                "focus": "520 km", "frame": [65536, 1] })
        };
        let document = json!({
            "shot": "ends",
            "cameras": [camera("wide", "179 deg", "0.001 mm"), camera("long", "0.01 deg", "130 km")],
            "ground": { "mesh": { "file": "g.glb", "at": ["130 km", 0, 0], "turn": "3600 deg", "scale": 1e6,
                "steepest": "90 deg", "under": "-100 km" }, "extent": ["260 km", "260 km"] },
            "hero": [{ "file": "h.glb", "at": [0, "130 km", 0], "turn": "-3600 deg", "scale": 1e6,
                "clear": "1 km", "sink": "1 km" }],
            "light": { "sun": { "azimuth": "3600 deg", "elevation": "90 deg" },
                "lamp": { "at": [0, 0, 0], "candela": 1000, "kelvin": 10000 } },
            "carpet": { "grains": ["pebble"], "variants": 24, "tile": "0.2 m",
                "sizes": { "law": "power", "exponent": -10, "from": "1 mm", "to": "16 mm" } },
            "shade": { "lit": 0.9, "fleck": "1 m", "softness": "0.5 m" },
            "passes": [
                pass("tight", "0.05 mm", "204.8 mm", 0.9, 1.0),
                pass("wide", "100 m", "100 m", 0.0, 4.0)
            ],
            "pins": [{ "piece": "rock", "at": ["130 km", 0], "diameter": "0.1 mm",
                "heading": "3600 deg", "bury": 1 }],
            "clear": [{ "box": { "at": [0, 0], "size": ["1 km", "1 km"], "turn": "-3600 deg" } }],
            "resolve": { "pixels": 64, "triangle_pixels": 1000 },
            "budget": { "pieces": 1, "triangles": 1, "memory": 1 }
        });
        let shot = Shot::parse(&document.to_string(), Path::new("ends.json"));
        let brief = shot.and_then(|s| s.brief());
        let brief = brief.unwrap_or_else(|e| panic!("{e}"));
        brief.check().unwrap_or_else(|e| panic!("{e}"));
    }
}
