//! A dressing: the layers of a brief, one by one.

use std::sync::Arc;

use rayon::prelude::*;
use rustc_hash::FxHashSet;

use super::advice;
use super::change::Work;
use super::clock::Clock;
use super::laid::Laid;
use super::memory::Memory;
use super::mixing::MixReader;
use super::pass_keys::PassKeys;
use super::prepared::Prepared;
use super::run::Run;
use crate::brief::{Brief, Layer, LayerIndex, LayerKind};
use crate::cancel::Cancel;
use crate::error::Result;
use crate::layout::{Instance, Layout, PassRecord, Tally};
use crate::place::strata::Blocks;

/// A dressing in progress.
pub(super) struct Dressing<'a> {
    prepared: &'a Prepared,
    /// The brief at its take; `prepared` may come from another take.
    brief: &'a Brief,
    keys: Vec<PassKeys>,
    cancel: &'a Cancel,
    clock: Clock,
}

/// The parts of a layout that are made so far.
struct Made<'a> {
    instances: Vec<Instance>,
    passes: Vec<PassRecord>,
    mixes: MixReader<'a>,
    /// Ids of pieces that would be there but were removed by hand.
    removed: FxHashSet<u64>,
}

impl<'a> Dressing<'a> {
    pub(super) fn new(
        prepared: &'a Prepared,
        brief: &'a Brief,
        clock: Clock,
        cancel: &'a Cancel,
    ) -> Self {
        Self {
            prepared,
            brief,
            keys: Vec::new(),
            cancel,
            clock,
        }
    }

    /// Makes the layers one by one. Reuses what `memory` holds, and leaves there what this dressing
    /// made instead; if it fails, the memory stays as it was.
    pub(super) fn dress(
        mut self,
        memory: &mut Memory,
        progress: &(dyn Fn(&str) + Sync),
    ) -> Result<(Layout, Work)> {
        let mut run = Run::new(self.prepared, self.brief, self.cancel)?;
        run.keeps = memory.keeps;
        self.keys = self.prepared.origins.passes(self.brief, &run);
        memory.give_strata(&run, &self.keys);
        run.before = memory.before(&run, &self.keys, &self.prepared.origins);
        match self.lay(&run, progress) {
            Err(error) => {
                let strata = run.into_strata();
                memory.take_strata_back(strata, &self.keys);
                Err(error)
            }
            Ok((layout, work)) => {
                if memory.keeps {
                    let removed = std::mem::take(&mut run.removed);
                    memory.keep(
                        run.into_passes(),
                        self.keys,
                        removed,
                        &self.prepared.origins,
                    );
                }
                Ok((layout, work))
            }
        }
    }

    fn lay(&mut self, run: &Run<'_>, progress: &(dyn Fn(&str) + Sync)) -> Result<(Layout, Work)> {
        let (wanted, asked) = self.plan(run)?;
        let mut made = Made {
            instances: Vec::new(),
            passes: Vec::new(),
            mixes: MixReader::new(self.brief),
            removed: self.prepared.pins.removed.iter().copied().collect(),
        };
        for (number, layer) in self.brief.layers.iter().enumerate() {
            let at = LayerIndex::of(number);
            progress(&layer.name);
            self.cancel.check()?;
            let laid = match &layer.kind {
                LayerKind::Pass(_) => {
                    self.pass(run, number, (&wanted[number], &asked[number]), &mut made)?
                }
                LayerKind::Pins(_) => self.prepared.pinned(at),
                LayerKind::Carpet(_) => {
                    let streams = layer.streams(self.brief.take);
                    self.prepared
                        .carpet_tiles((at, streams), &mut made.removed, self.cancel)?
                }
                LayerKind::Shade(shade) => {
                    let streams = layer.streams(self.brief.take);
                    self.prepared
                        .casters(shade, (at, streams), &mut made.removed, self.cancel)?
                }
            };
            self.add(&mut made, (number, layer), laid)?;
        }
        self.finish(run, made)
    }

