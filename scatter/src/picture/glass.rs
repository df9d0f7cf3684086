//! Light that passes through a surface: solid glass that bends it, and thin walls.
//!
//! Fresnel's equations for a dielectric (1823); rough interfaces after Walter, Marschner, Li and
//! Torrance, "Microfacet models for refraction through rough surfaces", 2007. Departs: radiance is
//! not scaled by the square of the index inside, which cancels where the light leaves again. Light
//! that is followed to the sun or a lamp goes straight on, so there are no caustics.

use glam::Vec3A;

use super::frame::{Basis, disc};
use super::surface::{Bounce, ShadingPoint, lambda};
use crate::kit::{Glass, GlassBody};

/// Under this roughness a facet is a mirror: its lobe is narrower than a pixel's.
const SMOOTH: f32 = 0.03;

/// A place on glass.
#[derive(Debug, Clone, Copy)]
pub(super) struct GlassPoint {
    pub(super) glass: Glass,
    /// Whether the viewer is outside.
    pub(super) outside: bool,
}

/// Share of unpolarised light that an interface reflects; `c` is the cosine on the side that the
/// light comes from, `eta` that side's index over the other's. 1 where nothing can pass.
pub(super) fn reflected(c: f32, eta: f32) -> f32 {
    let c = c.clamp(0.0, 1.0);
    let sine2 = eta * eta * (1.0 - c * c);
    if sine2 >= 1.0 {
        return 1.0;
    }
    let t = (1.0 - sine2).sqrt();
    let across = (eta * c - t) / (eta * c + t);
    let along = (c - eta * t) / (c + eta * t);
    // At a grazing angle between equal indices both are 0 / 0
    let share = 0.5 * (across * across + along * along);
    if share.is_finite() { share } else { 0.0 }
}

/// Reflectance of a dielectric of a refractive index in air, at normal incidence.
pub(super) fn at_normal(index: f32) -> f32 {
    let r = (index - 1.0) / (index + 1.0);
    r * r
}

/// What a body leaves of light after some metres.
pub(super) fn left_after(body: &GlassBody, metres: f32) -> Vec3A {
    if !body.distance.is_finite() {
        return Vec3A::ONE;
    }
    let share = metres / body.distance;
    Vec3A::from_array(body.color.map(|c| libm::powf(c, share)))
}

/// A facet that is seen from `o`, in the frame of the normal: visible normals of the stretched
/// surface (Heitz 2018).
pub(super) fn facet(o: Vec3A, alpha: f32, random: [f32; 2]) -> Vec3A {
    let stretched = Vec3A::new(alpha * o.x, alpha * o.y, o.z).normalize();
    let around = Basis::around(stretched);
    let [t1, t2] = disc(random);
    // Frame::around gives no axis level with the surface: build the pair that the method wants
    let t = Vec3A::Z
        .cross(stretched)
        .try_normalize()
        .unwrap_or(around.x);
    let b = stretched.cross(t);
    let s = 0.5 * (1.0 + stretched.z);
    let t2 = (1.0 - s) * (1.0 - t1 * t1).max(0.0).sqrt() + s * t2;
    let n = t * t1 + b * t2 + stretched * (1.0 - t1 * t1 - t2 * t2).max(0.0).sqrt();
    Vec3A::new(alpha * n.x, alpha * n.y, n.z.max(1e-6)).normalize()
}

impl GlassPoint {
    /// Index of the viewer's side over that of the other.
    fn eta(&self) -> f32 {
        if self.outside {
            1.0 / self.glass.index
        } else {
            self.glass.index
        }
    }

    /// Share of light that is thrown back, at this cosine. A thin wall throws back what goes to and
    /// fro in it, too: 2 F / (1 + F).
    fn thrown_back(&self, c: f32) -> f32 {
        if self.glass.body.is_some() {
            return reflected(c, self.eta());
        }
        let f = reflected(c, 1.0 / self.glass.index);
        2.0 * f / (1.0 + f)
    }

    /// Share of light that passes straight on towards a lamp or the sun, tinted by the base colour.
    pub(super) fn straight(&self, c: f32, base: Vec3A) -> Vec3A {
        base * ((1.0 - self.thrown_back(c)) * self.glass.transmission)
    }

