//! How a convex body rolls to rest on a level plane, slowly: the quasi-static theory.
//!
//! Let `n` be the direction of gravity seen from the body, a point of the unit sphere, and h(n) the
//! height of the centre of mass over the plane when the body touches it: the support function of
//! the hull about its centre of mass. A body let go without speed rolls down h by the steepest way.
//! It comes to rest at the minima of h, the facets that the centre of mass stands over; it balances
//! on the saddles, edges whose foot of the centre of mass lies inside them; the probability of a
//! pose from a random start is the area of its basin over 4 pi. A basin's border consists of the
//! ways up from the saddles to the maxima, great circles inside the region of each corner, so its
//! area is a sum in closed form.
//!
//! Goldberg, Mirtich, Zhuang, Craig, Carlisle and Canny, "Part pose statistics: estimators and
//! experiments", 1999, give the theory for whole facets: the solid angle of a facet, and an
//! unstable facet's share to the neighbour over whose edge it topples. The flow on the sphere and
//! its basins (the Morse-Smale complex of h): Baktash, Sharp, Zhou, Jacobson and Crane, "Putting
//! rigid bodies to rest", 2025. Where every facet is stable the two agree exactly. Left out by
//! both: speed, bouncing, sliding, and ground that is not level.

use std::f64::consts::TAU;

use glam::DVec3;

use super::hull::Hull;

/// A minimum of the height, with what falls to it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Basin {
    pub(super) facet: u32,
    pub(super) height: f64,
    /// Share of all directions, 0 to 1.
    pub(super) share: f64,
}

/// An edge on which the body balances.
#[derive(Debug, Clone, Copy)]
struct Saddle {
    edge: u32,
    height: f64,
    /// The minima (by number) on the left and on the right of the half-edge.
    falls: [u32; 2],
}

/// The height function of a hull about a centre of mass inside it.
#[derive(Debug)]
pub(super) struct Heights<'a> {
    hull: &'a Hull,
    /// Corners as seen from the centre of mass.
    corners: Vec<DVec3>,
}

/// Where the steepest way down goes on.
#[derive(Debug, Clone, Copy)]
enum Down {
    Rests,
    Facet(u32),
    Corner(u32, DVec3),
}

impl<'a> Heights<'a> {
    pub(super) fn new(hull: &'a Hull, centre: DVec3) -> Self {
        let corners = hull.points.iter().map(|p| *p - centre).collect();
        Self { hull, corners }
    }

    fn ends(&self, e: u32) -> [u32; 2] {
        self.hull.ends(e)
    }

    fn twin(&self, e: u32) -> u32 {
        self.hull.twins[e as usize]
    }

    fn height(&self, facet: u32) -> f64 {
        let corner = self.hull.facets[facet as usize][0];
        self.corners[corner as usize].dot(self.hull.normals[facet as usize])
    }

    /// Whether the centre of mass's foot on the facet left of a half-edge lies inside that edge, or
    /// on it.
    fn inside(&self, e: u32) -> bool {
        let [v, w] = self.ends(e).map(|c| self.corners[c as usize]);
        v.dot(self.hull.normals[e as usize / 3].cross(w - v)) <= 0.0
    }

    /// Whether the foot of the centre of mass on an edge's line lies on the near side of the end
    /// that the half-edge leaves.
    fn past_start(&self, e: u32) -> bool {
        let [v, w] = self.ends(e).map(|c| self.corners[c as usize]);
        v.dot(v - w) >= 0.0
    }

    /// Whether the foot of the centre of mass on an edge's line lies on the edge.
    fn foot_on(&self, e: u32) -> bool {
        self.past_start(e) && self.past_start(self.twin(e))
    }

    fn balances(&self, e: u32) -> bool {
        self.inside(e) && self.inside(self.twin(e)) && self.foot_on(e)
    }

    /// The foot of the centre of mass on an edge's line.
    fn foot(&self, e: u32) -> DVec3 {
        let [v, w] = self.ends(e).map(|c| self.corners[c as usize]);
        let along = w - v;
        v - along * (v.dot(along) / along.length_squared())
    }

