//! Lines on the plan: how far a place is from one, on which side, and which way it runs there.

use std::sync::Arc;

use rstar::primitives::{GeomWithData, Line as Segment};
use rstar::{PointDistance as _, RTree};

/// Straight pieces between two points of a smooth line: a bend of a metre's radius between points
/// half a metre apart is then within a hundredth of a millimetre.
const PIECES: usize = 64;

/// A line through points on the plan, metres; straight from point to point, or smooth.
#[derive(Debug, Clone)]
pub struct PlanLine {
    tree: Arc<RTree<GeomWithData<Segment<[f64; 2]>, u32>>>,
    /// Unit vectors along its straight pieces.
    ways: Vec<[f64; 2]>,
    closed: bool,
}

/// The place on a line that is nearest to another.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NearestOnLine {
    /// x and z, metres.
    pub place: [f64; 2],
    /// Distance to it, metres; above 0 to the left of the line as it runs, below 0 to the right,
    /// seen from above.
    pub distance: f64,
    /// Unit vector along the line there.
    pub way: [f64; 2],
}

impl PlanLine {
    /// A line through points, metres: at least two that differ.
    ///
    /// Smooth ones are centripetal Catmull-Rom splines (Yuksel, Schaefer and Keyser,
    /// "Parameterization and applications of Catmull-Rom curves", 2011), which pass through all
    /// points and make no loops between them.
    #[must_use]
    pub fn new(points: &[[f64; 2]], smooth: bool, closed: bool) -> Self {
        let mut corners: Vec<[f64; 2]> = Vec::with_capacity(points.len() + 1);
        for point in points {
            if corners.last() != Some(point) {
                corners.push(*point);
            }
        }
        if closed && corners.len() > 2 && corners.first() == corners.last() {
            corners.pop();
        }
        let closed = closed && corners.len() > 2;
        let mut places = if smooth {
            splined(&corners, closed)
        } else {
            corners
        };
        if closed {
            places.push(places[0]);
        }
        places.dedup();
        let segments: Vec<_> = places
            .windows(2)
            .enumerate()
            .map(|(i, p)| GeomWithData::new(Segment::new(p[0], p[1]), i as u32))
            .collect();
        let ways = places.windows(2).map(|p| unit(from_to(p[0], p[1])));
        Self {
            ways: ways.collect(),
            tree: Arc::new(RTree::bulk_load(segments)),
            closed,
        }
    }

    /// The place on it that is nearest to `place`.
    #[must_use]
    pub fn nearest(&self, place: [f64; 2]) -> NearestOnLine {
        let Some(nearest) = self.tree.nearest_neighbor(place) else {
            // A line has a piece
            return NearestOnLine {
                place,
                distance: f64::INFINITY,
                way: [1.0, 0.0],
            };
        };
        let index = nearest.data as usize;
        let (from, to) = (nearest.geom().from, nearest.geom().to);
        let way = self.ways[index];
        let arm = from_to(from, place);
        let length = libm::hypot(to[0] - from[0], to[1] - from[1]);
        let along = dot(arm, way).clamp(0.0, length);
        let foot = [from[0] + along * way[0], from[1] + along * way[1]];
        // At a corner both pieces are as near: the side is that of the line that halves it
        let other = if along <= 0.0 {
            self.next_to(index, false)
        } else if along >= length {
            self.next_to(index, true)
        } else {
            None
        };
        let way = other.map_or(way, |o| unit([way[0] + o[0], way[1] + o[1]]));
        let off = from_to(foot, place);
        // Seen from above with x to the right, z comes down: left of +x is -z
        let left = way[1] * off[0] - way[0] * off[1];
        let distance = libm::hypot(off[0], off[1]);
        NearestOnLine {
            place: foot,
            distance: if left < 0.0 { -distance } else { distance },
            way,
        }
    }

    /// Whether any place of a plan rectangle `[x0, z0, x1, z1]` may be within `distance` metres.
    /// Never wrong when it says no.
    #[must_use]
    pub fn may_be_within(&self, distance: f64, r: [f64; 4]) -> bool {
        let middle = [0.5 * (r[0] + r[2]), 0.5 * (r[1] + r[3])];
        let half = 0.5 * libm::hypot(r[2] - r[0], r[3] - r[1]);
        let limit = distance + half;
        self.tree
            .nearest_neighbor(middle)
            .is_some_and(|n| n.distance_2(&middle) <= limit * limit)
    }

    /// The way of the piece after, or before, one.
    fn next_to(&self, index: usize, after: bool) -> Option<[f64; 2]> {
        let count = self.ways.len();
        let next = match (after, self.closed) {
            (true, true) => Some((index + 1) % count),
            (true, false) => Some(index + 1),
            (false, true) => Some((index + count - 1) % count),
            (false, false) => index.checked_sub(1),
        };
        self.ways.get(next?).copied()
    }
}

fn from_to(a: [f64; 2], b: [f64; 2]) -> [f64; 2] {
    [b[0] - a[0], b[1] - a[1]]
}

fn dot(a: [f64; 2], b: [f64; 2]) -> f64 {
    a[0] * b[0] + a[1] * b[1]
}

/// A unit vector of this direction; along x where there is none, as where a line turns back.
fn unit(v: [f64; 2]) -> [f64; 2] {
    let length = libm::hypot(v[0], v[1]);
    if length > 0.0 {
        [v[0] / length, v[1] / length]
    } else {
        [1.0, 0.0]
    }
}

