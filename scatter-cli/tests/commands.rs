//! What each command does when all is well, and how it says so.

#[expect(dead_code, reason = "each test program uses a part of it")]
mod harness;

use std::fs;
use std::io::Read;

use harness::Dir;
use scatter::kit::Kind;
use scatter::shot::{Preset, Shot};
use scatter_tests::{bad_input, meshes};
use serde_json::{Value, json};

#[test]
fn new_writes_a_shot_that_dresses_for_every_preset() {
    for preset in Preset::names() {
        let dir = Dir::new();
        dir.run(&["new", "place", "--preset", preset])
            .status(0)
            .stdout_is("")
            .stderr_has("strew dress place/shot.json");
        let shot =
            Shot::read(&dir.path().join("place/shot.json")).unwrap_or_else(|e| panic!("{e}"));
        assert_eq!(shot.name, "place");
        assert_eq!(shot, Preset::find(preset).unwrap().shot("place"));
    }
}

#[test]
fn a_new_shot_dresses_as_it_stands() {
    let dir = Dir::new();
    // The folders on the way are made; what it lays is near enough to what it asks
    for preset in ["forest-floor", "scree"] {
        let folder = format!("on the/way/{preset}");
        dir.run(&["new", &folder, "--preset", preset])
            .status(0)
            .stderr_has(&format!("strew dress \"{folder}/shot.json\""));
        let run = dir.run(&["dress", &folder]).status(0);
        for told in ["less than asked", "warning"] {
            assert!(!run.stderr.contains(told), "{run}");
        }
    }
    dir.run(&["new", "bar", "--preset", "river-gravel", "--quiet"])
        .status(0)
        .stderr_is("");
    dir.run(&["dress", "bar"])
        .status(0)
        .stdout_is("")
        .stderr_has("cobbles")
        .stderr_has("layout.glb");
    for file in ["layout.glb", "layout.json", "report.json"] {
        assert!(dir.path().join("bar/out").join(file).is_file(), "{file}");
    }
}

#[test]
fn dress_takes_the_formats_the_folder_and_the_take_that_are_asked_for() {
    let dir = Dir::new();
    dir.write("shot.json", bad_input::base().to_string());
    dir.run(&[
        "dress",
        "shot.json",
        "--take",
        "7",
        "--out",
        "made/here",
        "--as",
        "json",
        "--quiet",
    ])
    .status(0)
    .stdout_is("")
    .stderr_is("");
    let folder = dir.path().join("made/here");
    assert!(!folder.join("layout.glb").exists(), "not asked for");
    let layout = fs::read_to_string(folder.join("layout.json")).unwrap();
    let layout: Value = serde_json::from_str(&layout).unwrap();
    assert_eq!(layout["take"], 7);
    assert_eq!(layout["format"], "strew-layout");
}

#[test]
fn the_same_shot_gives_the_same_bytes() {
    let dir = Dir::new();
    dir.write("shot.json", bad_input::base().to_string());
    for out in ["a", "b"] {
        dir.run(&["dress", "shot.json", "--out", out]).status(0);
    }
    for file in ["layout.glb", "layout.json"] {
        let [a, b] = ["a", "b"].map(|out| fs::read(dir.path().join(out).join(file)).unwrap());
        assert!(a == b, "{file} differs");
    }
}

#[test]
fn presets_are_listed_a_line_each_and_printed_as_their_files() {
    let dir = Dir::new();
    let run = dir.run(&["presets"]).status(0).stderr_is("");
    assert_eq!(run.stdout.lines().count(), Preset::names().count());
    for name in Preset::names() {
        assert!(run.stdout.contains(name), "{name} is not listed");
        let file = format!("{}/../presets/{name}.json", env!("CARGO_MANIFEST_DIR"));
        dir.run(&["presets", name])
            .status(0)
            .stdout_is(&fs::read_to_string(file).unwrap());
    }
}

