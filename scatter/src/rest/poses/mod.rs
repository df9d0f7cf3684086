//! How a rigid body comes to lie on level ground: its stable poses with their probabilities.
//!
//! Computed from the convex hull and the centre of mass, without simulation; `theory.rs` states the
//! theory and what it leaves out. Any triangles will do: open, inside out, in any unit, anywhere.

mod hull;
mod mass;
mod theory;

use std::fmt;

use glam::{DQuat, DVec3, I64Vec3};

use crate::kit::Piece;
use crate::plan::hull::convex_hull;
use hull::{Hull, HullKind, ROUNDING, STEPS};
use theory::{Basin, Heights};

/// A body does not stay in a pose that it leaves by lifting its centre of mass by less than this
/// share of its height, when that takes it at least as far down again: a rocking of 2.6 degrees,
/// about half a facet of a round stone of 2,000 triangles. By eye, no source; 0 is the theory
/// alone.
pub const ROLL_OVER: f64 = 1e-3;

/// Corners within this share of the half extent of a pose's plane touch it: twice the hull's
/// rounding.
const TOUCHES: f64 = 2.0 * ROUNDING;

/// Facets tilted less than this (a cosine: 1.1 degrees) and touching the plane belong to the face
/// that the body rests on.
const ONE_FACE: f64 = 0.9998;

/// The centre of mass is moved by about this share of the half extent before facets and edges are
/// sorted into stable and unstable: a foot exactly on the diagonal of a box's face, or an edge
/// exactly above it, would be both. The heights and margins reported are those of the true centre.
const NUDGE: DVec3 = DVec3::new(0.573e-7, 0.311e-7, -0.758e-7);

/// One way that a body comes to lie on a level plane.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StablePose {
    /// Pose from piece: turns the piece so that it rests on level ground, +y up, by the shortest
    /// way.
    pub rotation: DQuat,
    /// How often a body dropped in a random orientation ends up so, 0 to 1.
    pub probability: f64,
    /// Outward unit normal of the face that it lies on, in the piece's frame.
    pub normal: DVec3,
    /// Height of the centre of mass over the plane, in the units of the piece.
    pub height: f64,
    /// Height of the whole piece over the plane, in the units of the piece.
    pub stands: f64,
    /// Smallest distance from the centre of mass's foot to the edge of the support polygon, in the
    /// units of the piece; never less than 0 beyond rounding (1e-4 of the piece's half extent).
    pub margin: f64,
}

/// The stable poses of a body.
#[derive(Debug, Clone, PartialEq)]
pub struct StablePoses {
    /// At least one, by falling probability; equal ones in the order of their normals. The
    /// probabilities sum to 1.
    pub all: Vec<StablePose>,
    /// In the piece's frame and units.
    pub centre_of_mass: DVec3,
    /// Volume that the mass fills, in cubic units of the piece.
    pub volume: f64,
    /// Whether the triangles enclose a volume, so that mass fills that; else it fills the convex
    /// hull (or the flat sheet).
    pub closed: bool,
}

/// Why a body has no stable poses.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum PoseFault {
    /// There are no triangles.
    Empty,
    /// A triangle names a corner that is not there.
    MissingCorner,
    /// A corner's coordinate is not a number, or too large to compute with (1e100).
    NotFinite,
    /// Every corner lies in one point or on one line: it could lie any way round.
    Thin,
    /// The body is too degenerate for `f64` arithmetic.
    Degenerate,
}

impl fmt::Display for PoseFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Empty => "the piece has no triangles",
            Self::MissingCorner => "a triangle names a vertex that is not there",
            Self::NotFinite => "a vertex is not finite, or beyond 1e100",
            Self::Thin => "all vertices lie on one line, so no pose is stable",
            Self::Degenerate => "the shape is too degenerate to find how it lies",
        })
    }
}

impl std::error::Error for PoseFault {}

/// Coordinates from here on overflow when multiplied thrice.
const TOO_FAR: f64 = 1e100;

