//! A piece as resting sees it: what can touch, how it stands by itself, and how high it is over and under a plan place.

use std::time::Duration;

use glam::{DQuat, DVec3, Vec3A};
use obvhs::BvhBuildParams;
use obvhs::aabb::Aabb;
use obvhs::bvh2::Bvh2;
use obvhs::bvh2::builder::build_bvh2;
use obvhs::ray::{Ray, RayHit};

use super::poses::{self, Pose};
use crate::error::{Error, Result};
use crate::kit::{Kind, Piece};
use crate::plan::convex_hull;

/// How a piece comes to lie.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Manner {
    /// A body that keeps its form and lies on one of its faces: stones, bark, twigs.
    Rigid,
    /// A sheet that lies on its broad side: leaves.
    Sheet,
    /// Grows out of the ground.
    Rooted,
}

/// A piece ready to be laid. Lengths in metres at scale 1.
pub struct Body {
    /// How it comes to lie.
    pub manner: Manner,
    /// Ways to stand on level ground, by falling probability; at least one, unless it is rooted.
    pub stances: Vec<Stance>,
    /// Centre of mass, in the piece's frame.
    pub balance: DVec3,
    /// Largest distance of any vertex from the middle of any stance: the piece's reach, however it lies.
    pub reach: f64,
    /// Middle of its bounds, in the piece's frame.
    pub centre: DVec3,
    /// Largest distance of a vertex from that.
    pub radius: f64,
    /// Vertices spread over all of it, in the piece's frame: what can stand up into a later piece.
    pub peaks: Vec<DVec3>,
    /// Triangles in the order of the hierarchy, in the piece's frame.
    triangles: Vec<[Vec3A; 3]>,
    tree: Bvh2,
    /// Where vertical rays start: farther from the piece's origin than any of it.
    outside: f64,
}

impl std::fmt::Debug for Body {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Body")
            .field("manner", &self.manner)
            .field("stances", &self.stances.len())
            .field("triangles", &self.triangles.len())
            .finish_non_exhaustive()
    }
}

/// One way to stand on level ground.
#[derive(Debug, Clone)]
pub struct Stance {
    /// Turns the piece so that it stands, +y up, its longest extent in plan along x.
    pub turn: DQuat,
    /// How often, 0..=1; the stances of a body sum to 1.
    pub probability: f64,
    /// The point of the piece, in its own frame, that is over the middle of its plan bounds and on the plane that it stands on.
    pub middle: DVec3,
    /// Height over the plane that it stands on.
    pub stands: f64,
    /// Extents in plan along its long axis and across.
    pub plan: [f64; 2],
    /// Largest distance of a vertex from the middle.
    pub reach: f64,
    /// Vertices that can touch what is below, in the piece's frame. Any first few are spread over the whole underside.
    pub feelers: Vec<DVec3>,
    /// For each feeler the nearest of the first [`COARSE`] ones.
    pub nearest: Vec<u8>,
}

/// Stances rarer than this are left out: each costs memory, and one stone in a hundred shows no more variety.
const RARE: f64 = 0.01;
/// A stance fits where its extents in plan are within this of those that the piece was placed with.
const FITS: f64 = 1.08;
/// Most stances kept, the most frequent ones.
const MOST_STANCES: usize = 8;
/// A sheet does not stay on its edge: stances taller than this many times the lowest one fall over at the first breath of air.
/// Common practice, no source.
const SHEET_STANDS: f64 = 1.6;
/// Feelers that decide how a body tips; the others are asked only where those nearly touch.
pub const COARSE: usize = 28;
/// Feelers kept: a piece of 600 vertices has about half of them below.
const MOST_FEELERS: usize = 320;
/// Peaks kept: a later piece's own feelers find the rest.
const MOST_PEAKS: usize = 32;
/// Boxes of triangles are this much larger than the triangles, over the piece's size: more than single precision loses.
const PADDING: f32 = 1e-5;

