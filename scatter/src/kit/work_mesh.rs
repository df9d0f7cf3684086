//! A working mesh in double precision, before it becomes a part.

use std::f64::consts::PI;

use glam::{DVec2, DVec3};

use super::Mesh;

/// Triangles with a colour at each vertex. Front faces counter-clockwise.
#[derive(Debug, Clone, Default)]
pub(crate) struct WorkMesh {
    /// Metres.
    pub(crate) positions: Vec<DVec3>,
    /// Linear colours, as many as positions.
    pub(crate) colors: Vec<DVec3>,
    pub(crate) triangles: Vec<[u32; 3]>,
    /// The face that each triangle belongs to, if any: faces shade smooth throughout. As many as
    /// triangles, or none.
    pub(crate) groups: Vec<Option<u32>>,
}

impl WorkMesh {
    /// Adds a vertex and gives its index.
    pub(crate) fn push(&mut self, position: DVec3, color: DVec3) -> u32 {
        self.positions.push(position);
        self.colors.push(color);
        (self.positions.len() - 1) as u32
    }

    /// Adds two triangles; `a b` is the edge opposite to `c d`, corners in the order a b d c
    /// around.
    pub(crate) fn quad(&mut self, a: u32, b: u32, c: u32, d: u32) {
        self.triangles.push([a, b, c]);
        self.triangles.push([b, d, c]);
    }

    /// Drops vertices that no triangle uses.
    pub(crate) fn drop_unused(&mut self) {
        let mut kept = vec![None; self.positions.len()];
        let old = core::mem::take(self);
        for t in old.triangles {
            let corners = t.map(|i| {
                let i = i as usize;
                *kept[i].get_or_insert_with(|| self.push(old.positions[i], old.colors[i]))
            });
            self.triangles.push(corners);
        }
    }

    /// Cross product of a triangle's edges: its normal times twice its area.
    pub(crate) fn cross(&self, t: [u32; 3]) -> DVec3 {
        let [a, b, c] = t.map(|i| self.positions[i as usize]);
        (b - a).cross(c - a)
    }

    /// Area-weighted unit normals at the vertices.
    pub(crate) fn vertex_normals(&self) -> Vec<DVec3> {
        let mut sums = vec![DVec3::ZERO; self.positions.len()];
        for &t in &self.triangles {
            let n = self.cross(t);
            for i in t {
                sums[i as usize] += n;
            }
        }
        sums.into_iter().map(|n| n.normalize_or(DVec3::Y)).collect()
    }

    /// Vertices that share an edge with each vertex, in order of appearance.
    pub(crate) fn neighbours(&self) -> Vec<Vec<u32>> {
        let mut around = vec![Vec::new(); self.positions.len()];
        for &[a, b, c] in &self.triangles {
            for (i, j) in [(a, b), (b, c), (c, a), (b, a), (c, b), (a, c)] {
                let ring: &mut Vec<u32> = &mut around[i as usize];
                if !ring.contains(&j) {
                    ring.push(j);
                }
            }
        }
        around
    }

    /// Turns the piece so that the mean of its faces looks straight up, as a sheet comes to lie.
    pub(crate) fn level(&mut self) {
        let mean = self
            .triangles
            .iter()
            .map(|&t| self.cross(t))
            .sum::<DVec3>()
            .normalize_or(DVec3::Y);
        let turn = glam::DQuat::from_rotation_arc(mean, DVec3::Y);
        for p in &mut self.positions {
            *p = turn * *p;
        }
    }

