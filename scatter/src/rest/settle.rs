//! Letting a body down on the settled surface until it lies.
//!
//! Lowered upright until it touches; then, while its centre of mass is not over what it touches, it tips about the nearest edge of that
//! until it touches anew: the way a body comes to rest when it is set down slowly. What would tip further than it can hold slides
//! aside, or does not stay.

use glam::{DQuat, DVec3};

use super::body::{Body, COARSE, Facet, Stance, Standing};
use super::surface::Surface;
use crate::plan::convex_hull;

/// How a body may be let down.
#[derive(Debug, Clone, Copy)]
pub(super) struct Descent {
    /// How far the ground gives way, metres.
    pub(super) sink: f64,
    /// Largest tilt away from how it was held, as a cosine.
    pub(super) steepest: f64,
    /// How far it may slide aside, metres.
    pub(super) slide: f64,
    /// How far it may move aside as it tips, metres.
    pub(super) drift: f64,
    /// Most times that it tips.
    pub(super) tips: usize,
    /// Whether it stays as it is when it has tipped that often or as far as it may: what weighs nothing is held by friction.
    pub(super) clings: bool,
}

/// Closer than this share of the body's size counts as touching: no gap at a contact that a close-up shows.
const TOUCH: f64 = 0.006;
/// And no closer than this, metres.
const LEAST_TOUCH: f64 = 1e-4;
/// A centre of mass this close to the support's edge, over the body's size, is held by it: edges are round and the ground gives a little.
const HELD: f64 = 0.01;
/// Most that a body tips at once, radians: further, and the straight-line reckoning of what it meets is off.
const MOST_TIP: f64 = 0.4;
/// Least that it tips at once: a round body rolls on, however near the next touch is.
const LEAST_TIP: f64 = 0.02;
/// Slides tried, each a share of what is allowed.
const SLIDES: usize = 4;
/// Most feelers that are added where something touched between the coarse ones.
const MOST_EXTRA: usize = 20;
/// A surface that was felt this near, over the body's size, is taken to go on straight from there.
const STRAIGHT: f64 = 0.03;
/// Feelers are asked at the end where the nearest coarse one has a gap under this share of the body's size.
const NEARLY: f64 = 0.12;

/// What came of letting a body down.
enum Outcome {
    Lies(Standing),
    /// The direction in plan in which it falls.
    Falls([f64; 2]),
}

/// Lets a body down at a plan place (x, z), held by `rotation` (world from piece) in a stance. `None` when it would not stay.
#[must_use]
pub(super) fn settle(
    body: &Body,
    stance: &Stance,
    scale: f64,
    rotation: DQuat,
    place: [f64; 2],
    surface: &Surface<'_>,
    descent: Descent,
) -> Option<Standing> {
    let mut place = place;
    let step = descent.slide / SLIDES as f64;
    for _ in 0..=SLIDES {
        let held = Held {
            body,
            stance,
            scale,
            rotation,
            surface,
            descent,
        };
        match held.let_down(place) {
            Outcome::Lies(standing) => return Some(standing),
            Outcome::Falls(_) if step <= 0.0 => return None,
            Outcome::Falls(toward) => {
                place = [place[0] + step * toward[0], place[1] + step * toward[1]];
            }
        }
    }
    None
}

/// A body held over the surface.
struct Held<'a> {
    body: &'a Body,
    stance: &'a Stance,
    scale: f64,
    rotation: DQuat,
    surface: &'a Surface<'a>,
    descent: Descent,
}

/// A feeler over the surface.
#[derive(Clone, Copy)]
struct Felt {
    /// Place relative to the stance's middle, world axes, metres.
    at: DVec3,
    /// Height of the surface under it, world, metres.
    ground: f64,
}

/// What was felt where.
#[derive(Clone, Copy)]
struct Known {
    place: [f64; 2],
    facet: Facet,
}

