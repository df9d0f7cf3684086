//! A piece as a rigid body: what can touch, how it stands by itself, and the height of its top and
//! its underside over a plan place.

use std::sync::Arc;

use glam::{DQuat, DVec3};

use super::contact::{ContactMesh, HeightProbe, Standing};
use super::poses::{self, StablePose};
use super::surface::Lying;
use super::thin;
use crate::brief::Lies;
use crate::error::{Error, Result};
use crate::kit::{Piece, covered_share};
use crate::plan::{NANO, Profile, convex_hull};

/// A piece ready to be laid. Lengths in metres at scale 1.
pub struct RigidBody {
    /// How it comes to lie.
    pub lies: Lies,
    /// Ways to stand on level ground, by falling probability; at least one, unless it is rooted.
    pub stances: Vec<Stance>,
    /// Centre of mass, in the piece's frame.
    pub balance: DVec3,
    /// Maximum distance of any vertex from the middle of any stance: the piece's radius, however it
    /// lies.
    pub reach: f64,
    /// Middle of its bounds, in the piece's frame.
    pub centre: DVec3,
    /// Maximum distance of a vertex from `centre`.
    pub radius: f64,
    /// Maximum distance of `centre` from the place where the body is laid, in any stance, sunk or
    /// not; for what grows, from its root.
    pub aside: f64,
    /// Vertices spread over the whole surface, in the piece's frame. The first few, however many,
    /// are spread over the whole surface too.
    skin: Vec<DVec3>,
    shape: ContactMesh,
}

impl std::fmt::Debug for RigidBody {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("RigidBody")
            .field("lies", &self.lies)
            .field("stances", &self.stances.len())
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
    /// The point of the piece, in its own frame, that is over the middle of its plan bounds and on
    /// the plane that it stands on.
    pub middle: DVec3,
    /// Height of the piece over the plane that it stands on.
    pub stands: f64,
    /// Extents in plan along its long axis and across.
    pub plan: [f64; 2],
    /// Its convex outline in plan about the middle, x along its long axis, counter-clockwise with
    /// +x right and +z up.
    pub outline: Vec<[f64; 2]>,
    /// The vertices of the outline, in the piece's frame.
    rim: Vec<DVec3>,
    /// Its extent to each side at each height, at scale 1.
    pub profile: Arc<Profile>,
    /// Area of its silhouette seen from above, square metres.
    pub area: f64,
    /// Largest distance of a vertex from the middle.
    pub reach: f64,
    /// Vertices that can touch what is below, in the piece's frame. The first few, however many,
    /// are spread over the whole underside.
    pub feelers: Vec<DVec3>,
    /// For each feeler the nearest of the first [`COARSE`] ones.
    pub nearest: Vec<u8>,
}

/// Stances rarer than this are left out: each costs memory, and one stone in a hundred shows no
/// more variety.
const RARE: f64 = 0.01;
/// A stance fits where its extents in plan are within this of those that the piece was placed with.
const FITS: f64 = 1.08;
/// Maximum number of stances kept, the most frequent ones.
const MOST_STANCES: usize = 8;
/// A sheet does not stay on its edge: stances taller than this many times the lowest one fall over
/// at the first breath of air. Common practice, no source.
const SHEET_STANDS: f64 = 1.6;
/// Feelers that decide how a body tips; the others are tested only where these nearly touch.
pub const COARSE: usize = 28;
/// Feelers kept: a piece of 600 vertices has about half of them below.
const MOST_FEELERS: usize = 320;
/// Vertices of the skin that count as peaks: a later piece's own feelers find the rest.
const MOST_PEAKS: usize = 32;
/// Vertices of the skin that are kept: between them a stone's surface deviates by a hundredth of
/// its size.
const MOST_SKIN: usize = 128;
/// Directions that decide the corners of an outline in plan: between two of them a round outline is
/// cut by 2 % of its radius, that of a long stone by at most 5 % of its diameter.
const OUTLINE: u32 = 16;
/// A body leans by less than the angle of this cosine, 25 degrees, from a stance whose rim is taken
/// for its outline.
const NEAR_STANCE: f64 = 0.906_307_787;
/// Two bodies meet where one is inside the other by this share of its size: less than a picture
/// shows.
const MEETS: f64 = 0.01;

