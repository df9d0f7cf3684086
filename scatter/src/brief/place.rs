//! What a place looks like beyond its shapes: its soil, what is wet, and what time left. No place of a piece hangs
//! on it.

use serde::Serialize;

/// The soil between the pieces.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct SoilLook {
    /// Diffuse albedo where it is dry, linear red, green and blue; None for the look's own.
    pub albedo: Option<[f32; 3]>,
    /// Diameter of the grains that most of it is of, metres; None for the look's own.
    pub grain: Option<f64>,
}

/// What is wet. Metres.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Wet {
    /// World height up to which all is wet.
    pub level: Option<f64>,
    /// How far over the level water rises, 0..=1.
    pub ragged: f64,
    /// Share of the ground under puddles, 0..=1.
    pub hollows: f64,
    /// Share of what looks up that dew or rain has wetted, 0..=1.
    pub dew: f64,
}

/// What time left on surfaces.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Weathering {
    /// How much lichen grows on stones, 0..=1.
    pub lichen: f64,
    /// How thick dust lies on what looks up, 0..=1.
    pub dust: f64,
}
