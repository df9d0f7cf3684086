//! What may be said at most and at least, each said once: the schema tells it, and the checks of
//! documents and of briefs hold to it. Bounds of lengths and angles, whose names end in their unit,
//! have no numbers in the schema: there they are texts.

use std::fmt::{self, Display};

use super::MAX_COORDINATE_M;

/// From `least` to `most`, both allowed.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Within<T> {
    pub(crate) least: T,
    pub(crate) most: T,
}

/// A number above zero, to `most`.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Above {
    /// Zero, which is not allowed itself.
    pub(crate) above: u8,
    pub(crate) most: f64,
}

pub(crate) const fn within<T: Copy>(least: T, most: T) -> Within<T> {
    Within { least, most }
}

const fn above_zero(most: f64) -> Above {
    Above { above: 0, most }
}

impl<T: Copy + PartialOrd> Within<T> {
    pub(crate) fn holds(self, value: T) -> bool {
        value >= self.least && value <= self.most
    }

    /// The same bound in another unit.
    pub(crate) fn map<U>(self, unit: impl Fn(T) -> U) -> Within<U> {
        Within {
            least: unit(self.least),
            most: unit(self.most),
        }
    }
}

impl Above {
    pub(crate) fn holds(self, value: f64) -> bool {
        value > f64::from(self.above) && value <= self.most
    }
}

impl<T: Display> Display for Within<T> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} to {}", self.least, self.most)
    }
}

impl Display for Above {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "above {}, to {}", self.above, self.most)
    }
}

/// Characters of a name that people read: a line in a list.
pub(crate) const NAME: Within<usize> = within(1, 64);
/// Characters of a name that may be made of others: the shot's, and a piece's with its file's.
pub(crate) const LONG_NAME: Within<usize> = within(1, 128);
/// Characters of a name that streams or references hang on; names of files are made of it.
pub(crate) const KEY: Within<usize> = within(1, 64);

/// Far beyond any shot, small enough to bound the work.
pub(crate) const CAMERAS: Within<usize> = within(1, 64);
/// See [`CAMERAS`].
pub(crate) const PASSES: Within<usize> = within(0, 1000);
/// As many as passes: each has a pass that takes a part of it.
pub(crate) const MIXES: Within<usize> = PASSES;
/// Lines of a ground.
pub(crate) const LINES: Within<usize> = within(0, 1000);
/// Points of a line, as a tracing by hand has them; two have a way between them.
pub(crate) const LINE_POINTS: Within<usize> = within(2, 10_000);
/// Takes that are kept: more than anyone looks through.
pub(crate) const KEPT: Within<usize> = within(0, 1000);
/// Pins, shapes and removals: more is no longer work by hand.
pub(crate) const BY_HAND: Within<usize> = within(0, 10_000);
/// Names in a pass's `pieces`: each may be a file to read, and a kit's list is one name.
pub(crate) const PIECES: Within<usize> = within(1, 1000);
/// Corners of a polygon: each side is held against each other one.
pub(crate) const CORNERS: Within<usize> = within(3, 1000);
/// Frames of a moving camera: ten minutes of a close-up are no shot.
pub(crate) const MAX_FRAMES: i64 = 10_000;
/// Keys of a camera: two to move between, at most one a frame.
pub(crate) const KEYS: Within<usize> = within(2, MAX_FRAMES as usize);
/// What a budget holds at least: with less nothing can be made.
pub(crate) const LEAST_BUDGET: u64 = 1;

/// Sides of a frame, pixels: several times the largest that is printed.
pub(crate) const FRAME: Within<u32> = within(1, 65_536);
/// Frames a second: beyond a thousand it is no film but a measurement.
pub(crate) const FPS: Above = above_zero(1000.0);
/// F-numbers: a pinhole has some hundreds.
pub(crate) const STOP: Above = above_zero(1000.0);

/// Hours of a day.
pub(crate) const HOUR: Within<f64> = within(0.0, 24.0);
/// Hours that a clock is ahead of UTC: no zone goes farther, and the other way none goes as far.
pub(crate) const AHEAD: Within<f64> = within(-14.0, 14.0);
/// Candela of a lamp: a candle to a floodlight.
pub(crate) const CANDELA: Above = above_zero(1000.0);
/// Colour temperatures, kelvin: dull embers to a blue sky.
pub(crate) const KELVIN: Within<f64> = within(1000.0, 10_000.0);
/// Shares of the sun that a canopy can be worked out for: below, the flecks lie too far apart to be
/// seen in one frame; above, no shade is left between them.
pub(crate) const LIT: Within<f64> = within(0.02, 0.9);

