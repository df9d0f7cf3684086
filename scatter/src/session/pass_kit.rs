//! What resting and placing know of a pass's pieces, piece by piece.

use super::forms::Forms;
use super::kit::Kit;
use crate::brief::{Lies, Pass};
use crate::kit::{PieceIndex, Serving};
use crate::plan::Stones;
use crate::rest::RigidBody;

/// The pieces of a pass. All lists are in the order of `pieces`.
pub(super) struct PassKit<'a> {
    /// Their indices in the layout's list.
    pub(super) pieces: Vec<PieceIndex>,
    /// The body of each, and its diameter at scale 1, metres.
    pub(super) bodies: Vec<(&'a RigidBody, f64)>,
    /// Long axis over diameter of each.
    pub(super) elongations: Vec<f64>,
    /// Plan area of each over its squared diameter, in the pose of its mesh.
    pub(super) fills: Vec<f64>,
    /// For each, the size of an ellipse that holds it in plan in any of its stances, as a multiple
    /// of the ellipse that it is placed by.
    pub(super) bulges: Vec<f64>,
    /// Height of each over the ground at its mean burial, as a multiple of its diameter.
    pub(super) shown: Vec<f64>,
    /// Maximum height over diameter.
    pub(super) height: f64,
    /// Their profiles, if they keep apart as stones.
    pub(super) stones: Option<&'a Stones>,
}

impl<'a> PassKit<'a> {
    pub(super) fn new(kit: &'a Kit, servings: &[Serving], forms: &'a Forms, pass: &Pass) -> Self {
        let measure = |s: &Serving| &kit.pieces[usize::from(s.piece)].measure;
        let body = |s: &Serving| &*kit.bodies[usize::from(s.piece)];
        let sunk = 0.5 * (pass.rest.bury[0] + pass.rest.bury[1]);
        let measures = || servings.iter().map(measure);
        Self {
            pieces: servings.iter().map(|s| s.piece).collect(),
            bodies: servings
                .iter()
                .map(|s| (body(s), measure(s).b_axis))
                .collect(),
            elongations: measures().map(|m| m.elongation).collect(),
            fills: measures().map(|m| m.plan_fill).collect(),
            bulges: servings
                .iter()
                .map(|s| body(s).bulge(0.5 * measure(s).b_axis, measure(s).elongation))
                .collect(),
            shown: measures().map(|m| m.flatness * (1.0 - sunk)).collect(),
            height: measures().map(|m| m.flatness).fold(0.0, f64::max),
            stones: forms.stones.as_ref(),
        }
    }

    /// The maximum over all bodies of a length, as a multiple of the diameter.
    pub(super) fn over_b(&self, of: impl Fn(&RigidBody) -> f64) -> f64 {
        let each = self.bodies.iter().map(|(body, b_axis)| of(body) / b_axis);
        each.fold(0.0, f64::max)
    }

    /// Whether all pieces lie in one way.
    pub(super) fn all_are(&self, lies: Lies) -> bool {
        self.bodies.iter().all(|(body, _)| body.lies == lies)
    }

    /// Whether any piece lies in one way.
    pub(super) fn any_is(&self, lies: Lies) -> bool {
        self.bodies.iter().any(|(body, _)| body.lies == lies)
    }

    /// Maximum height of a laid piece over the ground, as a multiple of its diameter.
    pub(super) fn most_shown(&self) -> f64 {
        self.shown.iter().copied().fold(0.0, f64::max)
    }
}
