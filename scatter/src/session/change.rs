//! What a dressing tells beside its layout.

use super::clock::Stage;
use crate::layout::Difference;

/// What a dressing changed, and the work that went into it.
#[derive(Debug, Default)]
pub struct Change {
    /// Ids of the pieces that differ from the session's layout before. All pieces are added in its
    /// first layout, and in each layout of a forgetful session.
    pub pieces: Difference,
    /// The work that went into it.
    pub work: Work,
}

/// The work that went into a dressing.
#[derive(Debug, Default)]
pub struct Work {
    /// Its stages in order, with the time that each took.
    pub stages: Vec<Stage>,
    /// Cells that were evaluated, in all passes; those of earlier dressings count if their ground
    /// was reused.
    pub cells: u64,
    /// Pieces that were newly laid to rest or refused.
    pub laid: u64,
    /// Pieces whose rest, or refusal, was reused from an earlier dressing.
    pub taken_over: u64,
    /// Ids of the pieces that were refused at rest or removed by hand, in view or not.
    pub refused: Vec<u64>,
}