/// Shares and strengths: none to all.
pub(crate) const SHARE: Within<f64> = within(0.0, 1.0);
/// Shares of the ground under a pass or a mix: what covers nothing is left out.
pub(crate) const COVER: Above = above_zero(1.0);
/// Pieces a square metre: one a square of 32 micrometres, finer than the finest piece.
pub(crate) const PER_M2: Above = above_zero(1e9);
/// Parents of clumps a square metre: closer than a millimetre they are no clumps.
pub(crate) const PARENTS: Above = above_zero(1e6);
/// Multiples of touching: closer than 1 is `overlap`, and from 4 on pieces don't tell of each
/// other.
pub(crate) const SPACING: Within<f64> = within(1.0, 4.0);
/// Shares of the touching distance: at 1 pieces could lie in one place.
pub(crate) const OVERLAP: Within<f64> = within(0.0, 0.9);
/// Uniform scales: a model in any unit of length comes out at any size.
pub(crate) const SCALE: Above = above_zero(1e6);

/// Exponents of a power law: at either end next to all pieces have one size.
pub(crate) const EXPONENT: Within<f64> = within(-10.0, 10.0);
/// Standard deviations of ln(diameter): at 0 all pieces have one size, at 3 the law is nearly flat
/// over the widest range of sizes that a pass may have.
pub(crate) const SPREAD: Within<f64> = within(0.0, 3.0);
/// Uniformities of a Rosin-Rammler law: boulders with dust to next to one size.
pub(crate) const UNIFORMITY: Within<f64> = within(0.1, 20.0);

/// Distances in diameters of what is referred to: round a stone of a metre, the largest distance in
/// metres.
pub(crate) const DIAMETERS: Within<f64> = within(0.0, 1000.0);
/// Shares of a piece's own diameter: a thousand times as large is always another scale.
pub(crate) const SMALLEST: Above = above_zero(1000.0);
/// Where shelter ends, in heights of what shelters: no wake reaches farther.
pub(crate) const HEIGHTS: Above = above_zero(100.0);
/// Median size in hollows over that on crests: at 1 nothing is graded, above it the coarse pieces
/// would lie in the hollows.
pub(crate) const GRADE: Above = above_zero(1.0);

/// Tiles of a carpet: with fewer the eye finds the repeat, with more they only take memory.
pub(crate) const VARIANTS: Within<u32> = within(3, 24);

/// Finest footprint of a piece, pixels: at 64 all but the largest pieces of a picture are gone.
pub(crate) const PIXELS: Above = above_zero(64.0);
/// Sides of a triangle on screen, pixels: at a thousand every piece is at its simplest.
pub(crate) const TRIANGLE_PIXELS: Above = above_zero(1000.0);

