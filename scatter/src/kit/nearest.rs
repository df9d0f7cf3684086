//! How far places are from a surface of triangles.

use std::time::Duration;

use glam::Vec3A;
use obvhs::BvhBuildParams;
use obvhs::aabb::Aabb;
use obvhs::bvh2::Bvh2;
use obvhs::bvh2::builder::build_bvh2;

/// A surface of triangles that tells its distance from a place.
pub(super) struct SurfaceDistance {
    /// In the order of the hierarchy.
    triangles: Vec<[Vec3A; 3]>,
    tree: Bvh2,
    /// Where a search begins: the side of a box that holds a triangle or so.
    step: f32,
}

impl SurfaceDistance {
    /// A surface of at least one triangle, all finite.
    pub(super) fn new(triangles: Vec<[Vec3A; 3]>) -> Self {
        let bounds: Vec<Aabb> = triangles.iter().map(|t| Aabb::from_points(t)).collect();
        let all = bounds.iter().fold(Aabb::empty(), |all, b| all.union(b));
        let params = BvhBuildParams::fastest_build();
        let tree = build_bvh2(&bounds, params, &mut Duration::default());
        let triangles: Vec<[Vec3A; 3]> = tree
            .primitive_indices
            .iter()
            .map(|i| triangles[*i as usize])
            .collect();
        let step = all.diagonal().length() / (triangles.len() as f32).sqrt();
        Self {
            triangles,
            tree,
            step: step.max(f32::MIN_POSITIVE),
        }
    }

    /// Distance of a place from the nearest triangle.
    pub(super) fn distance(&self, p: Vec3A) -> f32 {
        // A box is searched; what is in it and nearer than its half side is the nearest
        let mut half = self.step;
        loop {
            let mut nearest = f32::INFINITY;
            let around = Aabb::new(p - half, p + half);
            self.tree.aabb_traverse(around, |tree, node| {
                let node = &tree.nodes[node as usize];
                let first = node.first_index as usize;
                for triangle in &self.triangles[first..first + node.prim_count as usize] {
                    nearest = nearest.min(closest(p, triangle).distance(p));
                }
                true
            });
            if nearest <= half {
                return nearest;
            }
            half = if nearest.is_finite() {
                nearest
            } else {
                2.0 * half
            };
        }
    }
}

/// The place on a triangle that is nearest to `p`. Based on: Ericson, "Real-Time Collision
/// Detection", 2005, section 5.1.5.
fn closest(p: Vec3A, [a, b, c]: &[Vec3A; 3]) -> Vec3A {
    let (a, b, c) = (*a, *b, *c);
    let (ab, ac) = (b - a, c - a);
    let share = |along: f32, rest: f32| {
        if along + rest > 0.0 {
            along / (along + rest)
        } else {
            0.0
        }
    };
    // Corner and edge regions at a, then at b, then at c
    let (d1, d2) = (ab.dot(p - a), ac.dot(p - a));
    if d1 <= 0.0 && d2 <= 0.0 {
        return a;
    }
    let (d3, d4) = (ab.dot(p - b), ac.dot(p - b));
    if d3 >= 0.0 && d4 <= d3 {
        return b;
    }
    let (d5, d6) = (ab.dot(p - c), ac.dot(p - c));
    if d6 >= 0.0 && d5 <= d6 {
        return c;
    }
    let vc = d1 * d4 - d3 * d2;
    if vc <= 0.0 && d1 >= 0.0 && d3 <= 0.0 {
        return a + ab * share(d1, -d3);
    }
    let vb = d5 * d2 - d1 * d6;
    if vb <= 0.0 && d2 >= 0.0 && d6 <= 0.0 {
        return a + ac * share(d2, -d6);
    }
    let va = d3 * d6 - d5 * d4;
    if va <= 0.0 && d4 >= d3 && d5 >= d6 {
        return b + (c - b) * share(d4 - d3, d5 - d6);
    }
    let all = va + vb + vc;
    a + ab * (vb / all) + ac * (vc / all)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Every triangle of a bumpy sheet, tried one by one over a fine raster of each: an independent
    /// way to the same distance.
    #[test]
    fn distances_are_those_of_a_raster_over_every_triangle() {
        let at = |i: usize, k: usize| {
            let (x, z) = (i as f32 / 6.0, k as f32 / 6.0);
            Vec3A::new(x, 0.2 * libm::sinf(5.0 * x) * libm::cosf(4.0 * z), z)
        };
        let mut triangles = Vec::new();
        for i in 0..6 {
            for k in 0..6 {
                triangles.push([at(i, k), at(i, k + 1), at(i + 1, k + 1)]);
                triangles.push([at(i, k), at(i + 1, k + 1), at(i + 1, k)]);
            }
        }
        let surface = SurfaceDistance::new(triangles.clone());
        const FINE: usize = 40;
        for n in 0..60 {
            let t = n as f32;
            let p = Vec3A::new(
                1.5 * libm::sinf(t) + 0.5,
                0.4 * libm::cosf(3.0 * t),
                1.5 * libm::sinf(2.0 * t) + 0.5,
            );
            let mut least = f32::INFINITY;
            for [a, b, c] in &triangles {
                for i in 0..=FINE {
                    for k in 0..=FINE - i {
                        let (u, v) = (i as f32 / FINE as f32, k as f32 / FINE as f32);
                        least = least.min((*a + (*b - *a) * u + (*c - *a) * v).distance(p));
                    }
                }
            }
            let found = surface.distance(p);
            // The raster's points are at most this far apart
            assert!(
                found <= least + 1e-5 && found >= least - 0.01,
                "{n}: {found} {least}"
            );
        }
    }
}