impl Held<'_> {
    fn let_down(&self, place: [f64; 2]) -> Outcome {
        let size = self.stance.reach * self.scale;
        let touch = (TOUCH * size).max(LEAST_TOUCH);
        let start = place;
        let (mut rotation, mut place) = (self.rotation, place);
        let mut fell = [0.0, 0.0];
        let mut known = Vec::with_capacity(COARSE);
        let coarse = COARSE.min(self.stance.feelers.len());
        let mut feelers = self.stance.feelers[..coarse].to_vec();
        let mut tip = 0;
        loop {
            let felt = self.feel(&feelers, rotation, place, STRAIGHT * size, &mut known);
            let height = height(&felt);
            let gap = |f: &Felt| height + f.at.y - f.ground;
            let touching: Vec<[f64; 2]> = felt
                .iter()
                .filter(|f| gap(f) <= touch)
                .map(|f| [f.at.x, f.at.z])
                .collect();
            let balance = rotation * ((self.body.balance - self.stance.middle) * self.scale);
            let foot = [balance.x, balance.z];
            let edge = nearest(&convex_hull(&touching), foot);
            let out = [foot[0] - edge[0], foot[1] - edge[1]];
            let over = (out[0] * out[0] + out[1] * out[1]).sqrt();
            let last = tip == self.descent.tips;
            if over <= HELD * size || last && self.descent.clings {
                let (standing, raised) = self.land(rotation, place, &felt, &feelers[coarse..]);
                // What touches first between the coarse feelers is felt for from now on
                match raised {
                    Some((point, by))
                        if by > touch && !last && feelers.len() < coarse + MOST_EXTRA =>
                    {
                        feelers.push(point);
                        continue;
                    }
                    _ => return Outcome::Lies(standing),
                }
            }
            if last {
                return Outcome::Falls(fell);
            }
            tip += 1;
            let toward = [out[0] / over, out[1] / over];
            fell = toward;
            // Tips about the edge by the least angle at which some feeler on the falling side touches
            let lever = |f: &Felt| (f.at.x - edge[0]) * toward[0] + (f.at.z - edge[1]) * toward[1];
            let angle = felt
                .iter()
                .filter(|f| lever(f) > touch && gap(f) > touch)
                .map(|f| gap(f) / lever(f))
                .fold(MOST_TIP, f64::min)
                .max(LEAST_TIP);
            let axis = DVec3::new(toward[1], 0.0, -toward[0]);
            let turn = turned(axis, angle);
            let tipped = (turn * rotation).normalize();
            if (tipped * self.rotation.inverse() * DVec3::Y).y < self.descent.steepest {
                if self.descent.clings {
                    return Outcome::Lies(self.land(rotation, place, &felt, &feelers[coarse..]).0);
                }
                return Outcome::Falls(toward);
            }
            // The edge stays where it is: the middle moves round it
            let pivot_height = felt
                .iter()
                .filter(|f| gap(f) <= touch)
                .map(|f| f.at.y)
                .fold(f64::INFINITY, f64::min);
            let arm = -DVec3::new(edge[0], pivot_height, edge[1]);
            let moved = turn * arm - arm;
            let aside = [place[0] + moved.x - start[0], place[1] + moved.z - start[1]];
            let far = (aside[0] * aside[0] + aside[1] * aside[1]).sqrt();
            let held = if far > self.descent.drift {
                self.descent.drift / far
            } else {
                1.0
            };
            place = [start[0] + held * aside[0], start[1] + held * aside[1]];
            rotation = tipped;
        }
    }

    /// Feelers over the surface; what was `known` within `straight` metres is not asked again.
    fn feel(
        &self,
        feelers: &[DVec3],
        rotation: DQuat,
        place: [f64; 2],
        straight: f64,
        known: &mut Vec<Known>,
    ) -> Vec<Felt> {
        let felt = feelers.iter().enumerate().map(|(i, f)| {
            let at = self.arm(rotation, f);
            let (x, z) = (place[0] + at.x, place[1] + at.z);
            let ask = || Known {
                place: [x, z],
                facet: self.surface.at(x, z, self.descent.sink),
            };
            if known.len() <= i {
                known.push(ask());
            }
            let (dx, dz) = (x - known[i].place[0], z - known[i].place[1]);
            if dx * dx + dz * dz > straight * straight {
                known[i] = ask();
                return Felt {
                    at,
                    ground: known[i].facet.height,
                };
            }
            let Facet { height, slope } = known[i].facet;
            Felt {
                at,
                ground: height + slope[0] * dx + slope[1] * dz,
            }
        });
        felt.collect()
    }

    /// From the stance's middle to a point of the piece, world axes, metres.
    fn arm(&self, rotation: DQuat, point: &DVec3) -> DVec3 {
        rotation * ((*point - self.stance.middle) * self.scale)
    }

    /// Lowered until it touches, with every feeler that may, the added ones among them; with the point of the piece that touched first
    /// and by how much that was earlier than what was felt, if it was.
    fn land(
        &self,
        rotation: DQuat,
        place: [f64; 2],
        felt: &[Felt],
        added: &[DVec3],
    ) -> (Standing, Option<(DVec3, f64)>) {
        let size = self.stance.reach * self.scale;
        let touches = height(felt);
        let nearly = |near: u8| {
            let near = &felt[usize::from(near)];
            touches + near.at.y - near.ground <= NEARLY * size
        };
        let own = self.stance.feelers.iter().zip(&self.stance.nearest);
        let own = own.filter(|(_, near)| nearly(**near)).map(|(f, _)| f);
        let (mut height, mut first) = (f64::NEG_INFINITY, DVec3::ZERO);
        for f in own.chain(added) {
            let at = self.arm(rotation, f);
            let (x, z) = (place[0] + at.x, place[1] + at.z);
            let touch = self.surface.at(x, z, self.descent.sink).height - at.y;
            if touch > height {
                (height, first) = (touch, *f);
            }
        }
        let middle = DVec3::new(place[0], height, place[1]);
        let mut standing = Standing {
            position: middle - rotation * (self.stance.middle * self.scale),
            rotation,
            scale: self.scale,
        };
        let mut raised = (height > touches).then_some((first, height - touches));
        if let Some((point, by)) = self.spiked(&standing) {
            standing.position.y += by;
            raised = Some((point, by + (height - touches).max(0.0)));
        }
        (standing, raised)
    }

    /// How much a standing body must be raised so that no peak of what lies below is inside it, metres, and where on it, in its frame.
    fn spiked(&self, standing: &Standing) -> Option<(DVec3, f64)> {
        let middle = standing.position + standing.rotation * (self.stance.middle * self.scale);
        let reach = self.stance.reach * self.scale;
        let mut raise: Option<(DVec3, f64)> = None;
        for lying in self.surface.lying {
            for peak in &lying.body.peaks {
                let peak = lying.standing.position
                    + lying.standing.rotation * (*peak * lying.standing.scale);
                let (dx, dz) = (peak.x - middle.x, peak.z - middle.z);
                if dx * dx + dz * dz > reach * reach {
                    continue;
                }
                if let Some(under) = self.body.underside(standing, peak.x, peak.z) {
                    // A peak far over the underside belongs to what stands beside a hollow form, not under it
                    let inside = peak.y - under.height;
                    if inside > raise.map_or(0.0, |r| r.1) && inside < reach {
                        let at = DVec3::new(peak.x, under.height, peak.z) - standing.position;
                        raise = Some((standing.rotation.inverse() * at / standing.scale, inside));
                    }
                }
            }
        }
        raise
    }
}

