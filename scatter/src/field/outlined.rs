//! What lies already, as fields see it: its outline in plan and how high it stands.

use crate::plan::{Ellipse, NANO, Placed, Rectangle};

/// Something that lies already, with its outline: a convex polygon in plan, counter-clockwise seen
/// with +x right and +z up, nanometres.
#[derive(Debug, Clone, PartialEq)]
pub struct Outlined {
    corners: Vec<[i64; 2]>,
    /// Height over the ground, metres.
    height: f64,
    /// Metres.
    diameter: f64,
    /// Whether it counts for pieces of any size.
    always: bool,
    bounds: Rectangle,
    /// Middle of the bounds, and the distance of the farthest corner from it.
    middle: [f64; 2],
    radius: f64,
}

impl Outlined {
    /// A hero or a pinned piece: it counts for pieces of any size, and its diameter is that of the
    /// disc of its plan area. At least three corners.
    #[must_use]
    pub fn hull(corners: Vec<[i64; 2]>, height: f64) -> Self {
        let from = corners[0];
        let doubled: f64 = corners
            .windows(2)
            .map(|w| {
                let [a, b] =
                    [w[0], w[1]].map(|c| [(c[0] - from[0]) as f64, (c[1] - from[1]) as f64]);
                a[0] * b[1] - a[1] * b[0]
            })
            .sum();
        let diameter = libm::sqrt(2.0 * doubled.abs() / std::f64::consts::PI) / NANO;
        Self {
            always: true,
            ..Self::piece(corners, height, diameter)
        }
    }

    /// A piece of an earlier pass.
    #[must_use]
    pub fn piece(corners: Vec<[i64; 2]>, height: f64, diameter: f64) -> Self {
        let bounds = Rectangle::about(&corners);
        let middle = [
            0.5 * (bounds.x0 as f64 + bounds.x1 as f64),
            0.5 * (bounds.z0 as f64 + bounds.z1 as f64),
        ];
        let far = |c: &[i64; 2]| square([c[0] as f64 - middle[0], c[1] as f64 - middle[1]]);
        Self {
            radius: libm::sqrt(corners.iter().map(far).fold(0.0, f64::max)),
            corners,
            height,
            diameter,
            always: false,
            bounds,
            middle,
        }
    }

    /// Its corners, nanometres.
    #[must_use]
    pub fn corners(&self) -> &[[i64; 2]] {
        &self.corners
    }

    /// Its diameter in metres.
    #[must_use]
    pub fn diameter(&self) -> f64 {
        self.diameter
    }

    /// Its height over the ground, metres.
    #[must_use]
    pub fn height(&self) -> f64 {
        self.height
    }

    /// The plan rectangle that holds it.
    #[must_use]
    pub fn bounds(&self) -> Rectangle {
        self.bounds
    }

    /// The diameter that decides whether it counts for a piece, metres: infinite for a hull, which
    /// always counts.
    pub(super) fn counting_diameter(&self) -> f64 {
        if self.always {
            f64::INFINITY
        } else {
            self.diameter
        }
    }

    /// Whether it counts for a piece that heeds no smaller diameter than `smallest`.
    pub(super) fn counts(&self, smallest: f64) -> bool {
        self.counting_diameter() >= smallest
    }

    /// Distance from a place to its outline in nanometres, negative inside.
    #[must_use]
    pub fn edge_distance(&self, x: i64, z: i64) -> f64 {
        polygon_distance(&self.corners, x, z)
    }

    /// Whether a place is in it, or on its edge.
    #[must_use]
    pub fn holds(&self, x: i64, z: i64) -> bool {
        self.sides(x, z).all(|across| across <= 0.0)
    }

    /// Middle and radius of a disc about it, nanometres.
    #[must_use]
    pub fn disc(&self) -> ([f64; 2], f64) {
        (self.middle, self.radius)
    }

    /// On which side of each edge a place is: below 0 inside.
    fn sides(&self, x: i64, z: i64) -> impl Iterator<Item = f64> {
        let next = self.corners.iter().cycle().skip(1);
        self.corners.iter().zip(next).map(move |(a, b)| {
            let (ex, ez) = ((b[0] - a[0]) as f64, (b[1] - a[1]) as f64);
            let (px, pz) = ((x - a[0]) as f64, (z - a[1]) as f64);
            ez * px - ex * pz
        })
    }

    /// Whether an outline comes nearer than `within` nanometres to it.
    #[must_use]
    pub fn meets(&self, piece: &Placed, piece_elongation: f64, within: f64) -> bool {
        let corner = (piece.x, piece.z);
        let own = piece.ellipse(corner, piece_elongation, 1.0);
        let apart = square([
            self.middle[0] - piece.x as f64,
            self.middle[1] - piece.z as f64,
        ]);
        let reach = own.outer + self.radius + within;
        if apart >= reach * reach {
            return false;
        }
        // The ellipse lies between two discs: these alone decide most cases
        let edge = self.edge_distance(piece.x, piece.z);
        edge < own.outer + within
            && (edge < own.inner + within || polygon_meets(&self.corners, &own, corner, within))
    }

    /// Whether it holds a whole rectangle.
    #[must_use]
    pub fn hides(&self, r: Rectangle) -> bool {
        let b = self.bounds;
        let inside = |x, z| self.sides(x, z).all(|across| across < 0.0);
        b.x0 < r.x0
            && b.z0 < r.z0
            && b.x1 > r.x1
            && b.z1 > r.z1
            && inside(r.x0, r.z0)
            && inside(r.x1, r.z0)
            && inside(r.x0, r.z1)
            && inside(r.x1, r.z1)
    }
}

fn square([x, z]: [f64; 2]) -> f64 {
    x * x + z * z
}

