//! Convex plan polygons, grown by a margin.

use crate::plan::convex_hull;

/// A convex polygon in plan with a margin round it. Metres, x and z.
#[derive(Debug, Clone, PartialEq)]
pub struct ConvexPolygon {
    /// Corners, in order round the polygon.
    corners: Vec<[f64; 2]>,
    margin: f64,
}

impl ConvexPolygon {
    /// The convex hull of points, with a margin; None without points.
    #[must_use]
    pub fn hull(points: &[[f64; 2]], margin: f64) -> Option<Self> {
        let corners = convex_hull(points);
        (!corners.is_empty()).then_some(Self { corners, margin })
    }

    /// The convex hull of both, with the larger margin.
    #[must_use]
    pub fn joined(&self, other: &Self) -> Self {
        let mut corners = self.corners.clone();
        corners.extend(&other.corners);
        Self {
            corners: convex_hull(&corners),
            margin: self.margin.max(other.margin),
        }
    }

    /// Its corners, counter-clockwise with +x right and +z up, without the margin.
    #[must_use]
    pub fn corners(&self) -> &[[f64; 2]] {
        &self.corners
    }

    /// Width of the margin round the polygon, metres.
    #[must_use]
    pub fn margin(&self) -> f64 {
        self.margin
    }

    /// The rectangle `[x0, z0, x1, z1]` that holds the polygon and its margin.
    #[must_use]
    pub fn bounds(&self) -> [f64; 4] {
        let mut b = [
            f64::INFINITY,
            f64::INFINITY,
            f64::NEG_INFINITY,
            f64::NEG_INFINITY,
        ];
        for [x, z] in &self.corners {
            b = [b[0].min(*x), b[1].min(*z), b[2].max(*x), b[3].max(*z)];
        }
        [
            b[0] - self.margin,
            b[1] - self.margin,
            b[2] + self.margin,
            b[3] + self.margin,
        ]
    }

    /// Whether a rectangle `[x0, z0, x1, z1]` may touch the polygon or its margin. Never wrong when
    /// it says no.
    #[must_use]
    pub fn touches(&self, r: [f64; 4]) -> bool {
        let b = self.bounds();
        if r[0] > b[2] || r[2] < b[0] || r[1] > b[3] || r[3] < b[1] {
            return false;
        }
        // Separating axes: the edges' outward normals (corners run counter-clockwise in x, z)
        let count = self.corners.len();
        (0..count).all(|i| {
            let (a, c) = (self.corners[i], self.corners[(i + 1) % count]);
            let (nx, nz) = (c[1] - a[1], a[0] - c[0]);
            let length = libm::sqrt(nx * nx + nz * nz);
            let nearest = nx * (if nx > 0.0 { r[0] } else { r[2] } - a[0])
                + nz * (if nz > 0.0 { r[1] } else { r[3] } - a[1]);
            nearest <= self.margin * length
        })
    }

    /// Length round the polygon without its margin, metres.
    #[must_use]
    pub fn perimeter(&self) -> f64 {
        let count = self.corners.len();
        (0..count)
            .map(|i| {
                let (a, b) = (self.corners[i], self.corners[(i + 1) % count]);
                let (x, z) = (b[0] - a[0], b[1] - a[1]);
                libm::sqrt(x * x + z * z)
            })
            .sum()
    }

    /// Plan area of the polygon without its margin, square metres.
    #[must_use]
    pub fn area(&self) -> f64 {
        let count = self.corners.len();
        let twice: f64 = (0..count)
            .map(|i| {
                let (a, b) = (self.corners[i], self.corners[(i + 1) % count]);
                a[0] * b[1] - b[0] * a[1]
            })
            .sum();
        0.5 * twice.abs()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_square_and_its_margin() {
        let square = [[0.0, 0.0], [2.0, 0.0], [2.0, 2.0], [0.0, 2.0], [1.0, 1.0]];
        let p = ConvexPolygon::hull(&square, 0.5).unwrap();
        assert!((p.area() - 4.0).abs() < 1e-12);
        assert!((p.perimeter() - 8.0).abs() < 1e-12);
        assert!(p.touches([2.4, 1.0, 3.0, 1.5]));
        assert!(!p.touches([2.6, 1.0, 3.0, 1.5]));
        assert!(p.touches([-9.0, -9.0, 9.0, 9.0]));
        assert!(p.touches([0.9, 0.9, 1.1, 1.1]));
    }

    #[test]
    fn a_triangle_rejects_what_its_bounds_hold() {
        let p = ConvexPolygon::hull(&[[0.0, 0.0], [10.0, 0.0], [0.0, 10.0]], 0.0).unwrap();
        assert!(!p.touches([8.0, 8.0, 9.0, 9.0]));
        assert!(p.touches([1.0, 1.0, 2.0, 2.0]));
    }

    #[test]
    fn degenerate_hulls_still_hold_their_points() {
        assert!(ConvexPolygon::hull(&[], 1.0).is_none());
        let point = ConvexPolygon::hull(&[[3.0, 3.0]], 0.1).unwrap();
        assert!(point.touches([3.05, 3.0, 4.0, 4.0]));
        let line = ConvexPolygon::hull(&[[0.0, 0.0], [1.0, 1.0], [2.0, 2.0]], 0.0).unwrap();
        assert!(line.touches([0.9, 0.9, 1.1, 1.1]));
        assert!(!line.touches([1.5, 0.0, 2.0, 0.5]));
    }
}
