//! How open the ground is between its own grains: what the sun reaches, and the ground's mean as
//! light that bounced gathers it.

use glam::{DVec2, Vec3A};

use super::soil::BareGround;
use super::surface::GrainPoint;

/// Ground as light that bounced gathers it: grains and patches are not told apart.
#[derive(Debug, Clone, Copy)]
pub(super) struct MeanGround {
    /// Linear diffuse albedo, mean of what is lit.
    pub(super) albedo: Vec3A,
    /// Surface roughness, 0..1.
    pub(super) roughness: f32,
    /// Share of the sun that reaches it, 0..1.
    pub(super) open: f32,
}

impl BareGround {
    /// The ground's mean under a sun in this direction (unit).
    pub(super) fn mean(self, sun: Vec3A) -> MeanGround {
        /// Places looked at along either side: 576 keep the mean to about 1 %.
        const SIDE: i32 = 24;
        /// Metres between places: a dozen patches of moisture, and no multiple of a grain's size.
        const STEP: f64 = 0.237;
        /// Side of what is looked at, metres: what bounces off a neighbour sees the ground from
        /// a few centimetres.
        const FOOTPRINT: f32 = 0.001;
        let count = (SIDE * SIDE) as f32;
        let (mut albedo, mut roughness, mut open) = (Vec3A::ZERO, 0.0, 0.0);
        for i in 0..SIDE * SIDE {
            let plan = DVec2::new(f64::from(i % SIDE), f64::from(i / SIDE)) * STEP;
            let soil = self.at(plan, FOOTPRINT);
            let grains = GrainPoint {
                plan,
                height: soil.height,
                lumps: soil.lumps,
                footprint: FOOTPRINT,
            };
            albedo += soil.albedo / count;
            roughness += soil.roughness / count;
            open += self.open_to_sun(sun, &grains) / count;
        }
        MeanGround {
            albedo,
            roughness,
            open,
        }
    }

    /// Share of the sun in this direction (unit) that reaches the ground between its own grains, by
    /// four steps up the sun's ray.
    pub(super) fn open_to_sun(self, sun: Vec3A, grains: &GrainPoint) -> f32 {
        const STEPS: [f32; 4] = [0.0012, 0.0028, 0.006, 0.012];
        let GrainPoint {
            plan,
            height,
            lumps,
            footprint,
        } = *grains;
        let level = (1.0 - sun.y * sun.y).max(0.0).sqrt();
        // Grains stop mattering when they are under a pixel
        if footprint > 0.004 || level < 1e-3 || sun.y <= 0.0 {
            return 1.0;
        }
        let rise = sun.y / level;
        let heading = DVec2::new(f64::from(sun.x), f64::from(sun.z)) / f64::from(level);
        // Lumps are wider than the whole way: straight from its foot to its end
        let end = STEPS[STEPS.len() - 1];
        let slope = (self.lumps_height(plan + heading * f64::from(end)) - lumps) / end;
        let mut open = 1.0_f32;
        for step in STEPS {
            let ray = height - lumps + step * (rise - slope);
            let there = plan + heading * f64::from(step);
            let clear = ray - self.grains_over(there, ray, footprint);
            // Soft over a part of the step, as a grain's edge is
            open = open.min((1.0 + clear / (0.3 * step)).clamp(0.0, 1.0));
        }
        open
    }
}
