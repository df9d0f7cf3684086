//! What a layer gives to the layout.

use crate::layout::{Instance, Tally};

/// What a layer gives to the layout.
#[derive(Default)]
pub(super) struct Laid {
    pub(super) tally: Tally,
    pub(super) instances: Vec<Instance>,
}
