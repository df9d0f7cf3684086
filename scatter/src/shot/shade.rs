//! Dappled light as the document has it.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::bounds::LIT;
use crate::units::Length;

/// The name of the pass that the casters are delivered as.
pub const SHADE: &str = "shade";

/// Dappled light: leaves outside the frame, between the sun and the framed ground.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Shade {
    /// Share of the sun that comes through to the framed ground, 0.02 to 0.9: the share of the
    /// sun's disc that the leaves leave free, averaged over the ground. What the hero stands on or
    /// shades itself does not count.
    #[schemars(range(min = LIT.least, max = LIT.most))]
    pub lit: f64,
    /// Mean width of the sun flecks, measured on the ground square to the sun's azimuth, where half
    /// of the sun's disc or more is free: at least the softness, to 1 m. Along the azimuth they are
    /// longer by 1 over the sine of the sun's elevation.
    #[schemars(schema_with = "crate::units::positive_length")]
    pub fleck: Length,
    /// Width of a shadow's edge square to the sun's rays, 4 mm to 0.5 m: a 107th of the distance
    /// that the leaves hang at.
    #[schemars(schema_with = "crate::units::positive_length")]
    pub softness: Length,
    /// What falls on the hero. Default lit.
    #[serde(default)]
    pub hero: HeroLight,
}

/// What light falls on the hero.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum HeroLight {
    /// The sun: no leaf shades any of it.
    #[default]
    Lit,
    /// Dappled as the ground is.
    Any,
}
