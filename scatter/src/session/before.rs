//! A pass as it was laid in an earlier dressing: what of it comes out again.

use std::sync::Arc;

use rustc_hash::FxHashSet;

use super::settled::{PIN, Refusal, Settled};
use super::unsettled::Unsettled;
use crate::plan::Placed;
use crate::rest::Standing;

/// A pass as it was laid earlier.
#[derive(Debug)]
pub(super) struct Before<'a> {
    pub(super) settled: &'a Settled,
    /// For each pass of the earlier dressing, its index now; None if it is gone.
    pub(super) now: Arc<Vec<Option<u16>>>,
    pub(super) removed: &'a FxHashSet<u64>,
    /// Whether its pieces are laid in the same way, so that they lie as before on the same support.
    pub(super) lays: bool,
    /// Whether the pins are as they were.
    pub(super) pins: bool,
}

impl Before<'_> {
    /// How a piece lay, or why it was refused, if it was placed as it is now.
    pub(super) fn standing(&self, placed: &Placed) -> Option<Result<Standing, Refusal>> {
        let known = self.settled.find(placed.id).filter(|_| self.lays)?;
        (known.placed == *placed).then_some(known.standing)
    }

    /// How a piece lay, or why it was refused, if it was placed as it is now and what it heeds is
    /// the same. `same` says whether the piece of a pass with an id lies as it did.
    pub(super) fn lies(
        &self,
        asked: &Unsettled,
        same: impl Fn(u16, u64) -> bool,
    ) -> Option<Result<Standing, Refusal>> {
        let standing = self.standing(&asked.placed)?;
        let known = self.settled.find(asked.placed.id)?;
        let (under, before) = self.settled.heeded(known);
        let heeded = asked.under.iter().chain(&asked.beside);
        let as_it_was = !self.removed.contains(&asked.placed.id)
            && under == asked.under.len()
            && before.len() == under + asked.beside.len()
            && before.iter().zip(heeded).all(|(was, is)| {
                if was.0 == PIN || is.0 == PIN {
                    return self.pins && was == is;
                }
                self.now[usize::from(was.0)] == Some(is.0) && was.1 == is.1 && same(is.0, is.1)
            });
        as_it_was.then_some(standing)
    }
}
