//! What can be typed. Every argument has its help, with unit, range and default where it has them.

use std::path::PathBuf;

use clap::{Args, Parser, Subcommand, ValueEnum};
use clap_complete::Shell;

/// Dress the ground in front of a lens.
///
/// A shot is a JSON file: cameras, ground, hero, light, and the passes of stones, leaves, twigs and tufts that dress
/// it. `scatter new` writes one to start from, `scatter dress` lays it out and delivers it as glTF and JSON.
#[derive(Debug, Parser)]
#[command(
    name = "scatter",
    version,
    max_term_width = 100,
    arg_required_else_help = true
)]
#[command(after_help = "Exit status: 0 done, 1 failed (disk, system), 2 bad input, 3 over budget.")]
pub(crate) struct Cli {
    /// Say nothing but errors. Default: progress on a terminal and a table at the end, on standard error
    #[arg(long, short, global = true)]
    pub(crate) quiet: bool,

    /// What to do
    #[command(subcommand)]
    pub(crate) command: Command,
}

/// The commands.
#[derive(Debug, Subcommand)]
pub(crate) enum Command {
    /// Write a folder with a shot that dresses as it stands
    New(New),
    /// Lay out a shot and deliver it
    Dress(Dress),
    /// List the presets, or print one
    Presets(Presets),
    /// Print the JSON Schema of shot files
    Schema,
    /// Print a completion script for a shell
    Completions(Completions),
}

/// Arguments of `scatter new`.
#[derive(Debug, Args)]
pub(crate) struct New {
    /// Folder to make; its last part is the shot's name, 1 to 128 characters. It must not be there yet
    pub(crate) name: PathBuf,

    /// Passes and ground to start from: one of the names that `scatter presets` lists
    #[arg(long, value_name = "PRESET", default_value = "river-gravel")]
    pub(crate) preset: String,
}

/// Arguments of `scatter dress`.
#[derive(Debug, Args)]
pub(crate) struct Dress {
    /// Shot file, or the folder that holds its `shot.json`
    pub(crate) shot: PathBuf,

    /// Take to lay out: the seed, a whole number from 0 to 18446744073709551615. Default: the one in the shot
    #[arg(long, value_name = "N")]
    pub(crate) take: Option<u64>,

    /// Folder to write into, made if it is not there. Default: `out` beside the shot
    #[arg(long, value_name = "DIR")]
    pub(crate) out: Option<PathBuf>,

    /// Formats to write, separated by commas. Default: those in the shot, which are glb and json unless it says otherwise
    #[arg(long = "as", value_name = "FORMATS", value_delimiter = ',')]
    pub(crate) formats: Vec<Format>,
}

/// Delivery formats.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum Format {
    /// `layout.glb`: glTF 2.0 with instancing
    Glb,
    /// `layout.json`: every piece's transform as text
    Json,
}

/// Arguments of `scatter presets`.
#[derive(Debug, Args)]
pub(crate) struct Presets {
    /// Preset to print as JSON. Default: list all, a line each
    pub(crate) name: Option<String>,
}

/// Arguments of `scatter completions`.
#[derive(Debug, Args)]
pub(crate) struct Completions {
    /// Shell to complete for
    pub(crate) shell: Shell,
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::CommandFactory;

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
}
