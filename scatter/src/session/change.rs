//! What a dressing tells beside its layout.

use super::clock::Stage;
use crate::layout::Difference;

/// What became of a dressing.
#[derive(Debug, Default)]
pub struct Change {
    /// The pieces that differ from the layout that the session dressed before, by id; all are added
    /// the first time, and in a session that remembers nothing.
    pub pieces: Difference,
    /// What it took.
    pub work: Work,
}

/// What a dressing took.
#[derive(Debug, Default)]
pub struct Work {
    /// What the time went into.
    pub stages: Vec<Stage>,
    /// Cells that were looked at, in all passes and in all dressings whose ground was taken over.
    pub cells: u64,
    /// Pieces that were laid to rest or refused anew.
    pub laid: u64,
    /// Pieces that were taken over from an earlier dressing.
    pub taken_over: u64,
    /// Ids of the pieces that were refused at rest, or taken away by hand, wherever they were
    /// looked for.
    pub refused: Vec<u64>,
}
