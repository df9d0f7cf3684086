//! Tubes swept along a curve: wires, spouts, hooks.

use std::f64::consts::TAU;

use glam::DVec3;

use crate::surface::Surface;

/// A tube round `path`, with flat closed ends. `radii` gives the two half axes in metres at a share
/// 0..=1 of the way: the first along `side`, as far as it is square to the path.
pub(crate) fn tube(
    path: &[DVec3],
    side: DVec3,
    sides: usize,
    radii: impl Fn(f64) -> [f64; 2],
) -> Surface {
    let mut rows = vec![vec![path[0]]];
    rows.extend(rings(path, side, sides, radii));
    rows.push(vec![path[path.len() - 1]]);
    Surface::from_rows(&rows, false)
}

/// A pipe: a tube that is open at the far end, with a wall `wall` metres thick; closed deep inside
/// at the near end.
pub(crate) fn pipe(
    path: &[DVec3],
    side: DVec3,
    sides: usize,
    wall: f64,
    radii: impl Fn(f64) -> [f64; 2],
) -> Surface {
    let outer = rings(path, side, sides, &radii);
    let inner = rings(path, side, sides, |t| radii(t).map(|r| r - wall));
    let mut rows = vec![vec![path[0]]];
    rows.extend(outer);
    // The near end of the bore is closed by a pole a little within the outer one
    rows.extend(inner.into_iter().skip(1).rev());
    rows.push(vec![path[1]]);
    Surface::from_rows(&rows, false)
}

fn rings(
    path: &[DVec3],
    side: DVec3,
    sides: usize,
    radii: impl Fn(f64) -> [f64; 2],
) -> Vec<Vec<DVec3>> {
    let last = path.len() - 1;
    let mut normal = side;
    (0..=last)
        .map(|i| {
            let along = path[(i + 1).min(last)] - path[i.saturating_sub(1)];
            let tangent = along.normalize_or(DVec3::Y);
            // The frame is carried along without twist
            normal = (normal - tangent * normal.dot(tangent)).normalize_or(DVec3::X);
            let across = tangent.cross(normal);
            let [a, b] = radii(i as f64 / last as f64);
            (0..sides)
                .map(|j| {
                    let (s, c) = libm::sincos(TAU * j as f64 / sides as f64);
                    path[i] + normal * (a * c) + across * (b * s)
                })
                .collect()
        })
        .collect()
}
