//! Bare rays through a scene: for measuring it, and for measuring the tracer.

use glam::{DVec3, Vec3};
use rayon::prelude::*;

use super::world::{Walk, World};
use super::{Figures, LookOptions, Subject, TracedKit};
use crate::error::Result;
use crate::optics::Camera;
use crate::rays::Ray;

/// A scene made ready for bare rays. Places are counted from the lens that it was made for, which
/// keeps them exact in f32.
pub struct Probe<'a> {
    world: World<'a>,
    lens: DVec3,
}

impl std::fmt::Debug for Probe<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Probe")
            .field("lens", &self.lens)
            .field("figures", &self.figures())
            .finish_non_exhaustive()
    }
}

impl<'a> Probe<'a> {
    /// Makes the scene ready as [`render_with`](super::render_with) does.
    ///
    /// # Errors
    /// As [`render_with`](super::render_with).
    pub fn new(
        kit: &'a TracedKit,
        scene: &Subject<'a>,
        camera: &Camera,
        options: &LookOptions,
    ) -> Result<Self> {
        Ok(Self {
            world: super::world(kit, None, scene, camera, options)?,
            lens: camera.position,
        })
    }

    /// Where the lens is in the world, metres: the origin of the rays' places.
    #[must_use]
    pub fn lens(&self) -> DVec3 {
        self.lens
    }

    /// Distance to the first thing on each ray (origin and direction), in lengths of its direction;
    /// infinite where nothing is. Rays are shared out to the threads in runs: neighbouring rays
    /// should go the same way.
    #[must_use]
    pub fn distances(&self, rays: &[(Vec3, Vec3)]) -> Vec<f32> {
        /// Rays of a run.
        const RUN: usize = 1024;
        rays.par_chunks(RUN)
            .flat_map_iter(|run| {
                let mut walk = Walk::default();
                let far = |(origin, direction): &(Vec3, Vec3)| {
                    let ray = Ray::from((*origin).into(), (*direction).into());
                    let hit = self.world.nearest(ray, &mut walk);
                    hit.map_or(f32::INFINITY, |hit| hit.mesh.t)
                };
                run.iter().map(far).collect::<Vec<f32>>()
            })
            .collect()
    }

    /// Figures of what the scene holds.
    #[must_use]
    pub fn figures(&self) -> Figures {
        self.world.figures()
    }
}