    /// One step of rolling down from a facet.
    fn down_from_facet(&self, facet: u32) -> Down {
        let edges = 3 * facet..3 * facet + 3;
        if edges.clone().all(|e| self.inside(e)) {
            return Down::Rests;
        }
        for e in edges {
            if !self.inside(e) && self.foot_on(e) {
                return Down::Facet(self.twin(e) / 3);
            }
        }
        // Past an end of each edge that it leans over: it turns about the corner nearest to the
        // foot
        let normal = self.hull.normals[facet as usize];
        let foot = normal * self.height(facet);
        let far = |c: u32| self.corners[c as usize].distance_squared(foot);
        let [a, b, c] = self.hull.facets[facet as usize];
        let nearer = |a: u32, b: u32| if far(b) < far(a) { b } else { a };
        Down::Corner(nearer(nearer(a, b), c), normal)
    }

    /// The border at which a great circle from `n`, starting along `d`, leaves the directions in
    /// which `corner` is lowest: the tangent of the angle, and the half-edge to the corner that
    /// takes over. All angles here are under a right one.
    fn leaves(&self, corner: u32, n: DVec3, d: DVec3) -> Option<(f64, u32)> {
        let v = self.corners[corner as usize];
        let mut best: Option<(f64, u32)> = None;
        for &e in self.hull.around(corner) {
            let over = v - self.corners[self.ends(e)[1] as usize];
            let falls = over.dot(d);
            if falls < 0.0 {
                let tangent = over.dot(n).max(0.0) / -falls;
                if best.is_none_or(|b| tangent < b.0) {
                    best = Some((tangent, e));
                }
            }
        }
        best
    }

    /// One step of rolling down on a corner.
    fn down_from_corner(&self, corner: u32, n: DVec3) -> Option<Down> {
        let v = self.corners[corner as usize];
        let d = (n * v.dot(n) - v).try_normalize()?;
        let (tangent, e) = self.leaves(corner, n, d)?;
        let n = (n + d * tangent).normalize();
        if !self.past_start(self.twin(e)) {
            return Some(Down::Corner(self.ends(e)[1], n));
        }
        // Along the edge, away from where it would balance
        let (left, right) = (e / 3, self.twin(e) / 3);
        let across = self.hull.normals[right as usize] - self.hull.normals[left as usize];
        let leans = (n - self.foot(e).normalize()).dot(across);
        Some(Down::Facet(if leans > 0.0 { right } else { left }))
    }

    /// The facet at which the body comes to rest from each facet; none if rounding led it round in
    /// a circle.
    fn rests_of_facets(&self) -> Option<Vec<u32>> {
        const UNKNOWN: u32 = u32::MAX;
        let mut rest = vec![UNKNOWN; self.hull.facets.len()];
        let mut way = Vec::new();
        for start in 0..rest.len() as u32 {
            way.clear();
            let mut at = Down::Facet(start);
            let mut facet = start;
            let mut steps = 0;
            while rest[facet as usize] == UNKNOWN {
                steps += 1;
                if steps > self.hull.twins.len() {
                    return None;
                }
                at = match at {
                    Down::Facet(f) => {
                        facet = f;
                        way.push(f);
                        if rest[f as usize] == UNKNOWN {
                            self.down_from_facet(f)
                        } else {
                            at
                        }
                    }
                    Down::Corner(c, n) => self.down_from_corner(c, n)?,
                    Down::Rests => {
                        rest[facet as usize] = facet;
                        at
                    }
                };
            }
            let end = rest[facet as usize];
            for f in &way {
                rest[*f as usize] = end;
            }
        }
        Some(rest)
    }

    /// The way up from a balanced edge over the end that the half-edge leaves: directions from the
    /// saddle to a maximum.
    fn way_up(&self, e: u32, way: &mut Vec<DVec3>) -> Option<()> {
        way.clear();
        let mut n = self.foot(e).try_normalize()?;
        let mut corner = self.ends(e)[0];
        way.push(n);
        for _ in 0..self.corners.len() {
            let v = self.corners[corner as usize];
            let top = v.try_normalize()?;
            let rise = top - n * top.dot(n);
            let Some(d) = rise.try_normalize() else {
                return Some(());
            };
            match self.leaves(corner, n, d) {
                Some((tangent, e)) if tangent * top.dot(n) < rise.length() => {
                    n = (n + d * tangent).normalize();
                    way.push(n);
                    corner = self.ends(e)[1];
                }
                _ => {
                    way.push(top);
                    return Some(());
                }
            }
        }
        None
    }

