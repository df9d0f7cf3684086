//! How the pieces of a pass lie.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::bounds::SHARE;
use crate::units::Angle;

/// How a piece lies.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Rest {
    /// Least and most share of the piece's height that is sunk in the ground, 0 to 1. Default [0.1,
    /// 0.3].
    #[serde(default = "default_bury")]
    #[schemars(inner(range(min = SHARE.least, max = SHARE.most)))]
    pub bury: [f64; 2],
    /// Direction of the long axes. Default any.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub heading: Option<Heading>,
    /// Standard deviation of a random tilt away from how it stands, 0 to 90 deg. Default 0.
    #[serde(default)]
    pub tilt: Angle,
    /// What is up for the piece. Default normal.
    #[serde(default)]
    pub stand: Stand,
    /// What it lies on. Default settled.
    #[serde(default)]
    pub on: On,
    /// Which of its stable poses it takes. Default any.
    #[serde(default)]
    pub pose: Pose,
    /// Flat stones lean against a flow. Default none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lean: Option<Lean>,
    /// Leaves: 0 is dry and stiff and bridges what it lies on, 1 is wet and follows it. Default
    /// 0.5.
    #[serde(default = "default_wet")]
    #[schemars(range(min = SHARE.least, max = SHARE.most))]
    pub wet: f64,
}

/// Stones on settled ground sit a little in it (common practice, no source: checks on burial give
/// no figure).
fn default_bury() -> [f64; 2] {
    [0.1, 0.3]
}

/// Litter is seldom bone dry or soaked.
fn default_wet() -> f64 {
    0.5
}

impl Default for Rest {
    fn default() -> Self {
        Self {
            bury: default_bury(),
            heading: None,
            tilt: Angle::default(),
            stand: Stand::default(),
            on: On::default(),
            pose: Pose::default(),
            lean: None,
            wet: default_wet(),
        }
    }
}

/// A direction with a spread.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(extend("oneOf" = [{ "required": ["toward"] }, { "required": ["along"] }]))]
pub struct Heading {
    /// Mean azimuth of the long axes, clockwise from -z seen from above.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub toward: Option<Angle>,
    /// Instead, the name of a line in `ground.lines`: the long axes run as the line does where it is
    /// nearest.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub along: Option<String>,
    /// With `along`, turned against the line, clockwise seen from above. Default 0.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub turn: Option<Angle>,
    /// Standard deviation about it, 0 to 180 deg. Default 0.
    #[serde(default)]
    pub spread: Angle,
}

/// What is up for a piece.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Stand {
    /// The ground's normal.
    #[default]
    Normal,
    /// The world's upright.
    Up,
}

/// What a piece lies on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum On {
    /// The ground and all that lies there already.
    #[default]
    Settled,
    /// The ground alone.
    Ground,
}

/// Which stable pose a piece takes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Pose {
    /// Each as often as a dropped piece takes it.
    #[default]
    Any,
    /// The lowest.
    Flat,
    /// Between the lowest and the tallest: on an edge.
    Edge,
    /// The tallest.
    Upright,
}

/// A lean against a flow, as flat stones of a stream bed lie (imbrication): they dip towards where
/// the flow comes from.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Lean {
    /// Azimuth that the flow comes from.
    pub from: Angle,
    /// Mean dip, 0 to 60 deg. Default 20 deg.
    #[serde(default = "default_dip")]
    pub dip: Angle,
    /// Standard deviation of the dip, 0 to 30 deg. Default 8 deg.
    #[serde(default = "default_dip_spread")]
    pub spread: Angle,
}

/// Dips of stream gravel are mostly 10 to 30 degrees (from memory: textbooks of sedimentology).
fn default_dip() -> Angle {
    Angle::from_degrees(20.0)
}

/// See [`default_dip`].
fn default_dip_spread() -> Angle {
    Angle::from_degrees(8.0)
}
