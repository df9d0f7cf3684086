//! The command line. Every argument has a help text, with its unit, range and default where it has
//! them.

use std::path::PathBuf;
use std::str::FromStr;

use clap::builder::{PossibleValuesParser, TypedValueParser};
use clap::{Args, Parser, Subcommand, ValueEnum};
use clap_complete::Shell;
use scatter::picture::{self, MOST_STOPS};
use scatter::shot::{Format, Hand, Unit, Up};

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
    /// Print nothing but errors. Default: progress on a terminal and a table at the end, on
    /// standard error
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
    /// Print the JSON Schema of shot files
    Schema,
    /// Print a completion script for a shell
    Completions(Completions),
    /// Print the manual page of a command, or write the pages of all
    Man(Man),
}

/// Arguments of `strew new`.
#[derive(Debug, Args)]
pub(crate) struct New {
    /// Folder to create; the last part of its path is the shot's name, 1 to 128 characters. It must
    /// not exist yet
    pub(crate) name: PathBuf,

    /// Preset to take passes and ground from: one of the names that `strew presets` lists
    #[arg(long, value_name = "PRESET", default_value = "river-gravel")]
    pub(crate) preset: String,

    /// glTF file (.glb, .gltf) of a hero, to stand with its own origin at the world's; may be given
    /// several times. Default: none
    #[arg(long, value_name = "FILE")]
    pub(crate) hero: Vec<PathBuf>,

    /// glTF file (.glb, .gltf) with the camera to look through. Default: a close camera of the
    /// preset's
    #[arg(long, value_name = "FILE")]
    pub(crate) camera: Option<PathBuf>,

    /// Name of the camera in the file that `--camera` names. Default: its only one
    #[arg(long, value_name = "NAME", requires = "camera")]
    pub(crate) camera_name: Option<String>,
}

/// Arguments of `strew dress`.
#[derive(Debug, Args)]
pub(crate) struct Dress {
    /// Shot file, or the folder that holds its `shot.json`
    pub(crate) shot: PathBuf,

    /// Take to lay out: the seed, a whole number from 0 to 18446744073709551615. Default: the
    /// shot's own take
    #[arg(long, value_name = "N")]
    pub(crate) take: Option<u64>,

    /// Take that the shot keeps under this name. Default: the shot's own take
    #[arg(long, value_name = "NAME", conflicts_with = "take")]
    pub(crate) kept: Option<String>,

    /// Folder to write to, created if it does not exist. Default: `out` beside the shot
    #[arg(long, value_name = "DIR")]
    pub(crate) out: Option<PathBuf>,

    /// Formats to write, separated by commas: glTF with instancing, glTF with a node per piece,
    /// OpenUSD, JSON, CSV. Default: those in the shot, or glb and json if it names none
    #[arg(long = "as", value_name = "FORMATS", value_delimiter = ',', value_parser = formats())]
    pub(crate) formats: Vec<Format>,

    /// Unit, up axis and hand of json, csv and usda, separated by commas, such as `cm,+z,left`: `m`,
    /// `cm`, `mm` or `in`; `+y` or `+z`; `right` or `left`. Default: as the shot says, or m,+y,right
    #[arg(long, value_name = "SPACE", value_delimiter = ',', value_parser = space_words())]
    pub(crate) space: Vec<SpaceWord>,

    /// What to add to glb, glb-nodes and usda, separated by commas, or none. Default: as the shot
    /// says, or the cameras
    #[arg(long, value_name = "THINGS", value_delimiter = ',')]
    pub(crate) include: Vec<Include>,

    /// How to split the pieces into files. Default: as the shot says, or not at all
    #[arg(long)]
    pub(crate) split: Option<Split>,

    /// List in the report the first and last frame in which the moving cameras see each piece.
    /// Default: as the shot says, or no list if it says nothing
    #[arg(long)]
    pub(crate) seen: bool,

    /// Keep running until interrupted, and dress again whenever the shot or a file that it names
    /// changes. Default: dress once
    #[arg(long)]
    pub(crate) watch: bool,
}

