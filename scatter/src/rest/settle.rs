//! Letting a body down on the settled surface until it lies.
//!
//! Lowered upright until it touches; then, while its centre of mass is not over what it touches, it tips to where that is lowest: the way a
//! body comes to rest when it is set down slowly. What would tip further than it can hold rolls or slides aside, or does not stay.

use glam::{DMat3, DQuat, DVec3};

use super::body::{Body, COARSE, Stance};
use super::peaks::Peaks;
use super::shape::{Facet, Standing};
use super::support::lowest_slope;
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
    /// Whether it goes over onto another face as it falls.
    pub(super) rolls: bool,
    /// How far it may move aside as it tips, metres.
    pub(super) drift: f64,
    /// Most times that it tips.
    pub(super) tips: usize,
    /// How far its centre of mass may be off its support, over the body's size, when it has tipped that often or as far as it may.
    pub(super) stays: f64,
}

/// Closer than this share of the body's size counts as touching: no gap at a contact that a close-up shows.
const TOUCH: f64 = 0.006;
/// And no closer than this, metres.
const LEAST_TOUCH: f64 = 1e-4;
/// A centre of mass this close to the support's edge, over the body's size, is held by it: edges are round and the ground gives a little.
const HELD: f64 = 0.01;
/// Most that a body tips at once, radians: further, and the straight-line reckoning of what it meets is off.
const MOST_TIP: f64 = 0.25;
/// While it goes on the same way it tips by so many times as much as before, up to the most: what slowed it down is past.
const ON: f64 = 1.5;
/// A body that would tip by less than this, radians, is as low as it gets: the rest is within what counts as touching.
const LEAST_TIP: f64 = 0.004;
/// Slides tried, each a share of what is allowed.
const SLIDES: usize = 8;
/// What falls goes over by this angle, radians, and is held on the face that is lowest then: a cube's edges are passed at 45 degrees.
const ROLL: f64 = 1.0;
/// Most feelers that are added where something touched between the coarse ones.
const MOST_EXTRA: usize = 48;
/// Feelers that are added at once, those that touched first.
const MOST_NEW: usize = 3;
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
    let up = rotation * (stance.turn.inverse() * DVec3::Y);
    let mut place = place;
    let mut held = Held {
        body,
        stance,
        scale,
        rotation,
        surface,
        descent,
    };
    let step = descent.slide / SLIDES as f64;
    for _ in 0..=SLIDES {
        match held.let_down(place) {
            Outcome::Lies(standing) => return Some(standing),
            Outcome::Falls(_) if step <= 0.0 => return None,
            Outcome::Falls(toward) => {
                place = [place[0] + step * toward[0], place[1] + step * toward[1]];
                if descent.rolls {
                    held.roll(toward, up);
                }
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
pub(super) struct Felt {
    /// Place relative to the stance's middle, world axes, metres.
    pub(super) at: DVec3,
    /// Height of the surface under it, world, metres.
    pub(super) ground: f64,
}

impl Felt {
    /// Height that it lifts the stance's middle to, world, metres.
    pub(super) fn lifts(&self) -> f64 {
        self.ground - self.at.y
    }
}

/// What was felt where.
#[derive(Clone, Copy)]
struct Known {
    place: [f64; 2],
    facet: Facet,
    /// Height of the ground alone.
    ground: f64,
}

impl Held<'_> {
    /// Goes over in a direction in plan onto the face that is lowest then, and is held on it: `up` is what a face stands on.
    fn roll(&mut self, toward: [f64; 2], up: DVec3) {
        let over = turned(DVec3::new(toward[1], 0.0, -toward[0]), ROLL) * self.rotation;
        let stands = |s: &Stance| over * (s.turn.inverse() * DVec3::Y);
        let upright = |s: &Stance| stands(s).dot(up);
        let mut next = self.stance;
        for stance in &self.body.stances {
            if upright(stance) > upright(next) {
                next = stance;
            }
        }
        if !std::ptr::eq(next, self.stance) {
            self.rotation = (DQuat::from_rotation_arc(stands(next), up) * over).normalize();
            self.stance = next;
        }
    }

    fn let_down(&self, place: [f64; 2]) -> Outcome {
        let size = self.stance.reach * self.scale;
        let touch = (TOUCH * size).max(LEAST_TOUCH);
        let start = place;
        let (mut rotation, mut place) = (self.rotation, place);
        let mut fell = [0.0, 0.0];
        let mut known = Vec::with_capacity(COARSE);
        let coarse = COARSE.min(self.stance.feelers.len());
        let mut feelers = self.stance.feelers[..coarse].to_vec();
        let drift = self.descent.drift;
        let all = Peaks::within(self.body, self.surface, place, size + drift);
        let (mut tip, mut most_tip) = (0, MOST_TIP);
        // The pose so far that was nearest to being held, as far as is felt now
        let mut best = (f64::INFINITY, rotation, place);
        loop {
            let mut felt = self.feel(&feelers, rotation, place, STRAIGHT * size, &mut known);
            let mut peaks = self.peaks(&all, rotation, place);
            let (touches, most) = (height(&felt) - touch, height(&felt) + size);
            peaks.ask(&mut felt, most, |_, bound| bound >= touches);
            let balance = self.balance(rotation);
            let off = off_support(&felt, balance, touch);
            if off < best.0 {
                best = (off, rotation, place);
            }
            let last = tip == self.descent.tips;
            let slope = if off <= HELD * size || last {
                [0.0; 2]
            } else {
                // Tips to where the centre of mass is lowest, which stays over its place
                loop {
                    let points: Vec<[f64; 3]> = felt
                        .iter()
                        .map(|f| [f.at.x - balance.x, f.at.z - balance.z, f.lifts()])
                        .collect();
                    let slope = lowest_slope(&points, most_tip, 2.0 * size);
                    let rise = |x: f64, z: f64| slope[0] * x + slope[1] * z;
                    let lies = points.iter().map(|[x, z, y]| y - rise(*x, *z));
                    let lies = lies.fold(f64::NEG_INFINITY, f64::max);
                    // A peak that may stand higher than that plane counts, too
                    let over = |at: DVec3, bound: f64| {
                        bound > lies + rise(at.x - balance.x, at.z - balance.z)
                    };
                    if !peaks.ask(&mut felt, most, over) {
                        break slope;
                    }
                }
            };
            let steep = (slope[0] * slope[0] + slope[1] * slope[1]).sqrt();
            if steep <= LEAST_TIP {
                if off > HELD * size && (last || off > self.descent.stays * size) {
                    break;
                }
                // Held, or as low as it gets: then by points that are a little farther than what counts as touching
                let (standing, raised) =
                    self.land(rotation, place, &felt, &known, &feelers[coarse..]);
                if !add(&mut feelers, raised, touch, coarse) {
                    return Outcome::Lies(standing);
                }
                // As new things are felt it may tip as far as at first
                (best.0, most_tip, fell) = (f64::INFINITY, MOST_TIP, [0.0; 2]);
                continue;
            }
            tip += 1;
            let toward = slope.map(|g| -g / steep);
            // Back to where it came from: between the two there is an edge, over which something slips
            if toward[0] * fell[0] + toward[1] * fell[1] < 0.0 {
                most_tip *= 0.5;
            } else {
                most_tip = (ON * most_tip).min(MOST_TIP);
            }
            fell = toward;
            let angle = libm::atan(steep.min(most_tip));
            let tipped = (turned(DVec3::new(fell[1], 0.0, -fell[0]), angle) * rotation).normalize();
            if (tipped * self.rotation.inverse() * DVec3::Y).y < self.descent.steepest {
                break;
            }
            let moved = balance - self.balance(tipped);
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
        let (_, rotation, place) = best;
        loop {
            let mut felt = self.feel(&feelers, rotation, place, STRAIGHT * size, &mut known);
            let (touches, most) = (height(&felt) - touch, height(&felt) + size);
            let mut peaks = self.peaks(&all, rotation, place);
            peaks.ask(&mut felt, most, |_, bound| bound >= touches);
            if off_support(&felt, self.balance(rotation), touch) > self.descent.stays * size {
                return Outcome::Falls(fell);
            }
            let (standing, raised) = self.land(rotation, place, &felt, &known, &feelers[coarse..]);
            if !add(&mut feelers, raised, touch, coarse) {
                return Outcome::Lies(standing);
            }
        }
    }

    /// From the stance's middle to the centre of mass, world axes, metres.
    fn balance(&self, rotation: DQuat) -> DVec3 {
        rotation * ((self.body.balance - self.stance.middle) * self.scale)
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
        let turn = self.turn(rotation);
        let felt = feelers.iter().enumerate().map(|(i, f)| {
            let at = turn * (*f - self.stance.middle);
            let (x, z) = (place[0] + at.x, place[1] + at.z);
            let ask = || {
                let (facet, ground) = self.surface.at(x, z, self.descent.sink);
                Known {
                    place: [x, z],
                    facet,
                    ground,
                }
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

    /// The peaks that may be under the body, held in a pose.
    fn peaks(&self, all: &[DVec3], rotation: DQuat, place: [f64; 2]) -> Peaks<'_> {
        let middle = DVec3::new(place[0], 0.0, place[1]);
        let probe = self.body.probe(&Standing {
            position: middle - rotation * (self.stance.middle * self.scale),
            rotation,
            scale: self.scale,
        });
        Peaks::new(all, probe, place)
    }

    /// Turns and scales arms of the piece into world axes, metres.
    fn turn(&self, rotation: DQuat) -> DMat3 {
        DMat3::from_quat(rotation) * self.scale
    }

    /// Lowered until it touches, with every feeler that may, the added ones among them; with points of the piece that touched earlier than
    /// what was felt, and by how much, the first one last.
    fn land(
        &self,
        rotation: DQuat,
        place: [f64; 2],
        felt: &[Felt],
        known: &[Known],
        added: &[DVec3],
    ) -> (Standing, Vec<(DVec3, f64)>) {
        let size = self.stance.reach * self.scale;
        let touches = height(felt);
        let nearly = |near: u8| {
            let near = &felt[usize::from(near)];
            touches + near.at.y - near.ground <= NEARLY * size
        };
        let own = self.stance.feelers.iter().zip(&self.stance.nearest);
        let own = own.filter(|(_, near)| nearly(**near));
        let own = own.map(|(f, near)| (f, usize::from(*near)));
        let added = added.iter().zip(COARSE.min(self.stance.feelers.len())..);
        let mut height = f64::NEG_INFINITY;
        let mut raised = Vec::new();
        let turn = self.turn(rotation);
        for (f, near) in own.chain(added) {
            let at = turn * (*f - self.stance.middle);
            let (x, z) = (place[0] + at.x, place[1] + at.z);
            let known = &known[near];
            let (dx, dz) = (x - known.place[0], z - known.place[1]);
            let away = (dx * dx + dz * dz).sqrt();
            let ceiling = known.ground + self.surface.steepest() * away;
            let sink = self.descent.sink;
            let over = self.surface.over(x, z, sink, height + at.y, ceiling);
            if let Some(surface) = over {
                height = surface - at.y;
                if height > touches {
                    raised.push((*f, height - touches));
                }
            }
        }
        let middle = DVec3::new(place[0], height, place[1]);
        let mut standing = Standing {
            position: middle - rotation * (self.stance.middle * self.scale),
            rotation,
            scale: self.scale,
        };
        if let Some((point, by)) = self.spiked(&standing) {
            standing.position.y += by;
            raised.push((point, by + (height - touches).max(0.0)));
        }
        (standing, raised)
    }

    /// How much a standing body must be raised so that no peak of what lies below is inside it, metres, and where on it, in its frame.
    fn spiked(&self, standing: &Standing) -> Option<(DVec3, f64)> {
        let middle = standing.position + standing.rotation * (self.stance.middle * self.scale);
        let reach = self.stance.reach * self.scale;
        let probe = self.body.probe(standing);
        let mut raise: Option<(DVec3, f64)> = None;
        let square = |x: f64, z: f64| x * x + z * z;
        for lying in self.surface.lying() {
            // The highest comes first
            if lying.probe.top <= probe.bottom {
                break;
            }
            let apart = square(lying.middle[0] - middle.x, lying.middle[1] - middle.z);
            if apart > (reach + lying.reach) * (reach + lying.reach) {
                continue;
            }
            for peak in lying.body.peaks() {
                let peak = lying.probe.world(*peak);
                let ceiling = peak.y - raise.map_or(0.0, |r| r.1);
                if ceiling <= probe.bottom
                    || square(peak.x - middle.x, peak.z - middle.z) > reach * reach
                {
                    continue;
                }
                // A peak far over the underside belongs to what stands beside a hollow form, not under it
                if let Some(under) = probe.underside_below(peak.x, peak.z, ceiling)
                    && peak.y - under.height < reach
                {
                    let at = DVec3::new(peak.x, under.height, peak.z) - standing.position;
                    let point = standing.rotation.inverse() * at / standing.scale;
                    raise = Some((point, peak.y - under.height));
                }
            }
        }
        raise
    }
}

/// What touched between the coarse feelers, by more than counts as touching, is felt for from now on; whether there was any, and room for it.
fn add(feelers: &mut Vec<DVec3>, raised: Vec<(DVec3, f64)>, touch: f64, coarse: usize) -> bool {
    let new = raised.into_iter().rev().take(MOST_NEW);
    let new = new.filter(|(_, by)| *by > touch).map(|(point, _)| point);
    let before = feelers.len();
    feelers.extend(new.take(coarse + MOST_EXTRA - before));
    feelers.len() > before
}

/// The height at which the lowest feeler touches.
fn height(felt: &[Felt]) -> f64 {
    felt.iter()
        .map(|f| f.ground - f.at.y)
        .fold(f64::NEG_INFINITY, f64::max)
}

/// How far the centre of mass (from the middle, as the feelers are) is outside what touches, in plan, metres.
fn off_support(felt: &[Felt], balance: DVec3, touch: f64) -> f64 {
    let height = height(felt);
    let touching: Vec<[f64; 2]> = felt
        .iter()
        .filter(|f| height + f.at.y - f.ground <= touch)
        .map(|f| [f.at.x, f.at.z])
        .collect();
    beside(&touching, [balance.x, balance.z])
}

/// Distance of a plan place from the hull of others, metres; 0 inside.
pub(super) fn beside(others: &[[f64; 2]], place: [f64; 2]) -> f64 {
    let edge = nearest(&convex_hull(others), place);
    let out = [place[0] - edge[0], place[1] - edge[1]];
    (out[0] * out[0] + out[1] * out[1]).sqrt()
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
