//! What the pieces of a pass lie on, and what they must not cut into.

use super::pass_kit::PassKit;
use crate::brief::{LayerIndex, Lies, On, Pass, Place};

/// What the pieces of a pass heed as they are laid.
pub(super) struct Heeds {
    /// Whether all of them grow: nothing lies on them.
    pub(super) grows: bool,
    /// The passes whose pieces they may lie on, their own among them if so, in the brief's order.
    pub(super) beds: Vec<usize>,
    /// The passes whose pieces they must not cut into, though they don't lie on them, their own
    /// among them if so, in the brief's order.
    pub(super) beside: Vec<usize>,
    /// Whether they may lie on pins; else they keep clear of them.
    pub(super) pins: bool,
    /// Whether a piece that would fall may slide aside: spaced pieces would slide into each other,
    /// leaves cling.
    pub(super) slides: bool,
}

impl Heeds {
    /// Of the pass of an index; `grown` says of each pass before it whether all its pieces grow.
    pub(super) fn of(index: usize, pass: &Pass, kit: &PassKit<'_>, grown: &[bool]) -> Self {
        let grows = kit.all_are(Lies::Rooted);
        let strewn = pass.place == Place::Strewn;
        let settles = pass.rest.on == On::Settled && !grows;
        let lain_on = |j: &usize| settles && !grown[*j];
        // What a pass keeps clear of, it does not lie on
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
