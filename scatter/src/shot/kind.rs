//! The kinds of piece that grow without any file.

/// What a grown piece is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Kind {
    /// Angular broken rock, b-axis about 150 mm.
    Rock,
    /// River-worn stone, b-axis about 120 mm; flat faces of the rock it broke from still show.
    Cobble,
    /// Rounded pebble, b-axis about 20 mm.
    Pebble,
    /// Fallen leaf with its stalk, blade 20 to 60 mm wide.
    Leaf,
    /// Dead twig, 80 to 250 mm long, often forked.
    Twig,
    /// Tuft of grass, 60 to 250 mm tall, upright; its blades start up to 4 mm under y = 0.
    Tuft,
    /// Flake of bark, 15 to 60 mm wide, outer side up.
    BarkFlake,
    /// Leafy end of a branch, 250 to 450 mm long, its leaves spread in a plane: what casts dappled
    /// light.
    Spray,
}

impl Kind {
    /// Every kind, in a fixed order.
    pub const ALL: [Self; 8] = [
        Self::Rock,
        Self::Cobble,
        Self::Pebble,
        Self::Leaf,
        Self::Twig,
        Self::Tuft,
        Self::BarkFlake,
        Self::Spray,
    ];

    /// The kind's name in text.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Rock => "rock",
            Self::Cobble => "cobble",
            Self::Pebble => "pebble",
            Self::Leaf => "leaf",
            Self::Twig => "twig",
            Self::Tuft => "tuft",
            Self::BarkFlake => "bark-flake",
            Self::Spray => "spray",
        }
    }

    /// Whether it is stone.
    #[must_use]
    pub const fn is_stone(self) -> bool {
        match self {
            Self::Rock | Self::Cobble | Self::Pebble => true,
            Self::Leaf | Self::Twig | Self::Tuft | Self::BarkFlake | Self::Spray => false,
        }
    }

    /// The kind of that name, if there is one.
    #[must_use]
    pub fn named(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.name() == name)
    }
}

/// The names of all kinds.
pub const KINDS: [&str; Kind::ALL.len()] = {
    let mut names = [""; Kind::ALL.len()];
    let mut i = 0;
    while i < names.len() {
        names[i] = Kind::ALL[i].name();
        i += 1;
    }
    names
};
