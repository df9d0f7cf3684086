//! Letting a body down on the settled surface until it lies.
//!
//! Lowered upright until it touches; then, while its centre of mass is not over what it touches, it
//! tips to where that is lowest: the way a body comes to rest when it is set down slowly. What
//! would tip further than it can hold rolls or slides aside, or does not stay.

use glam::{DQuat, DVec3};

use super::body::{COARSE, Stance};
use super::contact::Standing;
use super::held::{Felt, HeldBody, Touched, height};
use super::peaks::Peaks;
use super::support::{beside, lowest_slope};

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
    /// Maximum number of times that it tips.
    pub(super) tips: usize,
    /// How far its centre of mass may be off its support, over the body's size, when it has tipped
    /// that often or as far as it may.
    pub(super) stays: f64,
}

/// A centre of mass this close to the support's edge, over the body's size, is held by it: edges
/// are round and the ground gives a little.
const HELD: f64 = 0.01;
/// Maximum angle by which a body tips at once, radians: beyond it, the linear estimate of what it
/// meets is off.
const MOST_TIP: f64 = 0.25;
/// While it goes on the same way, each tip is this many times the one before, up to the maximum:
/// what slowed it down is past.
const ON: f64 = 1.5;
/// A body that would tip by less than this, radians, is as low as it gets: the rest is within what
/// counts as touching.
const LEAST_TIP: f64 = 0.004;
/// Slides tried, each a share of what is allowed.
const SLIDES: usize = 8;
/// What falls goes over by this angle, radians, and is held on the face that is lowest then: a
/// cube's edges are passed at 45 degrees.
const ROLL: f64 = 1.0;
/// Maximum number of feelers that are added where something touched between the coarse ones.
const MOST_EXTRA: usize = 48;
/// Feelers that are added at once, those that touched first.
const MOST_NEW: usize = 3;

/// What came of letting a body down.
enum Outcome {
    Lies(Standing),
    /// The direction in plan in which it falls.
    Falls([f64; 2]),
}

