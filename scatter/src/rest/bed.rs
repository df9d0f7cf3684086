//! Bedding a stone in the soil.

use glam::DVec3;

use super::contact::Standing;
use super::held::HeldBody;
use super::support::beside;

/// Feelers that find where a bedded stone meets the ground.
const BED_FEELERS: usize = 24;
/// A bedded stone sinks on until the soil holds its centre of mass, by this share of its height at
/// a time, and no more often than that.
const BED_STEP: f64 = 0.06;
const MOST_BED_STEPS: usize = 10;

impl HeldBody<'_> {
    /// Beds it at a plan place: let down until it touches the ground, then sunk, then as much
    /// deeper as the soil needs to hold it.
    pub(super) fn bed(&self, [x, z]: [f64; 2]) -> Standing {
        let Self {
            body,
            stance,
            scale,
            rotation,
            surface,
            descent,
        } = self;
        let (scale, rotation) = (*scale, *rotation);
        let feelers = &stance.feelers[..BED_FEELERS.min(stance.feelers.len())];
        let felt: Vec<(DVec3, f64)> = feelers
            .iter()
            .map(|f| {
                let at = rotation * ((*f - stance.middle) * scale);
                (at, surface.ground.height(x + at.x, z + at.z) - at.y)
            })
            .collect();
        let touches = felt.iter().map(|f| f.1).fold(f64::NEG_INFINITY, f64::max);
        let balance = rotation * ((body.balance - stance.middle) * scale);
        let mut height = touches - descent.sink;
        for _ in 0..MOST_BED_STEPS {
            let touched = felt.iter().filter(|(_, h)| *h >= height);
            let touched: Vec<[f64; 2]> = touched.map(|(at, _)| [at.x, at.z]).collect();
            if beside(&touched, [balance.x, balance.z]) == 0.0 {
                break;
            }
            height -= BED_STEP * stance.stands * scale;
        }
        Standing {
            position: DVec3::new(x, height, z) - rotation * (stance.middle * scale),
            rotation,
            scale,
        }
    }
}
