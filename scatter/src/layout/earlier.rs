//! What an earlier dressing left, so that an edited shot is dressed again by making only what the edit touches.
//!
//! Nothing here can change a layout: what is taken over is what would come out again. Parts are told by digests of what they are made from
//! (see [`super::origins`]), pieces by their places and by what lies under them.

use std::sync::Arc;

use rayon::prelude::*;
use rustc_hash::FxHashSet;

use super::carpeting::Carpet;
use super::detail::Details;
use super::laying::{Laid, Refusal};
use super::origins::{Key, Origins, PassKeys};
use super::run::Run;
use super::settling::{Asked, Found, PIN};
use crate::ground::Ground;
use crate::hero::Hero;
use crate::kit::{Library, Piece};
use crate::place::Strata;
use crate::plan::Placed;
use crate::rest::{Body, Standing};

/// What an earlier dressing of a shot left for the next one; nothing at first.
#[derive(Debug, Default)]
pub struct Earlier {
    pub(super) ground: Option<(Key, Ground)>,
    pub(super) heroes: Option<(Key, Arc<Vec<Hero>>)>,
    pub(super) kit: Option<(Key, KnownKit)>,
    pub(super) passes: Vec<KnownPass>,
    pub(super) removed: FxHashSet<u64>,
    /// What the pins and the view were made from.
    pub(super) pins: Key,
    view: Key,
    /// Whether passes are to be kept at all.
    pub(super) keeps: bool,
}

/// A kit with its bodies.
#[derive(Debug, Clone)]
pub(super) struct KnownKit {
    pub(super) library: Library,
    pub(super) pieces: Arc<Vec<Piece>>,
    pub(super) details: Option<Arc<Details>>,
    pub(super) bodies: Arc<Vec<Arc<Body>>>,
    pub(super) carpet: Option<Arc<Carpet>>,
}

/// A pass as it was laid.
#[derive(Debug)]
pub(super) struct KnownPass {
    name: String,
    keys: PassKeys,
    strata: Option<Strata>,
    laid: Laid,
}

impl Earlier {
    /// Nothing yet, and all that the dressings to come leave is kept.
    #[must_use]
    pub fn keeping() -> Self {
        Self {
            keeps: true,
            ..Self::default()
        }
    }

    /// The body of a piece, if it was measured.
    pub(super) fn body(&self, piece: &Piece) -> Option<Arc<Body>> {
        let (_, kit) = self.kit.as_ref()?;
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
            if let Some(at) = self.pass(&run.passes[i].pass.name)
                && self.passes[at].keys.place == keys.place
                && let Some(strata) = self.passes[at].strata.take()
            {
                run.give_strata(i, strata);
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
            let at = run.passes.iter().position(|p| p.pass.name == known.name);
            at.map(|i| i as u16)
        };
        let passes = run.passes.iter().zip(keys);
        passes
            .map(|(pass, keys)| {
                let known = &self.passes[self.pass(&pass.pass.name)?];
                Some(Before {
                    passes: &self.passes,
                    laid: &known.laid,
                    now: self.passes.iter().map(now).collect(),
                    removed: &self.removed,
                    lays: known.keys.lay == keys.lay,
                    asks: known.keys.ask == keys.ask,
                    sees: self.view == origins.view,
                    pins: self.pins == origins.pins,
                })
            })
            .collect()
    }

    /// Keeps what a dressing leaves.
    pub(super) fn keep(
        &mut self,
        run: Run<'_>,
        keys: Vec<PassKeys>,
        laid: Vec<Laid>,
        removed: FxHashSet<u64>,
        origins: &Origins,
    ) {
        let passes = run.into_passes().into_iter().zip(keys).zip(laid);
        self.passes = passes
            .map(|(((name, strata), keys), laid)| KnownPass {
                name,
                keys,
                strata: (strata.pieces() <= MOST_IDLE * laid.asked.pieces.len() + FEW)
                    .then_some(strata),
                laid,
            })
            .collect();
        self.removed = removed;
        self.pins = origins.pins;
        self.view = origins.view;
    }
}

