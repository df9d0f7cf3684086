//! The plan ellipse of a piece and the test of two of them for overlap.
//!
//! Two ellipses are disjoint when some mixture of their shape matrices separates the centres:
//! Perram and Wertheim, "Statistical mechanics of hard ellipsoids. I. Overlap algorithm and the
//! contact function", 1985. In the plane their condition is that a cubic in the mixing parameter
//! rises above zero, so no iteration is needed.

/// An ellipse in plan. Lengths and places in nanometres relative to any origin on the nanometre
/// lattice, so that differences of places are exact.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ellipse {
    /// Centre.
    pub x: f64,
    /// Centre.
    pub z: f64,
    /// Longer semi-axis.
    pub outer: f64,
    /// Shorter semi-axis.
    pub inner: f64,
    /// Unit direction of the longer axis in plan (x, z).
    pub along: [f32; 2],
}

impl Ellipse {
    /// Whether the interiors of the two ellipses meet. Exact for discs.
    #[must_use]
    #[inline]
    pub fn overlaps(&self, other: &Self) -> bool {
        let (dx, dz) = (self.x - other.x, self.z - other.z);
        let square = dx * dx + dz * dz;
        let far = self.outer + other.outer;
        if square >= far * far {
            return false;
        }
        let near = self.inner + other.inner;
        square < near * near || self.overlaps_between(other, dx, dz)
    }

    /// The full test, for centres between the sums of the shorter and of the longer semi-axes.
    fn overlaps_between(&self, other: &Self, dx: f64, dz: f64) -> bool {
        let (a, b) = (self.shape(), other.shape());
        // With G(t) = (1 - t) A + t B the ellipses are disjoint when t (1 - t) r' adj(G) r >= det G
        // for some t in (0, 1). The left side is t (1 - t) (n0 + n1 t), the right side c0 + c1 t +
        // c2 t^2.
        let form = |m: [f64; 3]| m[2] * dx * dx - 2.0 * m[1] * dx * dz + m[0] * dz * dz;
        let (n0, n1) = (form(a), form(b) - form(a));
        let d = [b[0] - a[0], b[1] - a[1], b[2] - a[2]];
        let c0 = a[0] * a[2] - a[1] * a[1];
        let c1 = a[0] * d[2] + d[0] * a[2] - 2.0 * a[1] * d[1];
        let c2 = d[0] * d[2] - d[1] * d[1];
        // cubic p(t) = -c0 + (n0 - c1) t + (n1 - n0 - c2) t^2 - n1 t^3, negative at both ends
        let (p1, p2, p3) = (n0 - c1, n1 - n0 - c2, -n1);
        let value = |t: f64| -c0 + t * (p1 + t * (p2 + t * p3));
        // roots of p'(t) = p1 + 2 p2 t + 3 p3 t^2, in the form that does not cancel
        let discriminant = p2 * p2 - 3.0 * p1 * p3;
        if discriminant < 0.0 {
            return true;
        }
        let root = libm::sqrt(discriminant);
        let q = -(p2 + if p2 < 0.0 { -root } else { root });
        let reaches = |t: f64| t > 0.0 && t < 1.0 && value(t) >= 0.0;
        let first = q / (3.0 * p3);
        let second = p1 / q;
        !(reaches(first) || reaches(second))
    }

    /// Symmetric shape matrix [xx, xz, zz]: the squared semi-axes along their directions.
    fn shape(&self) -> [f64; 3] {
        let (u, v) = (f64::from(self.along[0]), f64::from(self.along[1]));
        let (a, b) = (self.outer * self.outer, self.inner * self.inner);
        [
            a * u * u + b * v * v,
            (a - b) * u * v,
            a * v * v + b * u * u,
        ]
    }

    /// Distance from a place to the ellipse, negative inside: along the ray from the centre, so
    /// exact for discs and never more than the true distance times outer / inner for ellipses.
    #[must_use]
    pub fn edge_distance(&self, x: f64, z: f64) -> f64 {
        let (dx, dz) = (x - self.x, z - self.z);
        let length = libm::sqrt(dx * dx + dz * dz);
        let (u, v) = (f64::from(self.along[0]), f64::from(self.along[1]));
        let (p, q) = (
            (dx * u + dz * v) / self.outer,
            (dz * u - dx * v) / self.inner,
        );
        let reach = libm::sqrt(p * p + q * q);
        if reach > 0.0 {
            length * (1.0 - 1.0 / reach)
        } else {
            -self.inner
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::random::stream;

    fn boundary_meets(a: &Ellipse, b: &Ellipse) -> bool {
        // Second route: walk b's boundary and its inside for a point in a, and the other way round.
        let inside = |e: &Ellipse, x: f64, z: f64| e.edge_distance(x, z) < 0.0;
        let walk = |from: &Ellipse, to: &Ellipse| {
            (0..2000).any(|i| {
                let t = std::f64::consts::TAU * f64::from(i) / 2000.0;
                let (u, v) = (f64::from(from.along[0]), f64::from(from.along[1]));
                let (p, q) = (from.outer * t.cos(), from.inner * t.sin());
                inside(to, from.x + p * u - q * v, from.z + p * v + q * u)
            })
        };
        walk(a, b) || walk(b, a) || inside(a, b.x, b.z) || inside(b, a.x, a.z)
    }

    #[test]
    fn agrees_with_walking_the_boundary() {
        // 20 000 random pairs, seed 5. Pairs that touch within the walk's step are left out by
        // growing and shrinking.
        let mut s = stream(5);
        let mut draw = || {
            let inner = s.between(0.5, 2.0);
            let outer = inner * s.between(1.0, 4.0);
            let t = s.between(0.0, 6.3);
            Ellipse {
                x: s.between(-4.0, 4.0),
                z: s.between(-4.0, 4.0),
                outer,
                inner,
                along: [t.cos() as f32, t.sin() as f32],
            }
        };
        let scaled = |e: &Ellipse, k: f64| Ellipse {
            outer: e.outer * k,
            inner: e.inner * k,
            ..*e
        };
        let mut clear = 0;
        for _ in 0..20_000 {
            let (a, b) = (draw(), draw());
            let (small, large) = (
                boundary_meets(&scaled(&a, 0.999), &b),
                boundary_meets(&scaled(&a, 1.001), &b),
            );
            if small == large {
                clear += 1;
                assert_eq!(a.overlaps(&b), small, "{a:?} {b:?}");
                assert_eq!(b.overlaps(&a), small, "not symmetric: {a:?} {b:?}");
            }
        }
        assert!(clear > 19_000, "only {clear} clear cases");
    }

    #[test]
    fn discs_touching_do_not_overlap() {
        let disc = |x| Ellipse {
            x,
            z: 0.0,
            outer: 1.0,
            inner: 1.0,
            along: [1.0, 0.0],
        };
        assert!(!disc(0.0).overlaps(&disc(2.0)));
        assert!(disc(0.0).overlaps(&disc(1.999_999)));
    }

    #[test]
    fn edge_distance_of_a_disc_is_exact() {
        let disc = Ellipse {
            x: 1.0,
            z: 2.0,
            outer: 3.0,
            inner: 3.0,
            along: [0.6, 0.8],
        };
        assert!((disc.edge_distance(1.0, 7.0) - 2.0).abs() < 1e-7);
        assert!((disc.edge_distance(1.0, 2.0) + 3.0).abs() < 1e-7);
    }
}
