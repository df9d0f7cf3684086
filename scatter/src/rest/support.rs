//! What holds a body: the plane that it comes to rest on, and whether its weight is within what it
//! touches.
//!
//! A body that is let down and may tip comes to rest where its centre of mass is lowest. For small
//! tips that is a linear program: the lowest plane, at the centre of mass, that nothing under the
//! body sticks through. At its best it touches three points about the centre of mass, so what rests
//! on it is held. Solved through its dual: a triangle of points about the centre, one of them
//! exchanged for the point that sticks out farthest, until none does (Dantzig, "Linear programming
//! and extensions", 1963).

use crate::plan::convex_hull;

/// Maximum number of exchanges: a few dozen points need fewer than twenty.
const MOST_EXCHANGES: usize = 64;
/// What sticks out by less than this share of the radius does not count.
const FLUSH: f64 = 1e-9;
/// A point that hardly moves the triangle is not exchanged: the new one would have no area.
const LEAST_SHARE: f64 = 1e-9;
/// The three points that bound the slope lie this many radii out.
const FAR_OUT: f64 = 4.0;

/// Slope (height gained per metre along x and z) of the plane over all `points` (x, z, height) that
/// is lowest at x = z = 0, held to about `steepest`; `reach` is the maximum distance of a point
/// from there, metres.
pub(super) fn lowest_slope(points: &[[f64; 3]], steepest: f64, reach: f64) -> [f64; 2] {
    let top = points
        .iter()
        .map(|p| p[2])
        .fold(f64::NEG_INFINITY, f64::max);
    let out = FAR_OUT * reach;
    // Corners of a triangle, cosine and sine of 90, 210 and 330 degrees: low enough to matter only
    // to a plane that is too steep
    let far = |c: f64, s: f64| [c * out, s * out, top - steepest * out];
    let half_root = 0.5 * 3.0_f64.sqrt();
    let mut corners = [far(0.0, 1.0), far(-half_root, -0.5), far(half_root, -0.5)];
    for _ in 0..MOST_EXCHANGES {
        let plane = through(corners);
        let over = |p: &[f64; 3]| p[2] - plane.0 - plane.1[0] * p[0] - plane.1[1] * p[1];
        let most = points.iter().fold((FLUSH * reach, None), |best, p| {
            let by = over(p);
            if by > best.0 { (by, Some(p)) } else { best }
        });
        let Some(point) = most.1 else { break };
        let (own, new) = (
            shares(corners, [0.0; 2]),
            shares(corners, [point[0], point[1]]),
        );
        // The corner that leaves is the first whose share the new one uses up
        let leaves = (0..3)
            .filter(|i| new[*i] > LEAST_SHARE)
            .min_by(|a, b| (own[*a] / new[*a]).total_cmp(&(own[*b] / new[*b])));
        let Some(leaves) = leaves else { break };
        corners[leaves] = *point;
    }
    through(corners).1
}

/// The plane through three points: height at x = z = 0, and slope.
fn through([a, b, c]: [[f64; 3]; 3]) -> (f64, [f64; 2]) {
    let (ux, uz, uy) = (b[0] - a[0], b[1] - a[1], b[2] - a[2]);
    let (vx, vz, vy) = (c[0] - a[0], c[1] - a[1], c[2] - a[2]);
    let area = ux * vz - uz * vx;
    let slope = [(uy * vz - uz * vy) / area, (ux * vy - uy * vx) / area];
    (a[2] - slope[0] * a[0] - slope[1] * a[1], slope)
}

/// Barycentric coordinates of a place (x, z) in a triangle.
fn shares([a, b, c]: [[f64; 3]; 3], p: [f64; 2]) -> [f64; 3] {
    let cross = |u: [f64; 2], v: [f64; 2]| u[0] * v[1] - u[1] * v[0];
    let from = |q: [f64; 3]| [q[0] - p[0], q[1] - p[1]];
    let (a, b, c) = (from(a), from(b), from(c));
    let areas = [cross(b, c), cross(c, a), cross(a, b)];
    let whole: f64 = areas.iter().sum();
    areas.map(|v| v / whole)
}