    /// Lays the piece down in its frame: turned about y so that its narrowest plan width runs along
    /// z, centred in plan, lowest point at y = 0. `place`, such as the point from which the surface
    /// is seen, moves with it and is returned.
    pub(crate) fn settle(&mut self, place: DVec3) -> DVec3 {
        let flat: Vec<DVec2> = self
            .positions
            .iter()
            .map(|p| DVec2::new(p.x, p.z))
            .collect();
        // Two degrees: the narrowest width is met within a thousandth of the long axis.
        let mut best = (f64::INFINITY, DVec2::X);
        for step in 0..90 {
            let turn = f64::from(step) * PI / 90.0;
            let along = DVec2::new(libm::cos(turn), libm::sin(turn));
            let across = along.perp();
            let (low, high) = flat
                .iter()
                .map(|p| p.dot(across))
                .fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), x| {
                    (l.min(x), h.max(x))
                });
            if high - low < best.0 {
                best = (high - low, along);
            }
        }
        let (along, across) = (best.1, best.1.perp());
        for (p, flat) in self.positions.iter_mut().zip(flat) {
            *p = DVec3::new(flat.dot(along), p.y, flat.dot(across));
        }
        let flat = DVec2::new(place.x, place.z);
        DVec3::new(flat.dot(along), place.y, flat.dot(across)) - self.ground()
    }

    /// Centres the plan and drops the lowest point to y = 0. Returns what was subtracted from every
    /// position.
    pub(crate) fn ground(&mut self) -> DVec3 {
        let (low, high) = self.bounds();
        let shift = DVec3::new((low.x + high.x) / 2.0, low.y, (low.z + high.z) / 2.0);
        for p in &mut self.positions {
            *p -= shift;
        }
        shift
    }

    /// Lowest and highest corner.
    pub(crate) fn bounds(&self) -> (DVec3, DVec3) {
        self.positions.iter().fold(
            (DVec3::splat(f64::INFINITY), DVec3::splat(f64::NEG_INFINITY)),
            |(low, high), &p| (low.min(p), high.max(p)),
        )
    }

    /// Single-precision mesh. Corners share a vertex and its normal unless the surface turns by
    /// more than the angle whose cosine is `crease_cosine` (-1: smooth throughout).
    pub(crate) fn mesh(&self, crease_cosine: f64) -> Mesh {
        let crosses: Vec<DVec3> = self.triangles.iter().map(|&t| self.cross(t)).collect();
        let units: Vec<DVec3> = crosses.iter().map(|n| n.normalize_or(DVec3::Y)).collect();
        let mut around = vec![Vec::new(); self.positions.len()];
        for (t, corners) in self.triangles.iter().enumerate() {
            for &i in corners {
                around[i as usize].push(t);
            }
        }
        let group = |t: usize| self.groups.get(t).copied().flatten();
        let mut mesh = Mesh::default();
        // For each vertex, the copies made of it so far: the triangles around it that its normal is
        // drawn from, a bit each, and its index. No vertex here has 64 triangles; beyond that they
        // would count as creased.
        let mut copies: Vec<Vec<(u64, u32)>> = vec![Vec::new(); self.positions.len()];
        for (t, corners) in self.triangles.iter().enumerate() {
            for &i in corners {
                let vertex = i as usize;
                let mut joined = 0_u64;
                let mut sum = DVec3::ZERO;
                for (bit, &other) in around[vertex].iter().enumerate().take(64) {
                    let one_face = group(t).is_some() && group(t) == group(other);
                    if other == t || one_face || units[t].dot(units[other]) >= crease_cosine {
                        joined |= 1 << bit;
                        sum += crosses[other];
                    }
                }
                let known = copies[vertex]
                    .iter()
                    .find(|(set, _)| *set == joined)
                    .map(|(_, index)| *index);
                let index = known.unwrap_or_else(|| {
                    let normal = sum.normalize_or(units[t]);
                    let index = mesh.positions.len() as u32;
                    mesh.positions.push(self.positions[vertex].as_vec3());
                    mesh.normals
                        .push(normal.as_vec3().normalize_or(glam::Vec3::Y));
                    mesh.colors.push(quantize(self.colors[vertex]));
                    copies[vertex].push((joined, index));
                    index
                });
                mesh.indices.push(index);
            }
        }
        mesh
    }
}

/// Linear colour to sixteen bits, opaque.
fn quantize(color: DVec3) -> [u16; 4] {
    let q = |x: f64| (x.clamp(0.0, 1.0) * 65535.0 + 0.5) as u16;
    [q(color.x), q(color.y), q(color.z), u16::MAX]
}
