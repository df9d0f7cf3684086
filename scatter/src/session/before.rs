//! A pass as it was laid in an earlier dressing: what of it comes out again.

use std::sync::Arc;

use rustc_hash::FxHashSet;

use super::asked::Asked;
use super::settled::{PIN, Refusal, Settled};
use crate::plan::Placed;
use crate::rest::Standing;

/// A pass as it was laid earlier.
#[derive(Debug)]
pub(super) struct Before<'a> {
    pub(super) settled: &'a Settled,
    /// The numbers now of the passes that were there.
    pub(super) now: Arc<Vec<Option<u16>>>,
    pub(super) removed: &'a FxHashSet<u64>,
    /// Whether its pieces are laid as they were, on what is the same under them.
    pub(super) lays: bool,
    /// Whether the pins are as they were.
    pub(super) pins: bool,
}

impl Before<'_> {
    /// How a piece lay, or why it did not, if it was placed there.
    pub(super) fn standing(&self, placed: &Placed) -> Option<Result<Standing, Refusal>> {
        let known = self.settled.find(placed.id).filter(|_| self.lays)?;
        (known.placed == *placed).then_some(known.standing)
    }

    /// How a piece lay, if it was asked for in the same way; what it heeds has to be the same too,
    /// which `same` tells of a pass and an id.
    pub(super) fn lies(
        &self,
        asked: &Asked,
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
