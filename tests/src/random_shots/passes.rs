//! Passes of random shots.

use super::{Draw, IMAGE, KINDS, KIT, MOST_PASSES, Map, STONE, STONE_M, Value, json};

/// Smallest diameter of any pass, metres: small frames of close ground then hold some thousands of
/// pieces at most.
const SMALLEST_M: f64 = 0.006;

impl Draw {
    /// The passes of a shot, with the mixes that they take parts of.
    pub(super) fn passes(
        &mut self,
        has_hero: bool,
        cameras: &[Value],
    ) -> (Map<String, Value>, Vec<Value>) {
        let mut passes: Vec<Value> = Vec::new();
        let mut mixes = Map::new();
        let count = 1 + self.below(MOST_PASSES);
        if self.chance(0.35) {
            mixes.insert("bar".into(), self.mix(&mut passes));
        }
        for i in 0..count {
            let earlier: Vec<String> = passes
                .iter()
                .filter_map(|p| p["name"].as_str().map(str::to_owned))
                .collect();
            let pass = self.pass(i, &earlier, has_hero, cameras);
            passes.push(pass);
        }
        (mixes, passes)
    }

    /// A mix, and the passes of its parts, coarse first.
    fn mix(&mut self, passes: &mut Vec<Value>) -> Value {
        let from = self.number(0.008, 0.012);
        let to = from * self.number(6.0, 9.0);
        let mut mix = self.law(from, to);
        mix["cover"] = json!(self.number(0.05, 0.6));
        // A lognormal law may end nearer than asked
        let ends = |mix: &Value, key: &str| mix[key].as_f64();
        let (from, to) = (
            ends(&mix, "from").unwrap_or(from),
            ends(&mix, "to").unwrap_or(to),
        );
        let seam = from * (to / from).powf(self.number(0.3, 0.7));
        let parts = [
            json!({ "mix": "bar", "from": seam }),
            json!({ "mix": "bar", "to": seam }),
        ];
        for (i, sizes) in parts.into_iter().enumerate() {
            let mut pass = json!({
                "name": format!("part-{i}"), "pieces": [self.one(&["rock", "cobble", "pebble"])], "place": "spaced", "sizes": sizes
            });
            if self.chance(0.6) {
                pass["place"] = json!("packed");
                self.maybe(0.7, &mut pass, "roll", |d| json!(d.number(0.0, 1.0)));
            }
            if i > 0 && self.chance(0.7) {
                pass["gather"] = json!([{ "clear_of": { "what": "part-0" } }]);
            }
            passes.push(pass);
        }
        mix
    }

    /// A size law from one diameter to another, in metres as plain numbers.
    pub(super) fn law(&mut self, from: f64, to: f64) -> Value {
        match self.below(3) {
            0 => {
                json!({ "law": "power", "exponent": self.number(-1.0, 3.5), "from": from, "to": to })
            }
            1 => {
                let median = (from * to).sqrt();
                let spread = ((to / from).ln() / 6.0).max(0.01);
                let mut law = json!({ "law": "lognormal", "median": median, "spread": spread });
                self.maybe(0.7, &mut law, "from", |_| json!(from));
                self.maybe(0.7, &mut law, "to", |_| json!(to));
                law
            }
            _ => {
                json!({ "law": "rosin-rammler", "d63": self.number(from, to), "uniformity": self.number(0.6, 3.0),
                "from": from, "to": to })
            }
        }
    }

    fn pass(
        &mut self,
        index: usize,
        earlier: &[String],
        has_hero: bool,
        cameras: &[Value],
    ) -> Value {
        let spaced = self.chance(0.5);
        let from_file = self.chance(0.15);
        let mut pieces: Vec<&str> = Vec::new();
        for _ in 0..=self.below(3) {
            let kind = *self.one(&KINDS);
            if !pieces.contains(&kind) {
                pieces.push(kind);
            }
        }
        let from = (SMALLEST_M * (self.0.unit() * 2.3).exp() * 1e5).round() / 1e5;
        let to = from * self.number(1.0, 6.0);
        let mut pass = json!({
            "name": format!("pass-{index}"), "pieces": pieces, "place": if spaced { "spaced" } else { "strewn" },
            "sizes": self.law(from, to)
        });
        if from_file {
            pass["pieces"] = json!([self.one(&[STONE, KIT])]);
            if self.chance(0.5) {
                pass["stretch"] = json!(true);
                pass["lies"] = json!(["rigid", "sheet", "rooted"][index % 3]);
            } else {
                pass["sizes"] = self.law(0.9 * STONE_M, 1.1 * STONE_M);
            }
        }
        let wide = pass["pieces"].to_string().contains("spray");
        if self.chance(0.6) {
            pass["cover"] = json!(self.number(0.01, if spaced { 0.5 } else { 0.3 }));
        } else {
            // At most a fifth of the ground in squares of the largest
            let most = (0.2 / (to * to)).min(if wide { 50.0 } else { 400.0 });
            pass["per_m2"] = json!(self.number(0.1, most.max(0.2)));
        }
        self.maybe(0.25, &mut pass, "clumps", |d| {
            let mut clumps =
                json!({ "parents_per_m2": d.number(0.5, 20.0), "spread": d.length(0.03, 0.3) });
            d.maybe(0.7, &mut clumps, "share", |d| json!(d.number(0.0, 1.0)));
            clumps
        });
        let fields: Vec<Value> = (0..self.below(4))
            .filter_map(|_| self.field(earlier, has_hero, cameras))
            .collect();
        let grades = |f: &&Value| f.get("grade").is_some();
        if !fields.is_empty() && fields.iter().filter(grades).count() < 2 {
            pass["gather"] = json!(fields);
        }
        self.maybe(0.6, &mut pass, "rest", Self::rest);
        self.maybe(0.2, &mut pass, "spacing", |d| json!(d.number(1.0, 1.6)));
        self.maybe(0.2, &mut pass, "overlap", |d| json!(d.number(0.0, 0.4)));
        pass
    }

