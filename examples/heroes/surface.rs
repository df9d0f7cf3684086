//! Surfaces of triangles before they are painted: rows of points, bending, hard edges, cutting
//! along a line.

use std::collections::BTreeMap;

use glam::DVec3;

/// A corner of a surface.
#[derive(Clone, Copy)]
pub(crate) struct Vertex {
    /// Where it was made, metres: what paint and cuts go by, however the thing is dented or tipped
    /// afterwards.
    pub(crate) rest: DVec3,
    /// Where it is, metres.
    pub(crate) at: DVec3,
    /// Unit normal, once [`Surface::with_normals`] has run.
    pub(crate) normal: DVec3,
}

/// Triangles, front faces counter-clockwise.
#[derive(Clone, Default)]
pub(crate) struct Surface {
    pub(crate) vertices: Vec<Vertex>,
    pub(crate) triangles: Vec<[u32; 3]>,
}

impl Surface {
    /// A skin over rows of points, each row a ring of the same count or a single point (a pole).
    /// `closed` joins the last row to the first. Rings run so that along-the-ring cross
    /// from-row-to-row points outwards.
    pub(crate) fn from_rows(rows: &[Vec<DVec3>], closed: bool) -> Self {
        let mut surface = Self::default();
        let mut starts = Vec::new();
        for row in rows {
            starts.push(surface.vertices.len() as u32);
            surface.vertices.extend(row.iter().map(|p| Vertex {
                rest: *p,
                at: *p,
                normal: DVec3::ZERO,
            }));
        }
        let last = if closed { rows.len() } else { rows.len() - 1 };
        for i in 0..last {
            let next = (i + 1) % rows.len();
            let (a, b) = (starts[i], starts[next]);
            let (na, nb) = (rows[i].len() as u32, rows[next].len() as u32);
            for j in 0..na.max(nb) {
                let k = j + 1;
                if na > 1 {
                    surface.triangles.push([a + j, a + k % na, b + j % nb]);
                }
                if nb > 1 {
                    surface.triangles.push([a + k % na, b + k % nb, b + j]);
                }
            }
        }
        surface
    }

    /// Puts another surface beside this one.
    pub(crate) fn add(&mut self, other: Self) {
        let base = self.vertices.len() as u32;
        self.vertices.extend(other.vertices);
        self.triangles
            .extend(other.triangles.iter().map(|t| t.map(|i| i + base)));
    }

    /// Moves every vertex; its rest stays.
    pub(crate) fn bend(mut self, to: impl Fn(DVec3) -> DVec3) -> Self {
        for v in &mut self.vertices {
            v.at = to(v.at);
        }
        self
    }

    /// Moves every vertex and takes the new place for its rest.
    pub(crate) fn place(mut self, to: impl Fn(DVec3) -> DVec3) -> Self {
        for v in &mut self.vertices {
            v.at = to(v.at);
            v.rest = v.at;
        }
        self
    }

    /// Gives normals: smooth over edges flatter than `crease` (cosine of the angle between faces),
    /// hard over the others, where vertices are doubled.
    pub(crate) fn with_normals(self, crease: f64) -> Self {
        let face: Vec<DVec3> = self
            .triangles
            .iter()
            .map(|t| {
                let [a, b, c] = t.map(|i| self.vertices[i as usize].at);
                (b - a).cross(c - a)
            })
            .collect();
        let mut faces_at = vec![Vec::new(); self.vertices.len()];
        for (f, t) in self.triangles.iter().enumerate() {
            for i in t {
                faces_at[*i as usize].push(f);
            }
        }
        let mut made = Self::default();
        let mut known: BTreeMap<(u32, [u64; 3]), u32> = BTreeMap::new();
        for (f, t) in self.triangles.iter().enumerate() {
            let own = face[f].normalize_or_zero();
            if own == DVec3::ZERO {
                continue; // a triangle without area has no say and no use
            }
            let corners = t.map(|i| {
                let sum: DVec3 = faces_at[i as usize]
                    .iter()
                    .map(|g| face[*g])
                    .filter(|n| n.normalize_or_zero().dot(own) >= crease)
                    .sum();
                let normal = sum.normalize_or(own);
                let key = (i, normal.to_array().map(f64::to_bits));
                *known.entry(key).or_insert_with(|| {
                    made.vertices.push(Vertex {
                        normal,
                        ..self.vertices[i as usize]
                    });
                    made.vertices.len() as u32 - 1
                })
            });
            made.triangles.push(corners);
        }
        made
    }

    /// Cuts along the line where `field` (of the rest) is zero: what is above, and what is below.
    pub(crate) fn cut(self, field: impl Fn(DVec3) -> f64) -> [Self; 2] {
        let value: Vec<f64> = self.vertices.iter().map(|v| field(v.rest)).collect();
        let mut halves = [Half::default(), Half::default()];
        for t in &self.triangles {
            for (half, above) in halves.iter_mut().zip([true, false]) {
                half.clip(&self.vertices, &value, t, above);
            }
        }
        halves.map(|h| h.surface)
    }
}

/// One side of a cut in the making.
#[derive(Default)]
struct Half {
    surface: Surface,
    /// Made vertices by the edge that they are on; a corner that is kept is the edge from itself to
    /// itself.
    known: BTreeMap<[u32; 2], u32>,
}

impl Half {
    fn clip(&mut self, vertices: &[Vertex], value: &[f64], triangle: &[u32; 3], above: bool) {
        let inside = |i: u32| (value[i as usize] > 0.0) == above;
        let mut ring = Vec::with_capacity(4);
        for k in 0..3 {
            let (i, j) = (triangle[k], triangle[(k + 1) % 3]);
            if inside(i) {
                ring.push(self.vertex(vertices, value, [i, i]));
            }
            if inside(i) != inside(j) {
                ring.push(self.vertex(vertices, value, [i.min(j), i.max(j)]));
            }
        }
        for k in 2..ring.len() {
            self.surface.triangles.push([ring[0], ring[k - 1], ring[k]]);
        }
    }

    fn vertex(&mut self, vertices: &[Vertex], value: &[f64], edge: [u32; 2]) -> u32 {
        let out = &mut self.surface.vertices;
        *self.known.entry(edge).or_insert_with(|| {
            let [a, b] = edge.map(|i| vertices[i as usize]);
            let [p, q] = edge.map(|i| value[i as usize]);
            out.push(if edge[0] == edge[1] {
                a
            } else {
                // Not nearer to an end than 2 %: slivers would have no normal in single precision
                let t = (p / (p - q)).clamp(0.02, 0.98);
                Vertex {
                    rest: a.rest.lerp(b.rest, t),
                    at: a.at.lerp(b.at, t),
                    normal: a.normal.lerp(b.normal, t).normalize_or(a.normal),
                }
            });
            out.len() as u32 - 1
        })
    }
}
