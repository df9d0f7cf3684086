//! Convex hull of points in space.
//!
//! Quickhull (Barber, Dobkin and Huhdanpaa, "The quickhull algorithm for convex hulls", 1996) over
//! points on a lattice of integers: which side of a plane a point lies on is decided exactly, so
//! the hull is a closed convex surface whatever the input, and the same on every machine.

use std::collections::BinaryHeap;

use glam::{DVec3, I64Vec3};

/// Lattice steps from the middle of the bounds to their farther side. With coordinates under 2^22 a
/// facet's normal stays under 2^48, exact in both `i64` and `f64`; the step, 2.4e-7 of the half
/// extent, is the grain of a mesh in `f32`.
pub(super) const STEPS: f64 = 4_194_304.0;

/// Points that stand out by less than this share of the half extent are left out: on a stone the
/// size of a fist, that is less than the roughness of its surface.
pub(super) const ROUNDING: f64 = 5e-5;

/// With this many facets or more, points that stand out by less than [`COARSE`] are left out too: a
/// body with so many facets is round, and one facet more or less makes no pose.
const MANY: usize = 4096;

/// On a ball facets of 5 degrees stand as far from the round as this share of the half extent.
const COARSE: f64 = 1e-3;

/// A side product above this is far past its rounding: three products under 2^72 with relative
/// errors of 2^-53.
const SURE: f64 = 16_777_216.0;

/// A closed convex surface of triangles.
#[derive(Debug)]
pub(super) struct Hull {
    /// Corners, in half extents about the middle of the bounds.
    pub(super) points: Vec<DVec3>,
    /// Corners of each facet, counter-clockwise seen from outside. Half-edge `3 f + k` runs from
    /// corner `k` to corner `k + 1`.
    pub(super) facets: Vec<[u32; 3]>,
    /// For each half-edge the one that runs the other way.
    pub(super) twins: Vec<u32>,
    /// Outward unit normal of each facet.
    pub(super) normals: Vec<DVec3>,
    /// Half-edges that leave each corner: `leaving[first[c]..first[c + 1]]`.
    first: Vec<u32>,
    leaving: Vec<u32>,
}

impl Hull {
    fn new(
        points: Vec<DVec3>,
        facets: Vec<[u32; 3]>,
        twins: Vec<u32>,
        normals: Vec<DVec3>,
    ) -> Self {
        let mut first = vec![0_u32; points.len() + 1];
        for c in facets.iter().flatten() {
            first[*c as usize + 1] += 1;
        }
        for c in 0..points.len() {
            first[c + 1] += first[c];
        }
        let mut next = first.clone();
        let mut leaving = vec![0; twins.len()];
        for (e, c) in facets.iter().flatten().enumerate() {
            leaving[next[*c as usize] as usize] = e as u32;
            next[*c as usize] += 1;
        }
        Self {
            points,
            facets,
            twins,
            normals,
            first,
            leaving,
        }
    }

    /// From and to of a half-edge.
    pub(super) fn ends(&self, e: u32) -> [u32; 2] {
        let corners = self.facets[e as usize / 3];
        [corners[e as usize % 3], corners[(e as usize + 1) % 3]]
    }

    /// The half-edges that leave a corner.
    pub(super) fn around(&self, corner: u32) -> &[u32] {
        let c = corner as usize;
        &self.leaving[self.first[c] as usize..self.first[c + 1] as usize]
    }

    /// The corner that lies farthest along a direction: a climb along edges, which on a convex body
    /// can't end too early.
    pub(super) fn farthest(&self, direction: DVec3) -> u32 {
        let along = |c: u32| self.points[c as usize].dot(direction);
        let mut at = 0;
        loop {
            let to = self.around(at).iter().map(|&e| self.ends(e)[1]);
            match farthest(to, |&c| along(c)) {
                Some(next) if along(next) > along(at) => at = next,
                _ => return at,
            }
        }
    }

    /// The corners less than `within` below the farthest along a direction, found from one of them.
    pub(super) fn near_the_farthest(&self, from: u32, direction: DVec3, within: f64) -> Vec<u32> {
        let along = |c: u32| self.points[c as usize].dot(direction);
        let least = along(self.farthest(direction)) - within;
        let mut reached = vec![false; self.points.len()];
        reached[from as usize] = true;
        let mut near = vec![from];
        let mut next = 0;
        while let Some(&corner) = near.get(next) {
            next += 1;
            for &e in self.around(corner) {
                let to = self.ends(e)[1];
                if !reached[to as usize] && along(to) > least {
                    reached[to as usize] = true;
                    near.push(to);
                }
            }
        }
        near
    }
}

