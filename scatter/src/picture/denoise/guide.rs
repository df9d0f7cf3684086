//! Which pixels show one surface.

use glam::Vec3A;

/// What tells surfaces apart: means over a pixel's samples, so that blur and edges agree.
#[derive(Debug, Clone, Copy)]
pub(super) struct Guide {
    /// Mean of unit shading normals: short where a pixel shows several sides.
    pub(super) normal: Vec3A,
    /// Mean distance, metres.
    pub(super) depth: f32,
    /// Luminance of the mean base colour.
    pub(super) albedo: f32,
    /// Whether any surface is seen.
    pub(super) surface: bool,
}

/// What a signal bears.
#[derive(Debug, Clone, Copy)]
pub(super) struct Leniency {
    /// Distance between two normals from which pixels are strangers.
    pub(super) normal: f32,
    /// Difference of means from which pixels are strangers, in its own standard deviations.
    pub(super) deviations: f32,
    /// Levels of its filter.
    pub(super) levels: u32,
}

/// Slope of a surface along the line of sight that is still one surface: 4 is 76 degrees.
const STEEPEST: f32 = 4.0;

/// Ratio of base colours from which surfaces are strangers: speckle of stone stays within it.
const COLORS: f32 = 3.0;

impl Guide {
    /// How far `other`, so many pixels away, is of the same surface, 0..1. The same both ways.
    /// `pixel` is the side of a pixel over its distance.
    #[inline]
    pub(super) fn likeness(
        &self,
        other: &Self,
        pixels: f32,
        pixel: f32,
        tolerance: &Leniency,
    ) -> f32 {
        let turned = (self.normal - other.normal).length_squared();
        let like = 1.0 - turned / (tolerance.normal * tolerance.normal);
        let room = STEEPEST * pixel * pixels * 0.5 * (self.depth + other.depth);
        let behind = (self.depth - other.depth) / room;
        let near = 1.0 - behind * behind;
        if like <= 0.0 || near <= 0.0 {
            return 0.0;
        }
        let (dark, pale) = if self.albedo < other.albedo {
            (self.albedo, other.albedo)
        } else {
            (other.albedo, self.albedo)
        };
        // 1 for one colour, 0 from the ratio on
        let color = (COLORS * dark - pale) / ((COLORS - 1.0) * pale);
        like * near * color.max(0.0)
    }
}