impl RigidBody {
    /// Measures a piece.
    ///
    /// # Errors
    /// It has no surface to lie on; the error names the piece.
    pub fn of(piece: &Piece) -> Result<Self> {
        let vertices = thin::distinct(vertices(piece));
        let low = vertices.iter().copied().fold(DVec3::INFINITY, DVec3::min);
        let high = vertices
            .iter()
            .copied()
            .fold(DVec3::NEG_INFINITY, DVec3::max);
        let centre = 0.5 * (low + high);
        let mut body = Self {
            lies: piece.lies,
            stances: Vec::new(),
            balance: DVec3::ZERO,
            reach: 0.0,
            aside: 0.0,
            centre,
            radius: vertices
                .iter()
                .map(|v| (*v - centre).length())
                .fold(0.0, f64::max),
            skin: spread(thin::outermost(&vertices).into_iter(), MOST_SKIN),
            shape: ContactMesh::of(piece),
        };
        let flat = body.lies == Lies::Rooted;
        if flat {
            body.reach = vertices.iter().map(|v| v.length()).fold(0.0, f64::max);
            body.aside = centre.length();
            return Ok(body);
        }
        let found = poses::of_piece(piece).map_err(|fault| {
            Error::input(
                "pieces",
                format!(
                    "the piece `{}` ({}) can't lie: {fault}",
                    piece.name, piece.source
                ),
                "give a mesh with some extent in all directions, or leave the piece out",
            )
        })?;
        body.balance = if found.closed {
            found.centre_of_mass
        } else {
            body.shape.middle_of_area()
        };
        let lowest = found
            .all
            .iter()
            .map(|p| p.stands)
            .fold(f64::INFINITY, f64::min);
        let stays = |p: &&StablePose| match body.lies {
            Lies::Sheet => p.stands <= SHEET_STANDS * lowest,
            _ => p.probability >= RARE,
        };
        let mut kept: Vec<&StablePose> =
            found.all.iter().filter(stays).take(MOST_STANCES).collect();
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
        let over_stances =
            |of: &dyn Fn(&Stance) -> f64| body.stances.iter().map(of).fold(0.0, f64::max);
        (body.reach, body.aside) = (
            over_stances(&|s| s.reach),
            over_stances(&|s| {
                // Sunk, the ground is somewhere between its foot and its top
                let top = s.middle + s.turn.inverse() * DVec3::Y * s.stands;
                (s.middle - centre).length().max((top - centre).length())
            }),
        );
        Ok(body)
    }

    /// Keeps the stances that take no more ground than the piece was placed with; the flattest if
    /// none fits.
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

    fn stance(&self, pose: &StablePose, probability: f64, vertices: &[DVec3]) -> Stance {
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
        let triangles = || {
            self.shape
                .triangles()
                .map(|t| t.map(|v| turn * v - turn * (back * middle)))
        };
        let extent = [high.x - low.x, high.z - low.z];
        let plan = triangles().map(|t| t.map(|v| [v.x, v.z]));
        let area = extent[0]
            * extent[1]
            * covered_share(plan, [-0.5 * extent[0], -0.5 * extent[1]], extent);
        let slack = 1e-4 * (high - low).max_element();
        let probe = self.probe(&upright);
        let (outline, rim) = outline(&turned, middle);
        let below = thin::lowest(&turned)
            .into_iter()
            .filter(|v| probe.underside_below(v.x, v.z, v.y - slack).is_none());
        let feelers: Vec<DVec3> = spread(below, MOST_FEELERS)
            .into_iter()
            .map(|v| back * v)
            .collect();
        Stance {
            turn,
            probability,
            middle: back * middle,
            stands: high.y - low.y,
            plan: extent,
            profile: Arc::new(Profile::of(triangles(), high.y - low.y)),
            area,
            outline,
            rim: rim.into_iter().map(|i| vertices[i]).collect(),
            reach,
            nearest: nearest(&feelers),
            feelers,
        }
    }

    /// The stance that stands lowest.
    #[must_use]
    pub fn flattest(&self) -> &Stance {
        self.stances.iter().fold(
            &self.stances[0],
            |a, b| if b.stands < a.stands { b } else { a },
        )
    }

    /// The stance whose height is nearest to the middle between the lowest and the highest: on an
    /// edge.
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

    /// Height of its tallest stance over the ground; for what grows, its radius.
    #[must_use]
    pub fn stands(&self) -> f64 {
        let tallest = self.stances.iter().map(|s| s.stands).fold(0.0, f64::max);
        if self.stances.is_empty() {
            self.reach
        } else {
            tallest
        }
    }

    /// The convex outline in plan of a standing body, counter-clockwise with +x right and +z up,
    /// nanometres: from the rim of the stance that it is nearest to. None for what grows.
    #[must_use]
    pub fn outline(&self, standing: &Standing) -> Option<Vec<[i64; 2]>> {
        let turned = |s: &Stance| (standing.rotation * (s.turn.inverse() * DVec3::Y)).y;
        let nearest = self
            .stances
            .iter()
            .reduce(|a, b| if turned(b) > turned(a) { b } else { a })?;
        // On an edge between two stances the rim of neither is the outline
        let points = if turned(nearest) >= NEAR_STANCE {
            &nearest.rim
        } else {
            &self.skin
        };
        let places: Vec<[f64; 2]> = points
            .iter()
            .map(|v| {
                let at = standing.position + standing.rotation * (*v * standing.scale);
                [libm::rint(at.x * NANO), libm::rint(at.z * NANO)]
            })
            .collect();
        let corners = convex_hull(&places);
        (corners.len() >= 3).then(|| corners.iter().map(|c| c.map(|v| v as i64)).collect())
    }