/// What a hull can be.
#[derive(Debug)]
pub(super) enum HullKind {
    /// A body.
    Solid(Box<Hull>),
    /// All points lie in one plane, within [`ROUNDING`]; its unit normal.
    Flat(DVec3),
    /// All points lie on one line or in one point.
    Thin,
}

#[derive(Debug)]
struct HullFacet {
    corners: [u32; 3],
    /// Facets across the edges from corner k to corner k + 1.
    beside: [u32; 3],
    /// Outward, as long as twice the area.
    normal: I64Vec3,
    unit: DVec3,
    outside: Vec<u32>,
    farthest: (f64, u32),
    alive: bool,
}

impl HullFacet {
    fn new(points: &[I64Vec3], corners: [u32; 3]) -> Self {
        let [a, b, c] = corners.map(|i| points[i as usize]);
        let normal = (b - a).cross(c - a);
        Self {
            corners,
            beside: [u32::MAX; 3],
            normal,
            unit: normal.as_dvec3().normalize_or_zero(),
            outside: Vec::new(),
            farthest: (0.0, 0),
            alive: true,
        }
    }

    /// Signed distance of a point from the facet's plane, in lattice steps, outward positive.
    fn distance(&self, points: &[I64Vec3], p: I64Vec3) -> f64 {
        (p - points[self.corners[0] as usize])
            .as_dvec3()
            .dot(self.unit)
    }

    /// Whether a point lies strictly outside the facet's plane: exact.
    fn sees(&self, points: &[I64Vec3], p: I64Vec3) -> bool {
        let d = p - points[self.corners[0] as usize];
        let rough = self.normal.as_dvec3().dot(d.as_dvec3());
        if rough.abs() > SURE {
            return rough > 0.0;
        }
        let product = |a: i64, b: i64| i128::from(a) * i128::from(b);
        product(self.normal.x, d.x) + product(self.normal.y, d.y) + product(self.normal.z, d.z) > 0
    }

    /// Takes a point into the outside set if it stands out by more than the rounding.
    fn offer(&mut self, points: &[I64Vec3], i: u32) -> bool {
        let distance = self.distance(points, points[i as usize]);
        if distance <= ROUNDING * STEPS {
            return false;
        }
        if distance > self.farthest.0 {
            self.farthest = (distance, i);
        }
        self.outside.push(i);
        true
    }
}

/// The hull of points on the lattice.
pub(super) fn hull(points: &[I64Vec3]) -> HullKind {
    let corners = match simplex(points) {
        Ok(corners) => corners,
        Err(shape) => return shape,
    };
    let mut facets = first_facets(points, corners);
    for i in 0..points.len() as u32 {
        let _ = facets[..4].iter_mut().any(|f| f.offer(points, i));
    }
    let mut builder = Builder::default();
    builder.wait(&facets, 0);
    // What stands out farthest comes first, so that a hull broken off is as near as it can be
    while let Some((_, f)) = builder.open.pop() {
        if facets[f as usize].alive {
            if builder.count >= MANY && facets[f as usize].farthest.0 < COARSE * STEPS {
                break;
            }
            builder.raise(points, &mut facets, f);
        }
    }
    HullKind::Solid(Box::new(collect(points, &facets)))
}

/// Four points that span a body, the fourth outside the triangle of the others counted clockwise.
fn simplex(points: &[I64Vec3]) -> Result<[u32; 4], HullKind> {
    let mut ends = [0_u32; 6];
    for (i, p) in points.iter().enumerate() {
        for axis in 0..3 {
            if p[axis] < points[ends[axis] as usize][axis] {
                ends[axis] = i as u32;
            }
            if p[axis] > points[ends[3 + axis] as usize][axis] {
                ends[3 + axis] = i as u32;
            }
        }
    }
    let at = |i: u32| points[i as usize];
    let apart = |a: u32, b: u32| (at(a) - at(b)).as_dvec3().length_squared();
    let pairs = ends.iter().flat_map(|&a| ends.iter().map(move |&b| (a, b)));
    let (a, b) = farthest(pairs, |&(a, b)| apart(a, b)).unwrap_or((0, 0));
    let along = (at(b) - at(a)).as_dvec3();
    let all = || 0..points.len() as u32;
    let from_line = |&i: &u32| along.cross((at(i) - at(a)).as_dvec3()).length_squared();
    let c = farthest(all(), from_line).unwrap_or(0);
    let least = ROUNDING * STEPS;
    // Also true for a line without length
    if from_line(&c) <= least * least * along.length_squared() {
        return Err(HullKind::Thin);
    }
    let normal = along.cross((at(c) - at(a)).as_dvec3()).normalize();
    let height = |i: u32| (at(i) - at(a)).as_dvec3().dot(normal);
    let d = farthest(all(), |&i| height(i).abs()).unwrap_or(0);
    if height(d).abs() <= least {
        return Err(HullKind::Flat(normal));
    }
    Ok(if height(d) > 0.0 {
        [a, c, b, d]
    } else {
        [a, b, c, d]
    })
}

