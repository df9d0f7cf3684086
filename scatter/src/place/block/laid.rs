//! What was laid in a window, cell by cell.

use super::fine_grid::FineGrid;
use super::lists::NONE;
use super::survivors::Draft;
use crate::plan::stone::Stone;
use crate::plan::{Ellipse, PassPiece};

/// A piece in a cell's list, kept or in doubt, that keeps apart by its ellipse.
#[derive(Debug)]
pub(super) struct LaidEllipse {
    pub(super) body: Ellipse,
    /// The one that was laid before it in its cell.
    pub(super) next: u32,
    pub(super) diameter: f32,
    pub(super) piece: PassPiece,
    pub(super) stance: u8,
    pub(super) sunk: u8,
    pub(super) unknown: bool,
}

/// A stone that lies in the window.
#[derive(Debug)]
pub(super) struct LaidStone {
    pub(super) stone: Stone,
    pub(super) draft: Draft,
    pub(super) turn: u8,
    /// The one that was laid before it in its cell.
    pub(super) next: u32,
}

/// What was laid: ellipses, or stones where the pass's pieces are some.
#[derive(Debug, Default)]
pub(super) struct LaidPieces {
    /// By cell, the piece that was laid last.
    pub(super) heads: Vec<u32>,
    pub(super) ellipses: Vec<LaidEllipse>,
    pub(super) stones: Vec<LaidStone>,
    /// Where the ellipses lie, if the work is fine.
    pub(super) fine: FineGrid,
}

impl LaidPieces {
    pub(super) fn clear(&mut self, cells: usize) {
        self.heads.clear();
        self.heads.resize(cells, NONE);
        self.ellipses.clear();
        self.stones.clear();
    }
}