/// The stable poses of a piece, all parts as one body.
///
/// # Errors
/// As [`poses`].
pub fn of_piece(piece: &Piece) -> Result<StablePoses, PoseFault> {
    let mut points = Vec::new();
    let mut triangles = Vec::new();
    for mesh in piece.parts.iter().map(|part| &part.mesh) {
        let start = points.len() as u32;
        let last = mesh.positions.len() as u32;
        points.extend(mesh.positions.iter().map(|p| p.as_dvec3()));
        for corners in mesh.indices.chunks_exact(3) {
            if corners.iter().any(|&c| c >= last) {
                return Err(PoseFault::MissingCorner);
            }
            triangles.push([corners[0] + start, corners[1] + start, corners[2] + start]);
        }
    }
    poses(&points, &triangles, ROLL_OVER)
}

/// The stable poses of a body of triangles. `roll_over` is the share of its height by which a body
/// may lift its centre of mass on the way to a lower pose: [`ROLL_OVER`] as a rule, 0 for the
/// quasi-static theory alone.
///
/// # Errors
/// When there is no body: no triangles, missing or infinite corners, or everything on one line.
pub fn poses(
    points: &[DVec3],
    triangles: &[[u32; 3]],
    roll_over: f64,
) -> Result<StablePoses, PoseFault> {
    let body = LatticeMesh::new(points, triangles)?;
    match hull::hull(&body.lattice) {
        HullKind::Thin => Err(PoseFault::Thin),
        HullKind::Flat(normal) => body.flat(normal),
        HullKind::Solid(hull) => body.solid(&hull, roll_over),
    }
}

/// A body's triangles on the lattice.
#[derive(Debug)]
struct LatticeMesh<'a> {
    triangles: &'a [[u32; 3]],
    lattice: Vec<I64Vec3>,
    /// Middle of the bounds, in the piece's frame.
    middle: DVec3,
    /// Half of the largest extent.
    half: f64,
}

impl<'a> LatticeMesh<'a> {
    fn new(points: &[DVec3], triangles: &'a [[u32; 3]]) -> Result<Self, PoseFault> {
        if triangles.is_empty() {
            return Err(PoseFault::Empty);
        }
        // Only corners of triangles count
        let mut used = vec![false; points.len()];
        for &c in triangles.iter().flatten() {
            *used.get_mut(c as usize).ok_or(PoseFault::MissingCorner)? = true;
        }
        let (mut low, mut high) = (DVec3::INFINITY, DVec3::NEG_INFINITY);
        for p in points.iter().zip(&used).filter(|p| *p.1).map(|p| *p.0) {
            if p.is_nan() || p.abs().max_element() >= TOO_FAR {
                return Err(PoseFault::NotFinite);
            }
            low = low.min(p);
            high = high.max(p);
        }
        let middle = low + (high - low) / 2.0;
        let half = (high - low).max_element() / 2.0;
        let scale = STEPS / half;
        if !(half > 0.0 && scale.is_finite()) {
            return Err(PoseFault::Thin);
        }
        let at = |p: DVec3| {
            let step = |v: f64| libm::rint(v).clamp(-STEPS, STEPS) as i64;
            let p = (p - middle) * scale;
            I64Vec3::new(step(p.x), step(p.y), step(p.z))
        };
        // What no triangle uses is laid on what one does, so that it counts nowhere
        let filler = at(points[triangles[0][0] as usize]);
        let lattice = points
            .iter()
            .zip(&used)
            .map(|(p, used)| if *used { at(*p) } else { filler })
            .collect();
        Ok(Self {
            triangles,
            lattice,
            middle,
            half,
        })
    }

    /// The triangles' corners in half extents about the middle.
    fn corners(&self) -> impl Iterator<Item = [DVec3; 3]> {
        let at = |i: u32| self.lattice[i as usize].as_dvec3() / STEPS;
        self.triangles.iter().map(move |t| t.map(at))
    }

