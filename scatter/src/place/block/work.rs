//! What one evaluation works on: a window of cells, and what lies in them.

use std::ops::Range;

use super::cover::Stencils;
use super::crowding::Widths;
use super::doubt::Doubt;
use super::draws;
use super::elder_stones::Elder;
use super::fine_grid::FineGrid;
use super::grades::Grades;
use super::id::{MOST_PER_CELL, piece_id};
use super::levels::{Near, Subcell};
use super::packed::Laid;
use super::{CellCount, Cells, Count, Evaluated, PassPlan};

use crate::field::Here;
use crate::place::schedule::{Octave, SINGLE_PRECISION, Throw};
use crate::plan::PassPiece;
use crate::plan::{Ellipse, NANO, Placed};

/// Mark of a cell wholly under an elder.
pub(super) const DEAD: u8 = 1;
/// Mark of a cell that may hold a piece in doubt.
pub(super) const UNKNOWN: u8 = 2;
/// Mark of a cell in which no more is thrown: anything may come to lie there.
pub(super) const CLOSED: u8 = 4;

/// Candidates a piece from which on laid pieces are found by the finer grid: with fewer, a cell's own
/// list is short, and buckets cost more than they save. By eye, from a handful of shots.
const FULL: f64 = 8.0;

/// No index.
pub(super) const NONE: u32 = u32::MAX;

/// A kept or unknown piece in a cell's list.
#[derive(Debug)]
pub(super) struct Kept {
    pub(super) body: Ellipse,
    /// The one that was kept before it in its cell.
    pub(super) next: u32,
    pub(super) diameter: f32,
    pub(super) piece: PassPiece,
    pub(super) stance: u8,
    pub(super) sunk: u8,
    pub(super) unknown: bool,
}

/// A candidate, before it is known whether it lies: small, since most never do.
#[derive(Debug, Clone, Copy)]
pub(super) struct Draft {
    pub(super) x: f64,
    pub(super) z: f64,
    pub(super) cell: u32,
    pub(super) diameter: f32,
    /// Bits that pick its heading.
    pub(super) look: u32,
    pub(super) piece: PassPiece,
}

/// The memory of an evaluation, to be used again by the next one.
///
/// Grids have a ring of empty cells round the window, so that every cell of it has eight
/// neighbours.
#[derive(Debug, Default)]
pub struct Memory {
    /// Marks of the cells.
    pub(super) marks: Vec<u8>,
    /// 64 subcells a cell: those in which no candidate can lie any more.
    pub(super) cover: Vec<u64>,
    pub(super) stencils: Stencils,
    pub(super) elders: Vec<Ellipse>,
    pub(super) elder_heads: Vec<u32>,
    pub(super) elder_links: Vec<(u32, u32)>,
    /// The cell's last kept piece.
    pub(super) heads: Vec<u32>,
    pub(super) kept: Vec<Kept>,
    /// Where the kept pieces lie, if the work is fine.
    pub(super) fine: FineGrid,
    pub(super) survivors: Vec<Draft>,
    /// Ranks of the survivors, earliest first once sorted.
    pub(super) order: Vec<(u64, u32)>,
    pub(super) spare: Vec<(u64, u32)>,
    pub(super) starts: Vec<u32>,
    pub(super) active: Vec<Subcell>,
    pub(super) next: Vec<Subcell>,
    pub(super) near: Near,
    pub(super) counts: Vec<CellCount>,
    pub(super) laid: Vec<Laid>,
    pub(super) elder_stones: Vec<Elder>,
    pub(super) doubts: Vec<Doubt>,
    /// By cell, the doubts that reach it.
    pub(super) doubt_heads: Vec<u32>,
    pub(super) doubt_links: Vec<(u32, u32)>,
}

impl Memory {
    /// Forgets the last block and makes room for grids of so many cells.
    fn clear(&mut self, cells: usize) {
        fn fill<T: Clone>(grid: &mut Vec<T>, cells: usize, with: T) {
            grid.clear();
            grid.resize(cells, with);
        }
        fill(&mut self.marks, cells, 0);
        fill(&mut self.elder_heads, cells, NONE);
        fill(&mut self.heads, cells, NONE);
        fill(&mut self.counts, cells, CellCount::default());
        self.cover.clear();
        self.elders.clear();
        self.elder_links.clear();
        self.kept.clear();
        self.survivors.clear();
        self.order.clear();
        self.active.clear();
        self.near.forget();
        self.laid.clear();
        self.elder_stones.clear();
        self.doubts.clear();
        self.doubt_links.clear();
    }
}

impl Memory {
    /// The elders in a cell's list.
    pub(super) fn listed(&self, head: u32) -> impl Iterator<Item = u32> + use<'_> {
        let mut link = head;
        std::iter::from_fn(move || {
            let (elder, next) = *self.elder_links.get(link as usize)?;
            link = next;
            Some(elder)
        })
    }
}

