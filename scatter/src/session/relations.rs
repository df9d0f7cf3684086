//! What a pass refers to, and what it keeps clear of.

use crate::brief::{Pass, RelationKind, RelationTarget, Smallest};
use crate::field::{ClearShape, Relation};
use crate::hero::Hero;
use crate::plan::NANO;

/// What a relation refers to.
#[derive(Debug, Clone, Copy)]
pub(super) enum Referent {
    /// An earlier pass, and the index of the field that refers to it.
    Pass { pass: usize, field: usize },
    /// One hero, for the ground that it keeps clear.
    Hero(usize),
    /// All heroes.
    Heroes,
    /// All pins.
    Pins,
}

/// Keeping clear of pins: a piece meets the outline of none, whatever its size.
const CLEAR_OF_PINS: Relation = Relation {
    manner: RelationKind::ClearOf,
    within: 0.0,
    smallest: Smallest::Share(1.0),
};

/// The shapes that a pass keeps clear of.
pub(super) fn shapes(pass: &Pass) -> Vec<ClearShape> {
    pass.clear.iter().map(ClearShape::new).collect()
}

/// The relations of a pass.
pub(super) struct Relations(Vec<(Relation, Referent)>);

impl Relations {
    /// Those that a pass asks for, and those that each pass has: it keeps clear of the heroes, and
    /// if `pins` says so, of the pins.
    pub(super) fn of(pass: &Pass, heroes: &[Hero], pins: bool) -> Self {
        let asked = pass.relations().map(|(field, r)| {
            let relation = Relation {
                manner: r.manner,
                within: r.within * NANO,
                smallest: r.smallest,
            };
            let subject = match r.to {
                RelationTarget::Heroes => Referent::Heroes,
                RelationTarget::Pass(other) => Referent::Pass {
                    pass: usize::from(other),
                    field,
                },
            };
            (relation, subject)
        });
        let clear = heroes.iter().enumerate().map(|(h, hero)| {
            let relation = Relation {
                manner: RelationKind::ClearOf,
                within: hero.clear * NANO,
                smallest: Smallest::default(),
            };
            (relation, Referent::Hero(h))
        });
        let pins = pins.then_some((CLEAR_OF_PINS, Referent::Pins));
        Self(asked.chain(clear).chain(pins).collect())
    }

    pub(super) fn iter(&self) -> impl Iterator<Item = &(Relation, Referent)> {
        self.0.iter()
    }

    /// Those to earlier passes: the relation, the pass, and the field that asks.
    pub(super) fn to_passes(&self) -> impl Iterator<Item = (&Relation, usize, usize)> {
        self.0
            .iter()
            .filter_map(|(relation, subject)| match subject {
                Referent::Pass { pass, field } => Some((relation, *pass, *field)),
                Referent::Hero(_) | Referent::Heroes | Referent::Pins => None,
            })
    }

    /// Whether any does more than keep ground clear.
    pub(super) fn gather(&self) -> bool {
        self.iter().any(|(r, _)| r.manner != RelationKind::ClearOf)
    }
}
