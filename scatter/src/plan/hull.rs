//! Convex hulls on the plan.

/// The corners of the convex hull of points (x, z), counter-clockwise with +x right and +z up;
/// collinear points fall away. One or two distinct points give themselves, none gives none. Andrew,
/// "Another efficient algorithm for convex hulls in two dimensions", 1979.
#[must_use]
pub fn convex_hull(points: &[[f64; 2]]) -> Vec<[f64; 2]> {
    let mut points = points.to_vec();
    points.sort_by(|a, b| a[0].total_cmp(&b[0]).then(a[1].total_cmp(&b[1])));
    points.dedup();
    if points.len() < 2 {
        return points;
    }
    let turn = |a: [f64; 2], b: [f64; 2], c: [f64; 2]| {
        (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
    };
    let half = |points: &mut dyn Iterator<Item = &[f64; 2]>| {
        let mut chain: Vec<[f64; 2]> = Vec::new();
        for p in points {
            while chain.len() >= 2
                && turn(chain[chain.len() - 2], chain[chain.len() - 1], *p) <= 0.0
            {
                chain.pop();
            }
            chain.push(*p);
        }
        chain.pop();
        chain
    };
    let mut corners = half(&mut points.iter());
    corners.extend(half(&mut points.iter().rev()));
    corners
}
