//! The passes of one take on the endless plane, each made only where it is needed, together with
//! what it refers to.

use std::sync::{PoisonError, RwLockReadGuard, RwLockWriteGuard};

use rustc_hash::FxHashSet;

use super::before::Before;
use super::kit::Kit;
use super::pass_run::{PassRun, Passed};
use super::pins::Pins;
use super::planning::check_tags;
use super::prepared::Prepared;
use super::settled::Settled;
use crate::brief::{Brief, RelationKind};
use crate::cancel::Cancel;
use crate::error::Result;
use crate::field::Outlined;
use crate::place::Strata;
use crate::plan::Rectangle;
use crate::scene::Scene;

/// The passes of a brief in one take.
pub(super) struct Run<'a> {
    pub(super) brief: &'a Brief,
    pub(super) scene: &'a Scene,
    pub(super) kit: &'a Kit,
    pub(super) pins: &'a Pins,
    pub(super) cancel: &'a Cancel,
    /// Ids of pieces that are taken away by hand.
    pub(super) removed: FxHashSet<u64>,
    /// Whether all that is laid is kept for a dressing to come.
    pub(super) keeps: bool,
    /// Each pass as it was laid earlier.
    pub(super) before: Vec<Option<Before<'a>>>,
    pub(super) passes: Vec<PassRun<'a>>,
}

impl<'a> Run<'a> {
    /// Plans the passes of a brief at its take; `prepared` may come from another take.
    ///
    /// # Errors
    /// Two layers share a mark in ids, or a pass asks for sizes that none of its pieces has.
    pub(super) fn new(
        prepared: &'a Prepared,
        brief: &'a Brief,
        cancel: &'a Cancel,
    ) -> Result<Self> {
        check_tags(brief)?;
        let mut before = Passed::default();
        let mut passes: Vec<PassRun<'a>> = Vec::new();
        for (index, (layer, pass)) in brief.passes().enumerate() {
            let run = PassRun::new(prepared, (index, layer, pass), brief.take, &mut before)?;
            passes.push(run);
        }
        Ok(Self {
            brief,
            scene: &prepared.scene,
            kit: &prepared.kit,
            pins: &prepared.pins,
            cancel,
            removed: brief.removed.iter().copied().collect(),
            keeps: false,
            before: passes.iter().map(|_| None).collect(),
            passes,
        })
    }

    /// The pass's pieces at rest.
    pub(super) fn settled(&self, pass: usize) -> RwLockReadGuard<'_, Settled> {
        self.passes[pass]
            .settled
            .read()
            .unwrap_or_else(PoisonError::into_inner)
    }

    pub(super) fn settled_mut(&self, pass: usize) -> RwLockWriteGuard<'_, Settled> {
        self.passes[pass]
            .settled
            .write()
            .unwrap_or_else(PoisonError::into_inner)
    }

    /// The pass's evaluated ground.
    pub(super) fn strata(&self, pass: usize) -> RwLockReadGuard<'_, Strata> {
        self.passes[pass]
            .strata
            .read()
            .unwrap_or_else(PoisonError::into_inner)
    }

    /// The pins that extend into a plan rectangle, by their outlines at full height: a piece under
    /// an overhang may stand up into it.
    pub(super) fn pins_round(&self, r: Rectangle) -> Vec<Outlined> {
        let mut near: Vec<u32> = self.pins.near(r).collect();
        near.sort_unstable();
        let outlined = |i: u32| {
            let outlines = self.pins.all[i as usize].outlines.as_ref()?;
            let corners = outlines.below(f64::INFINITY).to_vec();
            Some(Outlined::hull(corners, outlines.height()))
        };
        near.into_iter().filter_map(outlined).collect()
    }

    /// Takes over evaluated ground of the same pass.
    pub(super) fn give_strata(&self, pass: usize, strata: Strata) {
        *self.strata_mut(pass) = strata;
    }

    /// The passes' names with their evaluated ground.
    pub(super) fn into_strata(self) -> Vec<(String, Strata)> {
        let made = self.passes.into_iter().map(PassRun::into_made);
        made.map(|(name, strata, _)| (name, strata)).collect()
    }

    /// The passes' names with their evaluated ground and their pieces at rest.
    pub(super) fn into_passes(self) -> Vec<(String, Strata, Settled)> {
        self.passes.into_iter().map(PassRun::into_made).collect()
    }

    pub(super) fn strata_mut(&self, pass: usize) -> RwLockWriteGuard<'_, Strata> {
        self.passes[pass]
            .strata
            .write()
            .unwrap_or_else(PoisonError::into_inner)
    }

    /// Mean strength, 0..=1, over `places` (x and z in metres): the product of the fields that
    /// depend on the place alone. A place that is not `needed` counts as 0.
    pub(super) fn mean_strength(
        &self,
        pass: usize,
        places: &[[f64; 2]],
        needed: impl Fn([f64; 2]) -> bool,
    ) -> f64 {
        let pass = &self.passes[pass];
        let strength = |p: &[f64; 2]| {
            if needed(*p) {
                pass.asks.strength(&self.scene.ground, p[0], p[1])
            } else {
                0.0
            }
        };
        places.iter().map(strength).sum::<f64>() / places.len().max(1) as f64
    }

    /// Whether a pass gathers by other passes or heroes, beyond keeping clear of them.
    pub(super) fn is_related(&self, pass: usize) -> bool {
        let relations = &self.passes[pass].asks.relations;
        relations
            .iter()
            .any(|(r, _)| r.manner != RelationKind::ClearOf)
    }
}
