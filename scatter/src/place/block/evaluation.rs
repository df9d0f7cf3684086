//! What one evaluation works on: a window of cells, and what lies in them.

use super::crowding::Widths;
use super::draws;
use super::grades::Grades;
use super::grid::Grid;
use super::id::{MOST_PER_CELL, piece_id};
use super::laid::{LaidEllipse, LaidStone};
use super::lists::NONE;
use super::scratch::{Scratch, UNKNOWN};
use super::survivors::Draft;
use super::{Cells, Count, Evaluated, PassPlan, Window};
use crate::field::Here;
use crate::place::schedule::{Octave, SINGLE_PRECISION, Throw};
use crate::plan::{Ellipse, NANO, Placed};

/// Candidates a piece from which on laid pieces are found by the finer grid: with fewer, a cell's
/// own list is short, and buckets cost more than they save. By eye, from a handful of shots.
const FULL: f64 = 8.0;

/// The ground that an octave's pieces keep free. Nanometres.
pub(super) struct SemiAxes {
    /// The smallest of the shorter semi-axes.
    pub(super) least: f64,
    /// The largest of the longer ones.
    pub(super) most: f64,
}

/// What decides how many darts are thrown, beside the schedule.
pub(super) struct DartRules {
    /// Most that the schedule can follow of a target: strewn pieces follow any.
    pub(super) cap: f64,
    /// How many more darts wide forms need.
    pub(super) widths: Widths,
    /// Where sizes are graded: what they meet.
    pub(super) grades: Option<Grades>,
}

/// One octave on one window.
pub(super) struct Evaluation<'a, T> {
    pub(super) scratch: &'a mut Scratch,
    pub(super) plan: &'a PassPlan,
    pub(super) octave: usize,
    pub(super) layer: &'a Octave,
    pub(super) target: &'a T,
    pub(super) grid: Grid,
    /// Whether kept pieces are found by the finer grid.
    pub(super) fine: bool,
    /// Whether all outlines are discs: their headings decide nothing.
    pub(super) round: bool,
    pub(super) semi_axes: SemiAxes,
    pub(super) darts: DartRules,
    pub(super) count: Count,
}

impl<'a, T: Here> Evaluation<'a, T> {
    pub(super) fn new(
        scratch: &'a mut Scratch,
        plan: &'a PassPlan,
        window: &Window<'_>,
        target: &'a T,
    ) -> Self {
        let octave = window.octave;
        let layer = &plan.schedule.octaves[octave];
        let margin = if plan.schedule.spaced {
            window.margin
        } else {
            0
        };
        let grid = Grid::new(Cells::round(window.parts), margin, layer.side);
        scratch.clear(grid.len());
        let longest = plan.longest();
        let fine = match layer.throw {
            _ if plan.stones.is_some() || !plan.schedule.spaced => false,
            Throw::BySize { .. } => {
                plan.has_long_pieces() || plan.schedule.most_tries(octave, 1.0) > FULL
            }
            Throw::Equal { .. } => plan.has_long_pieces(),
        };
        if fine {
            let cells = [grid.width, grid.height];
            scratch.laid.fine.cover(cells, grid.side, longest);
        }
        let half = 0.5 * NANO * plan.reach;
        let longest = plan.stones.as_ref().map_or(longest, |s| 2.0 * s.outer);
        Self {
            scratch,
            plan,
            octave,
            layer,
            target,
            grid,
            fine,
            round: plan.pieces.outlines().iter().all(|o| o.elongation == 1.0),
            semi_axes: SemiAxes {
                least: half * layer.from / SINGLE_PRECISION,
                most: half * layer.to * longest * SINGLE_PRECISION,
            },
            darts: DartRules {
                cap: if plan.schedule.spaced {
                    plan.schedule.peak
                } else {
                    f64::INFINITY
                },
                widths: Widths::new(plan.stones.as_ref(), layer.steepness),
                grades: Grades::new(target, |share| layer.diameter(share)),
            },
            count: Count::default(),
        }
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
                self.heading(draft)
            },
        }
    }

    /// A candidate's heading, a unit vector on the plan.
    pub(super) fn heading(&self, draft: &Draft) -> [f32; 2] {
        self.plan
            .headings
            .pick(draft.look, || self.metres(draft.x, draft.z))
    }

    /// A place in the window, in metres of the world.
    pub(super) fn metres(&self, x: f64, z: f64) -> [f64; 2] {
        let (x0, z0) = self.grid.corner();
        [(x0 as f64 + x) / NANO, (z0 as f64 + z) / NANO]
    }

    /// Lays a candidate in its cell.
    pub(super) fn keep(&mut self, draft: &Draft, mut body: Ellipse, unknown: bool) {
        if self.round {
            body.along = self.heading(draft);
        }
        let index = self.scratch.laid.ellipses.len() as u32;
        if self.fine {
            self.scratch.laid.fine.add(index, &body, unknown);
        }
        let head = &mut self.scratch.laid.heads[draft.cell as usize];
        self.scratch.laid.ellipses.push(LaidEllipse {
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

    /// Whether no cell of a part of the core is in doubt.
    pub(super) fn is_certain(&self, part: Cells) -> bool {
        let (columns, mut rows) = self.grid.local(part);
        rows.all(|cz| {
            let (first, last) = (
                self.grid.cell(columns.start, cz),
                self.grid.cell(columns.end, cz),
            );
            let mut marks = self.scratch.marks[first..last].iter();
            marks.all(|m| m & UNKNOWN == 0)
        })
    }

    /// The pieces of a part of the core by cell, in the order in which they were laid, each with
    /// its id, and the part's counts.
    pub(super) fn finish(&self, part: Cells) -> Evaluated {
        let (columns, rows) = self.grid.local(part);
        let mut placed = Vec::new();
        let mut cells = Vec::with_capacity(columns.len() * rows.len());
        let mut chain: Vec<u32> = Vec::new();
        for (cz, iz) in rows.zip(part.z0..) {
            for (cx, ix) in columns.clone().zip(part.x0..) {
                let cell = self.grid.cell(cx, cz);
                cells.push(self.scratch.counts[cell]);
                // The list runs from the last laid to the first
                chain.clear();
                let mut at = self.scratch.laid.heads[cell];
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
            self.scratch.laid.stones[index as usize].next
        } else {
            self.scratch.laid.ellipses[index as usize].next
        }
    }

    /// A laid piece, yet without an id.
    fn placed(&self, index: u32) -> Placed {
        let (x0, z0) = self.grid.corner();
        if self.plan.stones.is_some() {
            let LaidStone { draft, turn, .. } = &self.scratch.laid.stones[index as usize];
            return Placed {
                x: x0 + draft.x as i64,
                z: z0 + draft.z as i64,
                along: draws::heading(*turn),
                ..self.thrown(draft)
            };
        }
        let kept = &self.scratch.laid.ellipses[index as usize];
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
        let count = &mut self.scratch.counts[cell as usize];
        let of = if kept_clear {
            &mut count.kept_clear
        } else {
            &mut count.no_room
        };
        *of = of.saturating_add(1);
    }
}