    /// Checks that the demand is within bounds; then gives for each pass the blocks in view, and
    /// these together with all that they depend on.
    fn plan(&mut self, run: &Run<'_>) -> Result<(Vec<Blocks>, Vec<Blocks>)> {
        run.check_demand()?;
        self.clock.stage("plan");
        let wanted: Vec<Blocks> = (0..run.passes.len())
            .map(|index| run.wanted(index))
            .collect();
        run.check_forecast(&wanted)?;
        self.clock.stage("forecast");
        let asked = run.ask_ahead(&wanted);
        self.clock.stage("ask ahead");
        Ok((wanted, asked))
    }

    /// Places a pass and lays it to rest.
    fn pass<'b>(
        &mut self,
        run: &Run<'b>,
        index: usize,
        (wanted, asked): (&Blocks, &Blocks),
        made: &mut Made<'_>,
    ) -> Result<Laid> {
        run.ensure(index, asked)?;
        self.clock
            .stage(&format!("place {}", run.passes[index].name));
        let candidates = run.candidates(index, wanted);
        run.settle_seen(index, candidates.clone())?;
        let rested = run.instances(index, &candidates);
        let pieces = &self.prepared.kit.pieces;
        let triangles = rested.instances.iter();
        let triangles = triangles.map(|i| pieces[usize::from(i.piece)].triangles());
        let (ledger, octaves) = run.ledger(index, wanted);
        made.mixes.add(run, index, &octaves);
        Ok(Laid {
            tally: Tally {
                placed: rested.instances.len() as u64,
                triangles: triangles.sum(),
                full_triangles: rested.full_triangles,
                ..ledger
            },
            instances: rested.instances,
        })
    }

    /// Adds what a layer gives, if the budget holds it.
    fn add(
        &mut self,
        made: &mut Made<'_>,
        (number, layer): (usize, &Layer),
        mut laid: Laid,
    ) -> Result<()> {
        let count = made.instances.len() + laid.instances.len();
        self.prepared.check_count((number, layer), count)?;
        laid.instances.par_sort_unstable_by_key(|i| (i.piece, i.id));
        if made.instances.is_empty() {
            made.instances = laid.instances;
        } else {
            made.instances.append(&mut laid.instances);
        }
        made.passes.push(PassRecord {
            name: layer.name.clone(),
            tone: layer.tone,
            tally: laid.tally,
        });
        let stage = match layer.kind {
            LayerKind::Pass(_) => format!("rest {}", layer.name),
            LayerKind::Pins(_) | LayerKind::Carpet(_) | LayerKind::Shade(_) => layer.name.clone(),
        };
        self.clock.stage(&stage);
        Ok(())
    }

    /// The layout of all layers, and what it took.
    fn finish(&mut self, run: &Run<'_>, made: Made<'_>) -> Result<(Layout, Work)> {
        let mut work = Work::default();
        let mut removed = made.removed;
        for index in 0..run.passes.len() {
            let settled = run.settled(index);
            removed.extend(settled.removed());
            work.refused.extend(settled.refused());
            work.cells += run.strata(index).total().cells;
            let [laid, taken_over] = settled.counts();
            work.laid += laid;
            work.taken_over += taken_over;
        }
        let mut warnings = self.prepared.warnings.clone();
        warnings.extend(self.removed_nothing(&removed));
        warnings.extend(advice::of_passes(self.brief, &made.passes));
        let layout = Layout {
            shot: self.brief.name.clone(),
            take: self.brief.take,
            cameras: self.prepared.scene.cameras.clone(),
            pieces: Arc::clone(&self.prepared.kit.pieces),
            passes: made.passes,
            instances: made.instances,
            mixes: made.mixes.finish(self.brief),
            warnings,
        };
        self.prepared.check_layout(&layout)?;
        work.stages = std::mem::take(&mut self.clock.stages);
        Ok((layout, work))
    }

    /// Warnings about ids to remove that this take does not have anyway.
    fn removed_nothing(&self, removed: &FxHashSet<u64>) -> Vec<String> {
        let take = self.brief.take;
        let all = self.brief.removed.iter().enumerate();
        all.filter(|(_, id)| !removed.contains(id))
            .map(|(i, id)| {
                format!(
                    "remove[{i}]: take {take} has no piece {id:016x} in view, so nothing was removed; was the id from another take?"
                )
            })
            .collect()
    }
}