#[test]
fn a_part_of_the_schema_is_a_table() {
    let dir = Dir::new();
    let run = dir.run(&["schema", "cameras[0].keys"]).status(0);
    let row = |key: &str| {
        let line = run
            .stdout
            .lines()
            .find(|l| l.split(' ').next() == Some(key));
        line.unwrap_or_else(|| panic!("no {key}\n{run}")).to_owned()
    };
    assert!(row("at_frame").contains("needed"), "{run}");
    assert!(!row("lens").contains("needed"), "{run}");
    assert!(
        row("lens").contains("Focal length, 0.1 mm to 10 m"),
        "{run}"
    );
    dir.run(&["schema", "passes.gather.near"])
        .status(0)
        .stdout_has("within");
    dir.run(&["schema", "light.mood"])
        .status(0)
        .stdout_has("one of sun, golden-hour, overcast, dusk, night");
}

#[test]
fn schema_is_the_librarys() {
    let run = Dir::new().run(&["schema"]).status(0).stderr_is("");
    let schema: Value = serde_json::from_str(&run.stdout).unwrap();
    assert_eq!(schema, scatter::shot::schema());
}

#[test]
fn completions_are_there_for_each_shell() {
    for shell in ["bash", "zsh", "fish", "elvish", "powershell"] {
        Dir::new()
            .run(&["completions", shell])
            .status(0)
            .stdout_has("dress");
    }
}

#[test]
fn the_manual_has_a_page_for_each_command_and_names_what_the_help_names() {
    let dir = Dir::new();
    let help = dir.run(&["--help"]).status(0).stdout;
    let listed = help.lines().skip_while(|line| *line != "Commands:").skip(1);
    let commands: Vec<&str> = listed
        .take_while(|line| !line.is_empty())
        // What goes on with a text is indented further
        .filter(|line| line.starts_with("  ") && !line.starts_with("   "))
        .filter_map(|line| line.split_whitespace().next())
        .filter(|name| *name != "help")
        .collect();
    assert!(commands.len() >= 11, "{commands:?}");
    let main = dir.run(&["man"]).status(0).stderr_is("").stdout;
    dir.run(&["man", "--out", "pages/man1"])
        .status(0)
        .stdout_is("")
        .stderr_is("");
    let read = |name: &str| fs::read_to_string(dir.path().join("pages/man1").join(name)).unwrap();
    assert_eq!(read("strew.1"), main);
    for command in &commands {
        assert!(main.contains(&format!("strew\\-{command}(1)")), "{command}");
        let page = dir.run(&["man", command]).status(0).stdout;
        assert_eq!(read(&format!("strew-{command}.1")), page);
    }
    let files = fs::read_dir(dir.path().join("pages/man1")).unwrap().count();
    assert_eq!(files, commands.len() + 1);

    let help = dir.run(&["dress", "--help"]).status(0).stdout;
    let page = dir.run(&["man", "dress"]).status(0).stdout;
    let words = help.lines().map(str::trim_start);
    let options: Vec<&str> = words
        .filter(|line| line.starts_with('-'))
        .filter_map(|line| line.split([' ', ',']).find(|word| word.starts_with("--")))
        .collect();
    assert!(options.len() >= 11, "{options:?}");
    for option in options {
        let written = option.replace('-', "\\-");
        assert!(page.contains(&written), "{option} is not in the page");
    }
    dir.run(&["man", "undress"])
        .status(2)
        .stderr_has("no command `undress`");
}

#[test]
fn a_reader_that_goes_away_is_no_error() {
    let dir = Dir::new();
    let mut child = dir.command(&["schema"]).spawn().unwrap();
    // Takes nothing and closes: the command's next write finds no reader.
    drop(child.stdout.take());
    let mut stderr = String::new();
    child
        .stderr
        .take()
        .unwrap()
        .read_to_string(&mut stderr)
        .unwrap();
    assert_eq!(child.wait().unwrap().code(), Some(0), "{stderr}");
    assert_eq!(stderr, "");
}

