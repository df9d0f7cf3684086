//! How far the pieces of a pass extend.

use super::heeds::Heeds;
use super::pass_kit::PassKit;
use crate::brief::Pass;
use crate::rest::{self, RigidBody};

/// How much nearer to the lens than its place a piece that lies on others may be, as it is
/// resolved: as high as a boulder.
pub(super) const NEARER_HIGH: f64 = 1.25;

/// Most layers of a strewn pass that lie on each other, counted in its pieces' largest height; what
/// would lie higher slides off.
pub(super) const PILE: f64 = 2.0;

/// Outlines over the ones of pieces as they stand on level ground: they lean and move a little as
/// they are laid.
pub(super) const OUTLINE: f64 = 1.05;

/// Maximum extents of a pass's pieces. All but `lift` are multiples of the diameter.
pub(super) struct Spans {
    /// From a piece's middle to any of its points, however it lies.
    pub(super) from_middle: f64,
    /// How far a piece moves aside as it is laid.
    pub(super) aside: f64,
    /// From the place on the plan where a piece was placed to any of its points.
    pub(super) from_place: f64,
    /// From there to any point of a piece's bounding sphere, leaving out how high it lies.
    pub(super) sphere: f64,
    /// Height of a piece in its tallest stance.
    pub(super) stands: f64,
    /// Maximum height over the ground at which pieces are laid, metres: on the tallest piece of an
    /// earlier pass, or in a pile of their own. What would lie higher slides off.
    pub(super) lift: f64,
}

impl Spans {
    /// Of the pass of an index; `tallest` are the heights of the passes before it, metres.
    pub(super) fn new(
        kit: &PassKit<'_>,
        heeds: &Heeds,
        (index, pass): (usize, &Pass),
        tallest: &[f64],
    ) -> Self {
        let aside = rest::DRIFT + if heeds.slides { rest::SLIDE } else { 0.0 };
        let from_middle = kit.over_b(|b| b.reach);
        let stands = kit.over_b(RigidBody::stands);
        let earlier = heeds.beds.iter().filter(|j| **j != index);
        let earlier = earlier.map(|j| tallest[*j]);
        let pile = if heeds.beds.contains(&index) {
            PILE * (stands * pass.sizes.to())
        } else {
            0.0
        };
        Self {
            from_middle,
            aside,
            from_place: from_middle + aside,
            sphere: kit.over_b(|b| b.aside + b.radius) + aside,
            stands,
            lift: earlier.fold(0.0, f64::max) + pile,
        }
    }
}
