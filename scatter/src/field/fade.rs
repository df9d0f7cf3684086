//! How a field falls off with distance.

use glam::FloatExt;

use crate::brief::Fade;

/// Distance at which a steep fade has fallen to a third, over the distance at which it ends: e^-4
/// is left there, and taken off.
const STEEPNESS: f64 = 4.0;
/// exp(-[`STEEPNESS`]).
const STEEP_END: f64 = 0.018_315_638_888_734_18;

/// 1 at distance 0, 0 from `within` on.
pub(super) fn falloff(fade: Fade, distance: f64, within: f64) -> f64 {
    if distance >= within {
        return 0.0;
    }
    match fade {
        Fade::Smooth => 1.0 - distance.smoothstep(0.0, within),
        Fade::Even => 1.0,
        Fade::Steep => {
            (libm::exp(-STEEPNESS * (distance / within)) - STEEP_END) / (1.0 - STEEP_END)
        }
    }
}