/// Reads a delivery format by the library's own names.
fn formats() -> impl TypedValueParser<Value = Format> {
    let names = PossibleValuesParser::new(Format::ALL.map(Format::name));
    names.try_map(|name| name.parse::<Format>())
}

/// A word of `--space`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum SpaceWord {
    Unit(Unit),
    Up(Up),
    Hand(Hand),
}

/// Reads a word of `--space`.
fn space_words() -> impl TypedValueParser<Value = SpaceWord> {
    let words = [
        ("m", SpaceWord::Unit(Unit::Metre)),
        ("cm", SpaceWord::Unit(Unit::Centimetre)),
        ("mm", SpaceWord::Unit(Unit::Millimetre)),
        ("in", SpaceWord::Unit(Unit::Inch)),
        ("+y", SpaceWord::Up(Up::PlusY)),
        ("+z", SpaceWord::Up(Up::PlusZ)),
        ("right", SpaceWord::Hand(Hand::Right)),
        ("left", SpaceWord::Hand(Hand::Left)),
    ];
    PossibleValuesParser::new(words.map(|(word, _)| word)).map(move |text| {
        let known = words.iter().find(|(word, _)| *word == text);
        // The parser lets no other word through
        known.map_or(SpaceWord::Unit(Unit::Metre), |(_, word)| *word)
    })
}

/// What can be added to a scene file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum Include {
    /// The cameras
    Cameras,
    /// A mesh of the ground that is seen
    Ground,
    /// The heroes
    Hero,
    /// The sun or the moon, and the lamp
    Sun,
    /// Nothing
    None,
}

/// How pieces are split into files.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum Split {
    /// A file per pass
    Passes,
    /// One file
    None,
}

/// The shot, and the take and light to show it in.
#[derive(Debug, Args)]
pub(crate) struct At {
    /// Shot file, or the folder that holds its `shot.json`
    pub(crate) shot: PathBuf,

    /// Take to lay out: the seed, a whole number from 0 to 18446744073709551615. Default: the
    /// shot's own take
    #[arg(long, value_name = "N")]
    pub(crate) take: Option<u64>,

    /// Take that the shot keeps under this name. Default: the shot's own take
    #[arg(long, value_name = "NAME", conflicts_with = "take")]
    pub(crate) kept: Option<String>,

    /// Kind of light. Default: the one in the shot, or sun if it names none
    #[arg(long)]
    pub(crate) mood: Option<Mood>,
}

/// The size and quality of a picture.
#[derive(Debug, Args)]
pub(crate) struct View {
    /// Camera of the shot to look through. Default: the first
    #[arg(long, value_name = "NAME")]
    pub(crate) camera: Option<String>,

    /// Frame of a moving camera. Default: its first
    #[arg(long, value_name = "N", allow_hyphen_values = true)]
    pub(crate) frame: Option<i64>,

    /// Width of the picture in pixels, 1 to 65536; the height follows the camera's frame
    #[arg(long, value_name = "PIXELS", default_value_t = 960, value_parser = clap::value_parser!(u32).range(1..=65536))]
    pub(crate) width: u32,

    /// Light samples per pixel, 1 to 65536; four times as many halve the noise
    #[arg(long, value_name = "N", default_value_t = 16, value_parser = clap::value_parser!(u32).range(1..=65536))]
    pub(crate) samples: u32,

    #[command(flatten)]
    pub(crate) noise: Noise,

    /// Bounces of light to trace beyond the surface that is seen, 1 to 16
    #[arg(long, value_name = "N", default_value_t = 2, value_parser = clap::value_parser!(u32).range(1..=16))]
    pub(crate) bounces: u32,

    /// Tone curve from light to the screen
    #[arg(long, default_value = "film")]
    pub(crate) tone: Tone,