    /// What fills a body: its triangles if they enclose something inside the hull, else the hull.
    fn mass(&self, hull: &Hull) -> Option<(mass::Mass, bool)> {
        let facets = hull.facets.iter();
        let whole = mass::solid(facets.map(|f| f.map(|c| hull.points[c as usize])))?;
        if mass::closed(&self.lattice, self.triangles.iter().copied())
            && let Some(mut inner) = mass::solid(self.corners())
        {
            inner.volume = inner.volume.abs();
            // Bodies that cut one another count twice where they do, and one turned inside out
            // takes away: both may leave the hull
            let fills = inner.volume > LEAST_FILL * whole.volume
                && inner.volume < (1.0 + OVER) * whole.volume;
            if fills && encloses(hull, inner.centre) {
                return Some((inner, true));
            }
        }
        encloses(hull, whole.centre).then_some((whole, false))
    }

    fn solid(&self, hull: &Hull, roll_over: f64) -> Result<StablePoses, PoseFault> {
        let (mass, closed) = self.mass(hull).ok_or(PoseFault::Degenerate)?;
        let heights = Heights::new(hull, mass.centre + NUDGE);
        let basins = heights
            .by_basins(roll_over)
            .or_else(|| heights.by_facets())
            .ok_or(PoseFault::Degenerate)?;
        let all = basins
            .iter()
            .map(|basin| self.pose(hull, mass.centre, basin))
            .collect();
        Ok(self.result(all, mass, closed))
    }

    /// A sheet without thickness lies on either side.
    fn flat(&self, normal: DVec3) -> Result<StablePoses, PoseFault> {
        let centre = mass::sheet(self.corners()).ok_or(PoseFault::Thin)?;
        let points: Vec<DVec3> = self.corners().flatten().collect();
        let all = [normal, -normal]
            .map(|normal| {
                let depths = points.iter().map(|p| p.dot(normal));
                let (top, deep) = depths
                    .fold((f64::INFINITY, f64::NEG_INFINITY), |(top, deep), d| {
                        (top.min(d), deep.max(d))
                    });
                self.pose_on(normal, centre, [deep, top], &points, 0.5)
            })
            .into();
        let mass = mass::Mass {
            volume: 0.0,
            centre,
        };
        Ok(self.result(all, mass, false))
    }

    fn pose(&self, hull: &Hull, centre: DVec3, basin: &Basin) -> StablePose {
        let own = hull.normals[basin.facet as usize];
        let corner = hull.facets[basin.facet as usize][0];
        // The whole face's normal: that of one narrow triangle of it may be rough
        let mut face = hull.near_the_farthest(corner, own, TOUCHES);
        face.sort_unstable();
        let mut facets: Vec<u32> = face
            .iter()
            .flat_map(|c| hull.around(*c).iter().map(|e| e / 3))
            .filter(|f| hull.normals[*f as usize].dot(own) > ONE_FACE)
            .filter(|f| {
                hull.facets[*f as usize]
                    .iter()
                    .all(|c| face.binary_search(c).is_ok())
            })
            .collect();
        facets.sort_unstable();
        facets.dedup();
        let areas = facets.iter().map(|f| {
            let [a, b, c] = hull.facets[*f as usize].map(|c| hull.points[c as usize]);
            (b - a).cross(c - a)
        });
        let normal = areas.sum::<DVec3>().normalize_or(own);
        let at = |c: &u32| hull.points[*c as usize];
        let touching = hull.near_the_farthest(hull.farthest(normal), normal, TOUCHES);
        let depth = at(&hull.farthest(normal)).dot(normal);
        let top = at(&hull.farthest(-normal)).dot(normal);
        let support: Vec<DVec3> = touching.iter().map(at).collect();
        self.pose_on(normal, centre, [depth, top], &support, basin.share)
    }

