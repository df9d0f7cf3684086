//! What each command does when all is well, and how it says so.

#[expect(dead_code, reason = "each test program uses a part of it")]
mod harness;

use std::fs;
use std::io::Read;

use harness::Dir;
use scatter::shot::{Preset, Shot};
use scatter_tests::bad_input;

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
    let layout: serde_json::Value = serde_json::from_str(&layout).unwrap();
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
fn schema_is_the_librarys() {
    let run = Dir::new().run(&["schema"]).status(0).stderr_is("");
    let schema: serde_json::Value = serde_json::from_str(&run.stdout).unwrap();
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
