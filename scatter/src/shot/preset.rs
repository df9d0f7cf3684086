//! Passes for known grounds, held in the binary.

use std::collections::BTreeMap;
use std::io::{self, Write};
use std::path::Path;

use serde::{Deserialize, Serialize};
use serde_json::ser::{Formatter, Serializer};

use super::form;
use super::{Budget, Camera, Deliver, Ground, Hero, Light, Mix, Pass, Resolve, Shot};
use crate::color::Family;
use crate::error::{Error, Result};
use crate::input::likely;
use crate::units::{Angle, Length};

/// A known ground: what it is like, and the passes that dress it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Preset {
    /// Name, as on the command line.
    #[serde(rename = "preset")]
    pub name: String,
    /// What it looks like, in a line.
    pub about: String,
    /// Where each figure comes from.
    #[serde(default)]
    pub sources: Vec<String>,
    /// The ground under it.
    pub ground: Ground,
    /// The family of rock that its stones are of.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub stone: Option<Family>,
    /// A light that suits it.
    #[serde(default)]
    pub light: Light,
    /// The mixes that its passes take parts of, by name.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub mixes: BTreeMap<String, Mix>,
    /// Its passes, in the order that they are laid.
    pub passes: Vec<Pass>,
}

/// The files of the folder `presets`, by name.
const FILES: [(&str, &str); 5] = [
    (
        "autumn-litter",
        include_str!("../../../presets/autumn-litter.json"),
    ),
    (
        "desert-pavement",
        include_str!("../../../presets/desert-pavement.json"),
    ),
    (
        "forest-floor",
        include_str!("../../../presets/forest-floor.json"),
    ),
    (
        "river-gravel",
        include_str!("../../../presets/river-gravel.json"),
    ),
    ("scree", include_str!("../../../presets/scree.json")),
];

impl Preset {
    /// Names of all presets, sorted.
    pub fn names() -> impl Iterator<Item = &'static str> {
        FILES.iter().map(|(name, _)| *name)
    }

    /// All presets, sorted by name.
    ///
    /// # Errors
    /// A preset's file is broken: a fault of ours, which a test rules out.
    pub fn all() -> Result<Vec<Self>> {
        FILES.iter().map(|file| Self::from_file(*file)).collect()
    }

    /// The preset called `name`.
    ///
    /// # Errors
    /// There is none of that name.
    pub fn find(name: &str) -> Result<Self> {
        let Some(file) = FILES.iter().find(|(n, _)| *n == name) else {
            let known: Vec<&str> = Self::names().collect();
            let list = known.join(", ");
            let hint = match likely(name, &known) {
                Some(likely) => format!("did you mean `{likely}`? There are {list}"),
                None => format!("one of {list}"),
            };
            return Err(Error::input(
                "",
                format!("there is no preset {name:?}"),
                hint,
            ));
        };
        Self::from_file(*file)
    }

    fn from_file((name, text): (&str, &str)) -> Result<Self> {
        form::read(text).map_err(|e: Error| e.in_file(Path::new(&format!("presets/{name}.json"))))
    }

    /// Text of the preset's file.
    #[must_use]
    pub fn text(name: &str) -> Option<&'static str> {
        FILES
            .iter()
            .find(|(n, _)| *n == name)
            .map(|(_, text)| *text)
    }

    /// Text of a shot file that reads as `shot` does: a shot of this preset whose name, cameras and
    /// heroes may be its own. The rest is written as the preset's file has it.
    #[must_use]
    pub fn shot_text(&self, shot: &Shot) -> String {
        let text = Self::text(&self.name).unwrap_or_default();
        // A preset's file ends with what a shot has too: ground, light, mixes and passes.
        let ending = text.find("\"ground\":").map_or("", |start| &text[start..]);
        let heroes: Vec<HeroLine<'_>> = shot.hero.iter().map(HeroLine::of).collect();
        format!(
            "{{\n  \"shot\": {},\n  \"take\": {},\n{}{}  {ending}",
            serde_json::Value::from(shot.name.as_str()),
            shot.take,
            listed("cameras", &shot.cameras),
            listed("hero", &heroes),
        )
    }

    /// A shot that dresses as it stands: this preset in front of one close camera.
    #[must_use]
    pub fn shot(&self, name: &str) -> Shot {
        Shot {
            schema: None,
            name: name.to_owned(),
            take: 1,
            takes: BTreeMap::new(),
            keep: Vec::new(),
            cameras: vec![close_camera()],
            ground: self.ground.clone(),
            hero: Vec::new(),
            stone: self.stone,
            wet: None,
            weathering: None,
            carpet: None,
            shade: None,
            light: self.light,
            mixes: self.mixes.clone(),
            passes: self.passes.clone(),
            pins: Vec::new(),
            clear: Vec::new(),
            remove: Vec::new(),
            resolve: Resolve::default(),
            budget: Budget::default(),
            deliver: Deliver::default(),
        }
    }
}

/// A hero as a person writes it: without what is as by default.
#[derive(Serialize)]
struct HeroLine<'a> {
    file: &'a str,
    at: [Length; 3],
    #[serde(skip_serializing_if = "Option::is_none")]
    turn: Option<Angle>,
    #[serde(skip_serializing_if = "Option::is_none")]
    scale: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    clear: Option<Length>,
    #[serde(skip_serializing_if = "Option::is_none")]
    sink: Option<Length>,
}

