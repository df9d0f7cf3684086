//! What the pieces of a pass lie on, and what they must not cut into.

use super::pass_kit::PassKit;
use crate::brief::{LayerIndex, Lies, On, Pass, Place};

/// What the pieces of a pass heed as they are laid.
pub(super) struct Heeds {
    /// Whether all of them grow: nothing lies on them.
    pub(super) grows: bool,
    /// The passes on whose pieces they may lie, in the brief's order; their own is among them if
    /// they may lie on each other.
    pub(super) beds: Vec<usize>,
    /// The passes on whose pieces they don't lie, but which they must not cut into, in the brief's
    /// order; their own may be among them.
    pub(super) beside: Vec<usize>,
    /// Whether they may lie on pins; else they keep clear of them.
    pub(super) pins: bool,
    /// Whether a piece that would fall may slide aside. Spaced pieces may not: they would slide
    /// into each other. Leaves cling.
    pub(super) slides: bool,
}

impl Heeds {
    /// Of the pass of an index; `grown` says of each pass before it whether all its pieces grow.
    pub(super) fn of(index: usize, pass: &Pass, kit: &PassKit<'_>, grown: &[bool]) -> Self {
        let grows = kit.all_are(Lies::Rooted);
        let strewn = pass.place == Place::Strewn;
        let settles = pass.rest.on == On::Settled && !grows;
        let lain_on = |j: &usize| settles && !grown[*j];
        // A pass does not lie on what it keeps clear of
        let (mut beside, mut beds): (Vec<usize>, Vec<usize>) = (0..index)
            .filter(lain_on)
            .partition(|j| pass.clears(LayerIndex::of(*j)));
        if settles && strewn {
            beds.push(index);
        }
        if settles && !strewn && pass.apart >= 1.0 {
            beside.push(index);
        }
        Self {
            grows,
            beds,
            beside,
            pins: strewn && settles,
            slides: kit.any_is(Lies::Rigid) && strewn,
        }
    }
}