#[test]
fn no_colour_where_there_is_no_terminal() {
    let run = Dir::new().run(&["dress", "nowhere.json"]).status(2);
    assert!(!run.stderr.contains('\x1b'), "{run}");
}

#[test]
fn help_and_version_are_data() {
    let dir = Dir::new();
    dir.run(&["--version"]).status(0).stdout_has("strew 0.");
    dir.run(&["dress", "--help"]).status(0).stdout_has("--take");
    dir.run(&["--help"]).status(0).stdout_has("3 over budget");
}

#[test]
fn a_missing_file_gets_the_name_that_was_likely_meant() {
    let camera = json!([{ "name": "close", "file": "in/shotcma.glb", "frame": [192, 108] }]);
    let image =
        json!({ "image": { "file": "in/hils.png", "extent": ["4 m", "4 m"], "heights": [0, 1] } });
    let mask = json!([{ "mask": { "file": "in/clam.png", "extent": ["4 m", "4 m"] } }]);
    let cases = [
        (
            "/hero",
            json!([{ "file": "in/pto.glb", "at": [0, 0, 0] }]),
            "pot.glb",
        ),
        ("/passes/0/pieces", json!(["in/pots.gltf"]), "pot.glb"),
        ("/passes/0/pieces", json!(["in/scan.json"]), "scans.json"),
        // The list is there; what it names is not
        ("/passes/0/pieces", json!(["in/scans.json"]), "stone.glb"),
        ("/passes/0/gather", mask, "calm.png"),
        ("/ground", image, "hills.png"),
        (
            "/ground",
            json!({ "mesh": { "file": "in/quary.glb" } }),
            "quarry.glb",
        ),
        ("/cameras", camera, "shotcam.glb"),
        (
            "/carpet",
            json!({ "patch": "in/patsh.glb", "tile": "0.2 m" }),
            "patch.glb",
        ),
    ];
    let dir = Dir::new();
    let scans = json!({ "format": "strew-kit", "version": 1,
        "pieces": [{ "name": "stone", "file": "stoen.glb" }] });
    dir.write("in/scans.json", scans.to_string());
    for name in ["pot", "stone", "quarry", "shotcam", "patch"] {
        dir.write(&format!("in/{name}.glb"), "");
    }
    for name in ["calm", "hills"] {
        dir.write(&format!("in/{name}.png"), "");
    }
    for (place, value, meant) in cases {
        let mut shot: Value = bad_input::base();
        let (parent, key) = place.rsplit_once('/').unwrap();
        shot.pointer_mut(parent).unwrap()[key] = value;
        dir.write("shot.json", shot.to_string());
        dir.run(&["dress", "shot.json"])
            .status(2)
            .stderr_has("there is no file in/")
            .stderr_has(&format!("hint: did you mean `{meant}`?"));
    }
    // Nothing near: what would be right
    let mut shot = bad_input::base();
    shot["hero"] = json!([{ "file": "in/windmill.glb", "at": [0, 0, 0] }]);
    dir.write("shot.json", shot.to_string());
    dir.run(&["dress", "shot.json"])
        .status(2)
        .stderr_has("hint: name a .glb or .gltf file");
}

#[test]
fn the_kinds_are_listed_in_the_words_of_their_page() {
    let dir = Dir::new();
    let run = dir.run(&["kit", "--grown"]).status(0).stderr_is("");
    let page = format!("{}/../docs/kinds.md", env!("CARGO_MANIFEST_DIR"));
    let page = fs::read_to_string(page).unwrap();
    let rows: Vec<Vec<&str>> = page
        .lines()
        .filter_map(|line| line.strip_prefix("| `"))
        .map(|line| line.trim_end_matches(" |").split(" | ").collect())
        .collect();
    let listed: Vec<&str> = rows
        .iter()
        .map(|row| row[0].trim_end_matches('`'))
        .collect();
    assert_eq!(listed, Kind::ALL.map(Kind::name), "the page has each kind");
    assert_eq!(run.stdout.lines().count(), 1 + Kind::ALL.len(), "{run}");
    for (row, kind) in rows.iter().zip(Kind::ALL) {
        let line = run
            .stdout
            .lines()
            .find(|line| line.split(' ').next() == Some(kind.name()));
        let line = line.unwrap_or_else(|| panic!("no {}\n{run}", kind.name()));
        assert_eq!(row.len(), 4, "{row:?}");
        assert_eq!(row[1], kind.about());
        for cell in &row[1..] {
            assert!(
                line.contains(&format!("  {cell}")),
                "no {cell:?} in {line:?}"
            );
        }
        assert!(line.contains(&format!("  {}  ", kind.variants())), "{line}");
    }
}