    /// The minima in the order of their facets, and the saddles between different ones; none if
    /// rounding got in the way.
    fn basins(&self) -> Option<(Vec<Basin>, Vec<Saddle>)> {
        let rest = self.rests_of_facets()?;
        let mut number = vec![u32::MAX; rest.len()];
        let mut basins = Vec::new();
        for f in (0..rest.len() as u32).filter(|f| rest[*f as usize] == *f) {
            number[f as usize] = basins.len() as u32;
            basins.push(Basin {
                facet: f,
                height: self.height(f),
                share: 0.0,
            });
        }
        let falls = |e: u32| number[rest[e as usize / 3] as usize];
        let saddles: Vec<Saddle> = (0..self.hull.twins.len() as u32)
            .filter(|&e| e < self.twin(e) && self.balances(e))
            .map(|e| Saddle {
                edge: e,
                height: self.foot(e).length(),
                falls: [falls(e), falls(self.twin(e))],
            })
            .filter(|s| s.falls[0] != s.falls[1])
            .collect();
        self.measure(&mut basins, &saddles)?;
        Some((basins, saddles))
    }

    /// Sets the shares of the basins from their borders.
    fn measure(&self, basins: &mut [Basin], saddles: &[Saddle]) -> Option<()> {
        let mut bordered = vec![false; basins.len()];
        let mut way = Vec::new();
        for s in saddles {
            for (half, sides) in [
                (s.edge, s.falls),
                (self.twin(s.edge), [s.falls[1], s.falls[0]]),
            ] {
                self.way_up(half, &mut way)?;
                // Down this way and over the saddle the basin of the half-edge's facet lies on the
                // left
                for (side, sign) in [(sides[0], 1.0), (sides[1], -1.0)] {
                    let basin = &mut basins[side as usize];
                    bordered[side as usize] = true;
                    let from = self.hull.normals[basin.facet as usize];
                    for step in way.windows(2) {
                        basin.share += sign * solid_angle(from, step[1], step[0]);
                    }
                }
            }
        }
        let whole = 2.0 * TAU;
        let alone = basins.len() == 1;
        let mut sum = 0.0;
        for (basin, bordered) in basins.iter_mut().zip(bordered) {
            // A border's sum is the area up to whole spheres
            let area = basin.share.rem_euclid(whole);
            basin.share = match (bordered, area) {
                (false, _) if alone => 1.0,
                (false, _) => return None,
                // A basin of no size, less rounding
                (true, area) if whole - area < AGREES => 0.0,
                (true, area) => area / whole,
            };
            sum += basin.share;
        }
        ((sum - 1.0).abs() < AGREES).then_some(())
    }

    /// The stable poses with the shares of the facets' solid angles, each whole facet going where
    /// its middle goes: the estimator of Goldberg and others, for hulls on which rounding spoils
    /// the borders.
    pub(super) fn by_facets(&self) -> Option<Vec<Basin>> {
        let rest = self.rests_of_facets()?;
        let mut shares = vec![0.0; rest.len()];
        for (corners, end) in self.hull.facets.iter().zip(&rest) {
            let [a, b, c] = corners.map(|c| self.corners[c as usize].normalize());
            shares[*end as usize] += solid_angle(a, b, c) / (2.0 * TAU);
        }
        let basins = (0..rest.len() as u32).filter(|f| rest[*f as usize] == *f);
        Some(
            basins
                .map(|f| Basin {
                    facet: f,
                    height: self.height(f),
                    share: shares[f as usize],
                })
                .collect(),
        )
    }

    /// The stable poses, in the order of their facets, after rolling over saddles less than
    /// `roll_over` of the height above them. None if rounding got in the way.
    pub(super) fn by_basins(&self, roll_over: f64) -> Option<Vec<Basin>> {
        let (mut basins, mut saddles) = self.basins()?;
        saddles.sort_by(|a, b| a.height.total_cmp(&b.height).then(a.edge.cmp(&b.edge)));
        let mut into: Vec<u32> = (0..basins.len() as u32).collect();
        let root = |into: &[u32], mut b: u32| {
            while into[b as usize] != b {
                b = into[b as usize];
            }
            b
        };
        loop {
            let mut changed = false;
            saddles.retain(|s| {
                let [a, b] = s.falls.map(|b| root(&into, b));
                if a == b {
                    return false;
                }
                let lower = |a: u32, b: u32| {
                    let (x, y) = (&basins[a as usize], &basins[b as usize]);
                    x.height < y.height || (x.height == y.height && a < b)
                };
                let (deep, shallow) = if lower(a, b) { (a, b) } else { (b, a) };
                let upper = basins[shallow as usize].height;
                let climb = s.height - upper;
                let drop = upper - basins[deep as usize].height;
                let same = climb < SAME * upper;
                if !same && (climb >= roll_over * upper || drop < climb) {
                    return true;
                }
                into[shallow as usize] = deep;
                basins[deep as usize].share += basins[shallow as usize].share;
                changed = true;
                false
            });
            if !changed {
                break;
            }
        }
        let mut numbers = 0_u32..;
        basins.retain(|_| numbers.next().is_some_and(|b| into[b as usize] == b));
        Some(basins)
    }
}

