//! Triangles in the world, in double precision: their normals, and their cut where the ground ends.

use std::collections::BTreeMap;

use glam::DVec3;

use crate::kit::Mesh;

/// Triangles as numbers of corners, and the corners with their unit normals: world, metres.
#[derive(Debug, Default)]
pub(super) struct TriangleList {
    pub(super) places: Vec<DVec3>,
    pub(super) normals: Vec<DVec3>,
    pub(super) triangles: Vec<[u32; 3]>,
}

/// One end of a plan rectangle.
#[derive(Clone, Copy)]
struct End {
    /// 0 for x, 2 for z.
    axis: usize,
    at: f64,
    /// 1 where the ground is at smaller coordinates, -1 where it is at larger ones.
    side: f64,
}

impl TriangleList {
    /// Corners with the mean normals of the triangles about them, weighted by their angles there.
    /// Based on: Thuermer and Wuethrich, "Computing vertex normals from polygonal facets", 1998.
    pub(super) fn smooth(places: Vec<DVec3>, triangles: Vec<[u32; 3]>) -> Self {
        let mut normals = vec![DVec3::ZERO; places.len()];
        for t in &triangles {
            let p = t.map(|i| places[i as usize]);
            let normal = (p[1] - p[0]).cross(p[2] - p[0]).normalize_or_zero();
            for k in 0..3 {
                let (to, from) = (p[(k + 1) % 3] - p[k], p[(k + 2) % 3] - p[k]);
                let cosine = to.normalize_or_zero().dot(from.normalize_or_zero());
                normals[t[k] as usize] += normal * libm::acos(cosine.clamp(-1.0, 1.0));
            }
        }
        for normal in &mut normals {
            *normal = normal.normalize_or(DVec3::Y);
        }
        Self {
            places,
            normals,
            triangles,
        }
    }

    /// The triangles as a mesh relative to `origin`, without corners that none has.
    pub(super) fn mesh(&self, origin: DVec3) -> Mesh {
        let mut mesh = Mesh::default();
        let mut number = vec![u32::MAX; self.places.len()];
        for corner in self.triangles.iter().flatten() {
            let index = *corner as usize;
            if number[index] == u32::MAX {
                number[index] = mesh.positions.len() as u32;
                mesh.positions.push((self.places[index] - origin).as_vec3());
                mesh.normals.push(self.normals[index].as_vec3());
            }
            mesh.indices.push(number[index]);
        }
        mesh
    }

    /// Leaves what is within `[x0, z0, x1, z1]`. What is cut ends on the rectangle exactly, and
    /// triangles that share an edge share its cut.
    pub(super) fn within(mut self, [x0, z0, x1, z1]: [f64; 4]) -> Self {
        for end in [(0, x0, -1.0), (0, x1, 1.0), (2, z0, -1.0), (2, z1, 1.0)] {
            let (axis, at, side) = end;
            self.cut(End { axis, at, side });
        }
        self
    }

    fn cut(&mut self, end: End) {
        let beyond = |p: DVec3| end.side * (p[end.axis] - end.at) > 0.0;
        if !self.places.iter().any(|p| beyond(*p)) {
            return;
        }
        let mut cuts: BTreeMap<[u32; 2], u32> = BTreeMap::new();
        let mut kept = Vec::with_capacity(self.triangles.len());
        for t in std::mem::take(&mut self.triangles) {
            let outside = t.map(|i| beyond(self.places[i as usize]));
            if outside == [false; 3] {
                kept.push(t);
                continue;
            }
            let mut rest = Vec::with_capacity(4);
            for k in 0..3 {
                let next = (k + 1) % 3;
                if !outside[k] {
                    rest.push(t[k]);
                }
                if outside[k] != outside[next] {
                    let key = [t[k].min(t[next]), t[k].max(t[next])];
                    let cut = *cuts.entry(key).or_insert_with(|| self.cut_edge(key, end));
                    rest.push(cut);
                }
            }
            for k in 2..rest.len() {
                kept.push([rest[0], rest[k - 1], rest[k]]);
            }
        }
        self.triangles = kept;
    }

    /// The corner at which an edge crosses an end.
    fn cut_edge(&mut self, edge: [u32; 2], end: End) -> u32 {
        let [a, b] = edge.map(|i| self.places[i as usize]);
        let share = (end.at - a[end.axis]) / (b[end.axis] - a[end.axis]);
        let mut place = a.lerp(b, share);
        place[end.axis] = end.at;
        self.places.push(place);
        let [n, m] = edge.map(|i| self.normals[i as usize]);
        self.normals.push(n.lerp(m, share).normalize_or(DVec3::Y));
        (self.places.len() - 1) as u32
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_left_is_what_lies_within() {
        let corner = |x: f64, z: f64| DVec3::new(x, 0.5 * x - 0.25 * z, z);
        let square = TriangleList::smooth(
            vec![
                corner(-2.0, -2.0),
                corner(-2.0, 2.0),
                corner(2.0, 2.0),
                corner(2.0, -2.0),
            ],
            vec![[0, 1, 2], [0, 2, 3]],
        );
        let upright = DVec3::new(-0.5, 1.0, 0.25).normalize();
        assert!(square.normals.iter().all(|n| n.distance(upright) < 1e-12));
        let left = square.within([-1.0, -0.5, 1.5, 0.75]);
        let area: f64 = left
            .triangles
            .iter()
            .map(|t| {
                let [a, b, c] = t.map(|i| left.places[i as usize]);
                0.5 * (b - a).cross(c - a).y
            })
            .sum();
        assert!((area - 2.5 * 1.25).abs() < 1e-12, "{area}");
        let used = left
            .triangles
            .iter()
            .flatten()
            .map(|i| left.places[*i as usize]);
        for p in used {
            assert!((p.y - (0.5 * p.x - 0.25 * p.z)).abs() < 1e-12);
            assert!(p.x >= -1.0 && p.x <= 1.5 && p.z >= -0.5 && p.z <= 0.75);
        }
    }
}
