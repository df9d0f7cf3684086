//! The evaluated part of a pass: octave by octave, block by block, each block once.

use std::collections::{BTreeMap, BTreeSet};

use rayon::prelude::*;

use super::block::{
    CellCount, Count, Evaluated, ID_CELL_BITS, PassPlan, Scratch, Window, evaluate_in,
};
use super::tiling::{Group, Tiling};
use crate::error::{Error, ErrorKind, Fault, Result};
use crate::field::Target;
use crate::plan::{NANO, Placed, Rectangle};

/// Margins beyond which the evaluation gives up: chains that long do not occur in any world.
const MOST_MARGIN: i64 = 1024;

/// A block's number along x and z. Ordered by row, then column.
pub type BlockAt = (i64, i64);

/// Blocks of each octave of a pass.
pub type Blocks = Vec<BTreeSet<BlockAt>>;

/// One evaluated block.
#[derive(Debug, Clone)]
struct Block {
    /// Pieces by cell row, column and rank.
    placed: Vec<Placed>,
    /// Where each cell row starts in `placed`; one more than rows.
    rows: Vec<u32>,
    cells: Vec<CellCount>,
}

impl Block {
    /// A block of so many cells along its side in which nothing lies.
    fn empty(cells: i64) -> Self {
        Self {
            placed: Vec::new(),
            rows: vec![0; cells as usize + 1],
            cells: Vec::new(),
        }
    }
}

/// A pass on the endless plane, evaluated where it was asked for.
#[derive(Debug)]
pub struct Strata {
    /// The pass.
    pub plan: PassPlan,
    octaves: Vec<BTreeMap<BlockAt, Block>>,
    /// Blocks that needed a wider margin.
    pub widened: u64,
    count: Count,
}

impl Strata {
    /// Nothing evaluated yet.
    #[must_use]
    pub fn new(plan: PassPlan) -> Self {
        let octaves = plan
            .schedule
            .octaves
            .iter()
            .map(|_| BTreeMap::new())
            .collect();
        Self {
            plan,
            octaves,
            widened: 0,
            count: Count::default(),
        }
    }

    /// Cells along a block's side.
    fn block_cells(&self, octave: usize) -> i64 {
        Tiling::of(&self.plan, octave).block
    }

    /// Side of a block of an octave, nanometres.
    #[must_use]
    pub fn block_side(&self, octave: usize) -> i64 {
        self.plan.schedule.octaves[octave].side * self.block_cells(octave)
    }

    /// The plan rectangle of a block.
    #[must_use]
    pub fn block_rectangle(&self, octave: usize, (bz, bx): BlockAt) -> Rectangle {
        let side = self.block_side(octave);
        Rectangle {
            x0: bx * side,
            z0: bz * side,
            x1: (bx + 1) * side - 1,
            z1: (bz + 1) * side - 1,
        }
    }

    /// The blocks of an octave that a plan rectangle touches.
    pub fn blocks_of(&self, octave: usize, r: Rectangle) -> impl Iterator<Item = BlockAt> + use<> {
        let side = self.block_side(octave);
        let (x0, x1) = (r.x0.div_euclid(side), r.x1.div_euclid(side));
        (r.z0.div_euclid(side)..=r.z1.div_euclid(side))
            .flat_map(move |bz| (x0..=x1).map(move |bx| (bz, bx)))
    }

    /// Largest distance from a piece's centre to the edge of the ground it keeps free, nanometres.
    #[must_use]
    pub fn reach(&self, octave: usize) -> i64 {
        self.plan.schedule.octaves[octave].side
    }

