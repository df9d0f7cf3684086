//! What is kept of a pixel's samples for the filter.

use glam::Vec3A;

use super::guide::Guide;
use super::wavelet::Estimate;
use crate::picture::followed::Followed;
use crate::picture::light::luminance;

/// Darkest base colour that light is divided by: black surfaces still shine.
const DARKEST: f32 = 0.02;

/// Sums over a pixel's samples.
#[derive(Debug, Clone, Copy, Default)]
pub(in crate::picture) struct GatheredLight {
    /// What was seen of the sky.
    sky: Vec3A,
    /// Light off surfaces: straight from sun and lamps, and bounced.
    light: [Vec3A; 2],
    /// Squares of the luminance of what falls on the surface.
    squares: [f32; 2],
    /// The luminance of what falls on the surface.
    falls: [f32; 2],
    albedo: Vec3A,
    normal: Vec3A,
    depth: f32,
    /// Samples that met a surface.
    hits: f32,
}

impl GatheredLight {
    /// Index of the light straight from sun and lamps.
    pub(super) const STRAIGHT: usize = 0;
    /// Index of the light that bounced.
    pub(super) const BOUNCED: usize = 1;

    /// Adds a sample.
    pub(in crate::picture) fn add(&mut self, sample: &Followed) {
        self.sky += sample.sky;
        let Some(seen) = &sample.seen else {
            return;
        };
        let albedo = seen.base.max(Vec3A::splat(DARKEST));
        for (i, light) in [sample.straight, sample.bounced].into_iter().enumerate() {
            let falls = luminance(light) / luminance(albedo);
            self.light[i] += light;
            self.falls[i] += falls;
            self.squares[i] += falls * falls;
        }
        self.albedo += albedo;
        self.normal += seen.normal;
        self.depth += seen.distance;
        self.hits += 1.0;
    }

    /// Means that tell which pixels belong together.
    pub(super) fn guide(&self) -> Guide {
        let share = 1.0 / self.hits.max(1.0);
        Guide {
            normal: self.normal * share,
            depth: self.depth * share,
            albedo: luminance(self.albedo) * share,
            surface: self.hits > 0.0,
        }
    }

    /// What falls on the surface, and the variance of its mean; one sample can't tell any.
    pub(super) fn estimate(&self, which: usize) -> Estimate {
        if self.hits == 0.0 {
            return Estimate::default();
        }
        let mean = self.falls[which] / self.hits;
        let spread = (self.squares[which] / self.hits - mean * mean).max(0.0);
        Estimate {
            light: self.light[which] / self.albedo,
            variance: (self.hits > 1.0).then(|| spread / (self.hits - 1.0)),
        }
    }

    /// The pixel's sum of light where this falls on its surface.
    pub(super) fn light(&self, falls: Vec3A) -> Vec3A {
        self.sky + falls * self.albedo
    }
}