/// Places along the spline through corners; the last corner is there, unless it is closed.
fn splined(corners: &[[f64; 2]], closed: bool) -> Vec<[f64; 2]> {
    let count = corners.len();
    let spans = if closed { count } else { count - 1 };
    // Beyond its ends an open line goes on straight
    let corner = |i: i64| {
        let last = count as i64 - 1;
        if closed {
            corners[i.rem_euclid(count as i64) as usize]
        } else if i < 0 {
            mirrored(corners[0], corners[1])
        } else if i > last {
            mirrored(corners[count - 1], corners[count - 2])
        } else {
            corners[i as usize]
        }
    };
    let mut places = Vec::with_capacity(spans * PIECES + 1);
    for span in 0..spans as i64 {
        let p = [span - 1, span, span + 1, span + 2].map(corner);
        places.extend((0..PIECES).map(|k| on_span(p, k as f64 / PIECES as f64)));
    }
    if !closed {
        places.push(corners[count - 1]);
    }
    places
}

/// What is as far beyond `end` as `next` is before it.
fn mirrored(end: [f64; 2], next: [f64; 2]) -> [f64; 2] {
    [2.0 * end[0] - next[0], 2.0 * end[1] - next[1]]
}

/// A place at a share of the way from p[1] to p[2], by Barry and Goldman's pyramid.
fn on_span(p: [[f64; 2]; 4], share: f64) -> [f64; 2] {
    let mut knots = [0.0; 4];
    for i in 1..4 {
        let [x, z] = from_to(p[i - 1], p[i]);
        // The square root of the distance: centripetal
        knots[i] = knots[i - 1] + libm::sqrt(libm::hypot(x, z));
    }
    let t = knots[1] + share * (knots[2] - knots[1]);
    let between = |a: [f64; 2], b: [f64; 2], from: f64, to: f64| {
        let s = (t - from) / (to - from);
        [a[0] + s * (b[0] - a[0]), a[1] + s * (b[1] - a[1])]
    };
    let first = [0, 1, 2].map(|i| between(p[i], p[i + 1], knots[i], knots[i + 1]));
    let second = [0, 1].map(|i| between(first[i], first[i + 1], knots[i], knots[i + 2]));
    between(second[0], second[1], knots[1], knots[2])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn distances_and_sides_of_a_straight_line() {
        // Toward +x: its left is -z
        let line = PlanLine::new(&[[0.0, 0.0], [1.0, 0.0], [2.0, 0.0]], false, false);
        for (place, distance, foot) in [
            ([0.5, -0.3], 0.3, [0.5, 0.0]),
            ([1.0, 0.25], -0.25, [1.0, 0.0]),
            ([5.0, -4.0], 5.0, [2.0, 0.0]),
            ([-3.0, 4.0], -5.0, [0.0, 0.0]),
        ] {
            let found = line.nearest(place);
            assert!(
                (found.distance - distance).abs() < 1e-12,
                "{place:?} {found:?}"
            );
            assert!(found.place[0] - foot[0] < 1e-12 && found.place[1] - foot[1] < 1e-12);
            assert_eq!(found.way, [1.0, 0.0]);
        }
    }

    #[test]
    fn at_a_sharp_corner_the_side_is_that_of_the_whole_line() {
        // A hairpin toward +x: what lies beyond its tip is nearest to the tip alone
        let line = PlanLine::new(&[[0.0, 0.0], [1.0, 0.0], [0.0, 0.1]], false, false);
        // The line turns right there (from +x toward +z), so the outside of the tip is its left
        for place in [[1.2, 0.0], [1.2, 0.05], [1.1, 0.08]] {
            assert!(line.nearest(place).distance > 0.0, "{place:?}");
        }
        assert!(line.nearest([0.5, 0.03]).distance < 0.0);
    }

    #[test]
    fn a_smooth_closed_line_through_a_circle_is_near_the_circle() {
        let on_circle = |i: usize| {
            let a = i as f64 / 16.0 * std::f64::consts::TAU;
            [libm::cos(a), libm::sin(a)]
        };
        let points: Vec<[f64; 2]> = (0..16).map(on_circle).collect();
        let line = PlanLine::new(&points, true, true);
        for i in 0..500 {
            let a = f64::from(i) * 0.7;
            let r = 0.5 + f64::from(i) * 0.002;
            let found = line.nearest([r * libm::cos(a), r * libm::sin(a)]);
            // From +x toward +z, which is clockwise seen from above: the inside is its right. The
            // spline through sixteen points is within a thousandth of the circle
            assert!((found.distance - (r - 1.0)).abs() < 2e-3, "{r} {found:?}");
            let across = found.way[0] * libm::cos(a) + found.way[1] * libm::sin(a);
            assert!(across.abs() < 0.02, "{across}");
        }
    }

    #[test]
    fn what_is_far_is_told_to_be_far() {
        let line = PlanLine::new(&[[0.0, 0.0], [1.0, 0.0]], false, false);
        assert!(line.may_be_within(0.1, [0.4, 0.05, 0.5, 0.2]));
        assert!(!line.may_be_within(0.1, [0.4, 0.5, 0.5, 0.6]));
    }
}