    /// Towards the other side for light towards `o` (unit), through a facet, in the frame of the
    /// normal. None where all is thrown back.
    fn through(&self, o: Vec3A, h: Vec3A) -> Option<Vec3A> {
        if self.glass.body.is_none() {
            // In and out of the wall again: straight on, blurred by its facets
            let i = h * (2.0 * o.dot(h)) - o;
            return Some(Vec3A::new(i.x, i.y, -i.z).normalize())
                .filter(|_| h.z < 1.0)
                .or(Some(-o));
        }
        let eta = self.eta();
        let c = o.dot(h);
        let sine2 = eta * eta * (1.0 - c * c);
        (sine2 < 1.0).then(|| (h * (eta * c - (1.0 - sine2).sqrt()) - o * eta).normalize())
    }
}

impl ShadingPoint {
    /// As [`ShadingPoint::bounce`], where the glass sends it: thrown back, or through. None where
    /// the choice fell on what is scattered, with the choice stretched to 0..1 again.
    pub(super) fn glassy_bounce(
        &self,
        point: &GlassPoint,
        wo: Vec3A,
        choice: f32,
        random: [f32; 2],
    ) -> Result<Option<Bounce>, f32> {
        let basis = Basis::around(self.normal);
        let o = basis.local(wo);
        let o = Vec3A::new(o.x, o.y, o.z.max(1e-3)).normalize();
        let alpha = self.roughness * self.roughness;
        let smooth = self.roughness < SMOOTH;
        let h = if smooth {
            Vec3A::Z
        } else {
            facet(o, alpha, random)
        };
        let back = point.thrown_back(o.dot(h).max(0.0));
        let passing = (1.0 - back) * point.glass.transmission * (1.0 - self.metallic);
        // What a metal part throws back is left to the plain surface
        let back = back * (1.0 - self.metallic);
        let (i, tint) = if choice < back {
            (h * (2.0 * o.dot(h)) - o, Vec3A::ONE)
        } else if choice < back + passing {
            match point.through(o, h) {
                Some(i) => (i, self.base),
                None => return Ok(None),
            }
        } else {
            let rest = (1.0 - back - passing).max(1e-6);
            return Err((choice - back - passing) / rest);
        };
        let thrown = choice < back;
        let direction = basis.world(i);
        let same_side = direction.dot(self.face) > 0.0;
        if (i.z > 0.0) != thrown || same_side != thrown {
            // Where the mesh is coarser than its normals, the triangle itself decides
            let flat = Self {
                normal: self.face,
                ..*self
            };
            return if smooth && self.normal != self.face {
                flat.glassy_bounce(point, wo, choice, random)
            } else {
                Ok(None)
            };
        }
        let masking = if smooth {
            1.0
        } else {
            let up = Vec3A::new(i.x, i.y, i.z.abs());
            let lo = lambda(o, alpha);
            (1.0 + lo) / (1.0 + lo + lambda(up, alpha))
        };
        Ok(Some(Bounce {
            direction,
            weight: tint * masking,
            through: (!thrown).then_some(point.outside),
            clear: true,
        }))
    }

    /// Matt reflection alone, for what glass scatters: a direction by the cosine.
    pub(super) fn scatters(&self) -> f32 {
        let point = self.glass.filter(|g| g.glass.transmission > 0.0);
        point.map_or(1.0, |g| 1.0 - g.glass.transmission * (1.0 - self.metallic))
    }
}

/// Checks of the formulas alone; `tests/glass.rs` has those of pictures.
#[cfg(test)]
mod tests {
    use super::*;
    use std::f32::consts::PI;

    /// Hecht, "Optics": air to glass of 1.5 reflects 4 % at normal incidence; at Brewster's angle,
    /// atan 1.5 = 56.31 degrees, what is polarised along is not reflected, and the rest is by
    /// ((n^2 - 1) / (n^2 + 1))^2 = 0.1479; past 41.81 degrees inside, all is.
    #[test]
    fn an_interface_reflects_as_fresnel_says() {
        assert!((reflected(1.0, 1.0 / 1.5) - 0.04).abs() < 1e-6);
        assert!((reflected(1.0, 1.5) - 0.04).abs() < 1e-6);
        assert!((at_normal(1.5) - 0.04).abs() < 1e-6);
        let brewster = libm::cosf(libm::atanf(1.5));
        assert!((reflected(brewster, 1.0 / 1.5) - 0.5 * 0.1479).abs() < 1e-4);
        let cosine = |deg: f32| libm::cosf(deg * PI / 180.0);
        assert_eq!(reflected(cosine(41.9), 1.5), 1.0);
        assert!(reflected(cosine(41.7), 1.5) < 1.0);
        assert_eq!(reflected(0.5, 1.0), 0.0);
    }
}