impl Body {
    /// Measures a piece.
    ///
    /// # Errors
    /// It has no surface to lie on; the error names the piece.
    pub fn of(piece: &Piece) -> Result<Self> {
        let (triangles, tree) = tree_of(piece);
        let vertices: Vec<DVec3> = vertices(piece);
        let low = vertices.iter().copied().fold(DVec3::INFINITY, DVec3::min);
        let high = vertices
            .iter()
            .copied()
            .fold(DVec3::NEG_INFINITY, DVec3::max);
        let centre = 0.5 * (low + high);
        let mut body = Self {
            manner: manner(piece),
            stances: Vec::new(),
            balance: DVec3::ZERO,
            reach: 0.0,
            centre,
            radius: vertices
                .iter()
                .map(|v| (*v - centre).length())
                .fold(0.0, f64::max),
            peaks: spread(vertices.iter().copied(), MOST_PEAKS),
            outside: 2.0 * vertices.iter().map(|v| v.length()).fold(0.0, f64::max),
            triangles,
            tree,
        };
        let flat = body.manner == Manner::Rooted;
        if flat {
            body.reach = vertices.iter().map(|v| v.length()).fold(0.0, f64::max);
            return Ok(body);
        }
        let found = poses::of_piece(piece).map_err(|fault| {
            Error::input(
                "pieces",
                format!("piece `{}` can't lie: {fault}", piece.name),
                "give a mesh with some extent in all directions, or leave the piece out",
            )
        })?;
        body.balance = if found.closed {
            found.centre_of_mass
        } else {
            middle_of_area(&body.triangles)
        };
        let lowest = found
            .all
            .iter()
            .map(|p| p.stands)
            .fold(f64::INFINITY, f64::min);
        let stays = |p: &&Pose| match body.manner {
            Manner::Sheet => p.stands <= SHEET_STANDS * lowest,
            _ => p.probability >= RARE,
        };
        let mut kept: Vec<&Pose> = found.all.iter().filter(stays).take(MOST_STANCES).collect();
        if kept.is_empty() {
            kept.extend(found.all.first());
        }
        body.stances = kept
            .into_iter()
            .map(|p| body.stance(p, p.probability, &vertices))
            .collect();
        body.keep_within(piece.measure.size.as_dvec3());
        let sum: f64 = body.stances.iter().map(|s| s.probability).sum();
        for stance in &mut body.stances {
            stance.probability /= sum;
        }
        body.reach = body.stances.iter().map(|s| s.reach).fold(0.0, f64::max);
        Ok(body)
    }

    /// Leaves out stances that take more ground than the piece was placed with, if any does not.
    fn keep_within(&mut self, size: DVec3) {
        let fits = |s: &Stance| {
            let (long, wide) = (size.x.max(size.z), size.x.min(size.z));
            s.plan[0] <= FITS * long && s.plan[1] <= FITS * wide
        };
        if self.stances.iter().any(fits) {
            self.stances.retain(fits);
        } else {
            let flattest = self.flattest().clone();
            self.stances = vec![flattest];
        }
    }