/// The first of the largest.
fn farthest<T>(items: impl Iterator<Item = T>, measure: impl Fn(&T) -> f64) -> Option<T> {
    let mut best: Option<(f64, T)> = None;
    for item in items {
        let m = measure(&item);
        if best.as_ref().is_none_or(|b| m > b.0) {
            best = Some((m, item));
        }
    }
    best.map(|b| b.1)
}

fn first_facets(points: &[I64Vec3], [a, b, c, d]: [u32; 4]) -> Vec<HullFacet> {
    let mut facets: Vec<HullFacet> = [[a, b, c], [b, a, d], [c, b, d], [a, c, d]]
        .map(|corners| HullFacet::new(points, corners))
        .into();
    for (f, beside) in [[1, 2, 3], [0, 3, 2], [0, 1, 3], [0, 2, 1]]
        .into_iter()
        .enumerate()
    {
        facets[f].beside = beside;
    }
    facets
}

/// Working memory that is used again from point to point.
#[derive(Debug, Default)]
struct Builder {
    /// Facets with points outside, by the distance of the farthest (its bits: never negative, so
    /// they sort alike).
    open: BinaryHeap<(u64, u32)>,
    /// Facets made and not yet given way.
    count: usize,
    seen: Vec<u32>,
    /// (from, to, facet beyond, which of its edges), a loop.
    horizon: Vec<(u32, u32, u32)>,
    walk: Vec<(u32, usize, usize)>,
    orphans: Vec<u32>,
}

impl Builder {
    /// Lets the facets from `first` on wait for their turn.
    fn wait(&mut self, facets: &[HullFacet], first: u32) {
        self.count += facets.len() - first as usize;
        for (f, facet) in (first..).zip(&facets[first as usize..]) {
            if !facet.outside.is_empty() {
                self.open.push((facet.farthest.0.to_bits(), f));
            }
        }
    }

    /// Adds the farthest point outside facet `f`: the facets that it sees give way to a cone over
    /// their border.
    fn raise(&mut self, points: &[I64Vec3], facets: &mut Vec<HullFacet>, f: u32) {
        let eye = facets[f as usize].farthest.1;
        self.find_horizon(points, facets, f, points[eye as usize]);
        self.orphans.clear();
        for &s in &self.seen {
            self.orphans.append(&mut facets[s as usize].outside);
        }
        let first = facets.len() as u32;
        let count = self.horizon.len() as u32;
        for (k, &(from, to, beyond)) in self.horizon.iter().enumerate() {
            let k = k as u32;
            let mut facet = HullFacet::new(points, [from, to, eye]);
            facet.beside = [
                beyond,
                first + (k + 1) % count,
                first + (k + count - 1) % count,
            ];
            facets.push(facet);
            let other = &mut facets[beyond as usize];
            for e in 0..3 {
                if other.corners[e] == to && other.corners[(e + 1) % 3] == from {
                    other.beside[e] = first + k;
                }
            }
        }
        let fresh = &mut facets[first as usize..];
        for &i in &self.orphans {
            if i != eye {
                let _ = fresh.iter_mut().any(|f| f.offer(points, i));
            }
        }
        self.count -= self.seen.len();
        self.wait(facets, first);
    }

