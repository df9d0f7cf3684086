//! What is wet, and what time left, as the document has it.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::bounds::SHARE;
use crate::units::Length;

/// What is wet in pictures: up to a `level`, in `hollows`, or all over by `dew`; they add up.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(extend("anyOf" = [{ "required": ["level"] }, { "required": ["hollows"] }, { "required": ["dew"] }]))]
pub struct Wet {
    /// World height of a water line, within 100 km: what lies lower is wet. No water is shown.
    /// Default none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub level: Option<Length>,
    /// How far over `level` water rises, with a ragged top, 0 to 1 m. Default 30 mm.
    #[serde(default = "default_ragged")]
    #[schemars(schema_with = "crate::units::length_from_zero")]
    pub ragged: Length,
    /// Share of the ground under puddles, in its deepest hollows, 0 to 1. Default 0.
    #[serde(default)]
    #[schemars(range(min = SHARE.least, max = SHARE.most))]
    pub hollows: f64,
    /// Share of all that looks up which dew or rain has wetted, 0 to 1. Default 0.
    #[serde(default)]
    #[schemars(range(min = SHARE.least, max = SHARE.most))]
    pub dew: f64,
}

/// Water rises 2 to 5 cm in coarse sand (from memory: capillary rise of soils).
fn default_ragged() -> Length {
    Length::from_metres(0.03)
}

/// What time left on surfaces in pictures: `lichen`, `dust` or both.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(extend("minProperties" = 1))]
pub struct Weathering {
    /// How much lichen grows on stones, most on sides that look up and north (-z), 0 to 1. Default
    /// 0: only what broken stones have by themselves.
    #[serde(default)]
    #[schemars(range(min = SHARE.least, max = SHARE.most))]
    pub lichen: f64,
    /// How thick dust of the soil's colour lies on what looks up, 0 to 1, where all of a level face
    /// is hidden. Default 0.
    #[serde(default)]
    #[schemars(range(min = SHARE.least, max = SHARE.most))]
    pub dust: f64,
}
