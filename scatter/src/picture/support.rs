//! The support function of a mesh, that is its extent in any direction, from a small table.
//!
//! The support function h(d) = max over vertices of v . d is convex and grows in proportion to d.
//! Over a face of the cube of directions it is therefore a convex function of the face's two
//! coordinates, and the bilinear blend of its exact values at a cell's corners is never below it:
//! bounds from the table are safe, and off by the square of the cell only.

use glam::{Vec3, Vec3A};

/// Cells along a side of each cube face: off by under 1 % for rounded shapes.
const CELLS: usize = 8;
const SIDE: usize = CELLS + 1;

/// Support function of a mesh.
pub(super) struct Support {
    /// Face by face (+x, -x, +y, -y, +z, -z), row by row.
    table: Vec<f32>,
}

/// Direction of a place on a cube face.
fn direction(face: usize, u: f32, v: f32) -> Vec3A {
    let s = if face.is_multiple_of(2) { 1.0 } else { -1.0 };
    match face / 2 {
        0 => Vec3A::new(s, u, v),
        1 => Vec3A::new(u, s, v),
        _ => Vec3A::new(u, v, s),
    }
}

impl Support {
    /// Measures the points.
    pub(super) fn of(points: impl Iterator<Item = Vec3>) -> Self {
        let points: Vec<Vec3A> = points.filter(|p| p.is_finite()).map(Vec3A::from).collect();
        let mut table = Vec::with_capacity(6 * SIDE * SIDE);
        for face in 0..6 {
            for j in 0..SIDE {
                for i in 0..SIDE {
                    let at = |k: usize| 2.0 * k as f32 / CELLS as f32 - 1.0;
                    let d = direction(face, at(i), at(j));
                    let reach = points.iter().map(|p| p.dot(d)).fold(f32::MIN, f32::max);
                    table.push(if points.is_empty() { 0.0 } else { reach });
                }
            }
        }
        Self { table }
    }

    /// Upper bound of the mesh's extent along `d` (any length) from its origin, times the length of
    /// `d`.
    pub(super) fn along(&self, d: Vec3A) -> f32 {
        let a = d.abs();
        let (axis, u, v) = if a.x >= a.y && a.x >= a.z {
            (0, d.y, d.z)
        } else if a.y >= a.z {
            (1, d.x, d.z)
        } else {
            (2, d.x, d.y)
        };
        let major = a[axis];
        if major == 0.0 {
            return 0.0;
        }
        let face = 2 * axis + usize::from(d[axis] < 0.0);
        let cell = |c: f32| {
            let x = ((c / major + 1.0) * (0.5 * CELLS as f32)).clamp(0.0, CELLS as f32);
            let i = (x as usize).min(CELLS - 1);
            (i, x - i as f32)
        };
        let ((i, fu), (j, fv)) = (cell(u), cell(v));
        let at = |i: usize, j: usize| self.table[(face * SIDE + j) * SIDE + i];
        let low = at(i, j) * (1.0 - fu) + at(i + 1, j) * fu;
        let high = at(i, j + 1) * (1.0 - fu) + at(i + 1, j + 1) * fu;
        major * (low * (1.0 - fv) + high * fv)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::picture::sample::{mix2, unit};

    fn point(i: u32) -> Vec3A {
        Vec3A::new(unit(mix2(i, 1)), unit(mix2(i, 2)), unit(mix2(i, 3))) * 2.0 - Vec3A::ONE
    }

    #[test]
    fn never_short_and_rarely_long() {
        // A rounded cloud: 600 points of the unit sphere, flattened
        let points: Vec<Vec3> = (0..600)
            .map(|i| Vec3::from(point(i).normalize() * Vec3A::new(1.0, 0.4, 0.7)))
            .collect();
        let support = Support::of(points.iter().copied());
        for i in 0..2000 {
            let d = point(10_000 + i).normalize();
            let exact = points
                .iter()
                .map(|p| p.dot(d.into()))
                .fold(f32::MIN, f32::max);
            let got = support.along(d);
            assert!(got >= exact - 1e-6, "short by {}", exact - got);
            assert!(got <= exact + 0.03, "long by {}", got - exact);
        }
    }

    #[test]
    fn nothing_reaches_nowhere() {
        assert_eq!(Support::of(std::iter::empty()).along(Vec3A::X), 0.0);
    }
}