    /// The facets that the eye sees, and their border in order: a walk in depth round each facet,
    /// edge by edge.
    fn find_horizon(&mut self, points: &[I64Vec3], facets: &mut [HullFacet], f: u32, eye: I64Vec3) {
        self.seen.clear();
        self.horizon.clear();
        self.walk.clear();
        facets[f as usize].alive = false;
        self.seen.push(f);
        self.walk.push((f, 0, 3));
        while let Some((f, edge, left)) = self.walk.pop() {
            if left == 0 {
                continue;
            }
            self.walk.push((f, (edge + 1) % 3, left - 1));
            let facet = &facets[f as usize];
            let beyond = facet.beside[edge];
            let (from, to) = (facet.corners[edge], facet.corners[(edge + 1) % 3]);
            let next = &facets[beyond as usize];
            if !next.alive {
                continue;
            }
            if next.sees(points, eye) {
                let entered = (0..3)
                    .find(|&e| next.corners[e] == to && next.corners[(e + 1) % 3] == from)
                    .unwrap_or(0);
                facets[beyond as usize].alive = false;
                self.seen.push(beyond);
                self.walk.push((beyond, (entered + 1) % 3, 2));
            } else {
                self.horizon.push((from, to, beyond));
            }
        }
    }
}

/// The facets that are left, with their corners numbered anew.
fn collect(points: &[I64Vec3], facets: &[HullFacet]) -> Hull {
    let mut number = vec![u32::MAX; points.len()];
    let mut place = vec![u32::MAX; facets.len()];
    let (mut corners, mut triangles, mut normals) = (Vec::new(), Vec::new(), Vec::new());
    for (f, facet) in facets.iter().enumerate().filter(|(_, f)| f.alive) {
        place[f] = triangles.len() as u32;
        triangles.push(facet.corners.map(|i| {
            let n = &mut number[i as usize];
            if *n == u32::MAX {
                *n = corners.len() as u32;
                corners.push(points[i as usize].as_dvec3() / STEPS);
            }
            *n
        }));
        normals.push(facet.unit);
    }
    let mut twins = Vec::with_capacity(3 * triangles.len());
    for facet in facets.iter().filter(|f| f.alive) {
        for e in 0..3 {
            let beyond = facet.beside[e];
            let to = facet.corners[(e + 1) % 3];
            let back = facets[beyond as usize]
                .corners
                .iter()
                .position(|&c| c == to)
                .unwrap_or(0);
            twins.push(3 * place[beyond as usize] + back as u32);
        }
    }
    Hull::new(corners, triangles, twins, normals)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::random::stream;

    fn body(points: &[I64Vec3]) -> Box<Hull> {
        match hull(points) {
            HullKind::Solid(hull) => hull,
            other => panic!("no body: {other:?}"),
        }
    }

    #[test]
    fn a_hull_is_closed_and_convex_and_holds_its_points() {
        let mut draws = stream(11);
        for round in 0..20 {
            // Coarse lattices in some rounds: many points in one plane, on one line, in one place
            let grain = [1.0, 1e3, 1e6, 2e6][round % 4];
            let points: Vec<I64Vec3> = (0..600)
                .map(|_| {
                    let v = DVec3::from_array([0; 3].map(|_| draws.between(-STEPS, STEPS)));
                    ((v / grain).round() * grain).as_i64vec3()
                })
                .collect();
            let h = body(&points);
            assert_eq!(
                h.points.len() + h.facets.len(),
                h.facets.len() * 3 / 2 + 2,
                "Euler"
            );
            for (e, &t) in h.twins.iter().enumerate() {
                let ends = |e: usize| {
                    let corners = h.facets[e / 3];
                    (corners[e % 3], corners[(e % 3 + 1) % 3])
                };
                let (a, b) = ends(e);
                assert_eq!(ends(t as usize), (b, a));
            }
            for (corners, n) in h.facets.iter().zip(&h.normals) {
                let offset = n.dot(h.points[corners[0] as usize]);
                for p in &points {
                    assert!(p.as_dvec3().dot(*n) / STEPS <= offset + 1.01 * ROUNDING);
                }
            }
        }
    }

    #[test]
    fn thin_and_flat_shapes_say_so() {
        let at = |x: i64, y: i64, z: i64| I64Vec3::new(x, y, z) * 100_000;
        assert!(matches!(hull(&[at(0, 0, 0); 5]), HullKind::Thin));
        assert!(matches!(
            hull(&[at(0, 0, 0), at(1, 2, 3), at(2, 4, 6)]),
            HullKind::Thin
        ));
        let flat = [at(0, 0, 0), at(9, 0, 0), at(0, 0, 9), at(9, 0, 9)];
        assert!(matches!(hull(&flat), HullKind::Flat(n) if n.y.abs() == 1.0));
    }
}