/// Shares of all basins sum to one within this, or rounding has spoilt a border.
const AGREES: f64 = 1e-6;

/// A saddle less than this share of the height above a minimum parts two triangles of one flat
/// face: 1e-6 is a tilt of a twelfth of a degree.
const SAME: f64 = 1e-6;

/// Signed solid angle of a spherical triangle of unit vectors, counter-clockwise positive. Van
/// Oosterom and Strackee, "The solid angle of a plane triangle", 1983.
fn solid_angle(a: DVec3, b: DVec3, c: DVec3) -> f64 {
    2.0 * libm::atan2(a.dot(b.cross(c)), 1.0 + a.dot(b) + b.dot(c) + c.dot(a))
}

#[cfg(test)]
mod tests {
    use glam::I64Vec3;

    use super::super::hull::{HullKind, STEPS, hull};
    use super::*;
    use crate::random::stream;

    #[test]
    fn facets_and_basins_agree_on_boxes_and_nearly_on_any_hull() {
        let mut draws = stream(21);
        let mut sum_of_variations = 0.0;
        for round in 0..40 {
            let boxy = round % 2 == 0;
            let extent = DVec3::from_array([0; 3].map(|_| draws.between(0.3, 1.0) * STEPS));
            let count = if boxy { 8 } else { 60 };
            let points: Vec<I64Vec3> = (0..count)
                .map(|i| {
                    let corner =
                        DVec3::from_array([0, 1, 2].map(|b| f64::from((i >> b) & 1) * 2.0 - 1.0));
                    let any = DVec3::from_array([0; 3].map(|_| draws.normal())).normalize();
                    (if boxy { corner } else { any } * extent).as_i64vec3()
                })
                .collect();
            let HullKind::Solid(hull) = hull(&points) else {
                panic!("no body");
            };
            let heights = Heights::new(&hull, DVec3::new(0.573e-7, 0.311e-7, -0.758e-7));
            let (facets, basins) = (
                heights.by_facets().unwrap(),
                heights.by_basins(0.0).unwrap(),
            );
            let sum: f64 = facets.iter().map(|b| b.share).sum();
            assert!((sum - 1.0).abs() < 1e-9, "{sum}");
            // Minima that no ridge parts are one basin, and several facets
            let share = |f: &Basin| {
                basins
                    .iter()
                    .find(|b| b.facet == f.facet)
                    .map_or(0.0, |b| b.share)
            };
            let variation: f64 = facets
                .iter()
                .map(|f| (f.share - share(f)).abs() / 2.0)
                .sum();
            if boxy {
                assert!(variation < 1e-6, "{variation}");
            }
            sum_of_variations += variation;
        }
        // A whole facet goes one way where the flow parts it: on 60 corners that is coarse
        let mean = sum_of_variations / 20.0;
        assert!(mean < 0.06, "{mean}");
    }

    #[test]
    fn rolling_over_passes_shares_down() {
        let mut draws = stream(4);
        let points: Vec<I64Vec3> = (0..400)
            .map(|_| {
                let any = DVec3::from_array([0; 3].map(|_| draws.normal())).normalize();
                (any * DVec3::new(1.0, 0.7, 0.8) * STEPS).as_i64vec3()
            })
            .collect();
        let HullKind::Solid(hull) = hull(&points) else {
            panic!("no body");
        };
        let heights = Heights::new(&hull, DVec3::new(0.01, 0.02, 0.0));
        let mut last = usize::MAX;
        for roll_over in [0.0, 1e-4, 1e-3, 1e-2] {
            let basins = heights.by_basins(roll_over).unwrap();
            let sum: f64 = basins.iter().map(|b| b.share).sum();
            assert!((sum - 1.0).abs() < 1e-6);
            assert!(basins.len() <= last);
            last = basins.len();
        }
        // The long body's ends and middle are far too steep to matter: what is left are its two
        // flat sides
        assert!(last <= 2, "{last}");
    }
}