    /// Evaluates what is not there yet of the wanted blocks, `wanted[octave]`, and of what they
    /// rest on.
    ///
    /// # Errors
    /// When an octave would span more cells than an id can tell apart.
    pub fn ensure<T: Target>(&mut self, wanted: &[BTreeSet<BlockAt>], target: &T) -> Result<()> {
        let schedule = &self.plan.schedule;
        let octaves = 0..schedule.octaves.len();
        let margins = octaves.map(|octave| Tiling::of(&self.plan, octave).margin);
        let margins: Vec<i64> = margins.collect();
        let mut wanted: Vec<BTreeSet<BlockAt>> = wanted.to_vec();
        self.add_elders(&mut wanted);
        for (octave, blocks) in wanted.iter().enumerate() {
            self.check_span(octave, blocks)?;
        }
        for octave in 0..wanted.len() {
            let missing = self.missing(octave, &wanted[octave]);
            let mut missing: Vec<BlockAt> = missing.collect();
            let mut margin = margins[octave];
            while !missing.is_empty() {
                if margin > MOST_MARGIN {
                    return Err(Error::new(
                        ErrorKind::Failed,
                        Fault::new(
                            "",
                            "a block's answer stayed uncertain however wide its margin",
                            "this is a fault of strew: please report the shot",
                        ),
                    ));
                }
                missing = self.evaluate_blocks(octave, &missing, margin, target)?;
                self.widened += missing.len() as u64;
                margin *= 2;
            }
        }
        Ok(())
    }

