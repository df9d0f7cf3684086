//! What lies on the ground between the stones: small stones beside large ones, and bare ground.

use super::distance::distances;
use super::neighbours::Ownership;
use super::regions::Region;

/// A stone of this b axis is large, metres.
pub const LARGE_M: f64 = 20e-3;
/// Outer radii of the two rings about large stones, metres.
pub const RINGS_M: [f64; 2] = [2e-3, 5e-3];

/// Cover of smaller stones in each ring about the large ones over their cover beyond both; NaN
/// where a ring, or what is beyond, has no pixel or no stone. A pixel is in a ring by its distance
/// to the nearest pixel of a large stone.
#[must_use]
pub fn beside_large(owned: &Ownership, stones: &[&Region], pixel: f64) -> [f64; 2] {
    let is_large: Vec<bool> = owned
        .owner
        .iter()
        .map(|owner| owner.is_some_and(|o| stones[o as usize].axes[1] * pixel >= LARGE_M))
        .collect();
    let mut pixels = [0_usize; 3];
    let mut covered = [0_usize; 3];
    let from_large = distances(&is_large, owned.width);
    for (k, distance) in from_large.iter().enumerate().filter(|d| *d.1 > 0.0) {
        let ring = RINGS_M.iter().filter(|r| distance * pixel > **r).count();
        pixels[ring] += 1;
        covered[ring] += usize::from(owned.owner[k].is_some());
    }
    let [inner, outer, beyond] = [0, 1, 2].map(|k| covered[k] as f64 / pixels[k] as f64);
    // Without a large stone all is beyond, and the rings are 0 / 0
    [inner / beyond, outer / beyond].map(|r| if beyond > 0.0 { r } else { f64::NAN })
}

/// Distance of each pixel to the nearest stone, pixels: 0 on stones.
#[must_use]
pub fn bare(owned: &Ownership) -> Vec<f64> {
    let is_stone: Vec<bool> = owned.owner.iter().map(Option::is_some).collect();
    distances(&is_stone, owned.width)
}
