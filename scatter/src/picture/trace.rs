//! Follows light back from the lens: sun and sky, and one bounce off what stands around.

use glam::Vec3A;

use super::sample::Sampler;
use super::surface::Surface;
use super::wide::Ray;
use super::world::{Walk, World};

// Uses of random numbers; 0 and 1 are the lens's
const SUN: u32 = 2;
const BOUNCE: u32 = 3;
const CHOICE: u32 = 4;
const SECOND_SUN: u32 = 5;
const SECOND_SKY: u32 = 6;
const SECOND_CHOICE: u32 = 7;
const LAMP: u32 = 8;
const SECOND_LAMP: u32 = 9;

/// Brightest that one bounce may be, in white cards: keeps a rare glint off metal from leaving a lone white pixel.
const BRIGHTEST_BOUNCE: f32 = 20.0;

/// What a bounce sees is blurred to this angle (side over distance): finer grain would be noise.
const BOUNCE_WIDTH: f32 = 0.05;

impl World<'_> {
    /// Sunlight that `surface` sends towards `wo`.
    fn sunlit(&self, surface: &Surface, wo: Vec3A, random: [f32; 2], walk: &mut Walk) -> Vec3A {
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
    fn lamplit(&self, surface: &Surface, wo: Vec3A, random: [f32; 2], walk: &mut Walk) -> Vec3A {
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

    /// Light from the second surface of a path: sun and sky, and beyond that the sky's mean as if seen off the same colour.
    fn second(&self, surface: &Surface, wo: Vec3A, sampler: &Sampler, walk: &mut Walk) -> Vec3A {
        let sun = self.sunlit(surface, wo, sampler.pair(SECOND_SUN), walk)
            + self.lamplit(surface, wo, sampler.pair(SECOND_LAMP), walk);
        let Some(bounce) =
            surface.bounce(wo, sampler.single(SECOND_CHOICE), sampler.pair(SECOND_SKY))
        else {
            return sun;
        };
        let out = Ray::from(surface.start(bounce.direction), bounce.direction);
        let sky = if self.blocked(out, walk) {
            self.sky.ambient() * surface.base
        } else {
            self.sky.radiance(bounce.direction)
        };
        sun + bounce.weight * sky
    }

    /// Radiance along a ray of unit direction.
    pub(super) fn radiance(&self, ray: Ray, sampler: &Sampler, walk: &mut Walk) -> Vec3A {
        let Some(hit) = self.nearest(ray, walk) else {
            return self.sky.radiance(ray.direction);
        };
        let surface = self.surface(&ray, &hit, self.pixel());
        let wo = -ray.direction;
        let mut out = self.sunlit(&surface, wo, sampler.pair(SUN), walk)
            + self.lamplit(&surface, wo, sampler.pair(LAMP), walk);
        if let Some(bounce) = surface.bounce(wo, sampler.single(CHOICE), sampler.pair(BOUNCE)) {
            let next = Ray::from(surface.start(bounce.direction), bounce.direction);
            let light = match self.nearest(next, walk) {
                None => self.sky.radiance(bounce.direction),
                Some(hit) => {
                    let second = self.surface(&next, &hit, BOUNCE_WIDTH);
                    self.second(&second, -bounce.direction, sampler, walk)
                }
            };
            let limit = BRIGHTEST_BOUNCE / self.exposure();
            out += (bounce.weight * light).min(Vec3A::splat(limit));
        }
        out
    }
}