    /// Exposure in stops, -10 to 10: each doubles the light; or `auto`, which brings the picture's
    /// mean to a grey card. OpenEXR keeps the light as it is
    #[arg(
        long,
        value_name = "STOPS",
        default_value = "0",
        allow_hyphen_values = true
    )]
    pub(crate) exposure: Exposure,

    /// Part of the picture to make: column and row of its upper left corner, width and height, in
    /// pixels. Default: the whole
    #[arg(long, value_name = "X,Y,W,H")]
    pub(crate) crop: Option<Crop>,
}

/// Whether a picture's noise is taken out.
#[derive(Debug, Args)]
pub(crate) struct Noise {
    /// Take the noise out, keeping edges and texture. Default: with fewer than 16 samples
    #[arg(long, overrides_with = "no_denoise")]
    denoise: bool,

    /// Leave the noise in
    #[arg(long, overrides_with = "denoise")]
    no_denoise: bool,
}

impl Noise {
    /// Samples a pixel from which a picture is left as it is unless asked: it can be judged so, and
    /// shows what many more would.
    const MANY: u32 = 16;

    /// Whether the noise of a picture of so many samples a pixel is taken out.
    pub(crate) fn is_taken_out(&self, samples: u32) -> bool {
        self.denoise || !self.no_denoise && samples < Self::MANY
    }
}

/// How bright to print.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Exposure {
    Stops(f32),
    Auto,
}

impl FromStr for Exposure {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        if text == "auto" {
            return Ok(Self::Auto);
        }
        let stops = text.parse().ok();
        match stops.filter(|s: &f32| s.abs() <= MOST_STOPS) {
            Some(stops) => Ok(Self::Stops(stops)),
            None => Err(format!(
                "stops from -{MOST_STOPS} to {MOST_STOPS}, such as -1.5, or auto"
            )),
        }
    }
}

/// A part of a picture.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Crop(pub(crate) picture::Crop);

impl FromStr for Crop {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        match whole_numbers(text)[..] {
            [x, y, width, height] => Ok(Self(picture::Crop {
                x,
                y,
                width,
                height,
            })),
            _ => Err("four whole numbers, such as 400,300,256,144".into()),
        }
    }
}

/// A pixel of a picture.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Pixel(pub(crate) [u32; 2]);

impl FromStr for Pixel {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        match whole_numbers(text)[..] {
            [x, y] => Ok(Self([x, y])),
            _ => Err("a column and a row, such as 480,300".into()),
        }
    }
}

/// The whole numbers of a list with commas; empty if any is none.
fn whole_numbers(text: &str) -> Vec<u32> {
    let numbers = text.split(',').map(|part| part.trim().parse());
    numbers.collect::<Result<_, _>>().unwrap_or_default()
}

/// Kinds of light.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum Mood {
    /// Sun in a clear sky
    Sun,
    /// Low, warm sun, at most 6 deg high
    GoldenHour,
    /// Sky covered by clouds
    Overcast,
    /// Sun just under the horizon
    Dusk,
    /// Full moon, and a warm lamp near the hero
    Night,
}

/// Tone curves.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum Tone {
    /// Soft in the highlights and the shadows, like film
    Film,
    /// Linear, clipped at white
    Plain,
}

/// Arguments of `strew look`.
#[derive(Debug, Args)]
pub(crate) struct Look {
    #[command(flatten)]
    pub(crate) at: At,

    #[command(flatten)]
    pub(crate) view: View,

    /// PNG file to write. Default: `out/look.png` beside the shot
    #[arg(long, value_name = "FILE")]
    pub(crate) out: Option<PathBuf>,

    /// Layout to show: a `layout.json` of this shot. Default: lay the shot out again
    #[arg(long, value_name = "FILE", conflicts_with = "take")]
    pub(crate) layout: Option<PathBuf>,

    /// Only passes to show, separated by commas. Default: all
    #[arg(long, value_name = "PASSES", value_delimiter = ',')]
    pub(crate) only: Vec<String>,

    /// Passes to leave out, separated by commas. Default: none
    #[arg(long, value_name = "PASSES", value_delimiter = ',')]
    pub(crate) without: Vec<String>,

