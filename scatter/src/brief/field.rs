//! Fields: where a pass gathers.

use serde::Serialize;

use super::layer::LayerIndex;
use super::scene::LineIndex;
use crate::shot::{self, Fade, Gather, LineSide};
use crate::units::Length;

/// A strength at each place, from 0 to 1; the fields of a pass multiply. [`Field::Grade`] alone
/// shifts sizes instead.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub enum Field {
    /// In patches of fractal noise.
    Patches {
        /// Name that tells these patches from others of the pass; it seeds their random streams.
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
    /// By what lies near: heroes, or pieces of an earlier pass.
    Related(Related),
    /// Shifts sizes, not strength: finer pieces in hollows, coarser ones on crests.
    Grade {
        /// Radius that the mean height is taken over, metres.
        radius: f64,
        /// Median size in hollows over that on crests, above 0, to 1.
        ratio: f64,
    },
    /// Along a line of the ground, or between two.
    Along(Along),
    /// Strength from an image.
    Mask(Mask),
}

impl Field {
    /// A field of a document's pass; None where it refers to heroes and there are none. `patches`
    /// counts the patches that the document does not name, `refers` finds what a name refers to,
    /// `line` the line of a name.
    pub(super) fn of(
        gather: &Gather,
        patches: &mut u32,
        refers: impl Fn(&str) -> Option<RelationTarget>,
        line: impl Fn(&str) -> Option<LineIndex>,
    ) -> Option<Self> {
        let relation =
            |what: &str, within: Length, smallest: shot::Smallest, manner: RelationKind| {
                Some(Self::Related(Related {
                    manner,
                    to: refers(what)?,
                    within: within.metres(),
                    smallest: smallest.into(),
                }))
            };
        match gather {
            Gather::Patches(p) => Some(Self::Patches {
                name: p.name.clone().unwrap_or_else(|| {
                    *patches += 1;
                    patches.to_string()
                }),
                feature: p.feature.metres(),
                fill: p.fill,
                roughness: p.roughness,
            }),
            Gather::Slope(s) => Some(Self::Slope {
                from: s.from.radians(),
                to: s.to.radians(),
            }),
            Gather::Hollows(s) => Some(Self::Hollows {
                radius: s.radius.metres(),
            }),
            Gather::Crests(s) => Some(Self::Crests {
                radius: s.radius.metres(),
            }),
            Gather::Near(n) => {
                let manner = RelationKind::Near {
                    diameters: n.diameters,
                    fade: n.fade,
                    elsewhere: n.elsewhere,
                };
                relation(&n.what, n.within, n.smallest, manner)
            }
            Gather::ClearOf(r) => relation(&r.what, r.within, r.smallest, RelationKind::ClearOf),
            Gather::Between(r) => relation(&r.what, r.within, r.smallest, RelationKind::Between),
            Gather::LeeOf(l) => {
                // From the azimuth, clockwise from -z: to the other side
                let from = l.wind_from.radians();
                let manner = RelationKind::LeeOf {
                    downwind: [-libm::sin(from), libm::cos(from)],
                    heights: l.heights,
                    elsewhere: l.elsewhere,
                };
                relation(&l.what, Length::default(), l.smallest, manner)
            }
            Gather::Grade(g) => Some(Self::Grade {
                radius: g.radius.metres(),
                ratio: g.ratio,
            }),
            Gather::Along(a) => Some(Self::Along(Along {
                line: line(&a.line)?,
                and: a.and.as_deref().and_then(line),
                side: a.side,
                offset: a.offset.metres(),
                within: a.within.metres(),
                fade: a.fade,
                elsewhere: a.elsewhere,
            })),
            Gather::Mask(m) => Some(Self::Mask(m.into())),
        }
    }

    /// The relation, if it is one.
    #[must_use]
    pub fn relation(&self) -> Option<&Related> {
        match self {
            Self::Related(relation) => Some(relation),
            Self::Patches { .. }
            | Self::Slope { .. }
            | Self::Hollows { .. }
            | Self::Crests { .. }
            | Self::Grade { .. }
            | Self::Along(_)
            | Self::Mask(_) => None,
        }
    }

    /// The image of strengths, if it is one.
    #[must_use]
    pub fn mask(&self) -> Option<&Mask> {
        match self {
            Self::Mask(mask) => Some(mask),
            Self::Patches { .. }
            | Self::Slope { .. }
            | Self::Hollows { .. }
            | Self::Crests { .. }
            | Self::Grade { .. }
            | Self::Along(_)
            | Self::Related(_) => None,
        }
    }
}

/// Strength by the distance from a line. Metres.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Along {
    /// The line.
    pub line: LineIndex,
    /// Another: between the two the strength is 1, and beyond them the distance counts.
    pub and: Option<LineIndex>,
    /// The sides of the line on which it counts.
    pub side: LineSide,
    /// Distance from the line of where the strength is 1, 0..=1000.
    pub offset: f64,
    /// Distance from there at which it has fallen off, above 0, to 1000.
    pub within: f64,
    /// How it falls off.
    pub fade: Fade,
    /// Strength beyond, 0..=1.
    pub elsewhere: f64,
}

/// A relation of a pass to the heroes or to an earlier pass.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Related {
    /// The kind of relation.
    pub manner: RelationKind,
    /// What it refers to.
    pub to: RelationTarget,
    /// Distance from the outline in plan, metres, 0..=1000; [`RelationKind::LeeOf`] does not use
    /// it.
    pub within: f64,
    /// The smallest piece that counts.
    pub smallest: Smallest,
}

/// What a relation refers to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub enum RelationTarget {
    /// All heroes.
    Heroes,
    /// The pieces of an earlier pass.
    Pass(LayerIndex),
}

/// The kind of a relation to what lies already.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub enum RelationKind {
    /// Full strength at the outline, falling off out to the distance.
    Near {
        /// Added to the distance, in diameters of what is referred to, 0..=1000.
        diameters: f64,
        /// How the strength falls off.
        fade: Fade,
        /// Strength beyond the distance.
        elsewhere: f64,
    },
    /// Nothing nearer than the distance.
    ClearOf,
    /// In gaps: where two outlines are within the distance.
    Between,
    /// Full strength in the lee of something.
    LeeOf {
        /// Unit vector in plan (x, z, world frame) toward which the wind blows.
        downwind: [f64; 2],
        /// Length of the shelter, in heights of what gives it, above 0, to 100.
        heights: f64,
        /// Strength in the open.
        elsewhere: f64,
    },
}

impl RelationKind {
    /// The document's key for it, and the key within that one which sets its distance.
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

/// The smallest diameter that counts in a relation.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub enum Smallest {
    /// As a multiple of the diameter of the piece being placed, above 0, to 1000.
    Share(f64),
    /// A diameter in metres.
    Diameter(f64),
}

impl Default for Smallest {
    fn default() -> Self {
        shot::Smallest::default().into()
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
    pub placement: MaskPlacement,
    /// Strength where it is black, 0..=1.
    pub black: f64,
    /// Strength where it is white, 0..=1.
    pub white: f64,
    /// Strength beyond the image, 0..=1.
    pub outside: f64,
}

/// Where an image of strengths lies.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub enum MaskPlacement {
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
