//! The table of kinds: how each grows, what it is made of, and how it lies.

use crate::brief::Lies;
use crate::shot::Kind;

use super::work_mesh::WorkMesh;
use super::{bark, leaf, spray, stone, tuft, twig};

/// All that the tool knows of a kind but its name.
pub(crate) struct KindRow {
    /// What it is and what it is for, in a line: for people, here and in the documentation.
    about: &'static str,
    /// How many variants of it a kit holds. Stones have the most: they lie side by side by the
    /// thousand, and differ the most.
    pub(crate) variants: u32,
    /// Grows a variant: its mesh, and the cosine of the smallest angle between two faces at which
    /// their edge is a crease.
    pub(super) grow: fn(u32) -> (WorkMesh, f64),
    /// How its pieces come to lie.
    pub(crate) lies: Lies,
    /// What its surface is.
    pub(crate) surface: Surface,
    /// Roughness of its material, 0..=1. This and translucency: common practice, no source.
    pub(super) roughness: f32,
    /// Share of the light that comes through, 0..=1.
    pub(super) translucency: f32,
    /// Whether it is a sheet, seen from either side.
    pub(super) double_sided: bool,
}

/// What the surface of a grown piece is, close up.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Surface {
    /// Stone broken along planes.
    BrokenStone,
    /// Stone worn round.
    WornStone,
    /// A fallen leaf.
    Leaf,
    /// Wood and bark.
    Wood,
    /// Blades and leaves too narrow, or too far from the lens, to show more than their colour.
    Plain,
}

const STONES: u32 = 36;
const OTHERS: u32 = 12;

const ROCK: KindRow = KindRow {
    about: "broken stone, angular: scree, rubble, desert pavement, blocks",
    variants: STONES,
    grow: |variant| stone::grow(Kind::Rock, variant),
    lies: Lies::Rigid,
    surface: Surface::BrokenStone,
    roughness: 0.92,
    translucency: 0.0,
    double_sided: false,
};

const COBBLE: KindRow = KindRow {
    about: "river-worn stone, some flat faces left: gravel bars, stream beds",
    grow: |variant| stone::grow(Kind::Cobble, variant),
    surface: Surface::WornStone,
    roughness: 0.78,
    ..ROCK
};

const PEBBLE: KindRow = KindRow {
    about: "well-rounded stone: gravel, shingle, grit",
    grow: |variant| stone::grow(Kind::Pebble, variant),
    roughness: 0.66,
    ..COBBLE
};

const LEAF: KindRow = KindRow {
    about: "fallen leaf with its stalk: litter under broad-leaved trees",
    variants: OTHERS,
    grow: leaf::grow,
    lies: Lies::Sheet,
    surface: Surface::Leaf,
    roughness: 0.70,
    translucency: 0.25,
    double_sided: true,
};

const TWIG: KindRow = KindRow {
    about: "dead twig, often forked: forest floors, drift on gravel bars",
    variants: OTHERS,
    grow: twig::grow,
    lies: Lies::Rigid,
    surface: Surface::Wood,
    roughness: 0.88,
    translucency: 0.0,
    double_sided: false,
};

const TUFT: KindRow = KindRow {
    about: "tuft of grass: growth at stone edges, in gaps, in the light",
    variants: OTHERS,
    grow: tuft::grow,
    lies: Lies::Rooted,
    surface: Surface::Plain,
    roughness: 0.62,
    translucency: 0.35,
    double_sided: true,
};

const BARK_FLAKE: KindRow = KindRow {
    about: "flake of bark, outer side up: under old trees and round logs",
    grow: bark::grow,
    roughness: 0.95,
    ..TWIG
};

const SPRAY: KindRow = KindRow {
    about: "leafy end of a branch: what shade hangs in the sun, windfall",
    grow: spray::grow,
    lies: Lies::Rigid,
    roughness: 0.60,
    ..TUFT
};

impl Kind {
    /// What the tool knows of it.
    pub(crate) fn row(self) -> &'static KindRow {
        match self {
            Self::Rock => &ROCK,
            Self::Cobble => &COBBLE,
            Self::Pebble => &PEBBLE,
            Self::Leaf => &LEAF,
            Self::Twig => &TWIG,
            Self::Tuft => &TUFT,
            Self::BarkFlake => &BARK_FLAKE,
            Self::Spray => &SPRAY,
        }
    }

    /// What it is and what it is for, in a line.
    #[must_use]
    pub fn about(self) -> &'static str {
        self.row().about
    }

    /// How many variants of it a kit holds.
    #[must_use]
    pub fn variants(self) -> u32 {
        self.row().variants
    }

    /// How its pieces come to lie.
    #[must_use]
    pub fn lies(self) -> Lies {
        self.row().lies
    }
}