/// Distance of a plan place from the hull of others, metres; 0 inside.
pub(super) fn beside(others: &[[f64; 2]], place: [f64; 2]) -> f64 {
    let edge = nearest(&convex_hull(others), place);
    let out = [place[0] - edge[0], place[1] - edge[1]];
    (out[0] * out[0] + out[1] * out[1]).sqrt()
}

/// The point of a convex polygon (corners counter-clockwise with +x right and +z up, or one or two
/// points) nearest to `p`; `p` itself inside.
fn nearest(hull: &[[f64; 2]], p: [f64; 2]) -> [f64; 2] {
    let Some(first) = hull.first() else { return p };
    if hull.len() >= 3 {
        let inside = (0..hull.len()).all(|i| {
            let (a, b) = (hull[i], hull[(i + 1) % hull.len()]);
            (b[0] - a[0]) * (p[1] - a[1]) - (b[1] - a[1]) * (p[0] - a[0]) >= 0.0
        });
        if inside {
            return p;
        }
    }
    let mut best = (f64::INFINITY, *first);
    for i in 0..hull.len() {
        let (a, b) = (hull[i], hull[(i + 1) % hull.len()]);
        let (dx, dz) = (b[0] - a[0], b[1] - a[1]);
        let square = dx * dx + dz * dz;
        let t = if square > 0.0 {
            (((p[0] - a[0]) * dx + (p[1] - a[1]) * dz) / square).clamp(0.0, 1.0)
        } else {
            0.0
        };
        let q = [a[0] + t * dx, a[1] + t * dz];
        let far = (p[0] - q[0]) * (p[0] - q[0]) + (p[1] - q[1]) * (p[1] - q[1]);
        if far < best.0 {
            best = (far, q);
        }
    }
    best.1
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::random::stream;

    /// The plane through any three points about the middle that no point sticks through: by trying
    /// all.
    fn by_trying(points: &[[f64; 3]]) -> Option<(f64, [f64; 2])> {
        let mut found = None;
        for i in 0..points.len() {
            for j in i + 1..points.len() {
                for k in j + 1..points.len() {
                    let corners = [points[i], points[j], points[k]];
                    let holds = shares(corners, [0.0; 2]).iter().all(|s| *s >= 0.0);
                    let (height, slope) = through(corners);
                    let clear = points
                        .iter()
                        .all(|p| p[2] <= height + slope[0] * p[0] + slope[1] * p[1] + 1e-12);
                    if holds && clear {
                        found = Some((height, slope));
                    }
                }
            }
        }
        found
    }

    #[test]
    fn the_lowest_plane_is_the_one_found_by_trying_all() {
        let mut draws = stream(3);
        let mut held = 0;
        for _ in 0..300 {
            let count = 4 + (draws.unit() * 12.0) as usize;
            let points: Vec<[f64; 3]> = (0..count)
                .map(|_| {
                    let mut of = |a: f64| draws.between(-a, a);
                    [of(1.0), of(1.0), of(0.1)]
                })
                .collect();
            let Some((_, slope)) = by_trying(&points) else {
                continue;
            };
            held += 1;
            let found = lowest_slope(&points, 100.0, 1.5);
            for (got, want) in found.iter().zip(slope) {
                assert!((got - want).abs() < 1e-9);
            }
        }
        assert!(held > 200, "{held}");
    }

    #[test]
    fn what_is_held_on_one_side_tips_no_steeper_than_told() {
        let points = [[0.5, 0.0, 0.0], [0.4, 0.2, 0.0], [0.4, -0.2, 0.0]];
        let found = lowest_slope(&points, 0.4, 1.0);
        assert!(found[0] > 0.2 && found[0] < 0.8, "{found:?}");
    }
}