impl<'a> HeroLine<'a> {
    fn of(hero: &'a Hero) -> Self {
        let length = |l: Length| (l != Length::default()).then_some(l);
        Self {
            file: &hero.file,
            at: hero.at,
            turn: (hero.turn != Angle::default()).then_some(hero.turn),
            scale: (hero.scale != 1.0).then_some(hero.scale),
            clear: length(hero.clear),
            sink: length(hero.sink),
        }
    }
}

/// A key of a shot with its list, each item on a line of its own; nothing without items.
fn listed<T: Serialize>(key: &str, items: &[T]) -> String {
    if items.is_empty() {
        return String::new();
    }
    let lines: Vec<String> = items.iter().map(|i| format!("    {}", line(i))).collect();
    format!("  \"{key}\": [\n{}\n  ],\n", lines.join(",\n"))
}

/// JSON on one line, spaced as the presets are.
fn line<T: Serialize>(value: &T) -> String {
    let mut text = Vec::new();
    // Texts and numbers always have a text
    let _ = value.serialize(&mut Serializer::with_formatter(&mut text, Spaced));
    String::from_utf8(text).unwrap_or_default()
}

/// Spaces after commas and colons and inside braces.
struct Spaced;

impl Formatter for Spaced {
    fn begin_array_value<W: Write + ?Sized>(&mut self, out: &mut W, first: bool) -> io::Result<()> {
        out.write_all(if first { b"" } else { b", " })
    }

    fn begin_object_key<W: Write + ?Sized>(&mut self, out: &mut W, first: bool) -> io::Result<()> {
        out.write_all(if first { b" " } else { b", " })
    }

    fn begin_object_value<W: Write + ?Sized>(&mut self, out: &mut W) -> io::Result<()> {
        out.write_all(b": ")
    }

    fn end_object<W: Write + ?Sized>(&mut self, out: &mut W) -> io::Result<()> {
        out.write_all(b" }")
    }
}

/// A crouching person's view: 0.45 m over the ground, 1.2 m from what it looks at, focused there.
fn close_camera() -> Camera {
    let m = Length::from_metres;
    Camera {
        name: "close".into(),
        at: Some([m(0.0), m(0.45), m(1.15)]),
        toward: Some([m(0.0), m(0.05), m(0.0)]),
        rotation: None,
        roll: None,
        lens: Some(Length::from_millimetres(40.0)),
        sensor: Some([36.0, 24.0].map(Length::from_millimetres)),
        vertical_angle: None,
        frame: [1920, 1080],
        near: Some(Length::from_millimetres(50.0)),
        keys: None,
        between: None,
        file: None,
        camera: None,
        animation: None,
        frames: None,
        fps: None,
        far: Some(m(30.0)),
        focus: Some(m(1.2)),
        stop: Some(5.6),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    #[test]
    fn the_folder_and_the_binary_hold_the_same_presets() {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../presets");
        let mut found = BTreeSet::new();
        for entry in std::fs::read_dir(&folder).unwrap() {
            let path = entry.unwrap().path();
            if path.extension().is_some_and(|e| e == "json") {
                found.insert(path.file_stem().unwrap().to_string_lossy().into_owned());
            }
        }
        let held: BTreeSet<String> = Preset::names().map(str::to_owned).collect();
        assert_eq!(held, found, "in the binary, in {}", folder.display());
    }

    #[test]
    fn every_preset_makes_a_shot_that_passes_its_check() {
        for preset in Preset::all().unwrap() {
            let shot = preset.shot("trial");
            shot.check()
                .unwrap_or_else(|e| panic!("{}: {e}", preset.name));
            let text = serde_json::to_string_pretty(&shot).unwrap();
            for text in [text, preset.shot_text(&shot)] {
                let again = Shot::parse(&text, Path::new("trial.json")).unwrap();
                assert_eq!(again, shot, "written and read back");
                assert_eq!(again.digest(), shot.digest());
            }
            assert!(!preset.about.contains('\n'), "one line");
        }
    }

    #[test]
    fn a_mistyped_preset_gets_the_likely_name() {
        let error = Preset::find("river-gravle").unwrap_err().to_string();
        assert!(error.contains("did you mean `river-gravel`?"), "{error}");
    }

    #[test]
    fn heroes_and_cameras_of_ones_own_are_written_and_read_back() {
        let preset = Preset::find("scree").unwrap();
        let mut shot = preset.shot("trial");
        let hero = |more: &str| -> Hero {
            let text =
                format!("{{ \"file\": \"a \\\",\\\":b.glb\", \"at\": [1, 0, \"2 mm\"]{more} }}");
            serde_json::from_str(&text).unwrap()
        };
        shot.hero = vec![
            hero(""),
            hero(r#", "turn": "5 deg", "scale": 2, "clear": "1 mm", "sink": "2 mm""#),
        ];
        shot.cameras.push(
            serde_json::from_str(r#"{ "name": "b", "file": "c.glb", "frame": [192, 108] }"#)
                .unwrap(),
        );
        let text = preset.shot_text(&shot);
        assert_eq!(Shot::parse(&text, Path::new("trial.json")).unwrap(), shot);
        let camera =
            "\n    { \"name\": \"b\", \"file\": \"c.glb\", \"frame\": [192, 108] }\n  ],\n";
        assert!(text.contains(camera), "{text}");
    }
}
