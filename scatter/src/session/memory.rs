//! What an earlier dressing left, so that an edited shot is dressed again by making only what the
//! edit touches.
//!
//! Nothing here can change a layout: what is taken over is what would come out again. Parts are
//! told by digests of what they are made from (see [`super::origins`]), pieces by their places and
//! by what lies under them.

use std::sync::Arc;

use rustc_hash::{FxHashMap, FxHashSet};

use super::before::Before;
use super::origins::{Key, Origins};
use super::parts::{Kept, Parts};
use super::pass_keys::PassKeys;
use super::prepared::Prepared;
use super::run::Run;
use super::settled::Settled;
use crate::place::Strata;

/// What the dressings of a session left for the next one; nothing at first.
#[derive(Debug, Default)]
pub(super) struct Memory {
    pub(super) parts: Parts,
    pub(super) prepared: Kept<Arc<Prepared>>,
    passes: Vec<KnownPass>,
    removed: FxHashSet<u64>,
    /// What the pins were made from.
    pins: Key,
    /// Whether passes are to be kept at all.
    pub(super) keeps: bool,
}

/// A pass as it was laid.
#[derive(Debug)]
pub(super) struct KnownPass {
    name: String,
    keys: PassKeys,
    strata: Option<Strata>,
    settled: Settled,
}

impl Memory {
    /// Nothing yet, and all that the dressings to come leave is kept.
    pub(super) fn keeping() -> Self {
        Self {
            keeps: true,
            ..Self::default()
        }
    }

    /// Where the passes that it knows stand, by name.
    fn by_name(&self) -> FxHashMap<String, usize> {
        let names = self.passes.iter().enumerate();
        names.map(|(i, p)| (p.name.clone(), i)).collect()
    }

    /// Gives a run the evaluated ground of passes that are placed as they were.
    pub(super) fn give_strata(&mut self, run: &Run<'_>, keys: &[PassKeys]) {
        let known = self.by_name();
        for (i, keys) in keys.iter().enumerate() {
            if let Some(&at) = known.get(run.passes[i].name)
                && self.passes[at].keys.place == keys.place
                && let Some(strata) = self.passes[at].strata.take()
            {
                run.give_strata(i, strata);
            }
        }
    }

    /// Takes back the evaluated ground that a run was given and did not finish with.
    pub(super) fn take_strata_back(&mut self, strata: Vec<(String, Strata)>, keys: &[PassKeys]) {
        let known = self.by_name();
        for ((name, strata), keys) in strata.into_iter().zip(keys) {
            if let Some(&at) = known.get(&name)
                && self.passes[at].keys.place == keys.place
            {
                self.passes[at].strata = Some(strata);
            }
        }
    }

    /// Each pass of a run as it was laid, if it was there.
    pub(super) fn before(
        &self,
        run: &Run<'_>,
        keys: &[PassKeys],
        origins: &Origins,
    ) -> Vec<Option<Before<'_>>> {
        let numbers: FxHashMap<&str, u16> = run.passes.iter().map(|p| p.name).zip(0..).collect();
        let now = |known: &KnownPass| numbers.get(known.name.as_str()).copied();
        let now: Arc<Vec<Option<u16>>> = Arc::new(self.passes.iter().map(now).collect());
        let known = self.by_name();
        let passes = run.passes.iter().zip(keys);
        passes
            .map(|(pass, keys)| {
                let known = &self.passes[*known.get(pass.name)?];
                Some(Before {
                    settled: &known.settled,
                    now: Arc::clone(&now),
                    removed: &self.removed,
                    lays: known.keys.lay == keys.lay,
                    pins: self.pins == origins.pins,
                })
            })
            .collect()
    }

    /// Keeps what a dressing leaves. `removed` are the ids that were taken away by hand.
    pub(super) fn keep(
        &mut self,
        passes: Vec<(String, Strata, Settled)>,
        keys: Vec<PassKeys>,
        removed: FxHashSet<u64>,
        origins: &Origins,
    ) {
        let passes = passes.into_iter().zip(keys);
        self.passes = passes
            .map(|((name, strata, settled), keys)| KnownPass {
                name,
                keys,
                strata: (strata.pieces() <= MOST_IDLE * settled.len() + FEW).then_some(strata),
                settled,
            })
            .collect();
        self.removed = removed;
        self.pins = origins.pins;
    }
}

/// Evaluated ground is kept while it holds no more pieces than this many times those that are laid,
/// and these more: a camera that wanders would gather all the ground that it ever saw.
const MOST_IDLE: usize = 4;
const FEW: usize = 1_000_000;