#[test]
fn the_sheet_of_the_kinds_shows_each() {
    let dir = Dir::new();
    dir.run(&["kit", "--grown", "--out", "made", "--width", "40"])
        .status(0)
        .stderr_has("8 kinds");
    assert!(
        !dir.path().join("made/kit.json").exists(),
        "nothing to list"
    );
    let file = fs::File::open(dir.path().join("made/kit.png")).unwrap();
    let mut reader = png::Decoder::new(std::io::BufReader::new(file))
        .read_info()
        .unwrap();
    let mut pixels = vec![0; reader.output_buffer_size().unwrap()];
    let info = reader.next_frame(&mut pixels).unwrap();
    let wide = info.width as usize;
    assert_eq!(wide, 4 * (40 + 6) + 6, "four in a row");
    let high = (info.height as usize - 6) / 2;
    for i in 0..Kind::ALL.len() {
        // Green of the middle half: sand alone is even
        let [x, y] = [6 + i % 4 * 46, 6 + i / 4 * high];
        let rows = (y + 8)..(y + 22);
        let green = rows.flat_map(|y| (x + 10..x + 30).map(move |x| (y * wide + x) * 3 + 1));
        let green: Vec<u8> = green.map(|at| pixels[at]).collect();
        let (low, high) = (green.iter().min().unwrap(), green.iter().max().unwrap());
        assert!(high - low > 40, "{}: {low} to {high}", Kind::ALL[i].name());
    }
}

#[test]
fn a_kit_of_nothing_is_told_what_can_be_named() {
    let dir = Dir::new();
    dir.run(&["kit"])
        .status(2)
        .stdout_is("")
        .stderr_has("no file or folder is named")
        .stderr_has("--grown");
    dir.run(&["kit", "--grown", "stones"])
        .status(2)
        .stdout_is("");
}

/// A file with cameras of some names, each 0.5 m over the ground and looking half down.
fn camera_file(names: &[&str], aspect: Option<f64>) -> Vec<u8> {
    let mut lens = json!({ "yfov": 0.5, "znear": 0.05 });
    if let Some(aspect) = aspect {
        lens["aspectRatio"] = aspect.into();
    }
    let (sin, cos) = (-0.35_f64).sin_cos();
    let node = |name: &&str| {
        json!({ "name": name, "camera": 0,
        "translation": [0, 0.5, 0.6], "rotation": [sin, 0, 0, cos] })
    };
    let mut document = json!({
        "asset": { "version": "2.0" }, "scene": 0, "scenes": [{ "nodes": [0] }],
        "nodes": names.iter().map(node).collect::<Vec<_>>(),
        "cameras": [{ "type": "perspective", "perspective": lens }],
    });
    if names.is_empty() {
        document["nodes"] = json!([{ "name": "empty" }]);
    }
    meshes::glb(&document, &[])
}

fn pot() -> Vec<u8> {
    meshes::mesh(
        &meshes::block_corners([0.1, 0.15, 0.1]),
        &meshes::block_triangles(),
    )
}

