//! What an earlier dressing leaves, so that after an edit only what the edit touches is made again.
//!
//! Nothing here can change a layout: a part is reused only where making it again would give the
//! same. Parts are compared by digests of what they are made from (see [`super::origins`]), pieces
//! by their places and by what lies under them.

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

/// What a session's dressings leave for the next one; empty at first.
#[derive(Debug, Default)]
pub(super) struct Memory {
    pub(super) parts: Parts,
    pub(super) prepared: Kept<Arc<Prepared>>,
    passes: Vec<KnownPass>,
    removed: FxHashSet<u64>,
    /// What the pins were made from.
    pins: Key,
    /// Whether passes are kept.
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
    /// An empty memory that will keep all that dressings leave.
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

    /// Hands a run the evaluated ground of each pass that is placed as before.
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

    /// Takes the evaluated ground back from a run that failed.
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

/// Evaluated ground is kept while it holds at most `MOST_IDLE` times as many pieces as are laid,
/// plus `FEW`: else a wandering camera would pile up all the ground that it ever saw.
const MOST_IDLE: usize = 4;
const FEW: usize = 1_000_000;
