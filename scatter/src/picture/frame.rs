//! Orthonormal bases around a direction, and points on discs and half spheres.

use glam::Vec3A;

/// A right-handed orthonormal basis.
#[derive(Debug, Clone, Copy)]
pub(super) struct Basis {
    /// First axis.
    pub(super) x: Vec3A,
    /// Second axis.
    pub(super) y: Vec3A,
    /// The direction around which the basis was made.
    pub(super) z: Vec3A,
}

impl Basis {
    /// Axes around the unit vector `z`.
    /// Based on: Duff et al., "Building an orthonormal basis, revisited", 2017.
    #[inline]
    pub(super) fn around(z: Vec3A) -> Self {
        let sign = 1.0_f32.copysign(z.z);
        let a = -1.0 / (sign + z.z);
        let b = z.x * z.y * a;
        Self {
            x: Vec3A::new(1.0 + sign * z.x * z.x * a, sign * b, -sign * z.x),
            y: Vec3A::new(b, sign + z.y * z.y * a, -z.y),
            z,
        }
    }

    /// From the basis to the world.
    #[inline]
    pub(super) fn world(&self, v: Vec3A) -> Vec3A {
        self.x * v.x + self.y * v.y + self.z * v.z
    }

    /// From the world into the basis.
    #[inline]
    pub(super) fn local(&self, v: Vec3A) -> Vec3A {
        Vec3A::new(v.dot(self.x), v.dot(self.y), v.dot(self.z))
    }
}

/// A point spread evenly over the unit disc. Based on: Shirley and Chiu, "A low distortion map
/// between disk and square", 1997.
#[inline]
pub(super) fn disc([u, v]: [f32; 2]) -> [f32; 2] {
    let (x, y) = (2.0 * u - 1.0, 2.0 * v - 1.0);
    if x == 0.0 && y == 0.0 {
        return [0.0, 0.0];
    }
    let quarter = std::f32::consts::FRAC_PI_4;
    let (r, angle) = if x.abs() > y.abs() {
        (x, quarter * (y / x))
    } else {
        (y, 2.0 * quarter - quarter * (x / y))
    };
    let (sin, cos) = libm::sincosf(angle);
    [r * cos, r * sin]
}

/// A direction about +z with density cosine / pi. Based on: Malley's method (project a disc onto
/// the half sphere).
#[inline]
pub(super) fn cosine(random: [f32; 2]) -> Vec3A {
    let [x, y] = disc(random);
    Vec3A::new(x, y, (1.0 - x * x - y * y).max(1e-8).sqrt())
}
