//! Plan shapes that are kept clear by hand.
//!
//! A shape refuses a piece whose outline meets it, whatever the pass's other fields say. It is part
//! of the world: the same from every camera and in every take.

use std::f64::consts::TAU;

use crate::brief::Clearing;
use crate::plan::{Ellipse, NANO, Placed, Rectangle};

/// A plan shape that no outline may meet: a simple polygon, convex or not, nanometres.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ClearShape {
    corners: Vec<[i64; 2]>,
    bounds: Rectangle,
}

/// Corners of the polygon that stands for a disc. It lies outside the circle, so it keeps clear a
/// ring of 0.13 % of the radius more.
const DISC_CORNERS: usize = 64;

impl ClearShape {
    /// The shape of a brief.
    #[must_use]
    pub fn new(clear: &Clearing) -> Self {
        match clear {
            Clearing::Disc { at: [x, z], radius } => {
                let step = TAU / DISC_CORNERS as f64;
                let outer = radius / libm::cos(0.5 * step);
                let corner = |i: usize| {
                    let (sin, cos) = libm::sincos(step * i as f64);
                    [x + outer * cos, z + outer * sin]
                };
                Self::of((0..DISC_CORNERS).map(corner))
            }
            Clearing::Box {
                at: [x, z],
                size,
                turn,
            } => {
                let [w, d] = size.map(|l| 0.5 * l);
                // Clockwise seen from above: from +x toward +z
                let (sin, cos) = libm::sincos(*turn);
                let corners = [[-w, -d], [w, -d], [w, d], [-w, d]];
                Self::of(
                    corners
                        .into_iter()
                        .map(|[u, v]| [x + u * cos - v * sin, z + u * sin + v * cos]),
                )
            }
            Clearing::Polygon(corners) => Self::of(corners.iter().copied()),
        }
    }

    fn of(corners: impl Iterator<Item = [f64; 2]>) -> Self {
        let corners: Vec<[i64; 2]> = corners
            .map(|c| c.map(|v| libm::rint(v * NANO) as i64))
            .collect();
        let bounds = Rectangle::about(&corners);
        Self { corners, bounds }
    }

    /// The plan rectangle that holds it.
    #[must_use]
    pub fn bounds(&self) -> Rectangle {
        self.bounds
    }

    /// Whether a place, in nanometres, lies in it: by how often a line from the place crosses the
    /// border.
    #[must_use]
    pub fn holds(&self, x: i64, z: i64) -> bool {
        if !self.bounds.holds(x, z) {
            return false;
        }
        self.sides().fold(false, |inside, (a, b)| {
            if (a[1] > z) == (b[1] > z) {
                return inside;
            }
            // Exact: corners are within 2^48 nanometres of each other
            let across = i128::from(b[0] - a[0]) * i128::from(z - a[1])
                - i128::from(x - a[0]) * i128::from(b[1] - a[1]);
            inside ^ ((across > 0) == (b[1] > a[1]))
        })
    }

    fn sides(&self) -> impl Iterator<Item = ([i64; 2], [i64; 2])> {
        let next = self.corners.iter().cycle().skip(1);
        self.corners.iter().copied().zip(next.copied())
    }

    /// Whether a piece may not lie where it is, since its outline meets the shape. `elongation` is
    /// its long axis over its diameter.
    #[must_use]
    pub fn refuses(&self, piece: &Placed, elongation: f64) -> bool {
        let outer = (0.5 * NANO * f64::from(piece.diameter) * elongation) as i64 + 1;
        if !self.bounds.grown(outer).holds(piece.x, piece.z) {
            return false;
        }
        self.holds(piece.x, piece.z) || {
            let outline = piece.ellipse((piece.x, piece.z), elongation, 1.0);
            self.sides().any(|(a, b)| {
                let local = |c: [i64; 2]| [(c[0] - piece.x) as f64, (c[1] - piece.z) as f64];
                crosses(&outline, local(a), local(b))
            })
        }
    }