/// One octave on one window.
pub(super) struct Work<'a, T> {
    pub(super) memory: &'a mut Memory,
    pub(super) plan: &'a PassPlan,
    pub(super) octave: usize,
    pub(super) layer: &'a Octave,
    pub(super) target: &'a T,
    core: Cells,
    pub(super) window: Cells,
    pub(super) width: usize,
    pub(super) height: usize,
    /// Cells of a row of the grids.
    pub(super) stride: usize,
    pub(super) side: f64,
    /// Whether kept pieces are found by the finer grid.
    pub(super) fine: bool,
    /// Whether all outlines are discs: their headings decide nothing.
    pub(super) round: bool,
    /// Largest semi-axis of kept-free ground in this octave, nanometres.
    pub(super) outer_most: f64,
    /// Most that the schedule can follow of a target: strewn pieces follow any.
    pub(super) cap: f64,
    /// How many more darts wide forms need.
    pub(super) widths: Widths,
    /// Where sizes are graded: what they meet.
    pub(super) grades: Option<Grades>,
    /// Smallest semi-axis of kept-free ground in this octave, nanometres.
    pub(super) inner_least: f64,
    pub(super) count: Count,
}

impl<'a, T: Here> Work<'a, T> {
    pub(super) fn new(
        memory: &'a mut Memory,
        plan: &'a PassPlan,
        octave: usize,
        core: Cells,
        margin: i64,
        target: &'a T,
    ) -> Self {
        let layer = &plan.schedule.octaves[octave];
        let margin = if plan.schedule.spaced { margin } else { 0 };
        let window = core.grown(margin);
        let (width, height) = (
            (window.x1 - window.x0) as usize,
            (window.z1 - window.z0) as usize,
        );
        memory.clear((width + 2) * (height + 2));
        let longest = plan.longest();
        let fine = match layer.throw {
            _ if plan.stones.is_some() || !plan.schedule.spaced => false,
            Throw::BySize { .. } => {
                plan.has_long_pieces() || plan.schedule.most_tries(octave, 1.0) > FULL
            }
            Throw::Equal { .. } => plan.has_long_pieces(),
        };
        if fine {
            memory
                .fine
                .cover([width, height], layer.side as f64, longest);
        }
        let half = 0.5 * NANO * plan.reach;
        let longest = plan.stones.as_ref().map_or(longest, |s| 2.0 * s.outer);
        Self {
            memory,
            plan,
            octave,
            layer,
            target,
            core,
            window,
            width,
            height,
            stride: width + 2,
            side: layer.side as f64,
            fine,
            round: plan.pieces.outlines().iter().all(|o| o.elongation == 1.0),
            cap: if plan.schedule.spaced {
                plan.schedule.peak
            } else {
                f64::INFINITY
            },
            widths: Widths::new(plan.stones.as_ref(), layer.steepness),
            grades: Grades::new(target, |share| layer.diameter(share)),
            outer_most: half * layer.to * longest * SINGLE_PRECISION,
            inner_least: half * layer.from / SINGLE_PRECISION,
            count: Count::default(),
        }
    }

    /// The window's corner in the world, nanometres.
    pub(super) fn corner(&self) -> (i64, i64) {
        (
            self.window.x0 * self.layer.side,
            self.window.z0 * self.layer.side,
        )
    }

    /// A cell's index in the grids, by its column and row in the window.
    #[inline]
    pub(super) fn cell(&self, cx: usize, cz: usize) -> usize {
        (cz + 1) * self.stride + cx + 1
    }

    /// A cell's column and row in the window, by its index in the grids.
    #[inline]
    pub(super) fn column_row(&self, cell: u32) -> (usize, usize) {
        // 32-bit division: a third of the time of the 64-bit one
        let stride = self.stride as u32;
        ((cell % stride) as usize - 1, (cell / stride) as usize - 1)
    }

    /// A cell and its eight neighbours.
    #[inline]
    pub(super) fn around(&self, cell: usize) -> [usize; 9] {
        let (below, above) = (cell - self.stride, cell + self.stride);
        [
            cell,
            cell - 1,
            cell + 1,
            below,
            above,
            below - 1,
            below + 1,
            above - 1,
            above + 1,
        ]
    }

    pub(super) fn in_core(&self, cx: usize, cz: usize) -> bool {
        let (ix, iz) = (self.window.x0 + cx as i64, self.window.z0 + cz as i64);
        ix >= self.core.x0 && ix < self.core.x1 && iz >= self.core.z0 && iz < self.core.z1
    }

    /// The ground that a candidate keeps free.
    #[inline]
    pub(super) fn body(&self, draft: &Draft) -> Ellipse {
        let inner = 0.5 * NANO * self.plan.reach * f64::from(draft.diameter);
        Ellipse {
            x: draft.x,
            z: draft.z,
            outer: inner * self.plan.pieces.outlines()[usize::from(draft.piece)].elongation,
            inner,
            along: if self.round {
                [1.0, 0.0]
            } else {
                self.plan.headings.pick(draft.look)
            },
        }
    }

