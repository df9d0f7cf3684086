//! A body held over the settled surface in a pose: what it would touch there, and how low it can
//! come.

use glam::{DMat3, DQuat, DVec3};

use super::body::{COARSE, RigidBody, Stance};
use super::contact::{Standing, TangentPlane};
use super::peaks::Peaks;
use super::settle::Descent;
use super::surface::SettledSurface;

/// Gaps below this share of the body's size count as touching: a close-up shows no gap there.
const TOUCH: f64 = 0.006;
/// Lower bound of the gap that counts as touching, metres.
const LEAST_TOUCH: f64 = 1e-4;
/// Within this distance of a feeler, over the body's size, the surface is taken to continue
/// straight.
const STRAIGHT: f64 = 0.03;
/// Feelers are tested at the end where the nearest coarse one has a gap under this share of the
/// body's size.
const NEARLY: f64 = 0.12;

/// A body held over the surface.
#[derive(Clone, Copy)]
pub(super) struct HeldBody<'a> {
    pub(super) body: &'a RigidBody,
    pub(super) stance: &'a Stance,
    pub(super) scale: f64,
    pub(super) rotation: DQuat,
    pub(super) surface: &'a SettledSurface<'a>,
    pub(super) descent: Descent,
}

/// A feeler with the surface under it.
#[derive(Clone, Copy)]
pub(super) struct Felt {
    /// Place relative to the stance's middle, world axes, metres.
    pub(super) at: DVec3,
    /// Height of the surface under it, world, metres.
    pub(super) ground: f64,
}

impl Felt {
    /// Height to which it lifts the stance's middle, world, metres.
    pub(super) fn lifts(&self) -> f64 {
        self.ground - self.at.y
    }
}

/// What feelers and peaks find in one pose.
pub(super) struct Touched<'a> {
    pub(super) points: Vec<Felt>,
    /// Peaks that may be felt yet.
    pub(super) peaks: Peaks<'a>,
    /// Height of the stance's middle, world, metres: what would lift it higher than this stands
    /// beside the body.
    pub(super) most: f64,
}

/// What a feeler found at a plan place.
#[derive(Clone, Copy)]
pub(super) struct FeelerFind {
    place: [f64; 2],
    plane: TangentPlane,
    /// Height of the ground alone.
    ground: f64,
}

impl HeldBody<'_> {
    /// Half of its extent, metres.
    pub(super) fn size(&self) -> f64 {
        self.stance.reach * self.scale
    }

    /// How close counts as touching, metres.
    pub(super) fn touch(&self) -> f64 {
        (TOUCH * self.size()).max(LEAST_TOUCH)
    }

    /// What is felt in a pose: by the feelers, and from those peaks of `all` that may touch first.
    pub(super) fn felt(
        &self,
        feelers: &[DVec3],
        rotation: DQuat,
        place: [f64; 2],
        all: &[DVec3],
        known: &mut Vec<FeelerFind>,
    ) -> Touched<'_> {
        let mut points = self.feel(feelers, rotation, place, STRAIGHT * self.size(), known);
        let (touches, most) = (
            height(&points) - self.touch(),
            height(&points) + self.size(),
        );
        let mut peaks = self.peaks(all, rotation, place);
        peaks.ask(&mut points, most, |_, bound| bound >= touches);
        Touched {
            points,
            peaks,
            most,
        }
    }

    /// From the stance's middle to the centre of mass, world axes, metres.
    pub(super) fn balance(&self, rotation: DQuat) -> DVec3 {
        rotation * ((self.body.balance - self.stance.middle) * self.scale)
    }

    /// Feelers with the surface under them; the surface is not tested again within `straight`
    /// metres of what is `known`.
    fn feel(
        &self,
        feelers: &[DVec3],
        rotation: DQuat,
        place: [f64; 2],
        straight: f64,
        known: &mut Vec<FeelerFind>,
    ) -> Vec<Felt> {
        let turn = self.turn(rotation);
        let felt = feelers.iter().enumerate().map(|(i, f)| {
            let at = turn * (*f - self.stance.middle);
            let (x, z) = (place[0] + at.x, place[1] + at.z);
            let ask = || {
                let (plane, ground) = self.surface.at(x, z, self.descent.sink);
                FeelerFind {
                    place: [x, z],
                    plane,
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
                    ground: known[i].plane.height,
                };
            }
            let TangentPlane { height, slope } = known[i].plane;
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

    /// The body lowered until it touches, with every feeler that may touch, the added ones among
    /// them. Also the points of the piece that touched before those feelers, and by how much, the
    /// first one last.
    pub(super) fn land(
        &self,
        rotation: DQuat,
        place: [f64; 2],
        felt: &[Felt],
        known: &[FeelerFind],
        added: &[DVec3],
    ) -> (Standing, Vec<(DVec3, f64)>) {
        let size = self.size();
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

    /// How much a standing body must be raised so that no peak of what lies below is inside it,
    /// metres, and where on it, in its frame.
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
                // A peak far over the underside belongs to what stands beside a hollow form, not
                // under it
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

/// The height at which the lowest feeler touches.
pub(super) fn height(felt: &[Felt]) -> f64 {
    felt.iter()
        .map(|f| f.ground - f.at.y)
        .fold(f64::NEG_INFINITY, f64::max)
}
