//! Holes: discs of bare ground that touch no stone.

use super::regions::around;

/// A disc of bare ground.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Hole {
    /// Column and row of its middle, pixels.
    pub centre: [f64; 2],
    /// Radius, pixels: from its middle to the near side of the nearest stone's pixel.
    pub radius: f64,
}

/// Bare discs that do not overlap, widest first: greedy, among the local maxima of `bare`, the
/// distance of each pixel to the nearest stone. A disc lies wholly within the image.
#[must_use]
pub fn holes(bare: &[f64], width: usize) -> Vec<Hole> {
    let height = bare.len() / width.max(1);
    let mut found: Vec<Hole> = (0..bare.len())
        .filter(|k| bare[*k] > 0.0 && bare[*k].is_finite())
        .filter(|k| around(*k, width, height).all(|other| bare[other] <= bare[*k]))
        .map(|k| Hole {
            centre: [(k % width) as f64, (k / width) as f64],
            radius: bare[k] - 0.5,
        })
        .filter(|hole| {
            let room = |v: f64, n: usize| (v + 0.5).min(n as f64 - 0.5 - v);
            room(hole.centre[0], width).min(room(hole.centre[1], height)) >= hole.radius
        })
        .collect();
    found.sort_by(|a, b| b.radius.total_cmp(&a.radius));
    let mut kept: Vec<Hole> = Vec::new();
    for hole in found {
        let is_free = kept.iter().all(|other| {
            let [x, z] = [0, 1].map(|k| hole.centre[k] - other.centre[k]);
            (x * x + z * z).sqrt() >= hole.radius + other.radius
        });
        if is_free {
            kept.push(hole);
        }
    }
    kept
}

/// Holes wider than `least` pixels, a pixel of image. A hole counts by the share of the image in
/// which its middle could lie with the hole wholly within it, so that wide ones are not too few
/// (minus sampling).
#[must_use]
pub fn density(holes: &[Hole], least: f64, [width, height]: [usize; 2]) -> f64 {
    let weight = |hole: &Hole| {
        let room = |n: usize| (n as f64 - 2.0 * hole.radius).max(1.0);
        1.0 / (room(width) * room(height))
    };
    let wide = holes.iter().filter(|hole| 2.0 * hole.radius > least);
    wide.map(weight).sum()
}
