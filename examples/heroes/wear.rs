//! What use and weather do: noise in space, dents, colours over each other.

use glam::DVec3;
use scatter::random::{cell_key, join};

/// Gradient noise in space, about -1 to 1. Perlin, "Improving noise", 2002; gradients are hashed
/// from the lattice point.
pub(crate) fn noise(key: u64, p: DVec3) -> f64 {
    let base = p.floor();
    let u = p - base;
    let fade = |t: f64| t * t * t * (t * (t * 6.0 - 15.0) + 10.0);
    let (fx, fy, fz) = (fade(u.x), fade(u.y), fade(u.z));
    let corner = |i: usize| {
        let [x, y, z] = [i & 1, i >> 1 & 1, i >> 2].map(|c| c as f64);
        let [ix, iy, iz] = [base.x + x, base.y + y, base.z + z].map(|c| c as i64);
        let hash = join(cell_key(key, ix, iy), iz as u64) >> 60;
        let d = u - DVec3::new(x, y, z);
        // The twelve edges of a cube, four of them twice
        let (a, b) = match hash {
            0..=3 | 12 | 13 => (d.x, d.y),
            4..=7 => (d.x, d.z),
            _ => (d.y, d.z),
        };
        (if hash & 1 == 0 { a } else { -a }) + (if hash & 2 == 0 { b } else { -b })
    };
    let mix = |a: f64, b: f64, t: f64| a + (b - a) * t;
    let row = |i: usize| mix(corner(i), corner(i + 1), fx);
    let face = |i: usize| mix(row(i), row(i + 2), fy);
    mix(face(0), face(4), fz)
}

/// A sum of three octaves of noise, about -1 to 1, its largest forms `feature` metres.
pub(crate) fn fractal(key: u64, p: DVec3, feature: f64) -> f64 {
    let q = p / feature;
    (noise(key, q) + 0.5 * noise(join(key, 1), q * 2.03) + 0.25 * noise(join(key, 2), q * 4.11))
        / 1.2
}

/// 0 at and before `from`, 1 at and after `to`, smooth between; `from` may be the larger.
pub(crate) fn ramp(from: f64, to: f64, x: f64) -> f64 {
    let t = ((x - from) / (to - from)).clamp(0.0, 1.0);
    t * t * (3.0 - 2.0 * t)
}

/// A colour, linear sRGB.
pub(crate) type Color = DVec3;

/// A colour of three linear values.
pub(crate) const fn color(r: f64, g: f64, b: f64) -> Color {
    DVec3::new(r, g, b)
}

/// Sheet metal or clay pushed in.
pub(crate) struct Dent {
    /// Where the middle of the dent was, metres.
    pub(crate) at: [f64; 3],
    /// Which way it went.
    pub(crate) push: [f64; 3],
    /// How far its edge is from the middle, metres.
    pub(crate) reach: f64,
    /// How deep, metres.
    pub(crate) depth: f64,
}

/// Key of the noise in dents' outlines; any will do.
const DENT_KEY: u64 = 0xde27;

/// Where dents carry a point.
pub(crate) fn dented(dents: &[Dent], p: DVec3) -> DVec3 {
    dents.iter().fold(p, |q, dent| {
        // Its outline is not round
        let ragged = 1.0 + 0.28 * noise(DENT_KEY, p / (0.9 * dent.reach));
        let t = ragged * p.distance(DVec3::from_array(dent.at)) / dent.reach;
        // A flat floor, a steep flank, and a slight swelling outside, as sheet metal takes a knock
        let swell = 0.12 * ramp(0.8, 1.05, t) * ramp(1.5, 1.05, t);
        let push = DVec3::from_array(dent.push).normalize_or_zero();
        q + push * (dent.depth * (ramp(1.0, 0.25, t) - swell))
    })
}