/// Evaluated ground is kept while it holds no more pieces than this many times those that are laid, and these more: a camera that wanders would
/// gather all the ground that it ever saw.
const MOST_IDLE: usize = 4;
const FEW: usize = 1_000_000;

/// A pass as it was laid earlier.
pub(super) struct Before<'a> {
    passes: &'a [KnownPass],
    laid: &'a Laid,
    /// The numbers now of the passes that were there.
    now: Vec<Option<u16>>,
    removed: &'a FxHashSet<u64>,
    /// Whether its pieces are laid as they were, on what is the same under them.
    lays: bool,
    /// Whether the same lies under its pieces.
    asks: bool,
    /// Whether the cameras need what they needed.
    sees: bool,
    /// Whether the pins are as they were.
    pins: bool,
}

impl Before<'_> {
    /// The number of a piece in the earlier list, if it was placed there.
    fn find(&self, placed: &Placed) -> Option<usize> {
        let at = self.laid.number(placed.id)?;
        (self.laid.asked.pieces[at].placed == *placed).then_some(at)
    }

    /// A piece as it was asked for, if it would be asked for in the same way.
    pub(super) fn asked(&self, placed: &Placed, in_view: bool) -> Option<(Asked, Found)> {
        let at = self.find(placed).filter(|_| self.asks)?;
        self.again(at, in_view)
    }

    /// All pieces in view as they were asked for, if they would be again.
    pub(super) fn in_view(&self) -> Option<Vec<(Asked, Found)>> {
        let list = &self.laid.asked.pieces;
        let seen = (0..list.len()).into_par_iter().filter(|i| list[*i].in_view);
        (self.asks && self.sees)
            .then(|| seen.map(|i| self.again(i, true)).collect())
            .flatten()
    }

    fn again(&self, at: usize, in_view: bool) -> Option<(Asked, Found)> {
        let list = &self.laid.asked;
        let known = &list.pieces[at];
        let mut found = Found::default();
        let below = |(was, id): &(u16, u64)| {
            let laid = &self.passes[usize::from(*was)].laid;
            let below = &laid.asked.pieces[laid.number(*id)?];
            Some((self.now[usize::from(*was)]?, below.placed, below.octave))
        };
        for heeded in list.under(known) {
            if heeded.0 == PIN {
                found.pins.push(heeded.1 as u32);
            } else {
                found.under.push(below(heeded)?);
            }
        }
        found.beside = list
            .beside(known)
            .iter()
            .map(below)
            .collect::<Option<_>>()?;
        let asked = Asked {
            in_view,
            needed: false,
            ..known.clone()
        };
        Some((asked, found))
    }

    /// How a piece lay, or why it did not.
    pub(super) fn standing(&self, placed: &Placed) -> Option<Result<Standing, Refusal>> {
        let at = self.find(placed).filter(|_| self.lays);
        at.map(|at| self.laid.standing[at])
    }

    /// How a piece lay, if it was asked for in the same way; what it heeds has to be the same too, which `same` tells of a pass and an id.
    pub(super) fn lies(
        &self,
        asked: &Asked,
        heeded: &[(u16, u64)],
        same: impl Fn(u16, u64) -> bool,
    ) -> Option<Result<Standing, Refusal>> {
        let at = self.find(&asked.placed).filter(|_| self.lays)?;
        let known = &self.laid.asked.pieces[at];
        let before = self.laid.asked.heeded(known);
        let as_it_was = known.most.to_bits() == asked.most.to_bits()
            && !self.removed.contains(&asked.placed.id)
            && known.under == asked.under
            && before.len() == heeded.len()
            && before.iter().zip(heeded).all(|(was, is)| {
                if was.0 == PIN || is.0 == PIN {
                    return self.pins && was == is;
                }
                self.now[usize::from(was.0)] == Some(is.0) && was.1 == is.1 && same(is.0, is.1)
            });
        // What nobody saw was not laid
        let standing = self.laid.standing[at];
        (as_it_was && standing != Err(Refusal::Unseen)).then_some(standing)
    }
}