    /// Passes to show before and after, separated by commas: two pictures side by side, without
    /// them and with them. Default: none
    #[arg(long, value_name = "PASSES", value_delimiter = ',', conflicts_with_all = ["hours", "exr"])]
    pub(crate) before_after: Vec<String>,

    /// Clock hours to show the take at, 0 to 24, separated by commas; the shot's light gives place
    /// and date. Default: the shot's own light
    #[arg(long, value_name = "HOURS", value_delimiter = ',', conflicts_with_all = ["layout", "exr"])]
    pub(crate) hours: Vec<f64>,

    /// Number of frames to show on one sheet, 2 to 100, spread evenly from the first of a moving
    /// camera to its last. Default: one picture
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(2..=100),
        conflicts_with_all = ["frame", "hours", "before_after", "exr"])]
    pub(crate) strip: Option<u32>,

    /// OpenEXR file to write as well: 16-bit light, depth, a matte per pass, and the pieces' ids.
    /// Default: none
    #[arg(long, value_name = "FILE")]
    pub(crate) exr: Option<PathBuf>,

    /// Keep running until interrupted, and make the picture again whenever the shot or a file that
    /// it names changes. Default: make it once
    #[arg(long, conflicts_with_all = ["layout", "hours", "strip", "before_after"])]
    pub(crate) watch: bool,
}

/// Arguments of `strew at`.
#[derive(Debug, Args)]
pub(crate) struct PixelAt {
    #[command(flatten)]
    pub(crate) at: At,

    /// Pixel of the picture: column and row, counted from 0 at the upper left
    #[arg(value_name = "X,Y")]
    pub(crate) pixel: Pixel,

    /// Camera of the shot to look through. Default: the first
    #[arg(long, value_name = "NAME")]
    pub(crate) camera: Option<String>,

    /// Frame of a moving camera. Default: its first
    #[arg(long, value_name = "N", allow_hyphen_values = true)]
    pub(crate) frame: Option<i64>,

    /// Width in pixels of the picture that the pixel belongs to, 1 to 65536
    #[arg(long, value_name = "PIXELS", default_value_t = 960, value_parser = clap::value_parser!(u32).range(1..=65536))]
    pub(crate) width: u32,

    /// Layout that is shown: a `layout.json` of this shot. Default: lay the shot out again
    #[arg(long, value_name = "FILE", conflicts_with = "take")]
    pub(crate) layout: Option<PathBuf>,
}

/// Arguments of `strew kit`.
#[derive(Debug, Args)]
pub(crate) struct Kit {
    /// glTF files (.glb, .gltf), and folders of them: at least one, unless `--grown` is given
    pub(crate) paths: Vec<PathBuf>,

    /// List the kinds that are grown without a file: what each is for, its size, how it lies.
    /// Default: inspect files
    #[arg(long, conflicts_with = "paths")]
    pub(crate) grown: bool,

    /// Folder to write `kit.json` and `kit.png` to, with `--grown` only `kit.png`; created if it
    /// does not exist. Default: none, only the table
    #[arg(long, value_name = "DIR")]
    pub(crate) out: Option<PathBuf>,

    /// Width of each small picture in `kit.png` in pixels, 16 to 4096
    #[arg(long, value_name = "PIXELS", default_value_t = 240, value_parser = clap::value_parser!(u32).range(16..=4096))]
    pub(crate) width: u32,
}

/// Arguments of `strew takes`.
#[derive(Debug, Args)]
pub(crate) struct Takes {
    #[command(flatten)]
    pub(crate) at: At,

    /// Number of takes to show, 1 to 400
    #[arg(long, value_name = "N", default_value_t = 12, value_parser = clap::value_parser!(u32).range(1..=400))]
    pub(crate) count: u32,

    /// First take to show. Default: 1, or with `--hold` the take after the shot's own
    #[arg(long, value_name = "N")]
    pub(crate) from: Option<u64>,

    /// Passes to hold while the others change, separated by commas; passes that they refer to are
    /// held with them. Default: none
    #[arg(long, value_name = "PASSES", value_delimiter = ',')]
    pub(crate) hold: Vec<String>,

