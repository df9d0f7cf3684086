//! Families of rock, by name.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A family of rock: what the stones of one place are of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Family {
    /// Pale, warm, some stones with veins.
    Limestone,
    /// Grey, of dark and pale grains.
    Granite,
    /// The same with pink feldspar.
    PinkGranite,
    /// Dark grey, fine, even.
    Basalt,
    /// Buff, in layers.
    Sandstone,
    /// Rust red, in layers.
    RedSandstone,
    /// Dark grey, in thin layers.
    Slate,
    /// Near white, even, some stones with veins.
    Quartzite,
    /// What a river brings together: mostly grey, with pale, buff, dark and a few red stones.
    RiverGravel,
}

impl Family {
    /// Every family, in a fixed order.
    pub const ALL: [Self; 9] = [
        Self::Limestone,
        Self::Granite,
        Self::PinkGranite,
        Self::Basalt,
        Self::Sandstone,
        Self::RedSandstone,
        Self::Slate,
        Self::Quartzite,
        Self::RiverGravel,
    ];

    /// The family's name in text.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Limestone => "limestone",
            Self::Granite => "granite",
            Self::PinkGranite => "pink-granite",
            Self::Basalt => "basalt",
            Self::Sandstone => "sandstone",
            Self::RedSandstone => "red-sandstone",
            Self::Slate => "slate",
            Self::Quartzite => "quartzite",
            Self::RiverGravel => "river-gravel",
        }
    }

    /// The family of that name, if there is one.
    #[must_use]
    pub fn named(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|family| family.name() == name)
    }
}
