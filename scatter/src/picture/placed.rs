//! One placed piece as rays meet it: 32 bytes.

use glam::{DVec3, Quat, Vec3, Vec3A};
use obvhs::aabb::Aabb;

use super::sample::{mix, unit};
use super::support::Support;
use crate::color;
use crate::error::{Error, Result};
use crate::layout::{Instance, Layout};
use crate::rays::Ray;

/// The hash of a piece that keeps its mesh's colours: a carpet's tile, which must look like its
/// neighbours.
const PLAIN: u32 = 0;

/// One placed piece, 32 bytes.
#[derive(Debug, Clone, Copy)]
pub(super) struct TracedInstance {
    /// Relative to the lens, metres.
    pub(super) position: Vec3,
    /// Size over the piece's own.
    pub(super) scale: f32,
    /// Unit quaternion in 1/32767ths: off by under 3e-5 rad, far below a pixel at a piece's own
    /// size.
    rotation: [i16; 4],
    /// Index into the kit.
    pub(super) piece: u16,
    /// Index into the layout's passes.
    pub(super) pass: u16,
    /// Hash of the id, for its own colour.
    tint: u32,
}

impl TracedInstance {
    /// The instance at `index` of the layout, seen from `origin`.
    pub(super) fn new(
        instance: &Instance,
        origin: DVec3,
        layout: &Layout,
        index: usize,
    ) -> Result<Self> {
        let fail =
            |problem: &str, hint: &str| Error::input(format!("instances[{index}]"), problem, hint);
        if !(instance.position.is_finite() && instance.scale.is_finite() && instance.scale > 0.0) {
            return Err(fail(
                "its position or scale is not a usable number",
                "positions are finite, scales are above zero",
            ));
        }
        if usize::from(instance.piece) >= layout.pieces.len() {
            return Err(fail("its piece is not in the list", "name a listed piece"));
        }
        let pass = layout.passes.get(usize::from(instance.pass));
        let of_carpet = pass.is_some_and(|p| p.tally.carpet.is_some());
        let q = Quat::from_array(instance.rotation);
        if !q.is_finite() || q.length_squared() < 1e-6 {
            return Err(fail(
                "its rotation is not a quaternion",
                "give a unit quaternion x, y, z, w",
            ));
        }
        Ok(Self {
            position: (instance.position - origin).as_vec3(),
            scale: instance.scale,
            rotation: q
                .normalize()
                .to_array()
                .map(|c| libm::roundf(c * 32_767.0) as i16),
            piece: instance.piece.into(),
            pass: instance.pass.into(),
            tint: if of_carpet {
                PLAIN
            } else {
                color::own(instance.id)
            },
        })
    }

    /// World from piece.
    #[inline(always)]
    pub(super) fn rotation(&self) -> Quat {
        let [x, y, z, w] = self.rotation.map(f32::from);
        Quat::from_xyzw(x, y, z, w).normalize()
    }

    /// A point of the piece's frame in the world.
    #[inline(always)]
    pub(super) fn world(&self, local: Vec3A) -> Vec3A {
        self.rotation() * (local * self.scale) + Vec3A::from(self.position)
    }

    /// The ray in the piece's frame; its direction is not made a unit vector, so that distances
    /// carry over.
    #[inline(always)]
    pub(super) fn local_ray(&self, ray: &Ray) -> Ray {
        let back = self.rotation().conjugate();
        let inv = 1.0 / self.scale;
        let origin = back * (ray.origin - Vec3A::from(self.position)) * inv;
        let direction = back * ray.direction * inv;
        Ray::new(origin, direction, ray.near, ray.far)
    }

    /// Bounds in the world, from the piece's support function.
    pub(super) fn bounds(&self, support: &Support) -> Aabb {
        let q = self.rotation();
        let p = Vec3A::from(self.position);
        let reach = |axis: Vec3A| {
            let d = q.conjugate() * axis;
            (
                support.along(d) * self.scale,
                support.along(-d) * self.scale,
            )
        };
        let ((x1, x0), (y1, y0), (z1, z0)) = (reach(Vec3A::X), reach(Vec3A::Y), reach(Vec3A::Z));
        // Rounding of the sums above, far from the lens
        let slack = Vec3A::splat(4e-7 * (p.abs().max_element() + self.scale));
        Aabb::new(
            p - Vec3A::new(x0, y0, z0) - slack,
            p + Vec3A::new(x1, y1, z1) + slack,
        )
    }

    /// Hash of the piece's id, for what differs from piece to piece.
    #[inline]
    pub(super) fn own(&self) -> u32 {
        self.tint
    }

    /// A piece's own shade: brightness by about a fifth, and a little warmer or cooler, as stones
    /// of one place vary.
    pub(super) fn own_tint(&self) -> Vec3A {
        let hash = self.tint;
        if hash == PLAIN {
            return Vec3A::ONE;
        }
        let a = unit(mix(hash ^ 1)) + unit(mix(hash ^ 2)) - 1.0;
        let b = unit(mix(hash ^ 3)) + unit(mix(hash ^ 4)) - 1.0;
        let bright = 1.0 + 0.30 * a;
        let warm = 0.07 * b;
        Vec3A::new(bright * (1.0 + warm), bright, bright * (1.0 - warm))
    }
}