    /// Those of some blocks that are not evaluated yet.
    fn missing<'b>(
        &'b self,
        octave: usize,
        blocks: &'b BTreeSet<BlockAt>,
    ) -> impl Iterator<Item = BlockAt> + 'b {
        let known = &self.octaves[octave];
        blocks.iter().copied().filter(|b| !known.contains_key(b))
    }

    /// Evaluates blocks with one margin; gives back those that stayed uncertain.
    fn evaluate_blocks<T: Target>(
        &mut self,
        octave: usize,
        blocks: &[BlockAt],
        margin: i64,
        target: &T,
    ) -> Result<Vec<BlockAt>> {
        let layer = &self.plan.schedule.octaves[octave];
        let sizes = [layer.from, layer.to];
        let (void, blocks): (Vec<BlockAt>, Vec<BlockAt>) = blocks
            .iter()
            .partition(|b| target.is_void(self.block_rectangle(octave, **b), sizes));
        let cells = self.block_cells(octave);
        for at in void {
            self.octaves[octave].insert(at, Block::empty(cells));
        }
        let groups = Tiling::of(&self.plan, octave).groups(blocks);
        // A wider margin than planned rests on more of the larger octaves
        if octave > 0 && self.plan.schedule.spaced {
            let mut elders = vec![BTreeSet::new(); self.octaves.len()];
            for group in &groups {
                self.elders_of(octave, group, margin, &mut elders);
            }
            let missing = |s: &Self| {
                elders[..octave]
                    .iter()
                    .zip(&s.octaves)
                    .any(|(e, o)| e.iter().any(|b| !o.contains_key(b)))
            };
            if missing(self) {
                self.ensure(&elders, target)?;
            }
        }
        let windows: Vec<Rectangle> = groups
            .iter()
            .map(|group| self.window(octave, group, margin))
            .collect();
        target.prepare(&windows, sizes)?;
        let results: Vec<(Vec<Option<Block>>, Count)> = groups
            .par_iter()
            .map_init(Scratch::default, |scratch, group| {
                target.check()?;
                Ok(self.evaluate_group(scratch, octave, group, margin, target))
            })
            .collect::<Result<_>>()?;
        let mut uncertain = Vec::new();
        for (group, (evaluated, count)) in groups.iter().zip(results) {
            self.count.add(&count);
            for (at, block) in group.blocks.iter().zip(evaluated) {
                match block {
                    Some(block) => {
                        self.octaves[octave].insert(*at, block);
                    }
                    None => uncertain.push(*at),
                }
            }
        }
        Ok(uncertain)
    }

    fn evaluate_group<T: Target>(
        &self,
        scratch: &mut Scratch,
        octave: usize,
        group: &Group,
        margin: i64,
        target: &T,
    ) -> (Vec<Option<Block>>, Count) {
        let window = self.window(octave, group, margin);
        let layer = &self.plan.schedule.octaves[octave];
        let mut elders = Vec::new();
        if self.plan.schedule.spaced {
            for larger in 0..octave {
                self.collect(larger, window.grown(self.reach(larger)), &mut elders);
            }
        }
        let here = target.here(window, [layer.from, layer.to]);
        let asked = Window {
            octave,
            parts: &group.parts,
            margin,
            elders: &elders,
        };
        let (evaluated, count) = evaluate_in(scratch, &self.plan, &asked, &here);
        let blocks = group.parts.iter().zip(evaluated);
        let blocks = blocks.map(|(part, evaluated)| {
            let Evaluated { placed, cells } = evaluated?;
            let rows = (part.z0..=part.z1)
                .map(|row| placed.partition_point(|p| p.z.div_euclid(layer.side) < row) as u32)
                .collect();
            Some(Block {
                placed,
                rows,
                cells,
            })
        });
        (blocks.collect(), count)
    }

    /// A group with its margin, and the cell round that in which a candidate's target looks about:
    /// all that an evaluation asks for.
    fn window(&self, octave: usize, group: &Group, margin: i64) -> Rectangle {
        let margin = if self.plan.schedule.spaced {
            margin + 1
        } else {
            0
        };
        let side = self.plan.schedule.octaves[octave].side;
        let cells = group.cells().grown(margin);
        Rectangle {
            x0: cells.x0 * side,
            z0: cells.z0 * side,
            x1: cells.x1 * side - 1,
            z1: cells.z1 * side - 1,
        }
    }

    /// Adds to `into` the evaluated pieces of an octave whose cells touch the rectangle.
    pub fn collect(&self, octave: usize, r: Rectangle, into: &mut Vec<Placed>) {
        let side = self.plan.schedule.octaves[octave].side;
        let size = self.block_cells(octave);
        let (x0, x1) = (
            r.x0.div_euclid(side) * side,
            (r.x1.div_euclid(side) + 1) * side,
        );
        for at in self.blocks_of(octave, r) {
            let Some(block) = self.octaves[octave].get(&at) else {
                continue;
            };
            let row = |z: i64| (z.div_euclid(side) - at.0 * size).clamp(0, size) as usize;
            let (first, last) = (row(r.z0), (row(r.z1) + 1).min(size as usize));
            let range = block.rows[first] as usize..block.rows[last] as usize;
            into.extend(block.placed[range].iter().filter(|p| p.x >= x0 && p.x < x1));
        }
    }

    /// Calls `found` for every evaluated piece of an octave whose middle is within `reach`
    /// nanometres of a place, along x and along z.
    pub fn near(
        &self,
        octave: usize,
        (x, z): (i64, i64),
        reach: i64,
        mut found: impl FnMut(&Placed),
    ) {
        let side = self.plan.schedule.octaves[octave].side;
        let size = self.block_cells(octave);
        let around = Rectangle::at(x, z).grown(reach);
        // Within a row pieces go by column: skip to the first that matters
        let (first_x, last_x) = (
            around.x0.div_euclid(side) * side,
            (around.x1.div_euclid(side) + 1) * side,
        );
        for at in self.blocks_of(octave, around) {
            let Some(block) = self.octaves[octave].get(&at) else {
                continue;
            };
            let row = |z: i64| (z.div_euclid(side) - at.0 * size).clamp(0, size - 1) as usize;
            for row in row(around.z0)..=row(around.z1) {
                let placed = &block.placed[block.rows[row] as usize..block.rows[row + 1] as usize];
                let skipped = placed.partition_point(|p| p.x < first_x);
                placed[skipped..]
                    .iter()
                    .take_while(|p| p.x < last_x)
                    .filter(|p| around.holds(p.x, p.z))
                    .for_each(&mut found);
            }
        }
    }

    /// The evaluated pieces of one block, by cell row, column and rank; none when it was not
    /// evaluated.
    #[must_use]
    pub fn block(&self, octave: usize, at: BlockAt) -> &[Placed] {
        self.octaves[octave].get(&at).map_or(&[], |b| &b.placed)
    }

    /// All pieces of all evaluated blocks.
    pub fn evaluated(&self) -> impl Iterator<Item = &Placed> {
        self.octaves
            .iter()
            .flat_map(BTreeMap::values)
            .flat_map(|b| &b.placed)
    }

    /// How many pieces all evaluated blocks hold.
    #[must_use]
    pub fn pieces(&self) -> usize {
        let blocks = self.octaves.iter().flat_map(BTreeMap::values);
        blocks.map(|b| b.placed.len()).sum()
    }

    /// Cells along a block's side, and what was counted in each, row by row; nothing where nothing
    /// is wanted anywhere in the block.
    #[must_use]
    pub fn cell_counts(&self, octave: usize, at: BlockAt) -> (i64, &[CellCount]) {
        let block = self.octaves[octave].get(&at);
        (self.block_cells(octave), block.map_or(&[], |b| &b.cells))
    }

    /// What all evaluations so far looked at.
    #[must_use]
    pub fn total(&self) -> Count {
        self.count
    }

    /// Adds the larger octaves' blocks that the wanted ones rest on, as far as any of these are
    /// missing.
    pub fn add_elders(&self, wanted: &mut Blocks) {
        if !self.plan.schedule.spaced {
            return;
        }
        for octave in (1..wanted.len()).rev() {
            let tiling = Tiling::of(&self.plan, octave);
            for group in tiling.groups(self.missing(octave, &wanted[octave])) {
                self.elders_of(octave, &group, tiling.margin, wanted);
            }
        }
    }

    /// The windows in which those of some blocks that are missing will be evaluated.
    pub fn windows(
        &self,
        octave: usize,
        blocks: impl IntoIterator<Item = BlockAt>,
    ) -> Vec<Rectangle> {
        let tiling = Tiling::of(&self.plan, octave);
        let known = &self.octaves[octave];
        let missing = blocks.into_iter().filter(|b| !known.contains_key(b));
        let groups = tiling.groups(missing).into_iter();
        groups
            .map(|group| self.window(octave, &group, tiling.margin))
            .collect()
    }

    /// The larger octaves' blocks that one group with its margin rests on.
    fn elders_of(&self, octave: usize, group: &Group, margin: i64, into: &mut [BTreeSet<BlockAt>]) {
        let window = self.window(octave, group, margin);
        for (larger, set) in into.iter_mut().enumerate().take(octave) {
            set.extend(self.blocks_of(larger, window.grown(self.reach(larger))));
        }
    }

    /// Ids tell cells apart only within 2^20 of each other: a layout must not span more.
    fn check_span(&self, octave: usize, blocks: &BTreeSet<BlockAt>) -> Result<()> {
        let size = self.block_cells(octave);
        let most = (1i64 << ID_CELL_BITS) / size;
        let spans = |of: fn(&BlockAt) -> i64| {
            let (low, high) = (blocks.iter().map(of).min(), blocks.iter().map(of).max());
            high.unwrap_or(0) - low.unwrap_or(0) + 1
        };
        let span = spans(|b| b.0).max(spans(|b| b.1));
        if span <= most {
            return Ok(());
        }
        let side = self.plan.schedule.octaves[octave].side as f64 / NANO;
        let hint = "bring the cameras nearer to each other, or dress them as two shots".to_string();
        Err(Error::input(
            "cameras",
            format!(
                "the ground in view spans {:.0} km at pieces of {side} m; one layout can tell pieces apart over {:.0} km",
                (span * size) as f64 * side / 1e3,
                (most * size) as f64 * side / 1e3
            ),
            hint,
        ))
    }
}