    /// A field, if there is what it refers to.
    fn field(&mut self, earlier: &[String], has_hero: bool, cameras: &[Value]) -> Option<Value> {
        let mut what: Vec<&str> = earlier.iter().map(String::as_str).collect();
        if has_hero {
            what.push("hero");
        }
        let kind = self.below(10);
        let what = match kind {
            5..9 if what.is_empty() => return None,
            5..9 => *self.one(&what),
            _ => "",
        };
        let mut field = match kind {
            0 => {
                let mut patches =
                    json!({ "feature": self.length(0.05, 1.0), "fill": self.number(0.2, 1.0) });
                self.maybe(0.5, &mut patches, "roughness", |d| {
                    json!(d.number(0.0, 1.0))
                });
                self.maybe(0.2, &mut patches, "name", |_| json!("damp"));
                json!({ "patches": patches })
            }
            1 => json!({ "slope": { "from": "0 deg", "to": self.angle(10.0, 60.0) } }),
            2 => json!({ "hollows": { "radius": self.length(0.05, 0.5) } }),
            3 => json!({ "crests": { "radius": self.length(0.05, 0.5) } }),
            4 => {
                let mut grade = json!({ "radius": self.length(0.05, 0.5) });
                self.maybe(0.7, &mut grade, "ratio", |d| json!(d.number(0.2, 1.0)));
                json!({ "grade": grade })
            }
            5 => {
                let mut near = json!({ "what": what, "within": self.length(0.01, 0.2) });
                self.maybe(0.5, &mut near, "diameters", |d| json!(d.number(0.0, 2.0)));
                self.maybe(0.6, &mut near, "fade", |d| {
                    json!(d.one(&["smooth", "even", "steep"]))
                });
                self.maybe(0.5, &mut near, "elsewhere", |d| json!(d.number(0.0, 1.0)));
                json!({ "near": near })
            }
            6 => {
                let mut clear = json!({ "what": what });
                self.maybe(0.7, &mut clear, "within", |d| d.length(0.0, 0.03));
                json!({ "clear_of": clear })
            }
            7 => json!({ "between": { "what": what, "within": self.length(0.01, 0.2) } }),
            8 => {
                let mut lee = json!({ "what": what, "wind_from": self.angle(0.0, 360.0) });
                self.maybe(0.5, &mut lee, "heights", |d| json!(d.number(1.0, 10.0)));
                self.maybe(0.5, &mut lee, "elsewhere", |d| json!(d.number(0.0, 1.0)));
                json!({ "lee_of": lee })
            }
            _ => json!({ "mask": self.mask(cameras) }),
        };
        if let (5..9, Some(relation)) = (
            kind,
            field.as_object_mut().and_then(|f| f.values_mut().next()),
        ) {
            self.maybe(0.4, relation, "smallest", |d| {
                if d.chance(0.5) {
                    json!(d.number(0.2, 2.0))
                } else {
                    json!("20 mm")
                }
            });
        }
        Some(field)
    }

    fn mask(&mut self, cameras: &[Value]) -> Value {
        let mut mask = json!({ "file": IMAGE });
        if self.chance(0.5) {
            let side = self.number(0.5, 2.0);
            mask["extent"] = json!([3.0 * side, 2.0 * side]);
            self.maybe(0.5, &mut mask, "at", |d| {
                json!([d.length(-0.3, 0.3), d.length(-0.3, 0.3)])
            });
        } else {
            mask["camera"] = cameras[0]["name"].clone();
        }
        for key in ["black", "white", "outside"] {
            self.maybe(0.4, &mut mask, key, |d| json!(d.number(0.0, 1.0)));
        }
        mask
    }

    fn rest(&mut self) -> Value {
        let mut rest = json!({});
        self.maybe(0.5, &mut rest, "bury", |d| {
            let least = d.number(0.0, 0.5);
            json!([least, least + d.number(0.0, 0.5)])
        });
        self.maybe(0.4, &mut rest, "heading", |d| {
            let mut heading = json!({ "toward": d.angle(0.0, 360.0) });
            d.maybe(0.7, &mut heading, "spread", |d| d.angle(0.0, 180.0));
            heading
        });
        self.maybe(0.4, &mut rest, "tilt", |d| d.angle(0.0, 40.0));
        self.maybe(0.4, &mut rest, "stand", |d| json!(d.one(&["normal", "up"])));
        self.maybe(0.4, &mut rest, "on", |d| {
            json!(d.one(&["settled", "ground"]))
        });
        self.maybe(0.5, &mut rest, "pose", |d| {
            json!(d.one(&["any", "flat", "edge", "upright"]))
        });
        self.maybe(0.3, &mut rest, "lean", |d| {
            let mut lean = json!({ "from": d.angle(0.0, 360.0) });
            d.maybe(0.5, &mut lean, "dip", |d| d.angle(0.0, 60.0));
            d.maybe(0.5, &mut lean, "spread", |d| d.angle(0.0, 30.0));
            lean
        });
        self.maybe(0.4, &mut rest, "wet", |d| json!(d.number(0.0, 1.0)));
        rest
    }
}