/// Heroes of a shot: each has a file to read.
pub(crate) const HEROES: Within<usize> = within(0, 1000);
/// Distances that gather or clear, metres; heights of a relief and how deep a hero stands, too.
pub(crate) const REACH_M: Within<f64> = within(0.0, 1e3);
/// Features of a noise, metres.
pub(crate) const FEATURE_M: Within<f64> = within(1e-3, 1e5);
/// Lowest and highest ground, metres: no ground of the Earth is beyond it.
pub(crate) const GROUND_M: Within<f64> = within(-1e5, 1e5);
/// Longest side of the ground or of an image on the plan, metres: all that has coordinates.
pub(crate) const MAX_EXTENT_M: f64 = 2.0 * MAX_COORDINATE_M;
/// Farthest from the origin along an axis that a mesh file may place a vertex, metres: the largest
/// ground of the Earth in millimetres. The squares of areas between corners that far apart still
/// fit 32 bits.
pub(crate) const MAX_FILE_PLACE_M: f64 = 1e9;
/// Diameters, metres: a grain of fine sand to a house.
pub(crate) const DIAMETER_M: Within<f64> = within(5e-5, 100.0);
/// Diameters of pins, metres: below a tenth of a millimetre nobody places by hand.
pub(crate) const PIN_M: Within<f64> = within(1e-4, 100.0);
/// Largest ratio of largest to smallest diameter: twelve octaves.
pub(crate) const MAX_RATIO: f64 = 4096.0;
/// Radii that a mean height is taken over, metres: the finest feature of a ground to the farthest
/// reach.
pub(crate) const RADIUS_M: Within<f64> = within(FEATURE_M.least, REACH_M.most);
/// Focal lengths from a microscope's to a telescope's, metres.
pub(crate) const LENS_M: Within<f64> = within(1e-4, 10.0);
/// Depths, metres: a micrometre to across the whole range of coordinates.
pub(crate) const DEPTH_M: Within<f64> = within(1e-6, 4.0 * MAX_COORDINATE_M);
/// Grains of soil, metres: fine sand, which no close-up resolves, to the coarsest that is still
/// ground.
pub(crate) const GRAIN_M: Within<f64> = within(1e-4, 0.03);
/// How far water rises over its level, metres: 10 to 30 cm in fine sand (from memory), a surge up a
/// wall.
pub(crate) const RAGGED_M: Within<f64> = within(0.0, 1.0);
/// Softness, metres: leaves from 0.4 m to 54 m away.
pub(crate) const SOFTNESS_M: Within<f64> = within(0.004, 0.5);
/// Largest fleck, metres: wider than that it is a clearing.
pub(crate) const MAX_FLECK_M: f64 = 1.0;
/// Side of a tile, metres: what is larger repeats too seldom to be a texture.
pub(crate) const MAX_TILE_M: f64 = 4.0;
/// Side of a tile in largest grains: with less its rim is most of it, with more it is a landscape.
pub(crate) const TILE_IN_GRAINS: Within<f64> = within(6.0, 64.0);
/// Largest grain over the smallest: four octaves, of which the finest has some ten thousand grains
/// in a tile.
pub(crate) const GRAINS_RATIO: f64 = 16.0;
/// Azimuths and turns, degrees: within ten turns, so that no precision is lost in them.
pub(crate) const TURN_DEG: Within<f64> = within(-3600.0, 3600.0);
/// Tilts of the ground, degrees: nothing lies on what is steeper.
pub(crate) const TILT_DEG: Within<f64> = within(0.0, 80.0);
/// Slopes and tilts, degrees: level to upright.
pub(crate) const SLOPE_DEG: Within<f64> = within(0.0, 90.0);
/// Spreads of a heading, degrees: at half a turn any is as likely.
pub(crate) const HEADING_SPREAD_DEG: Within<f64> = within(0.0, 180.0);
/// Dips of stones that lean, degrees: steeper ones stand.
pub(crate) const DIP_DEG: Within<f64> = within(0.0, 60.0);
/// Spreads of a dip, degrees: with more no lean is seen.
pub(crate) const DIP_SPREAD_DEG: Within<f64> = within(0.0, 30.0);
/// Widest vertical angle in degrees: at 180 the frame would be endless.
pub(crate) const MAX_VERTICAL_DEG: f64 = 179.0;
/// How far a rotation may be from unit length: what six written digits leave.
pub(crate) const UNIT_TOLERANCE: f64 = 1e-4;
/// Fields of a pass: they multiply, and what many of them leave is nothing.
pub(crate) const FIELDS: Within<usize> = within(0, 64);