    /// Camera of the shot to look through. Default: the first
    #[arg(long, value_name = "NAME")]
    pub(crate) camera: Option<String>,

    /// Width of each small picture in pixels, 16 to 4096
    #[arg(long, value_name = "PIXELS", default_value_t = 320, value_parser = clap::value_parser!(u32).range(16..=4096))]
    pub(crate) width: u32,

    /// Light samples per pixel, 1 to 65536
    #[arg(long, value_name = "N", default_value_t = 4, value_parser = clap::value_parser!(u32).range(1..=65536))]
    pub(crate) samples: u32,

    #[command(flatten)]
    pub(crate) noise: Noise,

    /// Also make pieces that are too small for the small pictures. Default: pieces smaller than one
    /// of their pixels are left out, and nothing lies on them
    #[arg(long)]
    pub(crate) full: bool,

    /// PNG file to write. Default: `out/takes.png` beside the shot
    #[arg(long, value_name = "FILE")]
    pub(crate) out: Option<PathBuf>,
}

/// Arguments of `strew plan`.
#[derive(Debug, Args)]
pub(crate) struct Plan {
    #[command(flatten)]
    pub(crate) at: At,

    /// Width of the ground to draw in metres, 0.01 to 200000, centred on what the first camera
    /// looks at. Default: all that is laid
    #[arg(long, value_name = "METRES")]
    pub(crate) across: Option<f64>,

    /// Width of the PNG file in pixels, 200 to 8192
    #[arg(long, value_name = "PIXELS", default_value_t = 1200, value_parser = clap::value_parser!(u32).range(200..=8192))]
    pub(crate) width: u32,

    /// File to write, without its extension: `.svg` and `.png` are added. Default: `out/plan`
    /// beside the shot
    #[arg(long, value_name = "FILE")]
    pub(crate) out: Option<PathBuf>,
}

/// Arguments of `strew compare`.
#[derive(Debug, Args)]
pub(crate) struct Compare {
    /// First layout: a `layout.json`
    pub(crate) first: PathBuf,

    /// Second layout: a `layout.json`
    pub(crate) second: PathBuf,

    /// Distance that a piece may have moved and still count as the same, in metres
    #[arg(long, value_name = "METRES", default_value_t = 1e-4)]
    pub(crate) moved: f64,

    /// Angle that a piece may have turned and still count as the same, in degrees
    #[arg(long, value_name = "DEGREES", default_value_t = 0.1)]
    pub(crate) turned: f64,

    /// Change of size that still counts as the same, as a share of the piece's size
    #[arg(long, value_name = "SHARE", default_value_t = 1e-3)]
    pub(crate) scaled: f64,

    /// Maximum number of pieces to list one by one
    #[arg(long, value_name = "N", default_value_t = 20)]
    pub(crate) list: usize,

    /// File to draw a plan of the differences to, .png or .svg. Default: none
    #[arg(long, value_name = "FILE")]
    pub(crate) out: Option<PathBuf>,

    /// Width of the plan in pixels, 200 to 8192
    #[arg(long, value_name = "PIXELS", default_value_t = 1200, value_parser = clap::value_parser!(u32).range(200..=8192))]
    pub(crate) width: u32,
}

/// Arguments of `strew presets`.
#[derive(Debug, Args)]
pub(crate) struct Presets {
    /// Preset to print as JSON. Default: list all, one per line
    pub(crate) name: Option<String>,
}

/// Arguments of `strew completions`.
#[derive(Debug, Args)]
pub(crate) struct Completions {
    /// Shell to print the script for
    pub(crate) shell: Shell,
}

/// Arguments of `strew man`.
#[derive(Debug, Args)]
pub(crate) struct Man {
    /// Command whose page is printed, such as `dress`. Default: strew's own page
    pub(crate) command: Option<String>,

    /// Folder to write the pages of all commands to, created if it does not exist: `strew.1`,
    /// `strew-dress.1` and so on. Default: none, one page on standard output
    #[arg(long, value_name = "DIR", conflicts_with = "command")]
    pub(crate) out: Option<PathBuf>,
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
