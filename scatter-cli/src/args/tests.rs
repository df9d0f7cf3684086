//! Every argument has its help, and says its default.

use clap::CommandFactory;
use clap::error::ErrorKind;

use super::Cli;

#[test]
fn every_command_and_argument_has_its_help() {
    fn walk(command: &clap::Command) -> usize {
        assert!(command.get_about().is_some(), "{command} has no help");
        let mut seen = 0;
        for arg in command.get_arguments() {
            let help = arg.get_help().map(ToString::to_string).unwrap_or_default();
            assert!(help.len() > 8, "{command} {} has no help", arg.get_id());
            seen += 1;
        }
        seen + command.get_subcommands().map(walk).sum::<usize>()
    }
    let command = Cli::command();
    command.clone().debug_assert();
    assert!(walk(&command) >= 8, "the arguments are not all there");
}

#[test]
fn options_that_take_a_value_say_their_default() {
    for command in Cli::command().get_subcommands() {
        for arg in command.get_arguments().filter(|a| a.get_long().is_some()) {
            let help = arg.get_help().map(ToString::to_string).unwrap_or_default();
            assert!(
                help.contains("Default") || !arg.get_default_values().is_empty(),
                "{} {} does not say its default",
                command.get_name(),
                arg.get_id()
            );
        }
    }
}

/// What the pages write where a reader puts their own, with something to read in its place.
const PLACEHOLDERS: [(&str, &str); 8] = [
    ("SHOT", "shot.json"),
    ("NAME", "good"),
    ("FILE", "file.png"),
    ("DIR", "folder"),
    ("SHELL", "bash"),
    ("PASSES", "stones"),
    ("X,Y", "1,2"),
    ("N", "3"),
];

/// The words of a command line, up to where it goes on to another program or a file.
fn words(line: &str) -> Vec<&str> {
    let ends = ["|", ">", "#"];
    let words = line.split_whitespace().take_while(|w| !ends.contains(w));
    words
        .map(|word| {
            let known = PLACEHOLDERS.iter().find(|(name, _)| *name == word);
            known.map_or(word, |(_, instead)| *instead)
        })
        .collect()
}

#[test]
fn the_command_lines_of_the_pages_can_be_read() {
    let folder = std::path::Path::new(concat!(env!("CARGO_MANIFEST_DIR"), "/.."));
    let docs = std::fs::read_dir(folder.join("docs")).expect("the pages");
    let pages = docs.map(|entry| entry.expect("a page").path());
    let pages = pages.filter(|page| page.extension().is_some_and(|e| e == "md"));
    let mut read = [0, 0];
    for page in pages.chain([folder.join("README.md"), folder.join("examples/README.md")]) {
        let text = std::fs::read_to_string(&page).expect("a page");
        let whole = text.lines().filter_map(|line| {
            let line = line.trim_start().trim_start_matches("$ ");
            line.strip_prefix("strew ").map(|_| (line, true))
        });
        // Between single back ticks a command may be named without what it needs
        let spans = text.split('`').skip(1).step_by(2);
        let spans = spans.filter(|s| s.starts_with("strew ") && !s.contains('\n'));
        for (line, whole) in whole.chain(spans.map(|s| (s, false))) {
            // A line of prose that happens to begin with the name
            let is_block = ["    ", "$ "]
                .iter()
                .any(|mark| text.contains(&format!("{mark}{line}")));
            if whole && !is_block {
                continue;
            }
            let error = Cli::command().try_get_matches_from(words(line)).err();
            let named = |e: &clap::Error| match e.kind() {
                ErrorKind::MissingRequiredArgument => !whole,
                // An option that is named without its value
                ErrorKind::InvalidValue => {
                    !whole && words(line).last().is_some_and(|w| w.starts_with("--"))
                }
                _ => false,
            };
            let fine = error.as_ref().is_none_or(named);
            assert!(fine, "{}: {line}\n{}", page.display(), error.expect("one"));
            read[usize::from(whole)] += 1;
        }
    }
    assert!(read[0] > 20 && read[1] > 5, "{read:?} lines are too few");
}
