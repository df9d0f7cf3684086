//! Follows light back from the lens: sun and sky, and bounces off what stands around.

use glam::Vec3A;

use super::sample::Sampler;
use super::surface::ShadingPoint;
use super::world::{Walk, World};
use crate::rays::Ray;

// Uses of random numbers at a surface; 0 and 1 are the lens's
const SUN: u32 = 2;
const BOUNCE: u32 = 3;
const CHOICE: u32 = 4;
const LAMP: u32 = 5;
/// Uses of random numbers at each surface: those of the next follow.
const USES: u32 = 4;

/// Maximum brightness of one bounce, in white cards: keeps a rare glint off metal or enamel from
/// leaving a lone white pixel.
const BRIGHTEST_BOUNCE: f32 = 2.0;

/// Angle (side over distance) to which what a bounce sees is blurred: finer grain would be noise.
const BOUNCE_WIDTH: f32 = 0.05;

impl World<'_> {
    /// Sunlight that `surface` sends towards `wo`.
    fn sunlit(
        &self,
        surface: &ShadingPoint,
        wo: Vec3A,
        random: [f32; 2],
        walk: &mut Walk,
    ) -> Vec3A {
        let Some((wi, light)) = self.sky.sun(random) else {
            return Vec3A::ZERO;
        };
        let response = surface.respond(wo, wi);
        if response.max_element() <= 0.0 {
            return Vec3A::ZERO;
        }
        if self.blocked(Ray::from(surface.start(wi), wi), walk) {
            return Vec3A::ZERO;
        }
        let open = surface
            .grains
            .as_ref()
            .map_or(1.0, |g| self.grain_shadow(g));
        response * light * open
    }

    /// Lamplight that `surface` sends towards `wo`.
    fn lamplit(
        &self,
        surface: &ShadingPoint,
        wo: Vec3A,
        random: [f32; 2],
        walk: &mut Walk,
    ) -> Vec3A {
        let Some((way, light)) = self.sky.lamp(surface.point, random) else {
            return Vec3A::ZERO;
        };
        let response = surface.respond(wo, way.normalize());
        if response.max_element() <= 0.0 {
            return Vec3A::ZERO;
        }
        // Distances count in lengths of the way: the lamp is at 1
        if self.blocked(Ray::new(surface.start(way), way, 0.0, 1.0), walk) {
            return Vec3A::ZERO;
        }
        response * light
    }

    /// Radiance along a ray of unit direction.
    pub(super) fn radiance(&self, ray: Ray, sampler: &Sampler, walk: &mut Walk) -> Vec3A {
        let limit = Vec3A::splat(BRIGHTEST_BOUNCE / self.exposure());
        let (mut out, mut weight) = (Vec3A::ZERO, Vec3A::ONE);
        let (mut ray, mut width) = (ray, self.pixel());
        for order in 0..=self.bounces {
            let Some(hit) = self.nearest(ray, walk) else {
                return out + seen(order, weight * self.sky.radiance(ray.direction), limit);
            };
            let surface = self.surface(&ray, &hit, width);
            let wo = -ray.direction;
            let uses = order * USES;
            let direct = self.sunlit(&surface, wo, sampler.pair(SUN + uses), walk)
                + self.lamplit(&surface, wo, sampler.pair(LAMP + uses), walk);
            out += seen(order, weight * direct, limit);
            let (choice, random) = (sampler.single(CHOICE + uses), sampler.pair(BOUNCE + uses));
            let Some(bounce) = surface.bounce(wo, choice, random) else {
                return out;
            };
            weight *= bounce.weight;
            ray = Ray::from(surface.start(bounce.direction), bounce.direction);
            width = BOUNCE_WIDTH;
            if order == self.bounces {
                // Past the last surface only whether the sky is open counts; where it is not, what
                // stands there counts as of the same colour, lit by the sky's mean
                let light = if self.blocked(ray, walk) {
                    self.sky.ambient() * surface.base
                } else {
                    self.sky.radiance(bounce.direction)
                };
                out += seen(1, weight * light, limit);
            }
        }
        out
    }
}

/// Light that comes over `order` surfaces, limited to the maximum brightness of a bounce.
fn seen(order: u32, light: Vec3A, limit: Vec3A) -> Vec3A {
    if order == 0 { light } else { light.min(limit) }
}