    fn stance(&self, pose: &Pose, probability: f64, vertices: &[DVec3]) -> Stance {
        let turned: Vec<DVec3> = vertices.iter().map(|v| pose.rotation * *v).collect();
        let along = longest(&turned);
        // Turns `along` (x, z) onto +x: about +y by the angle whose sine and cosine they are
        let about = DQuat::from_rotation_arc(DVec3::new(along[0], 0.0, along[1]), DVec3::X);
        let turn = (about * pose.rotation).normalize();
        let turned: Vec<DVec3> = vertices.iter().map(|v| turn * *v).collect();
        let low = turned.iter().copied().fold(DVec3::INFINITY, DVec3::min);
        let high = turned.iter().copied().fold(DVec3::NEG_INFINITY, DVec3::max);
        let middle = DVec3::new(0.5 * (low.x + high.x), low.y, 0.5 * (low.z + high.z));
        let reach = turned
            .iter()
            .map(|v| (*v - middle).length())
            .fold(0.0, f64::max);
        let back = turn.inverse();
        let upright = Standing {
            position: DVec3::ZERO,
            rotation: turn,
            scale: 1.0,
        };
        let slack = 1e-4 * (high - low).max_element();
        let below = turned.iter().filter(|v| {
            self.underside(&upright, v.x, v.z)
                .is_none_or(|f| v.y <= f.height + slack)
        });
        let feelers: Vec<DVec3> = spread(below.copied(), MOST_FEELERS)
            .into_iter()
            .map(|v| back * v)
            .collect();
        Stance {
            turn,
            probability,
            middle: back * middle,
            stands: high.y - low.y,
            plan: [high.x - low.x, high.z - low.z],
            reach,
            nearest: nearest(&feelers),
            feelers,
        }
    }

    /// Draws a stance by its probability; `u` in 0..1.
    #[must_use]
    pub fn draw(&self, u: f64) -> &Stance {
        let mut left = u;
        for stance in &self.stances {
            left -= stance.probability;
            if left < 0.0 {
                return stance;
            }
        }
        &self.stances[0]
    }

    /// The stance that stands lowest.
    #[must_use]
    pub fn flattest(&self) -> &Stance {
        self.stances.iter().fold(
            &self.stances[0],
            |a, b| if b.stands < a.stands { b } else { a },
        )
    }

    /// The stance whose height is nearest to the middle between the lowest and the highest: on an edge.
    #[must_use]
    pub fn on_edge(&self) -> &Stance {
        let middle = 0.5 * (self.flattest().stands + self.tallest().stands);
        let off = |s: &Stance| (s.stands - middle).abs();
        self.stances
            .iter()
            .fold(&self.stances[0], |a, b| if off(b) < off(a) { b } else { a })
    }

    /// The stance that stands highest.
    #[must_use]
    pub fn tallest(&self) -> &Stance {
        self.stances.iter().fold(
            &self.stances[0],
            |a, b| if b.stands > a.stands { b } else { a },
        )
    }

    /// Height of its tallest stance over the ground; of what grows, how far it reaches.
    #[must_use]
    pub fn stands(&self) -> f64 {
        let tallest = self.stances.iter().map(|s| s.stands).fold(0.0, f64::max);
        if self.stances.is_empty() {
            self.reach
        } else {
            tallest
        }
    }

    /// Height of the lowest point of the sphere about a standing piece, metres.
    #[must_use]
    pub fn lowest(&self, standing: &Standing) -> f64 {
        let middle = standing.position + standing.rotation * (self.centre * standing.scale);
        middle.y - self.radius * standing.scale
    }

    /// The piece's top over a plan place, if it is over or under that place.
    #[must_use]
    pub fn top(&self, standing: &Standing, x: f64, z: f64) -> Option<Facet> {
        self.cast(standing, x, z, -1.0)
    }

    /// The piece's underside over a plan place, if it is over or under that place.
    #[must_use]
    pub fn underside(&self, standing: &Standing, x: f64, z: f64) -> Option<Facet> {
        self.cast(standing, x, z, 1.0)
    }

