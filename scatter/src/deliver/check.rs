//! Is a layout fit to be written, and what stands about it?

use super::included::Included;
use crate::error::Result;
use crate::layout::{Layout, part_problem, unfit};

/// Refuses what no format can say: numbers that are not finite, indices to nothing, meshes that
/// contradict themselves, instances out of order.
///
/// # Errors
/// Names the first place found.
pub(super) fn check(layout: &Layout, included: &Included<'_>) -> Result<()> {
    for prop in &included.props {
        for (j, part) in prop.parts.iter().enumerate() {
            if let Some(problem) = part_problem(part) {
                return Err(unfit(
                    format!("{}.parts[{j}]", prop.name),
                    problem.to_owned(),
                ));
            }
        }
    }
    layout.validate()
}