    /// Scale, at least 1, of the smallest ellipse that holds the outlines of all stances, over the
    /// ellipse of half width `inner` (metres at scale 1) that is `elongation` times as long as it
    /// is wide.
    #[must_use]
    pub fn bulge(&self, inner: f64, elongation: f64) -> f64 {
        let corners = self.stances.iter().flat_map(|s| &s.outline);
        let out = |[x, z]: &[f64; 2]| {
            let (a, b) = (x / (inner * elongation), z / inner);
            a * a + b * b
        };
        corners.map(out).fold(1.0, f64::max).sqrt()
    }

    /// Height of the lowest point of the sphere about a standing piece, metres.
    #[must_use]
    pub fn lowest(&self, standing: &Standing) -> f64 {
        let middle = standing.position + standing.rotation * (self.centre * standing.scale);
        middle.y - self.radius * standing.scale
    }

    /// What can stand up into a later piece, in the piece's frame.
    #[must_use]
    pub fn peaks(&self) -> &[DVec3] {
        &self.skin[..MOST_PEAKS.min(self.skin.len())]
    }

    /// Whether a standing body cuts into one that lies already.
    #[must_use]
    pub fn meets(&self, standing: &Standing, lying: &Lying<'_>) -> bool {
        self.cut(standing, lying, MEETS).is_some()
    }

    /// How deep a standing body cuts into one that lies already, over its own size; 0 where less
    /// than shows.
    #[must_use]
    pub fn depth(&self, standing: &Standing, lying: &Lying<'_>) -> f64 {
        let mut deepest = 0.0;
        let mut least = MEETS;
        while let Some(depth) = self.cut(standing, lying, least) {
            deepest = depth;
            least = depth;
        }
        deepest
    }

    /// The depth, over its own size, at which some vertex of one is inside the other by more than
    /// `least`.
    fn cut(&self, standing: &Standing, lying: &Lying<'_>, least: f64) -> Option<f64> {
        let own = self.probe(standing);
        let middle = own.world(self.centre);
        let (dx, dz) = (middle.x - lying.middle[0], middle.z - lying.middle[1]);
        let radius = self.radius * standing.scale;
        let reach = radius + lying.reach;
        if dx * dx + dz * dz > reach * reach || own.bottom >= lying.probe.top {
            return None;
        }
        let size = 2.0 * radius;
        let inside = |v: DVec3, probe: &HeightProbe<'_>, about: [f64; 2], reach: f64| {
            let (dx, dz) = (v.x - about[0], v.z - about[1]);
            if dx * dx + dz * dz >= reach * reach || v.y >= probe.top || v.y <= probe.bottom {
                return None;
            }
            probe.depth(v).map(|d| d / size).filter(|d| *d > least)
        };
        let mut own_skin = self.skin.iter().map(|v| own.world(*v));
        let mut its_skin = lying.body.skin.iter().map(|v| lying.probe.world(*v));
        own_skin
            .find_map(|v| inside(v, &lying.probe, lying.middle, lying.reach))
            .or_else(|| its_skin.find_map(|v| inside(v, &own, [middle.x, middle.z], radius)))
    }

    /// The body where it stands, ready for vertical rays.
    #[must_use]
    pub fn probe(&self, standing: &Standing) -> HeightProbe<'_> {
        self.shape.probe(standing)
    }
}

/// The direction in plan (x, z), a unit vector, of the long side of the smallest rectangle about
/// the points. One of its sides lies on a side of their convex hull: Freeman and Shapira,
/// "Determining the minimum-area encasing rectangle for an arbitrary closed curve", 1975.
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

/// The corners of the plan hull of points about a middle that are farthest in some of [`OUTLINE`]
/// directions, and which points they are. The directions are even once the hull is stretched to be
/// as wide as it is long: spread evenly without that stretch, only two of them would see the flanks
/// of a rod.
fn outline(points: &[DVec3], middle: DVec3) -> (Vec<[f64; 2]>, Vec<usize>) {
    let places: Vec<[f64; 2]> = points
        .iter()
        .map(|p| [p.x - middle.x, p.z - middle.z])
        .collect();
    let hull = convex_hull(&places);
    let reach = |axis: usize| {
        hull.iter()
            .map(|p| p[axis].abs())
            .fold(f64::MIN_POSITIVE, f64::max)
    };
    let (long, wide) = (reach(0), reach(1));
    let mut kept: Vec<usize> = (0..OUTLINE)
        .filter_map(|i| {
            let turn = std::f64::consts::TAU * f64::from(i) / f64::from(OUTLINE);
            let (sin, cos) = libm::sincos(turn);
            let far = |k: &usize| hull[*k][0] / long * cos + hull[*k][1] / wide * sin;
            (0..hull.len()).max_by(|a, b| far(a).total_cmp(&far(b)))
        })
        .collect();
    kept.sort_unstable();
    kept.dedup();
    let corners: Vec<[f64; 2]> = kept.into_iter().map(|k| hull[k]).collect();
    let point = |c: &[f64; 2]| places.iter().position(|p| p == c);
    let points = corners.iter().filter_map(point).collect();
    (corners, points)
}

/// At most `most` points, each farthest from those before it, the lowest first. Gonzalez,
/// "Clustering to minimize the maximum intercluster distance", 1985.
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