#[test]
fn a_new_shot_takes_the_artists_own_files() {
    let dir = Dir::new();
    dir.write("models/pot.glb", pot());
    dir.write("shots/lid.glb", pot());
    dir.write("models/shotcam.glb", camera_file(&["ShotCam"], Some(2.39)));
    fs::create_dir_all(dir.path().join("shots")).unwrap();
    let lid = dir.path().join("shots/lid.glb");
    let hero = ["--hero", "models/pot.glb", "--hero", lid.to_str().unwrap()];
    let camera = [
        "--camera",
        "models/shotcam.glb",
        "--preset",
        "desert-pavement",
    ];
    dir.run(&[&["new", "shots/pan"][..], &hero, &camera].concat())
        .status(0)
        .stdout_is("");
    let text = fs::read_to_string(dir.path().join("shots/pan/shot.json")).unwrap();
    let head = r#"{
  "shot": "pan",
  "take": 1,
  "cameras": [
    { "name": "ShotCam", "file": "../../models/shotcam.glb", "frame": [1920, 803], "far": "30 m" }
  ],
  "hero": [
    { "file": "../../models/pot.glb", "at": ["0 m", "0 m", "0 m"] },
    { "file": "../lid.glb", "at": ["0 m", "0 m", "0 m"] }
  ],
"#;
    assert!(text.starts_with(head), "{text}");
    let preset = Preset::text("desert-pavement").unwrap();
    let ground = preset.find("  \"ground\"").unwrap();
    assert_eq!(
        &text[head.len()..],
        &preset[ground..],
        "as the preset has it"
    );
    dir.run(&["dress", "shots/pan"])
        .status(0)
        .stderr_has("layout.glb");
    let layout = fs::read_to_string(dir.path().join("shots/pan/out/layout.json")).unwrap();
    let layout: Value = serde_json::from_str(&layout).unwrap();
    assert_eq!(layout["cameras"][0]["name"], "ShotCam");
    assert!(layout["instances"].as_array().unwrap().len() > 100);
}

#[test]
fn a_camera_of_several_is_named() {
    let dir = Dir::new();
    dir.write("cams.glb", camera_file(&["wide", "tele"], Some(0.5)));
    dir.run(&["new", "pan", "--camera", "cams.glb"])
        .status(2)
        .stderr_has("--camera-name")
        .stderr_has("wide, tele");
    dir.run(&[
        "new",
        "pan",
        "--camera",
        "cams.glb",
        "--camera-name",
        "tele",
    ])
    .status(0);
    let shot = Shot::read(&dir.path().join("pan/shot.json")).unwrap();
    assert_eq!(shot.cameras[0].camera.as_deref(), Some("tele"));
    assert_eq!(shot.cameras[0].frame, [960, 1920]);
}

#[test]
fn a_new_shot_is_not_made_of_files_that_do_not_serve() {
    let dir = Dir::new();
    dir.write("models/pot.glb", pot());
    dir.write("models/blank.glb", camera_file(&[], None));
    dir.write(
        "models/sunk.glb",
        meshes::at(&pot(), &json!({ "mesh": 0, "translation": [0, -9, 0] })),
    );
    let cases: [(&[&str], &[&str]); 6] = [
        (
            &["--hero", "models/pto.glb"],
            &[
                "--hero: there is no file models/pto.glb",
                "did you mean `pot.glb`?",
            ],
        ),
        (
            &["--camera", "models/bank.glb"],
            &["--camera: there is no file", "did you mean `blank.glb`?"],
        ),
        (
            &["--hero", "elsewhere/pot.glb"],
            &["there is no file", "hint: name a .glb or .gltf file\n"],
        ),
        (
            &["--camera", "models/pot.glb"],
            &["models/pot.glb", "no node of the file shows a camera"],
        ),
        (&["--hero", "models/blank.glb"], &["blank.glb"]),
        (&["--hero", "models/sunk.glb"], &["--hero: "]),
    ];
    let before = dir.contents();
    for (args, says) in cases {
        let mut run = dir.run(&[&["new", "pan"], args].concat()).status(2);
        for words in says {
            run = run.stderr_has(words);
        }
        assert_eq!(dir.contents(), before, "nothing is made\n{run}");
    }
}
