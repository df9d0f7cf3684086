//! A piece that is to be laid, with what decides how it lies.

use crate::plan::Placed;

/// A piece that is asked for, with what it heeds.
#[derive(Debug)]
pub(super) struct Unsettled {
    pub(super) placed: Placed,
    /// Whether it is asked for by a camera alone: it is laid only if that may see it as high as
    /// it can lie.
    pub(super) if_seen: bool,
    /// What may be under it: pass and id, or [`PIN`](super::settled::PIN) and number; pins last.
    pub(super) under: Vec<(u16, u64)>,
    /// What may be beside it, not to be cut into.
    pub(super) beside: Vec<(u16, u64)>,
}