/// Signed distance from a place to a convex counter-clockwise polygon. Seen from outside, the
/// nearest edge is one of those that face the place.
fn polygon_distance(corners: &[[i64; 2]], x: i64, z: i64) -> f64 {
    let mut outside = f64::INFINITY;
    let mut inside = f64::INFINITY;
    let mut a = corners.last().copied().unwrap_or_default();
    for b in corners {
        let (ex, ez) = ((b[0] - a[0]) as f64, (b[1] - a[1]) as f64);
        let (px, pz) = ((x - a[0]) as f64, (z - a[1]) as f64);
        a = *b;
        let long = ex * ex + ez * ez;
        let across = ez * px - ex * pz;
        if across > 0.0 {
            let t = ((px * ex + pz * ez) / long).clamp(0.0, 1.0);
            outside = outside.min(square([px - t * ex, pz - t * ez]));
        } else if outside == f64::INFINITY {
            inside = inside.min(across * across / long);
        }
    }
    if outside == f64::INFINITY {
        -libm::sqrt(inside)
    } else {
        libm::sqrt(outside)
    }
}

/// Whether an ellipse comes nearer than `within` to a convex polygon: by the ellipse's extent along
/// each edge's normal and towards each corner.
fn polygon_meets(corners: &[[i64; 2]], own: &Ellipse, corner: (i64, i64), within: f64) -> bool {
    let reach = |nx: f64, nz: f64| {
        let (u, v) = (f64::from(own.along[0]), f64::from(own.along[1]));
        let (a, b) = (own.outer * (nx * u + nz * v), own.inner * (nz * u - nx * v));
        libm::sqrt(a * a + b * b)
    };
    let local = |c: &[i64; 2]| {
        [
            (c[0] - corner.0) as f64 - own.x,
            (c[1] - corner.1) as f64 - own.z,
        ]
    };
    let separates = |nx: f64, nz: f64| {
        let nearest = corners
            .iter()
            .map(local)
            .map(|c| c[0] * nx + c[1] * nz)
            .fold(f64::INFINITY, f64::min);
        nearest >= reach(nx, nz) + within
    };
    for (i, a) in corners.iter().enumerate() {
        let (a, b) = (local(a), local(&corners[(i + 1) % corners.len()]));
        let (ex, ez) = (b[0] - a[0], b[1] - a[1]);
        let length = libm::sqrt(ex * ex + ez * ez);
        let to_corner = libm::sqrt(a[0] * a[0] + a[1] * a[1]);
        // Against the edge's outward normal, and straight at the corner
        if separates(-ez / length, ex / length)
            || (to_corner > 0.0 && separates(a[0] / to_corner, a[1] / to_corner))
        {
            return false;
        }
    }
    true
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::PassPiece;
    use crate::random::stream;

    /// A hexagon's distances at 200 places, stream 3, against 60,000 points along its sides; and at
    /// 2,000 whether an ellipse meets it, against 2,000 points of the ellipse, where that is clear
    /// by more than the points are apart.
    #[test]
    fn distances_and_meetings_are_those_of_points() {
        let corners: Vec<[i64; 2]> = [[0, 0], [40, -10], [90, 5], [100, 50], [55, 80], [-5, 45]]
            .map(|c: [i64; 2]| c.map(|v| v * 1_000_000))
            .to_vec();
        let thing = Outlined::piece(corners.clone(), 0.02, 0.08);
        let sides: Vec<[f64; 2]> = (0..6)
            .flat_map(|i| {
                let (a, b) = (corners[i], corners[(i + 1) % 6]);
                (0..10_000).map(move |k| {
                    let t = f64::from(k) / 10_000.0;
                    [0, 1].map(|k| a[k] as f64 + t * (b[k] - a[k]) as f64)
                })
            })
            .collect();
        let mut draws = stream(3);
        let mut met = [0, 0];
        for i in 0..2_000 {
            let (x, z) = (draws.between(-60e6, 160e6), draws.between(-60e6, 140e6));
            let (x, z) = (x as i64, z as i64);
            let edge = thing.edge_distance(x, z);
            if i < 200 {
                let far = sides
                    .iter()
                    .map(|p| square([p[0] - x as f64, p[1] - z as f64]));
                let far = libm::sqrt(far.fold(f64::INFINITY, f64::min));
                assert!((edge.abs() - far).abs() < 1e4, "{x} {z}: {edge} {far}");
            }
            let (sin, cos) = libm::sincos(draws.between(0.0, 6.0));
            let piece = Placed {
                x,
                z,
                id: 0,
                diameter: 0.02,
                along: [cos as f32, sin as f32],
                piece: PassPiece::default(),
                stance: 0,
                sunk: 0,
            };
            let nearest = (0..2_000)
                .map(|k| {
                    let (sin, cos) = libm::sincos(f64::from(k) * 0.003_141_592_7);
                    let (a, b) = (20e6 * cos, 10e6 * sin);
                    let [u, v] = piece.along.map(f64::from);
                    let at = |p: i64, q: f64| p + q as i64;
                    thing.edge_distance(at(x, a * u - b * v), at(z, a * v + b * u))
                })
                .fold(edge, f64::min);
            let meets = thing.meets(&piece, 2.0, 0.0);
            if nearest < -1e5 {
                assert!(meets, "{x} {z}: {nearest}");
                met[1] += 1;
            }
            // Separated by no side's and no corner's direction: a hair more is taken to meet
            if nearest > 2e6 {
                assert!(!meets, "{x} {z}: {nearest}");
                met[0] += 1;
            }
        }
        assert!(met.iter().all(|n| *n > 300), "{met:?}");
    }
}
