//! Rays from a thin lens through the pixels of a frame.

use glam::{Vec3A, vec3a};

use super::frame::disc;
use super::sample::Sampler;
use crate::optics::Camera;
use crate::rays::Ray;

/// Half-width of the tent that spreads a sample over its pixel and its neighbours, in pixels: what
/// a sensor with its low-pass filter does.
const FILTER: f32 = 0.9;

/// A camera made ready for rays. Its lens is the origin.
#[derive(Debug, Clone, Copy)]
pub(super) struct Lens {
    right: Vec3A,
    up: Vec3A,
    forward: Vec3A,
    tan_x: f32,
    tan_y: f32,
    width: f32,
    height: f32,
    near: f32,
    focus: f32,
    /// Radius of the opening, metres; zero for a pinhole.
    radius: f32,
}

/// Uses of random numbers on the lens.
const PIXEL: u32 = 0;
const OPENING: u32 = 1;

/// Tent-distributed number in -1..1.
fn tent(u: f32) -> f32 {
    if u < 0.5 {
        (2.0 * u).sqrt() - 1.0
    } else {
        1.0 - (2.0 - 2.0 * u).max(0.0).sqrt()
    }
}

impl Lens {
    /// The lens of `camera` for a picture of the given size.
    pub(super) fn new(camera: &Camera, size: [u32; 2], depth_of_field: bool) -> Self {
        let rotation = camera.rotation.normalize();
        let tan_y = libm::tan(0.5 * camera.yfov);
        let radius = match (camera.focus, camera.stop) {
            (Some(_), Some(stop)) if depth_of_field => 0.5 * camera.focal_length / stop,
            _ => 0.0,
        };
        Self {
            right: (rotation * glam::DVec3::X).as_vec3a(),
            up: (rotation * glam::DVec3::Y).as_vec3a(),
            forward: (rotation * glam::DVec3::NEG_Z).as_vec3a(),
            tan_x: (tan_y * f64::from(size[0]) / f64::from(size[1])) as f32,
            tan_y: tan_y as f32,
            width: size[0] as f32,
            height: size[1] as f32,
            near: camera.near as f32,
            focus: camera.focus.unwrap_or(1.0) as f32,
            radius: radius as f32,
        }
    }

    /// A ray of unit direction for a sample of the pixel in column `x` and row `y` (from the top).
    pub(super) fn ray(&self, x: u32, y: u32, sampler: &Sampler) -> Ray {
        let [u, v] = sampler.pair(PIXEL);
        let px = x as f32 + 0.5 + FILTER * tent(u);
        let py = y as f32 + 0.5 + FILTER * tent(v);
        let through = self.through(px, py);
        let (origin, along) = if self.radius > 0.0 {
            let [a, b] = disc(sampler.pair(OPENING));
            let origin = self.right * (a * self.radius) + self.up * (b * self.radius);
            (origin, through * self.focus - origin)
        } else {
            (vec3a(0.0, 0.0, 0.0), through)
        };
        self.past_near(origin, along.normalize())
    }

    /// The ray of unit direction from the middle of the lens through the middle of a pixel, and the
    /// cosine of its angle to the line of sight.
    pub(super) fn central(&self, x: u32, y: u32) -> (Ray, f32) {
        let direction = self.through(x as f32 + 0.5, y as f32 + 0.5).normalize();
        let ray = self.past_near(vec3a(0.0, 0.0, 0.0), direction);
        (ray, direction.dot(self.forward))
    }

    /// The way from the lens to a place of the frame at depth 1.
    fn through(&self, px: f32, py: f32) -> Vec3A {
        let ndc_x = 2.0 * px / self.width - 1.0;
        let ndc_y = 1.0 - 2.0 * py / self.height;
        self.right * (ndc_x * self.tan_x) + self.up * (ndc_y * self.tan_y) + self.forward
    }

    fn past_near(&self, origin: Vec3A, direction: Vec3A) -> Ray {
        let cosine = direction.dot(self.forward).max(1e-3);
        Ray::new(origin, direction, self.near / cosine, f32::INFINITY)
    }
}