    /// The first thing that a vertical ray meets from far outside; `up` is the ray's direction, 1 or -1.
    fn cast(&self, standing: &Standing, x: f64, z: f64, up: f64) -> Option<Facet> {
        let out = self.outside;
        let relative = DVec3::new(x - standing.position.x, 0.0, z - standing.position.z);
        let back = standing.rotation.inverse();
        let direction = back * DVec3::new(0.0, up, 0.0);
        let origin = back * relative / standing.scale - direction * out;
        let (o, d) = (origin.as_vec3a(), direction.as_vec3a());
        let mut hit = RayHit::none();
        let found = |t: &[Vec3A; 3]| meets(t, origin, direction);
        let mut best = (f64::INFINITY, 0);
        self.tree
            .ray_traverse(Ray::new(o, d, 0.0, f32::INFINITY), &mut hit, |_, i| {
                found(&self.triangles[i]).map_or(f32::INFINITY, |t| {
                    if t < best.0 {
                        best = (t, i);
                    }
                    // Rounded up, so that a nearer triangle in single precision is not missed
                    t as f32 + f32::EPSILON * t as f32
                })
            });
        best.0.is_finite().then(|| {
            let [a, b, c] = self.triangles[best.1].map(|v| v.as_dvec3());
            let normal = standing.rotation * (b - a).cross(c - a);
            let level = |v: f64| (-v / normal.y).clamp(-STEEP, STEEP);
            Facet {
                height: standing.position.y + up * (best.0 - out) * standing.scale,
                slope: if normal.y == 0.0 {
                    [0.0; 2]
                } else {
                    [level(normal.x), level(normal.z)]
                },
            }
        })
    }
}

/// A surface at a plan place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Facet {
    /// Height, world, metres.
    pub height: f64,
    /// Height gained per metre along x and z.
    pub slope: [f64; 2],
}

/// Facets steeper than this (height over distance) count as that steep: what lies is not carried along them.
const STEEP: f64 = 3.0;

/// Where a body is. Metres.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Standing {
    /// World place of the piece's origin.
    pub position: DVec3,
    /// World from piece.
    pub rotation: DQuat,
    /// Scale of the piece's mesh.
    pub scale: f64,
}

/// Distance along a ray to a triangle, either side, edges included. Moller and Trumbore, "Fast, minimum storage ray/triangle
/// intersection", 1997.
fn meets(triangle: &[Vec3A; 3], origin: DVec3, direction: DVec3) -> Option<f64> {
    let [a, b, c] = triangle.map(|v| v.as_dvec3());
    let (ab, ac) = (b - a, c - a);
    let p = direction.cross(ac);
    let volume = ab.dot(p);
    if volume == 0.0 {
        return None;
    }
    let s = origin - a;
    let u = s.dot(p) / volume;
    let q = s.cross(ab);
    let v = direction.dot(q) / volume;
    // Edges count with a hair's breadth, so that no ray slips between two triangles
    const HAIR: f64 = -1e-9;
    (u >= HAIR && v >= HAIR && u + v <= 1.0 - HAIR).then(|| ac.dot(q) / volume)
}

/// The direction in plan (x, z), a unit vector, of the long side of the smallest rectangle about the points. One of its sides lies on a
/// side of their convex hull: Freeman and Shapira, "Determining the minimum-area encasing rectangle for an arbitrary closed curve", 1975.
fn longest(points: &[DVec3]) -> [f64; 2] {
    let hull = convex_hull(&points.iter().map(|p| [p.x, p.z]).collect::<Vec<_>>());
    let mut best = (f64::INFINITY, [1.0, 0.0]);
    for (i, a) in hull.iter().enumerate() {
        let b = hull[(i + 1) % hull.len()];
        let (dx, dz) = (b[0] - a[0], b[1] - a[1]);
        let length = (dx * dx + dz * dz).sqrt();
        if length == 0.0 {
            continue;
        }
        let (c, s) = (dx / length, dz / length);
        let extent = |u: f64, v: f64| {
            let along = hull.iter().map(|p| p[0] * u + p[1] * v);
            let low = along.clone().fold(f64::INFINITY, f64::min);
            along.fold(f64::NEG_INFINITY, f64::max) - low
        };
        let (along, across) = (extent(c, s), extent(-s, c));
        if along * across < best.0 {
            let side = if along >= across { [c, s] } else { [-s, c] };
            best = (along * across, side);
        }
    }
    // Of the two directions the one with positive x: the heading is that of a line
    let sign = if best.1[0] < 0.0 { -1.0 } else { 1.0 };
    best.1.map(|v| sign * v)
}

