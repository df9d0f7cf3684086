//! Layers: whatever is laid on the ground or hung over it, one after the other.

use serde::Serialize;

use super::hand::Pin;
use super::pass::Pass;
use crate::color::LayerTone;
use crate::shot::{GRAINS, HeroLight, Kind, names_file};
use crate::size::SizeLaw;

/// Index of a layer in `Brief::layers`, and of its record in `Layout::passes`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize)]
pub struct LayerIndex(u16);

impl LayerIndex {
    /// The layer at index `number`; a checked shot gives at most 1,003 layers.
    #[must_use]
    pub const fn new(number: u16) -> Self {
        Self(number)
    }

    /// The layer at a position in a list; positions beyond 65,535 count as 65,535.
    #[must_use]
    pub fn of(position: usize) -> Self {
        Self(u16::try_from(position).unwrap_or(u16::MAX))
    }
}

impl From<LayerIndex> for usize {
    fn from(index: LayerIndex) -> Self {
        Self::from(index.0)
    }
}

impl From<LayerIndex> for u16 {
    fn from(index: LayerIndex) -> Self {
        index.0
    }
}

/// A layer.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Layer {
    /// Its name, unique in the brief; it seeds its random streams.
    pub name: String,
    /// The take at which it is held; None to follow the brief's take.
    pub held: Option<u64>,
    /// What colours its pieces take, which decides no place; None for their own. Pieces from files
    /// keep their own, and so does what is no stone.
    pub tone: Option<LayerTone>,
    /// What it is.
    pub kind: LayerKind,
}

/// What a layer is.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub enum LayerKind {
    /// Pieces that lie on the ground.
    Pass(Box<Pass>),
    /// Pieces put in their places by hand; they are laid before all passes.
    Pins(Vec<Pin>),
    /// Ground texture of small dense tiles.
    Carpet(Carpet),
    /// Leaves outside the frame that dapple the light.
    Shade(Shade),
}

impl Layer {
    /// A layer that goes with the brief's take.
    #[must_use]
    pub fn new(name: impl Into<String>, kind: LayerKind) -> Self {
        Self {
            name: name.into(),
            held: None,
            tone: None,
            kind,
        }
    }

    /// What seeds its random streams and marks its ids, when the brief is at `take`.
    pub(crate) fn streams(&self, take: u64) -> crate::random::Streams {
        crate::random::Streams::of(self.take(take), &self.name)
    }

    /// The take that it uses when the brief is at `take`.
    #[must_use]
    pub fn take(&self, take: u64) -> u64 {
        self.held.unwrap_or(take)
    }

    /// The files that it names.
    pub(super) fn files(&self) -> Vec<&str> {
        match &self.kind {
            LayerKind::Pass(pass) => {
                let pieces = pass.pieces.iter().map(String::as_str);
                let masks = pass.masks().map(|(_, m)| m.file.as_str());
                pieces.filter(|n| names_file(n)).chain(masks).collect()
            }
            LayerKind::Pins(pins) => {
                let pieces = pins.iter().map(|p| p.piece.as_str());
                pieces.filter(|n| names_file(n)).collect()
            }
            LayerKind::Carpet(carpet) => carpet.file().into_iter().collect(),
            LayerKind::Shade(_) => Vec::new(),
        }
    }
}

/// Ground texture of small dense tiles.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Carpet {
    /// Distance between the middles of neighbouring tiles, metres.
    pub tile: f64,
    /// What the tiles are made of.
    pub grains: Grains,
}

/// What the tiles of a carpet are made of.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub enum Grains {
    /// Grains that are grown.
    Grown {
        /// Their kinds, each as likely as the others.
        kinds: Vec<String>,
        /// Their sizes.
        sizes: SizeLaw,
        /// How many different tiles there are.
        variants: u32,
    },
    /// A patch of ground in a glTF file.
    Patch(String),
}

impl Carpet {
    /// Kinds that grains can be grown as.
    pub const KINDS: [&'static str; 4] = GRAINS;

    /// The file that its tiles are read from, if there is one.
    #[must_use]
    pub fn file(&self) -> Option<&str> {
        match &self.grains {
            Grains::Grown { .. } => None,
            Grains::Patch(file) => Some(file),
        }
    }

    /// Whether it is grown of stones.
    #[must_use]
    pub fn grows_stones(&self) -> bool {
        match &self.grains {
            Grains::Grown { kinds, .. } => {
                let kinds = kinds.iter().filter_map(|name| Kind::named(name));
                kinds.into_iter().any(Kind::is_stone)
            }
            Grains::Patch(_) => false,
        }
    }
}

/// Leaves outside the frame that dapple the light. Metres.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Shade {
    /// Share of the sun's disc that the leaves leave free, mean over the framed ground,
    /// 0.02..=0.9.
    pub lit: f64,
    /// Mean width of the sun flecks on the ground, square to the sun's azimuth: at least
    /// `softness`, to 1.
    pub fleck: f64,
    /// Width of a shadow's edge, measured square to the sun's rays, 0.004..=0.5.
    pub softness: f64,
    /// What falls on the hero.
    pub hero: HeroLight,
}