    /// Whether a plan rectangle lies wholly inside it: nothing can be laid there.
    #[must_use]
    pub fn hides(&self, r: Rectangle) -> bool {
        let corners = [(r.x0, r.z0), (r.x1, r.z0), (r.x0, r.z1), (r.x1, r.z1)];
        corners.iter().all(|(x, z)| self.holds(*x, *z))
            && !self.sides().any(|(a, b)| {
                // A side that comes into the rectangle leaves part of it open
                let (mut first, mut last) = (0.0_f64, 1.0_f64);
                for (from, to, low, high) in [(a[0], b[0], r.x0, r.x1), (a[1], b[1], r.z0, r.z1)] {
                    let way = (to - from) as f64;
                    let (l, h) = ((low - from) as f64, (high - from) as f64);
                    if to == from {
                        if l > 0.0 || h < 0.0 {
                            return false;
                        }
                    } else {
                        let (s, t) = (l / way, h / way);
                        (first, last) = (first.max(s.min(t)), last.min(s.max(t)));
                    }
                }
                first <= last
            })
    }
}

/// Whether a line from `a` to `b` meets an ellipse about the origin: in the ellipse's own frame,
/// where it is the unit circle.
fn crosses(e: &Ellipse, a: [f64; 2], b: [f64; 2]) -> bool {
    let (u, v) = (f64::from(e.along[0]), f64::from(e.along[1]));
    let round = |p: [f64; 2]| {
        [
            (p[0] * u + p[1] * v) / e.outer,
            (p[1] * u - p[0] * v) / e.inner,
        ]
    };
    let (a, b) = (round(a), round(b));
    let way = [b[0] - a[0], b[1] - a[1]];
    let length = way[0] * way[0] + way[1] * way[1];
    let t = if length > 0.0 {
        (-(a[0] * way[0] + a[1] * way[1]) / length).clamp(0.0, 1.0)
    } else {
        0.0
    };
    let near = [a[0] + t * way[0], a[1] + t * way[1]];
    near[0] * near[0] + near[1] * near[1] <= 1.0
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::PassPiece;

    fn shape(json: &str) -> ClearShape {
        ClearShape::new(&(&serde_json::from_str::<crate::shot::Clear>(json).unwrap()).into())
    }

    fn piece(x: f64, z: f64, diameter: f32) -> Placed {
        Placed {
            x: (x * NANO) as i64,
            z: (z * NANO) as i64,
            id: 1,
            diameter,
            along: [1.0, 0.0],
            piece: PassPiece::default(),
            stance: 0,
            sunk: 0,
        }
    }

    #[test]
    fn outlines_are_refused_where_they_meet_a_shape() {
        // Twice as long along x as across: 0.2 m by 0.1 m
        let disc = shape(r#"{"disc":{"at":[1,0],"radius":0.5}}"#);
        for (x, z, refused) in [
            (1.0, 0.0, true),
            (0.41, 0.0, true),
            (0.39, 0.0, false),
            (1.0, 0.54, true),
            (1.0, 0.56, false),
        ] {
            assert_eq!(disc.refuses(&piece(x, z, 0.1), 2.0), refused, "{x} {z}");
        }
    }

    #[test]
    fn a_turned_box_and_a_notched_polygon_hold_what_they_should() {
        // Turned by 45 degrees the corner of a square of 2 m points along x, 1.4142 m out
        let turned = shape(r#"{"box":{"at":[0,0],"size":[2,2],"turn":"45 deg"}}"#);
        let nano = |v: f64| (v * NANO) as i64;
        assert!(turned.holds(nano(1.41), 0) && !turned.holds(nano(1.42), 0));
        assert!(!turned.holds(nano(0.8), nano(0.8)));
        // A long box turned clockwise by 90 degrees lies along z
        let long = shape(r#"{"box":{"at":[0,0],"size":[4,1],"turn":"90 deg"}}"#);
        assert!(long.holds(0, nano(1.9)) && !long.holds(nano(1.9), 0));
        let notched = shape(r#"{"polygon":{"corners":[[0,0],[4,0],[4,4],[2,1],[0,4]]}}"#);
        assert!(notched.holds(nano(0.5), nano(2.0)) && notched.holds(nano(3.5), nano(2.0)));
        assert!(!notched.holds(nano(2.0), nano(2.0)));
        // In the notch, beside the sides: refused once it reaches them
        assert!(!notched.refuses(&piece(2.0, 3.0, 0.5), 1.0));
        assert!(notched.refuses(&piece(2.0, 1.2, 0.5), 1.0));
        let block = |x0: f64, z0: f64, x1: f64, z1: f64| Rectangle {
            x0: nano(x0),
            z0: nano(z0),
            x1: nano(x1),
            z1: nano(z1),
        };
        assert!(notched.hides(block(1.0, 0.2, 3.0, 0.8)));
        // All four corners inside, the notch between them
        assert!(!notched.hides(block(0.5, 0.5, 3.5, 2.0)));
    }
}