/// At most `most` points, each farthest from those before it, the lowest first. Gonzalez, "Clustering to minimize the maximum
/// intercluster distance", 1985.
fn spread(points: impl Iterator<Item = DVec3>, most: usize) -> Vec<DVec3> {
    let mut points: Vec<DVec3> = points.collect();
    points.sort_by(|a, b| {
        a.y.total_cmp(&b.y)
            .then(a.x.total_cmp(&b.x))
            .then(a.z.total_cmp(&b.z))
    });
    points.dedup();
    let mut distances = vec![f64::INFINITY; points.len()];
    let mut chosen = Vec::with_capacity(most.min(points.len()));
    let mut next = 0;
    while chosen.len() < most.min(points.len()) {
        let newest = points[next];
        chosen.push(newest);
        let mut farthest = (-1.0, 0);
        for (i, (p, d)) in points.iter().zip(&mut distances).enumerate() {
            *d = d.min((*p - newest).length_squared());
            if *d > farthest.0 {
                farthest = (*d, i);
            }
        }
        next = farthest.1;
    }
    chosen
}

/// Centre of mass of a sheet of even thickness.
fn middle_of_area(triangles: &[[Vec3A; 3]]) -> DVec3 {
    let (mut sum, mut area) = (DVec3::ZERO, 0.0);
    for t in triangles {
        let [a, b, c] = t.map(|v| v.as_dvec3());
        let of = (b - a).cross(c - a).length();
        sum += (a + b + c) / 3.0 * of;
        area += of;
    }
    if area > 0.0 { sum / area } else { sum }
}

/// For each point the nearest of the first few.
fn nearest(points: &[DVec3]) -> Vec<u8> {
    let coarse = &points[..COARSE.min(points.len())];
    let of = |p: &DVec3| {
        let each = coarse.iter().zip(0u8..);
        each.fold((f64::INFINITY, 0), |best, (q, i)| {
            let far = (*q - *p).length_squared();
            if far < best.0 { (far, i) } else { best }
        })
    };
    points.iter().map(|p| of(p).1).collect()
}

fn vertices(piece: &Piece) -> Vec<DVec3> {
    let parts = piece.parts.iter();
    parts
        .flat_map(|p| p.mesh.positions.iter().map(|v| v.as_dvec3()))
        .collect()
}

fn tree_of(piece: &Piece) -> (Vec<[Vec3A; 3]>, Bvh2) {
    let mut triangles = Vec::new();
    for mesh in piece.parts.iter().map(|p| &p.mesh) {
        let corner = |i: u32| mesh.positions.get(i as usize).map(|p| Vec3A::from(*p));
        for t in mesh.indices.chunks_exact(3) {
            if let (Some(a), Some(b), Some(c)) = (corner(t[0]), corner(t[1]), corner(t[2])) {
                triangles.push([a, b, c]);
            }
        }
    }
    let pad = Vec3A::splat(PADDING * piece.measure.size.max_element());
    let boxes: Vec<Aabb> = triangles
        .iter()
        .map(|[a, b, c]| Aabb::new(a.min(*b).min(*c) - pad, a.max(*b).max(*c) + pad))
        .collect();
    let tree = build_bvh2(
        &boxes,
        BvhBuildParams::medium_build(),
        &mut Duration::default(),
    );
    let sorted = tree
        .primitive_indices
        .iter()
        .map(|i| triangles[*i as usize])
        .collect();
    (sorted, tree)
}

/// What grows lies by its kind; what comes from a file is taken for a solid body.
fn manner(piece: &Piece) -> Manner {
    let kind = piece
        .name
        .rsplit_once('-')
        .and_then(|(kind, _)| Kind::named(kind));
    match kind {
        Some(Kind::Leaf) => Manner::Sheet,
        Some(Kind::Tuft) => Manner::Rooted,
        _ => Manner::Rigid,
    }
}
