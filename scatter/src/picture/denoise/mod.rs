//! Takes the noise out of pictures of few samples and leaves edges and texture.
//!
//! What is filtered is the light that falls on surfaces, not their colour: light is divided by the
//! base colour before and multiplied by it after, so that texture stays untouched. Light straight
//! from sun and lamps and light that bounced are filtered apart, as shadows have edges where
//! bounced light has none. What is seen of the sky is not filtered.
//!
//! Based on: Dammertz, Sewtz, Hanika and Lensch, "Edge-avoiding A-trous wavelet transform for fast
//! global illumination filtering", 2010; division by albedo and separate signals as in Schied et
//! al., "Spatiotemporal variance-guided filtering", 2017. Departs: a neighbour is left out by how
//! significantly its mean differs, given the variance of both (Welch's test, as in Sakai et al., "A
//! statistical approach to Monte Carlo denoising", 2024), and weights are polynomials: they end, and
//! are the same on every machine.

mod gathered;
mod guide;
mod wavelet;

pub(super) use gathered::GatheredLight;

use glam::Vec3A;
use rayon::prelude::*;

use guide::{Guide, Leniency};
use wavelet::{Estimate, level};

/// Most levels of a signal's filter: steps of 1, 2 and 4 pixels. Two average 66 pixels at most and
/// three 275, where ten make 4 samples read as 40; edges leave a few of them.
const LEVELS: u32 = 3;

/// Pixels over which a pixel's filtered light may depend on others: two steps a level, and one for
/// the smoothing of variances.
pub(super) const REACH: u32 = 2 * ((1 << LEVELS) - 1) + 1;

/// Sun and lamps: the shading of small relief and the edges of shadows are the picture, and little
/// of it is noise. Among 1, 2 and 3 levels, one is nearest to a picture of 1,024 samples.
const STRAIGHT: Leniency = Leniency {
    normal: 0.5,
    deviations: 2.5,
    levels: 1,
};
/// Bounced light comes from all sides and hardly changes with a normal's turn of 20 degrees.
const BOUNCED: Leniency = Leniency {
    normal: 0.8,
    deviations: 3.0,
    levels: LEVELS,
};

/// Mean light of each pixel, filtered. `gathered` holds the pixels of a picture `width` pixels
/// wide, row by row; `samples` were taken of each, and `pixel` is the side of one over its
/// distance.
pub(super) fn filtered(
    gathered: &[GatheredLight],
    width: usize,
    samples: u32,
    pixel: f32,
) -> Vec<Vec3A> {
    let guides: Vec<Guide> = gathered.par_iter().map(GatheredLight::guide).collect();
    let signal = |which: usize, tolerance: &Leniency| {
        let own: Vec<Estimate> = gathered.par_iter().map(|g| g.estimate(which)).collect();
        let mut light = wavelet::steadied(&own, &guides, width);
        for step in 0..tolerance.levels {
            light = level(&light, (&guides, width, pixel), 1 << step, tolerance);
        }
        light
    };
    let straight = signal(GatheredLight::STRAIGHT, &STRAIGHT);
    let bounced = signal(GatheredLight::BOUNCED, &BOUNCED);
    let lights = straight.par_iter().zip(&bounced);
    gathered
        .par_iter()
        .zip(lights)
        .map(|(g, (a, b))| g.light(a.light + b.light) / samples as f32)
        .collect()
}
