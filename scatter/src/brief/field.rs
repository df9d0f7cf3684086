//! Where a pass gathers, and what it keeps to.

use serde::Serialize;

use super::layer::LayerIndex;
use crate::shot::Fade;

/// A field from 0 to 1; those of a pass multiply.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub enum Field {
    /// In patches of fractal noise.
    Patches {
        /// What tells these patches from others of the pass: their streams hang on it.
        name: String,
        /// Length of the largest patches, metres.
        feature: f64,
        /// Share of the ground at full strength, 0..=1.
        fill: f64,
        /// Strength of each finer octave over the one before, 0..=1.
        roughness: f64,
    },
    /// On slopes between two angles, radians.
    Slope {
        /// The least.
        from: f64,
        /// The greatest.
        to: f64,
    },
    /// Where the ground lies under its mean height within a radius, metres.
    Hollows {
        /// The radius.
        radius: f64,
    },
    /// Where the ground lies over its mean height within a radius, metres.
    Crests {
        /// The radius.
        radius: f64,
    },
    /// As what lies there already says.
    Related(Related),
    /// Not where, but who: finer pieces in hollows, coarser ones on crests.
    Grade {
        /// Radius that the mean height is taken over, metres.
        radius: f64,
        /// Median size in hollows over that on crests, above 0, to 1.
        ratio: f64,
    },
    /// As strong as an image says.
    Mask(Mask),
}

/// How a pass stands to the heroes or to an earlier pass.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Related {
    /// What it wants.
    pub manner: Manner,
    /// What it refers to.
    pub to: Other,
    /// Distance from an outline in plan, metres.
    pub within: f64,
    /// The smallest piece that counts.
    pub smallest: Smallest,
}

/// What a relation refers to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub enum Other {
    /// All heroes.
    Heroes,
    /// The pieces of an earlier pass.
    Pass(LayerIndex),
}

/// What a pass wants of what lies already.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub enum Manner {
    /// Full strength at an edge, falling off up to the distance.
    Near {
        /// Diameters of what is near that add to the distance.
        diameters: f64,
        /// How the strength falls off.
        fade: Fade,
        /// Strength beyond the distance.
        elsewhere: f64,
    },
    /// Nothing nearer than the distance.
    ClearOf,
    /// In the gaps: two edges within the distance.
    Between,
    /// Full strength in the lee of something.
    LeeOf {
        /// Unit direction in plan (x, z) that the wind blows to.
        downwind: [f64; 2],
        /// Heights of what shelters after which shelter ends.
        heights: f64,
        /// Strength in the open.
        elsewhere: f64,
    },
}

impl Manner {
    /// The keys of the document that ask for it, and that say how far it looks.
    #[must_use]
    pub fn keys(&self) -> [&'static str; 2] {
        match self {
            Self::Near { .. } => ["near", "within"],
            Self::ClearOf => ["clear_of", "within"],
            Self::Between => ["between", "within"],
            Self::LeeOf { .. } => ["lee_of", "heights"],
        }
    }
}

/// The smallest diameter that a relation looks at.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub enum Smallest {
    /// Share of the asking piece's own diameter.
    Share(f64),
    /// A diameter in metres.
    Diameter(f64),
}

impl Default for Smallest {
    fn default() -> Self {
        crate::shot::Smallest::default().into()
    }
}

impl Smallest {
    /// The smallest diameter that counts for a piece of `diameter`, metres.
    #[must_use]
    pub fn metres(self, diameter: f64) -> f64 {
        match self {
            Self::Share(share) => share * diameter,
            Self::Diameter(metres) => metres,
        }
    }
}

/// An image of strengths.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Mask {
    /// PNG or OpenEXR, relative to the shot's folder.
    pub file: String,
    /// Where it lies.
    pub lies: MaskPlace,
    /// Strength where it is black, 0..=1.
    pub black: f64,
    /// Strength where it is white, 0..=1.
    pub white: f64,
    /// Strength beyond the image, 0..=1.
    pub outside: f64,
}

/// Where an image of strengths lies.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub enum MaskPlace {
    /// On the plan: its middle and its size along x and z, metres.
    Plan {
        /// Its middle.
        middle: [f64; 2],
        /// Its size.
        extent: [f64; 2],
    },
    /// Painted over the frame of the camera of this name, in its first frame.
    Frame(String),
}
