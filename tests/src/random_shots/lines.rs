//! Lines on the ground, and passes along them.

use serde_json::{Value, json};

use super::Draw;

impl Draw {
    /// Draws two lines on the ground of a shot, and takes a pass or two along them.
    pub(super) fn lines(&mut self, shot: &mut Value) {
        let from_mesh = shot["ground"].get("mesh").is_some();
        let mut lines = json!({});
        for name in ["track", "tide"] {
            let count = 2 + self.below(6);
            let side = self.number(-0.5, 0.5);
            // Never the same place twice: each is farther along x
            let points = (0..count).map(|i| {
                let x = self.number(-0.2, 0.2) + i as f64 * 0.5 - 1.0;
                json!([x, self.length(side - 0.3, side + 0.3)])
            });
            let mut line = json!({ "points": points.collect::<Vec<Value>>() });
            self.maybe(0.5, &mut line, "smooth", |d| json!(d.chance(0.5)));
            self.maybe(0.2, &mut line, "closed", |d| json!(d.chance(0.5)));
            if !from_mesh {
                self.maybe(
                    0.5,
                    &mut line,
                    "press",
                    |d| json!({ "depth": d.length(0.0, 0.05), "width": d.length(0.05, 0.4) }),
                );
            }
            lines[name] = line;
        }
        shot["ground"]["lines"] = lines;
        let Some(passes) = shot["passes"].as_array_mut() else {
            return;
        };
        let pass = self.below(passes.len().max(1));
        let Some(pass) = passes.get_mut(pass) else {
            return;
        };
        let mut along = json!({ "line": "track", "within": self.length(0.05, 0.6) });
        if self.chance(0.3) {
            along["and"] = json!("tide");
        } else {
            self.maybe(0.5, &mut along, "side", |d| {
                json!(d.one(&["both", "left", "right"]))
            });
            self.maybe(0.3, &mut along, "offset", |d| d.length(0.0, 0.3));
        }
        self.maybe(0.5, &mut along, "fade", |d| {
            json!(d.one(&["smooth", "even", "steep"]))
        });
        self.maybe(0.6, &mut along, "elsewhere", |d| json!(d.number(0.0, 1.0)));
        let field = json!({ "along": along });
        match pass["gather"].as_array_mut() {
            Some(gather) => gather.push(field),
            None => pass["gather"] = json!([field]),
        }
        if self.chance(0.5) {
            let mut heading = json!({ "along": "tide" });
            self.maybe(0.5, &mut heading, "turn", |d| d.angle(-90.0, 90.0));
            self.maybe(0.5, &mut heading, "spread", |d| d.angle(0.0, 90.0));
            pass["rest"]["heading"] = heading;
        }
    }
}
