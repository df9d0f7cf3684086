//! Random valid shots: every key of the document, small frames of close ground, some hundreds to
//! some thousands of pieces.
//!
//! A shot is a pure function of its seed, or of bytes that are taken for the choices. The files that
//! it names are those of [`crate::shot_files`].

mod choices;
mod colours;
mod ends;
mod lines;
mod passes;

use choices::Choices;
pub use ends::ENDS;
use scatter::shot::{GRAINS, KINDS};
use serde_json::{Map, Value, json};

use crate::shot_files::{FILM, HERO, IMAGE, KIT, PATCH, QUARRY, STONE, STONE_M};

/// A random shot.
#[must_use]
pub fn shot(seed: u64) -> Value {
    Draw(Choices::of(seed)).shot(&format!("random {seed}"))
}

/// A random shot in which some numbers are at the ends of what the document may say. It passes the
/// document's check.
#[must_use]
pub fn extreme(seed: u64) -> Value {
    let mut draw = Draw(Choices::of(seed));
    let mut shot = draw.shot(&format!("extreme {seed}"));
    draw.push_to_ends(&mut shot);
    shot
}

/// The shot whose choices some bytes are, with numbers at their ends if the first one is odd.
#[must_use]
pub fn chosen(bytes: &[u8]) -> Value {
    let mut draw = Draw(Choices::from_bytes(bytes));
    let ends = draw.0.bits() & 1 == 1;
    let mut shot = draw.shot("chosen");
    if ends {
        draw.push_to_ends(&mut shot);
    }
    shot
}

/// Draws of parts of a document.
struct Draw(Choices);

/// Passes of a shot.
const MOST_PASSES: usize = 5;

impl Draw {
    fn chance(&mut self, share: f64) -> bool {
        self.0.unit() < share
    }

    /// A whole number in `0..count`.
    fn below(&mut self, count: usize) -> usize {
        (self.0.unit() * count as f64) as usize
    }

