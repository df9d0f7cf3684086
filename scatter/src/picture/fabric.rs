//! What a named rock shows in a stone: grains of granite, layers of slate and sandstone, veins.
//!
//! Sizes and strengths by eye, beside photographs of river bars; grains keep to those of the rocks
//! (granite half a millimetre to five: common practice, no source).

use glam::{FloatExt, Vec3A};

use super::sample::mix;
use super::skin::{PALE, SkinPoint, seen, soft_edge, veins};
use super::solid::{cell, direction, fractal, share};
use crate::color::RockFabric;

// Streams of the noises, apart from the skin's
const GRAINS: u32 = 41;
const LAYERS: u32 = 42;
const BEND: u32 = 43;

/// The colour of a stone of this fabric at a place; its relief is added to `slope`.
pub(super) fn shown(
    fabric: RockFabric,
    color: Vec3A,
    spot: &SkinPoint,
    slope: &mut Vec3A,
) -> Vec3A {
    match fabric {
        // What is finer than this every stone has: its speckle
        RockFabric::Even => color,
        RockFabric::Veined => {
            let size = (0.4 * spot.reach).max(0.025);
            let bend = fractal(spot.place, size, 0.2 * size, 0.5, mix(spot.own ^ BEND));
            veins(color, spot, bend.value)
        }
        RockFabric::Layered => layers(color, spot),
        RockFabric::Granular => grains(color, spot, slope),
    }
}

/// Grains of dark mica, pale feldspar and grey quartz, of 1 to 3 mm; the mean stays.
fn grains(color: Vec3A, spot: &SkinPoint, slope: &mut Vec3A) -> Vec3A {
    let size = 0.001 + 0.002 * share(spot.own, 13);
    let level = seen(size, spot.footprint) * (0.6 + 0.3 * share(spot.own, 14));
    if level <= 0.0 {
        return color;
    }
    let p = spot.place;
    let n = fractal(p, size, 0.5 * size, 0.5, mix(spot.own ^ BEND));
    let grain = cell(
        p / size + Vec3A::splat(0.6 * n.value),
        mix(spot.own ^ GRAINS),
    );
    *slope += direction(grain.id) * (0.05 * level);
    // 18 parts of 0.3 and 42 of 1.3 leave 40 of 1 for a mean of 1
    let draw = share(grain.id, 1);
    let to = if draw < 0.18 {
        color * 0.30
    } else if draw < 0.60 {
        (color * 1.42).min(color.lerp(PALE, 0.6).max(color * 1.2))
    } else {
        color * (0.88 + 0.24 * share(grain.id, 2))
    };
    color.lerp(to, level * soft_edge(grain.wall))
}

/// Layers of 1 to 6 mm, thicker in what is larger than a hand, a little bent.
fn layers(color: Vec3A, spot: &SkinPoint) -> Vec3A {
    let own = spot.own;
    let thick = (0.001 + 0.005 * share(own, 13)) * (spot.reach / 0.08).clamp(1.0, 2.5);
    let level = seen(thick, spot.footprint);
    if level <= 0.0 {
        return color;
    }
    let bend = fractal(spot.place, 0.03, 0.006, 0.5, mix(own ^ BEND)).value;
    let layer = (spot.place.dot(direction(own)) + 0.006 * bend) / thick;
    let at = Vec3A::new(layer, 0.5, 0.5);
    let n = fractal(at, 1.6, 0.7, 0.7, mix(own ^ LAYERS)).value;
    // Some beds are plain, as half of those of a bar are
    let strength = level * (0.04 + 0.24 * share(own, 14).smoothstep(0.3, 1.0));
    color * (1.0 + 1.6 * strength * n)
}