    /// The pose on the plane of a given outward normal, between depths along it, on the points of
    /// its support.
    fn pose_on(
        &self,
        normal: DVec3,
        centre: DVec3,
        [deep, top]: [f64; 2],
        support: &[DVec3],
        probability: f64,
    ) -> StablePose {
        let (x, z) = normal.any_orthonormal_pair();
        let plan = |p: &DVec3| [(*p - centre).dot(x), (*p - centre).dot(z)];
        let polygon = convex_hull(&support.iter().map(plan).collect::<Vec<_>>());
        StablePose {
            rotation: DQuat::from_rotation_arc(normal, DVec3::NEG_Y).normalize(),
            probability,
            normal,
            height: (deep - centre.dot(normal)) * self.half,
            stands: (deep - top) * self.half,
            margin: depth_in(&polygon) * self.half,
        }
    }

    fn result(&self, mut all: Vec<StablePose>, mass: mass::Mass, closed: bool) -> StablePoses {
        let sum: f64 = all.iter().map(|p| p.probability).sum();
        for pose in &mut all {
            pose.probability /= sum;
        }
        all.sort_by(|a, b| {
            let axes = |p: &StablePose| p.normal.to_array();
            let [a_axes, b_axes] = [axes(a), axes(b)];
            let by_axis = (0..3).map(|k| a_axes[k].total_cmp(&b_axes[k]));
            b.probability
                .total_cmp(&a.probability)
                .then(by_axis.fold(std::cmp::Ordering::Equal, |o, next| o.then(next)))
        });
        StablePoses {
            all,
            centre_of_mass: self.middle + mass.centre * self.half,
            volume: mass.volume * self.half * self.half * self.half,
            closed,
        }
    }
}

/// A surface that encloses less than this share of its hull encloses nothing: two skins laid back
/// to back, within the lattice.
const LEAST_FILL: f64 = 1e-6;

/// A body may fill more than its hull by this share, for the hull leaves out what hardly stands
/// out.
const OVER: f64 = 0.01;

/// Whether a point lies inside a hull.
fn encloses(hull: &Hull, p: DVec3) -> bool {
    let mut facets = hull.facets.iter().zip(&hull.normals);
    facets.all(|(corners, n)| (hull.points[corners[0] as usize] - p).dot(*n) > 0.0)
}

/// Distance of the origin from the nearest edge of a counter-clockwise convex polygon; negative
/// outside.
fn depth_in(polygon: &[[f64; 2]]) -> f64 {
    let mut depth = f64::INFINITY;
    for (k, a) in polygon.iter().enumerate() {
        let b = polygon[(k + 1) % polygon.len()];
        let (x, z) = (b[0] - a[0], b[1] - a[1]);
        let length = libm::sqrt(x * x + z * z);
        depth = depth.min((a[0] * z - a[1] * x) / length);
    }
    depth
}

impl StablePoses {
    /// The pose for a number drawn evenly from 0 to 1.
    #[must_use]
    pub fn draw(&self, u: f64) -> &StablePose {
        // The probabilities may sum to a hair less than 1, and u may not be below 1
        let last = self.all.len() - 1;
        let mut left = u;
        for pose in &self.all[..last] {
            left -= pose.probability;
            if left < 0.0 {
                return pose;
            }
        }
        &self.all[last]
    }

    /// The pose in which the piece stands lowest; of equals the most probable.
    #[must_use]
    pub fn flattest(&self) -> &StablePose {
        self.least(|pose| pose.stands)
    }

    /// The pose in which the piece stands highest; of equals the most probable.
    #[must_use]
    pub fn on_edge(&self) -> &StablePose {
        self.least(|pose| -pose.stands)
    }

    /// The pose that turns the piece least out of its own frame, +y up.
    #[must_use]
    pub fn upright(&self) -> &StablePose {
        self.least(|pose| pose.normal.y)
    }

    fn least(&self, measure: impl Fn(&StablePose) -> f64) -> &StablePose {
        let mut best = &self.all[0];
        for pose in &self.all {
            if measure(pose) < measure(best) {
                best = pose;
            }
        }
        best
    }
}
