//! The command line. Every argument has a help text, with its unit, range and default where it has
//! them.

mod chosen;
mod compare;
mod dress;
mod kit;
mod look;
mod new;
mod pixel;
mod plan;
mod print;
mod takes;
#[cfg(test)]
mod tests;
mod values;
mod view;

use clap::{Parser, Subcommand};

pub(crate) use chosen::{Chosen, Mood};
pub(crate) use compare::Compare;
pub(crate) use dress::{Dress, Include, SpaceWord, Split};
pub(crate) use kit::Kit;
pub(crate) use look::Look;
pub(crate) use new::New;
pub(crate) use pixel::PixelAt;
pub(crate) use plan::Plan;
pub(crate) use print::{Completions, Man, Presets, Schema};
pub(crate) use takes::Takes;
pub(crate) use view::{Exposure, Tone};

/// Dress the ground in front of a camera.
///
/// A shot is a JSON file: cameras, ground, hero, light, and the passes of stones, leaves, twigs and
/// tufts that dress the ground. `strew new` writes one to start from; `strew dress` lays it out
/// and delivers it as glTF, OpenUSD, JSON and CSV.
#[derive(Debug, Parser)]
#[command(
    name = "strew",
    version,
    max_term_width = 100,
    arg_required_else_help = true
)]
#[command(after_help = "Exit status: 0 done, 1 failed (disk, system), 2 bad input, 3 over budget.")]
pub(crate) struct Cli {
    /// Print nothing but what was asked for, warnings of removed files, and errors. Default: also
    /// progress on a terminal and what came of it, on standard error
    #[arg(long, short, global = true)]
    pub(crate) quiet: bool,

    /// What to do
    #[command(subcommand)]
    pub(crate) command: Command,
}

/// The commands.
#[derive(Debug, Subcommand)]
pub(crate) enum Command {
    /// Create a folder with a shot that is ready to dress
    New(New),
    /// Lay out a shot and deliver it
    Dress(Dress),
    /// Render a shot through its camera, ray-traced, as a PNG file
    Look(Look),
    /// Tell what stands at a pixel of the picture: pass, piece, size, id, and the lines that pin it
    /// or take it away
    At(PixelAt),
    /// Show several takes of a shot side by side on one sheet
    Takes(Takes),
    /// Draw a shot's ground from straight above, to scale, as SVG and PNG
    Plan(Plan),
    /// List what differs between two layouts, by pass and piece; exit status 0 the same, 1
    /// different, 2 trouble
    Compare(Compare),
    /// Inspect glTF files as pieces: a table of what they hold and what is wrong with them; or list
    /// the kinds that are grown without a file
    Kit(Kit),
    /// List the presets, or print one
    Presets(Presets),
    /// Print the JSON Schema of shot files, or what one part of a shot may hold
    Schema(Schema),
    /// Print a completion script for a shell
    Completions(Completions),
    /// Print the manual page of a command, or write the pages of all
    Man(Man),
}