    /// Lays a candidate in its cell.
    pub(super) fn keep(&mut self, draft: &Draft, mut body: Ellipse, unknown: bool) {
        if self.round {
            body.along = self.plan.headings.pick(draft.look);
        }
        let index = self.memory.kept.len() as u32;
        if self.fine {
            self.memory.fine.add(index, &body, unknown);
        }
        let head = &mut self.memory.heads[draft.cell as usize];
        self.memory.kept.push(Kept {
            body,
            next: *head,
            diameter: draft.diameter,
            piece: draft.piece,
            stance: self
                .plan
                .stances
                .pick(draft.piece, draws::stance_by(draft.look)),
            sunk: draws::sunk_by(draft.look),
            unknown,
        });
        *head = index;
    }

    /// Columns and rows of a part in the window.
    fn local(&self, part: Cells) -> (Range<usize>, Range<usize>) {
        let range =
            |from: i64, to: i64, corner: i64| (from - corner) as usize..(to - corner) as usize;
        let columns = range(part.x0, part.x1, self.window.x0);
        (columns, range(part.z0, part.z1, self.window.z0))
    }

    /// Whether no cell of a part of the core is in doubt.
    pub(super) fn is_certain(&self, part: Cells) -> bool {
        let (columns, mut rows) = self.local(part);
        rows.all(|cz| {
            let (first, last) = (self.cell(columns.start, cz), self.cell(columns.end, cz));
            let mut marks = self.memory.marks[first..last].iter();
            marks.all(|m| m & UNKNOWN == 0)
        })
    }

    /// The pieces of a part of the core by cell, in the order in which they were laid, each with
    /// its id, and the part's counts.
    pub(super) fn finish(&self, part: Cells) -> Evaluated {
        let (columns, rows) = self.local(part);
        let mut placed = Vec::new();
        let mut cells = Vec::with_capacity(columns.len() * rows.len());
        let mut chain: Vec<u32> = Vec::new();
        for (cz, iz) in rows.zip(part.z0..) {
            for (cx, ix) in columns.clone().zip(part.x0..) {
                let cell = self.cell(cx, cz);
                cells.push(self.memory.counts[cell]);
                // The list runs from the last laid to the first
                chain.clear();
                let mut at = self.memory.heads[cell];
                while at != NONE {
                    chain.push(at);
                    at = self.laid_before(at);
                }
                for (index, ordinal) in chain.iter().rev().zip(0..MOST_PER_CELL) {
                    let id = piece_id(self.plan.tag, self.octave, ix, iz, ordinal);
                    placed.push(Placed {
                        id,
                        ..self.placed(*index)
                    });
                }
            }
        }
        Evaluated { placed, cells }
    }

    /// What was laid in a cell before a piece.
    fn laid_before(&self, index: u32) -> u32 {
        if self.plan.stones.is_some() {
            self.memory.laid[index as usize].next
        } else {
            self.memory.kept[index as usize].next
        }
    }

    /// A laid piece, yet without an id.
    fn placed(&self, index: u32) -> Placed {
        let (x0, z0) = self.corner();
        if self.plan.stones.is_some() {
            let Laid { draft, turn, .. } = &self.memory.laid[index as usize];
            return Placed {
                x: x0 + draft.x as i64,
                z: z0 + draft.z as i64,
                along: draws::heading(*turn),
                ..self.thrown(draft)
            };
        }
        let kept = &self.memory.kept[index as usize];
        Placed {
            x: x0 + kept.body.x as i64,
            z: z0 + kept.body.z as i64,
            id: 0,
            diameter: kept.diameter,
            along: kept.body.along,
            piece: kept.piece,
            stance: kept.stance,
            sunk: kept.sunk,
        }
    }

    /// What a candidate's draws say of it, but for its place and heading.
    pub(super) fn thrown(&self, draft: &Draft) -> Placed {
        let stance = draws::stance_by(draft.look);
        Placed {
            x: 0,
            z: 0,
            id: 0,
            diameter: draft.diameter,
            along: [1.0, 0.0],
            piece: draft.piece,
            stance: self.plan.stances.pick(draft.piece, stance),
            sunk: draws::sunk_by(draft.look),
        }
    }

    /// Counts a dart that was thrown into a cell and found no room: beside what it keeps clear of,
    /// or among its own.
    pub(super) fn count_refused(&mut self, cell: u32, kept_clear: bool) {
        let count = &mut self.memory.counts[cell as usize];
        let of = if kept_clear {
            &mut count.kept_clear
        } else {
            &mut count.no_room
        };
        *of = of.saturating_add(1);
    }
}