    fn one<'a, T>(&mut self, list: &'a [T]) -> &'a T {
        &list[self.below(list.len())]
    }

    fn number(&mut self, low: f64, high: f64) -> f64 {
        // Four digits, as people would write it
        (self.0.between(low, high) * 1e4).round() / 1e4
    }

    /// A length in metres as a document may have it: a number, or a text in some unit.
    fn length(&mut self, low: f64, high: f64) -> Value {
        let metres = self.number(low, high);
        match self.below(4) {
            0 => json!(metres),
            1 => json!(format!("{metres} m")),
            2 => json!(format!("{:.4} cm", metres * 100.0)),
            _ => json!(format!("{:.4} mm", metres * 1000.0)),
        }
    }

    fn angle(&mut self, low: f64, high: f64) -> Value {
        let degrees = self.number(low, high);
        match self.below(3) {
            0 => json!(degrees),
            1 => json!(format!("{degrees} deg")),
            _ => json!(format!("{:.6} rad", degrees.to_radians())),
        }
    }

    /// Sets a key in a part of the cases.
    fn maybe(
        &mut self,
        share: f64,
        into: &mut Value,
        key: &str,
        value: impl FnOnce(&mut Self) -> Value,
    ) {
        if self.chance(share) {
            into[key] = value(self);
        }
    }

    fn shot(&mut self, name: &str) -> Value {
        let ground = self.ground();
        let high = ground.get("mesh").is_some();
        let cameras = self.cameras(high);
        let heroes = if self.chance(0.4) {
            1 + self.below(2)
        } else {
            0
        };
        let (mixes, passes) = self.passes(heroes > 0, &cameras);
        let names: Vec<String> = passes
            .iter()
            .filter_map(|p| p["name"].as_str().map(str::to_owned))
            .collect();
        let mut shot = json!({
            "shot": name, "cameras": cameras, "ground": ground, "passes": passes
        });
        if !mixes.is_empty() {
            shot["mixes"] = Value::Object(mixes);
        }
        if heroes > 0 {
            shot["hero"] = (0..heroes).map(|i| self.hero(i)).collect();
        }
        self.maybe(0.2, &mut shot, "$schema", |_| json!("shot.schema.json"));
        self.maybe(0.8, &mut shot, "take", |d| json!(d.0.bits() >> 33));
        self.maybe(0.2, &mut shot, "takes", |d| d.takes(&names));
        self.maybe(0.2, &mut shot, "keep", |d| {
            json!([{ "name": "calm", "take": 7, "takes": d.takes(&names) }, { "name": "wild", "take": 8 }])
        });
        self.maybe(0.8, &mut shot, "light", Self::light);
        let overcast = shot["light"]["mood"] == "overcast";
        self.maybe(0.15, &mut shot, "carpet", Self::carpet);
        if !overcast {
            self.maybe(0.1, &mut shot, "shade", Self::shade);
        }
        self.maybe(0.25, &mut shot, "pins", Self::pins);
        self.maybe(0.3, &mut shot, "clear", |d| d.clear(&names));
        self.maybe(0.15, &mut shot, "remove", |d| {
            json!([
                format!("{:016x}", d.0.bits()),
                format!("{:016X}", d.0.bits())
            ])
        });
        shot["resolve"] = self.resolve(&shot["cameras"]);
        self.maybe(0.5, &mut shot, "budget", |d| {
            json!({ "pieces": 100_000 + d.below(900_000), "triangles": 40_000_000, "memory": d.one(&["2 GB", "1500 MiB"]) })
        });
        self.maybe(0.7, &mut shot, "deliver", Self::deliver);
        if self.chance(0.3) {
            self.lines(&mut shot);
        }
        // A low sun, where no day says how high it stands
        let low = shot["light"]["mood"] == "sun" && shot["light"].get("day").is_none();
        if low && self.chance(0.4) {
            let moods: &[&str] = if shot.get("shade").is_some() {
                &["golden-hour"]
            } else {
                &["golden-hour", "dusk"]
            };
            shot["light"]["mood"] = json!(self.one(moods));
        }
        self.colours(&mut shot);
        shot
    }

    fn takes(&mut self, names: &[String]) -> Value {
        let name = self.one(names).clone();
        json!({ name: self.below(100) })
    }

    fn ground(&mut self) -> Value {
        let mut ground = match self.below(10) {
            0..4 => {
                let mut plane = json!({});
                self.maybe(0.5, &mut plane, "tilt", |d| d.angle(0.0, 8.0));
                self.maybe(0.5, &mut plane, "toward", |d| d.angle(-180.0, 360.0));
                json!({ "plane": plane })
            }
            4..8 => {
                let mut relief =
                    json!({ "height": self.length(0.0, 0.04), "feature": self.length(0.2, 2.0) });
                self.maybe(0.5, &mut relief, "roughness", |d| json!(d.number(0.0, 1.0)));
                self.maybe(0.3, &mut relief, "tilt", |d| d.angle(0.0, 5.0));
                self.maybe(0.3, &mut relief, "toward", |d| d.angle(0.0, 360.0));
                json!({ "relief": relief })
            }
            8 => {
                let size = self.number(2.0, 6.0);
                let mut image = json!({ "file": IMAGE, "extent": [3.0 * size, 2.0 * size], "heights": ["0 mm", self.length(0.0, 0.1)] });
                self.maybe(0.5, &mut image, "at", |d| {
                    json!([d.length(-0.2, 0.2), d.length(-0.2, 0.2)])
                });
                json!({ "image": image })
            }
            _ => {
                let mut mesh = json!({ "file": QUARRY });
                self.maybe(0.5, &mut mesh, "at", |d| {
                    json!([d.length(-0.3, 0.3), "0 m", d.length(-0.3, 0.3)])
                });
                self.maybe(0.5, &mut mesh, "turn", |d| d.angle(0.0, 360.0));
                self.maybe(0.5, &mut mesh, "scale", |d| json!(d.number(0.8, 1.2)));
                self.maybe(0.5, &mut mesh, "steepest", |d| d.angle(30.0, 90.0));
                self.maybe(0.3, &mut mesh, "under", |d| d.length(1.0, 2.5));
                json!({ "mesh": mesh })
            }
        };
        self.maybe(0.2, &mut ground, "extent", |d| {
            json!([d.length(2.0, 9.0), d.length(2.0, 9.0)])
        });
        self.maybe(0.5, &mut ground, "look", |d| {
            json!(d.one(&["soil", "sand", "gravel", "rock", "litter"]))
        });
        ground
    }

    /// One to three cameras, the first one standing: masks are painted over its frame.
    fn cameras(&mut self, high: bool) -> Vec<Value> {
        let count = 1 + self.below(3).min(self.below(3));
        (0..count).map(|i| self.camera(i, high)).collect()
    }

    fn camera(&mut self, index: usize, high: bool) -> Value {
        let width = 3 * (10 + self.below(50));
        let mut camera = json!({
            "name": format!("camera {index}"), "frame": [width, width / 3 * 2], "far": self.length(1.5, 3.5)
        });
        if high {
            // Over the quarry's wall and roof
            camera["far"] = json!("6 m");
        }
        let height = if high { [3.2, 3.6] } else { [0.35, 1.0] };
        match if index == 0 { 0 } else { self.below(3) } {
            0 => {
                self.place(&mut camera, height);
                self.lens(&mut camera);
            }
            1 => {
                let aims = self.chance(0.6);
                let (lens, focus) = (self.chance(0.5), self.chance(0.5));
                if lens {
                    camera["lens"] = json!("40 mm");
                } else {
                    camera["vertical_angle"] = self.angle(20.0, 60.0);
                }
                if focus {
                    camera["focus"] = json!("0.8 m");
                    camera["stop"] = json!(5.6);
                }
                let count = 2 + self.below(3);
                let mut frame = self.below(10) as i32 - 5;
                let keys = (0..count).map(|_| {
                    let mut key = json!({ "at_frame": frame });
                    frame += 1 + self.below(6) as i32;
                    self.aim(&mut key, aims, height);
                    if lens {
                        key["lens"] = self.length(0.03, 0.06);
                    }
                    if focus {
                        key["focus"] = self.length(0.4, 1.2);
                    }
                    key
                });
                camera["keys"] = keys.collect();
                self.maybe(0.7, &mut camera, "between", |d| {
                    json!(d.one(&["linear", "smooth"]))
                });
            }
            _ => {
                camera["file"] = json!(FILM);
                self.maybe(0.5, &mut camera, "camera", |_| json!("shotcam"));
                self.maybe(0.5, &mut camera, "animation", |_| json!("pan"));
                self.maybe(0.5, &mut camera, "frames", |d| {
                    json!([101, 101 + d.below(12)])
                });
                self.maybe(0.5, &mut camera, "fps", |d| json!(d.number(4.0, 30.0)));
            }
        }
        self.maybe(0.5, &mut camera, "near", |d| d.length(0.02, 0.1));
        self.maybe(0.4, &mut camera, "sensor", |_| json!(["36 mm", "24 mm"]));
        if camera.get("focus").is_none() {
            self.maybe(0.5, &mut camera, "focus", |d| d.length(0.4, 1.5));
            self.maybe(0.5, &mut camera, "stop", |d| json!(d.number(1.4, 22.0)));
        }
        camera
    }

    fn place(&mut self, camera: &mut Value, height: [f64; 2]) {
        let aims = self.chance(0.8);
        self.aim(camera, aims, height);
    }

    /// Where a camera or a key of one is: a metre from what it looks at.
    fn aim(&mut self, into: &mut Value, toward: bool, [low, high]: [f64; 2]) {
        let (y, z) = (self.length(low, high), self.length(0.4, 1.0));
        into["at"] = json!([self.length(-0.3, 0.3), y, z]);
        if toward {
            into["toward"] = json!([self.length(-0.1, 0.1), 0, self.length(-0.2, 0.1)]);
            self.maybe(0.3, into, "roll", |d| d.angle(-20.0, 20.0));
        } else {
            // Down by 50 degrees, and turned a little
            let (down, turn) = (self.number(0.7, 1.0) / 2.0, self.number(-0.3, 0.3) / 2.0);
            into["rotation"] = json!([
                -down.sin() * turn.cos(),
                down.cos() * turn.sin(),
                down.sin() * turn.sin(),
                down.cos() * turn.cos()
            ]);
        }
    }

    fn lens(&mut self, camera: &mut Value) {
        if self.chance(0.7) {
            camera["lens"] = self.length(0.028, 0.1);
        } else {
            camera["vertical_angle"] = self.angle(15.0, 60.0);
        }
    }

    fn hero(&mut self, index: usize) -> Value {
        let x = 0.3 * index as f64;
        let mut hero =
            json!({ "file": HERO, "at": [x, self.length(0.0, 0.01), self.length(-0.2, 0.2)] });
        self.maybe(0.5, &mut hero, "turn", |d| d.angle(0.0, 360.0));
        self.maybe(0.5, &mut hero, "scale", |d| json!(d.number(0.5, 1.2)));
        self.maybe(0.5, &mut hero, "clear", |d| d.length(0.0, 0.05));
        self.maybe(0.5, &mut hero, "sink", |d| d.length(0.0, 0.05));
        hero
    }

    fn light(&mut self) -> Value {
        let mood = *self.one(&["sun", "overcast", "night"]);
        let mut light = json!({ "mood": mood });
        if self.chance(0.3) {
            let (date, hour) = if mood == "night" {
                ("2026-12-21", 0.0)
            } else {
                ("2026-06-21", 11.0)
            };
            let longitude = self.number(-30.0, 30.0);
            light["day"] = json!({
                "latitude": self.angle(35.0, 55.0), "longitude": longitude, "date": date, "hour": self.number(hour, hour + 1.5)
            });
            self.maybe(0.5, &mut light["day"], "ahead", |_| {
                json!((longitude / 15.0).round())
            });
        } else if self.chance(0.8) {
            light["sun"] = json!({});
            self.maybe(0.9, &mut light["sun"], "azimuth", |d| d.angle(0.0, 360.0));
            self.maybe(0.9, &mut light["sun"], "elevation", |d| d.angle(25.0, 80.0));
        }
        self.maybe(0.3, &mut light, "lamp", |d| {
            let mut lamp = json!({ "at": [d.length(-0.5, 0.5), "0.4 m", "0.1 m"] });
            d.maybe(0.5, &mut lamp, "candela", |d| json!(d.number(0.1, 5.0)));
            d.maybe(0.5, &mut lamp, "kelvin", |d| {
                json!(d.number(1500.0, 5000.0))
            });
            lamp
        });
        light
    }

    fn carpet(&mut self) -> Value {
        if self.chance(0.3) {
            return json!({ "patch": PATCH, "tile": self.length(0.15, 0.3) });
        }
        let grains = [*self.one(&GRAINS)];
        let from = self.number(0.004, 0.008);
        let mut carpet = json!({ "grains": grains, "sizes": self.law(from, 2.0 * from) });
        self.maybe(0.5, &mut carpet, "tile", |_| json!(0.2));
        self.maybe(0.5, &mut carpet, "variants", |d| json!(3 + d.below(4)));
        carpet
    }

    fn shade(&mut self) -> Value {
        let mut shade = json!({
            "lit": self.number(0.2, 0.7), "fleck": self.length(0.05, 0.1), "softness": self.length(0.02, 0.04)
        });
        self.maybe(0.5, &mut shade, "hero", |d| json!(d.one(&["lit", "any"])));
        shade
    }

    fn pins(&mut self) -> Value {
        let count = 1 + self.below(4);
        let pin = |d: &mut Self, i: usize| {
            let piece = *d.one(&["rock-03", "cobble", "pebble-01", "leaf", STONE]);
            let mut pin = json!({
                "piece": piece, "at": [0.1 * i as f64 - 0.2, d.length(-0.2, 0.2)], "diameter": d.length(0.02, 0.08)
            });
            d.maybe(0.5, &mut pin, "heading", |d| d.angle(0.0, 360.0));
            d.maybe(0.5, &mut pin, "bury", |d| json!(d.number(0.0, 1.0)));
            pin
        };
        (0..count).map(|i| pin(self, i)).collect()
    }

    fn clear(&mut self, names: &[String]) -> Value {
        let at = json!([self.length(-0.3, 0.3), self.length(-0.3, 0.3)]);
        let passes = if self.chance(0.5) {
            json!([self.one(names)])
        } else {
            json!([])
        };
        let mut turned = json!({ "at": at, "size": [self.length(0.05, 0.3), self.length(0.05, 0.3)], "passes": passes });
        self.maybe(0.5, &mut turned, "turn", |d| d.angle(0.0, 360.0));
        let all = [
            json!({ "disc": { "at": at, "radius": self.length(0.02, 0.2), "passes": passes } }),
            json!({ "box": turned }),
            json!({ "polygon": { "corners": [[-0.1, 0.0], ["0.2 m", 0.05], [0.1, "20 cm"], [0.05, 0.1]], "passes": passes } }),
        ];
        let first = self.below(3);
        all[first..].iter().cloned().collect()
    }

    fn resolve(&mut self, cameras: &Value) -> Value {
        let mut resolve = json!({ "pixels": self.number(0.6, 3.0) });
        let focused = cameras.as_array().is_some_and(|all| {
            all.iter()
                .any(|c| c.get("focus").is_some() && c.get("stop").is_some())
        });
        if focused {
            self.maybe(0.5, &mut resolve, "defocus", |_| json!(true));
        }
        self.maybe(0.2, &mut resolve, "triangle_pixels", |d| {
            json!(d.number(1.0, 8.0))
        });
        resolve
    }

    fn deliver(&mut self) -> Value {
        let left = self.chance(0.3);
        let all: &[&str] = if left {
            &["glb", "glb-nodes", "json", "csv"]
        } else {
            &["glb", "glb-nodes", "usda", "json", "csv"]
        };
        let formats: Vec<&str> = all.iter().copied().filter(|_| self.chance(0.5)).collect();
        let formats = if formats.is_empty() {
            vec!["csv"]
        } else {
            formats
        };
        let mut deliver = json!({ "as": formats });
        self.maybe(0.6, &mut deliver, "include", |d| {
            let all = ["cameras", "ground", "hero", "sun"];
            all.into_iter().filter(|_| d.chance(0.5)).collect()
        });
        self.maybe(0.3, &mut deliver, "split", |_| json!("passes"));
        self.maybe(0.3, &mut deliver, "seen", |_| json!(true));
        deliver["space"] = json!({ "hand": if left { "left" } else { "right" } });
        self.maybe(0.6, &mut deliver["space"], "unit", |d| {
            json!(d.one(&["m", "cm", "mm", "in"]))
        });
        self.maybe(0.6, &mut deliver["space"], "up", |d| {
            json!(d.one(&["+y", "+z"]))
        });
        deliver
    }
}
