//! What was asked of a layer, and what came of it.

use std::fmt;

use crate::carpet;
use crate::shade;

/// Asked and got. For a pass, everything but `placed` and the triangles is counted on the ground
/// that the frames show, for the sizes that they resolve there; `thrown` is the sum of `laid` and
/// all `refused`.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Tally {
    /// Pieces asked for where the pass may lie, with its fields applied.
    pub asked: u64,
    /// Darts thrown to get them: pieces that were tried at a place.
    pub thrown: u64,
    /// Pieces that lie.
    pub laid: u64,
    /// Pieces refused, by reason; reasons with no pieces are left out.
    pub refused: Vec<(Refused, u64)>,
    /// The shown ground of the octave that is shown on the most, square metres; 0 for what is no
    /// pass.
    pub ground: f64,
    /// Cover asked for, 0..=1, averaged over the shown ground; 0 for pins, which ask for none. For
    /// the shade, the share of the sun that it is to keep off.
    pub cover_asked: f64,
    /// Cover got, 0..=1, in the same terms.
    pub cover: f64,
    /// What is short of it.
    pub shortfall: Option<Shortfall>,
    /// Pieces in the layout, including those that only throw a shadow into a frame.
    pub placed: u64,
    /// Triangles of all placed pieces, in the versions that they are placed in.
    pub triangles: u64,
    /// Triangles that they would have in full.
    pub full_triangles: u64,
    /// Its tiles, if the pass is the shot's carpet.
    pub carpet: Option<carpet::Figures>,
    /// The light, if the pass is the shot's shade.
    pub shade: Option<shade::Figures>,
}

impl Tally {
    /// Whether the layer is the shot's carpet or shade, not pieces that lie on the ground one by
    /// one.
    #[must_use]
    pub fn is_of_shot(&self) -> bool {
        self.carpet.is_some() || self.shade.is_some()
    }
}

/// Why a piece that was thrown is not laid.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Refused {
    /// It met larger pieces of its own pass, or would have been hidden under one.
    NoRoom,
    /// It met what the pass keeps clear of.
    KeptClear,
    /// It would not stay where it fell.
    Slides,
    /// It would have cut into what lies beside it.
    CutsIn,
    /// It was taken away by hand.
    Removed,
    /// Of the shade: it would have been seen in a frame.
    InFrame,
    /// Of the shade: it would have shaded the hero.
    ShadesHero,
}

impl Refused {
    /// All of them.
    pub const ALL: [Self; 7] = [
        Self::NoRoom,
        Self::KeptClear,
        Self::Slides,
        Self::CutsIn,
        Self::Removed,
        Self::InFrame,
        Self::ShadesHero,
    ];

    /// The word for it in files.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::NoRoom => "no-room",
            Self::KeptClear => "kept-clear",
            Self::Slides => "slides",
            Self::CutsIn => "cuts-in",
            Self::Removed => "removed",
            Self::InFrame => "in-frame",
            Self::ShadesHero => "shades-hero",
        }
    }
}

/// A pass that got less than it asked, with what to do about it.
#[derive(Debug, Clone, PartialEq)]
pub struct Shortfall {
    /// Share of the cover asked that is missing, 0..=1.
    pub share: f64,
    /// The main reason; None where there are so few pieces that it may be chance.
    pub because: Option<Refused>,
    /// Whether what is full are the pass's clumps.
    pub clumped: bool,
    /// What would help, in the words of the shot's keys.
    pub cure: String,
}

/// A share of the cover that is missing from which on it is told at the end of a command, and not
/// in the report alone: less is hard to see in a picture (by eye, no source).
const TOLD: f64 = 0.1;

impl Shortfall {
    /// Whether a person should be told: much is missing, and not by chance.
    #[must_use]
    pub fn matters(&self) -> bool {
        self.because.is_some() && self.share >= TOLD
    }
}

impl fmt::Display for Shortfall {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let percent = 100.0 * self.share;
        write!(f, "covers {percent:.0} % less than asked")?;
        let because = match self.because {
            Some(Refused::NoRoom) if self.clumped => "its clumps are full",
            Some(Refused::NoRoom) => "the ground is full",
            Some(Refused::KeptClear) => "what it keeps clear of is in the way",
            Some(Refused::Slides) => "pieces slide off what they lie on",
            Some(Refused::CutsIn) => "pieces would cut into what lies beside them",
            Some(Refused::Removed) => "pieces were taken away",
            Some(Refused::InFrame) => "leaves would be seen",
            Some(Refused::ShadesHero) => "leaves would shade the hero",
            None => return write!(f, ": with so few pieces, chance decides; {}", self.cure),
        };
        write!(f, " because {because}; {}", self.cure)
    }
}