/// The height at which the lowest feeler touches.
fn height(felt: &[Felt]) -> f64 {
    felt.iter()
        .map(|f| f.ground - f.at.y)
        .fold(f64::NEG_INFINITY, f64::max)
}

/// A turn about a level axis (unit vector), radians.
fn turned(axis: DVec3, angle: f64) -> DQuat {
    let half = 0.5 * angle;
    let s = libm::sin(half);
    DQuat::from_xyzw(axis.x * s, axis.y * s, axis.z * s, libm::cos(half))
}

/// The point of a convex polygon (corners counter-clockwise with +x right and +z up, or one or two points) nearest to `p`; `p` itself inside.
fn nearest(hull: &[[f64; 2]], p: [f64; 2]) -> [f64; 2] {
    let Some(first) = hull.first() else { return p };
    if hull.len() >= 3 {
        let inside = (0..hull.len()).all(|i| {
            let (a, b) = (hull[i], hull[(i + 1) % hull.len()]);
            (b[0] - a[0]) * (p[1] - a[1]) - (b[1] - a[1]) * (p[0] - a[0]) >= 0.0
        });
        if inside {
            return p;
        }
    }
    let mut best = (f64::INFINITY, *first);
    for i in 0..hull.len() {
        let (a, b) = (hull[i], hull[(i + 1) % hull.len()]);
        let (dx, dz) = (b[0] - a[0], b[1] - a[1]);
        let square = dx * dx + dz * dz;
        let t = if square > 0.0 {
            (((p[0] - a[0]) * dx + (p[1] - a[1]) * dz) / square).clamp(0.0, 1.0)
        } else {
            0.0
        };
        let q = [a[0] + t * dx, a[1] + t * dz];
        let far = (p[0] - q[0]) * (p[0] - q[0]) + (p[1] - q[1]) * (p[1] - q[1]);
        if far < best.0 {
            best = (far, q);
        }
    }
    best.1
}
