//! `strew dress`.

use std::path::PathBuf;

use clap::builder::{PossibleValuesParser, TypedValueParser};
use clap::{Args, ValueEnum};
use scatter::shot::{Format, Hand, Unit, Up};

use super::values::take;

/// Arguments of `strew dress`.
#[derive(Debug, Args)]
pub(crate) struct Dress {
    /// Shot file, or the folder that holds its `shot.json`
    pub(crate) shot: PathBuf,

    /// Take to lay out: the seed, a whole number from 0 to 18446744073709551615. Default: the
    /// shot's own take
    #[arg(long, value_name = "N", allow_negative_numbers = true, value_parser = take)]
    pub(crate) take: Option<u64>,

    /// Take that the shot keeps under this name. Default: the shot's own take
    #[arg(long, value_name = "NAME", conflicts_with = "take")]
    pub(crate) kept: Option<String>,

    /// Folder to write to, created if it does not exist; files of the last delivery there that this
    /// one does not write are deleted. Default: `out` beside the shot
    #[arg(long, value_name = "DIR")]
    pub(crate) out: Option<PathBuf>,

    /// Formats to write, separated by commas: glTF with instancing, glTF with a node per piece,
    /// OpenUSD, JSON, CSV. Default: those in the shot, or glb and json if it names none
    #[arg(long = "as", value_name = "FORMATS", value_delimiter = ',', value_parser = formats())]
    pub(crate) formats: Vec<Format>,

    /// Unit, up axis and hand of json, csv and usda, separated by commas, such as `cm,+z,left`: `m`,
    /// `cm`, `mm` or `in`; `+y` or `+z`; `right` or `left`. glTF stays in metres, +y up. Default: as the shot says, or m,+y,right
    #[arg(long, value_name = "SPACE", value_delimiter = ',', value_parser = space_words())]
    pub(crate) space: Vec<SpaceWord>,

    /// What glb, glb-nodes and usda hold beside the pieces, separated by commas, in place of what
    /// the shot says; or none. Default: as the shot says, or the cameras
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
