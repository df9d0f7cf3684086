//! What the place looks like beyond its shapes: bare ground, soil, wetness, what time left.

use glam::DVec2;

use crate::brief::{Look, SoilLook, Weathering, Wet};
use crate::random::{mix, unit};

/// What the place looks like beyond its shapes; for pictures, and for the ground as delivered.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Finish {
    /// What the ground looks like where it is bare.
    pub look: Look,
    /// Its soil, where it is not the look's own.
    pub soil: Option<SoilLook>,
    /// What is wet.
    pub wet: Option<Wet>,
    /// What time left on surfaces.
    pub weathering: Option<Weathering>,
    /// Where puddles stand: where the ground is this far below the mean about it ([`hollow`]),
    /// metres, or deeper. None without puddles.
    pub puddles: Option<f64>,
}

impl From<Look> for Finish {
    fn from(look: Look) -> Self {
        Self {
            look,
            soil: None,
            wet: None,
            weathering: None,
            puddles: None,
        }
    }
}

/// Radius of the mean that tells a hollow, metres: that of a footprint or a rut, by eye.
const HOLLOW_RADIUS: f64 = 0.25;

/// How far the ground at world x and z is below its mean within a quarter of a metre, metres.
pub fn hollow(height: impl Fn(f64, f64) -> f64, x: f64, z: f64) -> f64 {
    // Two rings of eight, turned against each other, weighted by the area that each stands for
    const H: f64 = std::f64::consts::FRAC_1_SQRT_2;
    const WAYS: [[f64; 2]; 8] = [
        [1.0, 0.0],
        [H, H],
        [0.0, 1.0],
        [-H, H],
        [-1.0, 0.0],
        [-H, -H],
        [0.0, -1.0],
        [H, -H],
    ];
    let ring = |radius: f64| {
        let heights = WAYS.map(|[a, b]| height(x + radius * a, z + radius * b));
        heights.iter().sum::<f64>() / 8.0
    };
    let mean = 0.35 * ring(0.5 * HOLLOW_RADIUS) + 0.65 * ring(HOLLOW_RADIUS);
    mean - height(x, z)
}

/// The depth of hollow from which a share of the ground about `middle` (world x and z) is under
/// water; None where the ground has no hollows to speak of.
pub(super) fn puddles(height: impl Fn(f64, f64) -> f64, middle: DVec2, share: f64) -> Option<f64> {
    /// Half the side of the ground that is looked over, metres: what a close-up shows.
    const HALF: f64 = 2.0;
    /// Places that are looked at: the share is met within a twentieth.
    const PLACES: u64 = 600;
    /// A hollow that holds water to be seen, metres.
    const SHALLOWEST: f64 = 2e-4;
    let at = |k: u64| HALF * (2.0 * unit(mix(k)) - 1.0);
    let places = (0..PLACES).map(|k| (middle.x + at(2 * k + 1), middle.y + at(2 * k + 2)));
    let depths = places.map(|(x, z)| hollow(&height, x, z));
    let mut depths: Vec<f64> = depths.filter(|d| d.is_finite()).collect();
    depths.sort_by(|a, b| b.total_cmp(a));
    let last = (share * depths.len() as f64) as usize;
    let depth = *depths.get(last.min(depths.len().saturating_sub(1)))?;
    (depths[0] > SHALLOWEST && share > 0.0).then_some(depth)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn puddles_cover_the_share_that_is_asked_for_and_lie_low() {
        let wave = |x: f64, z: f64| 0.03 * (7.0 * x).sin() * (6.0 * z).cos();
        let depth = puddles(wave, DVec2::ZERO, 0.2).unwrap();
        // Another set of places: 10,000, standard error under half a hundredth
        let places = (0..10_000).map(|k| {
            (
                f64::from(k % 100) * 0.04 - 2.0,
                f64::from(k / 100) * 0.04 - 2.0,
            )
        });
        let under = places.filter(|(x, z)| hollow(wave, *x, *z) >= depth);
        let (mut count, mut sum) = (0.0, 0.0);
        for (x, z) in under {
            count += 1.0;
            sum += wave(x, z);
        }
        assert!((count / 10_000.0 - 0.2_f64).abs() < 0.05, "{count}");
        assert!(sum / count < -0.01, "mean height {}", sum / count);
        assert_eq!(puddles(|_, _| 1.0, DVec2::ZERO, 0.2), None);
    }
}
