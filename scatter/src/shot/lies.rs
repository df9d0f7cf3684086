//! How a piece comes to lie.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// How a piece comes to lie.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Lies {
    /// A body that keeps its form and lies on one of its faces: stones, bark, twigs.
    Rigid,
    /// A sheet that lies on its broad side: leaves.
    Sheet,
    /// Grows out of the ground: grass.
    Rooted,
}
