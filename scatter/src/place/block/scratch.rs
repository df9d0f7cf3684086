//! The memory of an evaluation, to be used again by the next one.

use super::CellCount;
use super::cover::Cover;
use super::doubt::Doubts;
use super::elders::Elders;
use super::laid::LaidPieces;
use super::levels::OpenGround;
use super::survivors::Survivors;

/// Mark of a cell wholly under an elder.
pub(super) const DEAD: u8 = 1;
/// Mark of a cell that may hold a piece in doubt.
pub(super) const UNKNOWN: u8 = 2;
/// Mark of a cell in which no more is thrown: anything may come to lie there.
pub(super) const CLOSED: u8 = 4;

/// What an evaluation works with: what it holds from an earlier one has no say.
#[derive(Debug, Default)]
pub struct Scratch {
    /// Marks of the cells.
    pub(super) marks: Vec<u8>,
    pub(super) counts: Vec<CellCount>,
    pub(super) cover: Cover,
    pub(super) elders: Elders,
    pub(super) survivors: Survivors,
    pub(super) laid: LaidPieces,
    pub(super) open: OpenGround,
    pub(super) doubts: Doubts,
}

impl Scratch {
    /// Forgets the last block and makes room for grids of so many cells.
    pub(super) fn clear(&mut self, cells: usize) {
        self.marks.clear();
        self.marks.resize(cells, 0);
        self.counts.clear();
        self.counts.resize(cells, CellCount::default());
        self.cover.clear();
        self.elders.clear(cells);
        self.survivors.clear();
        self.laid.clear(cells);
        self.open.clear();
        self.doubts.clear();
    }
}