impl HeldBody<'_> {
    /// Lets it down at a plan place (x, z). `None` when it would not stay.
    #[must_use]
    pub(super) fn settle(mut self, mut place: [f64; 2]) -> Option<Standing> {
        let up = self.rotation * (self.stance.turn.inverse() * DVec3::Y);
        let step = self.descent.slide / SLIDES as f64;
        for _ in 0..=SLIDES {
            match self.let_down(place) {
                Outcome::Lies(standing) => return Some(standing),
                Outcome::Falls(_) if step <= 0.0 => return None,
                Outcome::Falls(toward) => {
                    place = [place[0] + step * toward[0], place[1] + step * toward[1]];
                    if self.descent.rolls {
                        self.roll(toward, up);
                    }
                }
            }
        }
        None
    }

    /// Goes over in a direction in plan onto the face that is lowest then, and is held on it: `up`
    /// is what a face stands on.
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

    /// Lets it down at a plan place: lowered until it touches, tipped while its weight is not held.
    fn let_down(&self, start: [f64; 2]) -> Outcome {
        let (size, touch) = (self.size(), self.touch());
        let (mut rotation, mut place) = (self.rotation, start);
        let mut fell = [0.0, 0.0];
        let mut known = Vec::with_capacity(COARSE);
        let coarse = COARSE.min(self.stance.feelers.len());
        let mut feelers = self.stance.feelers[..coarse].to_vec();
        let all = Peaks::within(self.body, self.surface, start, size + self.descent.drift);
        let (mut tip, mut most_tip) = (0, MOST_TIP);
        // The pose so far that was nearest to being held, as far as is felt now
        let mut best = (f64::INFINITY, rotation, place);
        loop {
            let mut felt = self.felt(&feelers, rotation, place, &all, &mut known);
            let balance = self.balance(rotation);
            let off = off_support(&felt.points, balance, touch);
            if off < best.0 {
                best = (off, rotation, place);
            }
            let last = tip == self.descent.tips;
            let slope = if off <= HELD * size || last {
                [0.0; 2]
            } else {
                self.lowest(&mut felt, balance, most_tip)
            };
            let steep = (slope[0] * slope[0] + slope[1] * slope[1]).sqrt();
            if steep <= LEAST_TIP {
                if off > HELD * size && (last || off > self.descent.stays * size) {
                    break;
                }
                // Held, or as low as it gets: then by points that are a little farther than what
                // counts as touching
                let (standing, raised) =
                    self.land(rotation, place, &felt.points, &known, &feelers[coarse..]);
                if !add(&mut feelers, raised, touch, coarse) {
                    return Outcome::Lies(standing);
                }
                // As new things are felt it may tip as far as at first
                (best.0, most_tip, fell) = (f64::INFINITY, MOST_TIP, [0.0; 2]);
                continue;
            }
            tip += 1;
            let toward = slope.map(|g| -g / steep);
            // Back to where it came from: between the two there is an edge, over which something
            // slips
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
            place = self.drifted(start, [place[0] + moved.x, place[1] + moved.z]);
            rotation = tipped;
        }
        let (_, rotation, place) = best;
        loop {
            let felt = self
                .felt(&feelers, rotation, place, &all, &mut known)
                .points;
            if off_support(&felt, self.balance(rotation), touch) > self.descent.stays * size {
                return Outcome::Falls(fell);
            }
            let (standing, raised) = self.land(rotation, place, &felt, &known, &feelers[coarse..]);
            if !add(&mut feelers, raised, touch, coarse) {
                return Outcome::Lies(standing);
            }
        }
    }

    /// The slope, along x and z, of the plane on what is felt to which it tips: where its centre of
    /// mass, which stays over its place, is lowest. A peak that may stand higher than that plane is
    /// felt, too.
    fn lowest(&self, felt: &mut Touched<'_>, balance: DVec3, most_tip: f64) -> [f64; 2] {
        loop {
            let points: Vec<[f64; 3]> = felt
                .points
                .iter()
                .map(|f| [f.at.x - balance.x, f.at.z - balance.z, f.lifts()])
                .collect();
            let slope = lowest_slope(&points, most_tip, 2.0 * self.size());
            let rise = |x: f64, z: f64| slope[0] * x + slope[1] * z;
            let lies = points.iter().map(|[x, z, y]| y - rise(*x, *z));
            let lies = lies.fold(f64::NEG_INFINITY, f64::max);
            let over =
                |at: DVec3, bound: f64| bound > lies + rise(at.x - balance.x, at.z - balance.z);
            if !felt.peaks.ask(&mut felt.points, felt.most, over) {
                return slope;
            }
        }
    }

    /// A plan place; if it is farther from the start than the body may drift, the place at that
    /// distance toward it.
    fn drifted(&self, start: [f64; 2], to: [f64; 2]) -> [f64; 2] {
        let aside = [to[0] - start[0], to[1] - start[1]];
        let far = (aside[0] * aside[0] + aside[1] * aside[1]).sqrt();
        let held = if far > self.descent.drift {
            self.descent.drift / far
        } else {
            1.0
        };
        [start[0] + held * aside[0], start[1] + held * aside[1]]
    }
}

/// Adds feelers where something touched between the coarse ones by more than counts as touching.
/// Returns whether there was any, and room for it.
fn add(feelers: &mut Vec<DVec3>, raised: Vec<(DVec3, f64)>, touch: f64, coarse: usize) -> bool {
    let new = raised.into_iter().rev().take(MOST_NEW);
    let new = new.filter(|(_, by)| *by > touch).map(|(point, _)| point);
    let before = feelers.len();
    feelers.extend(new.take(coarse + MOST_EXTRA - before));
    feelers.len() > before
}

/// How far the centre of mass (from the middle, as the feelers are) is outside what touches, in
/// plan, metres.
fn off_support(felt: &[Felt], balance: DVec3, touch: f64) -> f64 {
    let height = height(felt);
    let touching: Vec<[f64; 2]> = felt
        .iter()
        .filter(|f| height + f.at.y - f.ground <= touch)
        .map(|f| [f.at.x, f.at.z])
        .collect();
    beside(&touching, [balance.x, balance.z])
}

/// A turn about a level axis (unit vector), radians.
fn turned(axis: DVec3, angle: f64) -> DQuat {
    let half = 0.5 * angle;
    let s = libm::sin(half);
    DQuat::from_xyzw(axis.x * s, axis.y * s, axis.z * s, libm::cos(half))
}