/// The pattern of a key in the schema, with what it must not be in front.
pub(crate) fn key_pattern(but: &str) -> String {
    let Within { least, most } = KEY;
    format!("^{but}[a-z0-9_-]{{{least},{most}}}$")
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use serde_json::{Value, json};

    use crate::shot::{Shot, schema};

    /// A document with a number wherever the schema has a range.
    fn full() -> Value {
        let power = json!({ "law": "power", "exponent": 2, "from": 0.01, "to": 0.02 });
        let lognormal = json!({ "law": "lognormal", "median": 0.01, "spread": 0.2 });
        let rosin = json!({ "law": "rosin-rammler", "d63": 0.01, "uniformity": 1, "from": 0.01, "to": 0.02 });
        let mixed = |sizes: &Value| {
            let mut mix = sizes.clone();
            mix["cover"] = json!(0.5);
            mix
        };
        let pass = |name: &str, sizes: &Value| {
            json!({
                "name": name, "pieces": ["rock"], "place": "packed", "roll": 0.5, "cover": 0.5, "per_m2": 1,
                "sizes": sizes, "spacing": 1, "overlap": 0, "rest": { "bury": [0.1, 0.3], "wet": 0.5 },
                "clumps": { "parents_per_m2": 1, "spread": 1, "share": 1 },
                "gather": [
                    { "patches": { "feature": 1, "fill": 0.5, "roughness": 0.5 } },
                    { "near": { "what": "hero", "within": 1, "diameters": 1, "elsewhere": 0, "smallest": 1 } },
                    { "lee_of": { "what": "hero", "wind_from": 0, "heights": 6, "elsewhere": 0.2 } },
                    { "along": { "line": "rut", "within": 1, "elsewhere": 0.5 } },
                    { "grade": { "radius": 1, "ratio": 0.5 } },
                    { "mask": { "file": "m.png", "black": 0, "white": 1, "outside": 1 } }
                ]
            })
        };
        json!({
            "shot": "full",
            "cameras": [{ "name": "a", "file": "a.glb", "fps": 24, "frame": [320, 180], "stop": 4 }],
            "ground": {
                "relief": { "height": 1, "feature": 1, "roughness": 0.5 },
                "mesh": { "file": "g.glb", "scale": 1 }
            },
            "hero": [{ "file": "h.glb", "at": [0, 0, 0], "scale": 1 }],
            // Where the sun does not set
            "light": {
                "day": { "latitude": 89, "longitude": 0, "date": "2026-06-21", "hour": 12, "ahead": 0 },
                "lamp": { "at": [0, 1, 0], "candela": 1, "kelvin": 2000 }
            },
            "carpet": { "grains": ["pebble"], "sizes": power, "variants": 6 },
            "shade": { "lit": 0.3, "fleck": 0.1, "softness": 0.01 },
            "mixes": { "a": mixed(&power), "b": mixed(&lognormal), "c": mixed(&rosin) },
            "passes": [pass("a", &power), pass("b", &lognormal), pass("c", &rosin)],
            "pins": [{ "piece": "rock", "at": [0, 0], "diameter": 0.1, "bury": 0.2 }],
            "resolve": { "pixels": 0.5, "triangle_pixels": 2 },
            "wet": { "level": 0, "hollows": 0.2, "dew": 0.5 },
            "weathering": { "lichen": 0.3, "dust": 0.2 }
        })
    }

    /// Every range in the schema.
    fn all<'a>(node: &'a Value, into: &mut Vec<&'a Value>) {
        if node["maximum"].is_number() {
            into.push(node);
        }
        match node {
            Value::Object(keys) => keys.values().for_each(|n| all(n, into)),
            Value::Array(items) => items.iter().for_each(|n| all(n, into)),
            _ => {}
        }
    }

    /// The ranges that the numbers of a document come under, with the pointers to these.
    fn met<'a>(
        schema: &'a Value,
        node: &'a Value,
        document: &Value,
        at: &str,
        into: &mut Vec<(&'a Value, String)>,
    ) {
        if let Some(name) = node["$ref"].as_str() {
            met(
                schema,
                schema.pointer(&name[1..]).unwrap(),
                document,
                at,
                into,
            );
        }
        for form in ["anyOf", "oneOf"] {
            for node in node[form].as_array().into_iter().flatten() {
                met(schema, node, document, at, into);
            }
        }
        match document {
            Value::Object(keys) => {
                for (key, value) in keys {
                    let node = node["properties"]
                        .get(key)
                        .unwrap_or(&node["additionalProperties"]);
                    met(schema, node, value, &format!("{at}/{key}"), into);
                }
            }
            Value::Array(items) => {
                for (i, value) in items.iter().enumerate() {
                    met(schema, &node["items"], value, &format!("{at}/{i}"), into);
                }
            }
            Value::Number(_) if node["maximum"].is_number() => into.push((node, at.into())),
            _ => {}
        }
    }

    /// Whether the check finds a fault with this number in this place of the document.
    fn refused(at: &str, number: &Value) -> bool {
        let mut document = full();
        *document.pointer_mut(at).unwrap() = number.clone();
        let place =
            at[1..]
                .split('/')
                .fold(String::new(), |place, key| match key.parse::<usize>() {
                    Ok(i) => format!("{place}[{i}]"),
                    Err(_) if place.is_empty() => key.into(),
                    Err(_) => format!("{place}.{key}"),
                });
        let shot = Shot::parse(&document.to_string(), Path::new("full.json"));
        // What a document may say a brief may say
        if let Ok(shot) = &shot {
            let brief = shot.brief().unwrap();
            assert!(brief.check().is_ok(), "{at}: {number}");
        }
        shot.err()
            .is_some_and(|e| e.faults.iter().any(|f| f.place == place))
    }

    #[test]
    fn the_check_holds_to_every_range_in_the_schema() {
        let (schema, document) = (schema(), full());
        let (mut ranges, mut places) = (Vec::new(), Vec::new());
        all(&schema, &mut ranges);
        met(&schema, &schema, &document, "", &mut places);
        assert!(ranges.len() > 40, "only {} ranges", ranges.len());
        for range in ranges {
            let (_, at) = places
                .iter()
                .find(|(node, _)| std::ptr::eq(*node, range))
                .unwrap_or_else(|| panic!("no number comes under {range}"));
            let whole = range["type"].to_string().contains("integer");
            let beyond = |end: &Value, sign: i64| match end.as_i64() {
                Some(end) if whole => json!(end + sign),
                _ => {
                    let end = end.as_f64().unwrap();
                    json!(end + sign as f64 * 1e-6 * (1.0 + end.abs()))
                }
            };
            let (most, least, open) = (
                &range["maximum"],
                &range["minimum"],
                &range["exclusiveMinimum"],
            );
            assert!(!refused(at, most), "{at}: {most}");
            assert!(refused(at, &beyond(most, 1)), "{at}: over {most}");
            if least.is_number() {
                assert!(!refused(at, least), "{at}: {least}");
                assert!(refused(at, &beyond(least, -1)), "{at}: under {least}");
            } else {
                assert!(!refused(at, &beyond(open, 1)), "{at}: over {open}");
                assert!(refused(at, open), "{at}: {open}");
            }
        }
    }
}
