//! What an earlier dressing left, so that an edited shot is dressed again by making only what the
//! edit touches.
//!
//! Nothing here can change a layout: what is taken over is what would come out again. Parts are
//! told by digests of what they are made from (see [`super::origins`]), pieces by their places and
//! by what lies under them.

use std::sync::Arc;

use rustc_hash::FxHashSet;

use super::kit::Kit;
use super::origins::{Key, Origins, PassKeys};
use super::prepared::Prepared;
use super::run::Run;
use super::settled::{Refusal, Settled};
use super::settling::{PIN, Unsettled};
use crate::error;
use crate::ground::Ground;
use crate::hero::Hero;
use crate::kit::Piece;
use crate::place::Strata;
use crate::plan::Placed;
use crate::rest::{RigidBody, Standing};

/// What the dressings of a session left for the next one; nothing at first.
#[derive(Debug, Default)]
pub(super) struct Memory {
    pub(super) ground: Kept<Ground>,
    pub(super) heroes: Kept<Arc<Vec<Hero>>>,
    pub(super) kit: Kept<Arc<Kit>>,
    pub(super) prepared: Kept<Arc<Prepared>>,
    passes: Vec<KnownPass>,
    removed: FxHashSet<u64>,
    /// What the pins were made from.
    pins: Key,
    /// Whether passes are to be kept at all.
    pub(super) keeps: bool,
}

/// A part with the digest of what it was made from; the last one is kept.
#[derive(Debug)]
pub(super) struct Kept<T>(Option<(Key, T)>);

impl<T> Default for Kept<T> {
    fn default() -> Self {
        Self(None)
    }
}

impl<T: Clone> Kept<T> {
    /// The part, if it was made from the same.
    pub(super) fn get(&self, key: Key) -> Option<T> {
        let known = self.0.as_ref().filter(|(known, _)| *known == key);
        known.map(|(_, part)| part.clone())
    }

    pub(super) fn put(&mut self, key: Key, part: T) {
        self.0 = Some((key, part));
    }

    /// The part, made anew if it was made from something else.
    pub(super) fn get_or(
        &mut self,
        key: Key,
        make: impl FnOnce() -> error::Result<T>,
    ) -> error::Result<T> {
        if let Some(part) = self.get(key) {
            return Ok(part);
        }
        let part = make()?;
        self.put(key, part.clone());
        Ok(part)
    }
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

    /// The body of a piece, if it was measured.
    pub(super) fn body(&self, piece: &Piece) -> Option<Arc<RigidBody>> {
        let (_, kit) = self.kit.0.as_ref()?;
        let at = kit.pieces.iter().position(|p| p == piece)?;
        // Simpler versions behind the kit have none
        kit.bodies.get(at).cloned()
    }

    fn pass(&self, name: &str) -> Option<usize> {
        self.passes.iter().position(|p| p.name == name)
    }

    /// Gives a run the evaluated ground of passes that are placed as they were.
    pub(super) fn give_strata(&mut self, run: &Run<'_>, keys: &[PassKeys]) {
        for (i, keys) in keys.iter().enumerate() {
            if let Some(at) = self.pass(run.passes[i].name)
                && self.passes[at].keys.place == keys.place
                && let Some(strata) = self.passes[at].strata.take()
            {
                run.give_strata(i, strata);
            }
        }
    }

    /// Takes back the evaluated ground that a run was given and did not finish with.
    pub(super) fn take_strata_back(&mut self, strata: Vec<(String, Strata)>, keys: &[PassKeys]) {
        for ((name, strata), keys) in strata.into_iter().zip(keys) {
            if let Some(at) = self.pass(&name)
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
        let now = |known: &KnownPass| {
            let at = run.passes.iter().position(|p| p.name == known.name);
            at.map(|i| i as u16)
        };
        let passes = run.passes.iter().zip(keys);
        passes
            .map(|(pass, keys)| {
                let known = &self.passes[self.pass(pass.name)?];
                Some(Before {
                    settled: &known.settled,
                    now: self.passes.iter().map(now).collect(),
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

/// A pass as it was laid earlier.
#[derive(Debug)]
pub(super) struct Before<'a> {
    settled: &'a Settled,
    /// The numbers now of the passes that were there.
    now: Vec<Option<u16>>,
    removed: &'a FxHashSet<u64>,
    /// Whether its pieces are laid as they were, on what is the same under them.
    lays: bool,
    /// Whether the pins are as they were.
    pins: bool,
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
