//! How pieces are turned about the ground's normal.

use crate::plan::stones::nearest_turn;

/// Directions that headings are drawn from: 0.09 degrees apart, finer than a heading is ever seen.
const DIRECTIONS: usize = 4096;

/// How pieces are turned about the ground's normal.
#[derive(Debug, Clone)]
pub struct Headings {
    directions: Vec<[f32; 2]>,
    /// The nearest sixty-fourth turn of each, from +x toward +z.
    turns: Vec<u8>,
}

impl Headings {
    /// Any heading, all as likely.
    #[must_use]
    pub fn random() -> Self {
        Self::from_angles(|u| u * std::f64::consts::TAU)
    }

    /// Long axes along an azimuth (radians, clockwise from -z seen from above), normally spread
    /// about it (standard deviation, radians); either end may point that way.
    #[must_use]
    pub fn toward(azimuth: f64, spread: f64) -> Self {
        Self::from_angles(|u| {
            let end = if u < 0.5 { 0.0 } else { std::f64::consts::PI };
            let share = (2.0 * u).fract();
            azimuth + end + spread * normal_quantile(share)
        })
    }

    fn from_angles(angle: impl Fn(f64) -> f64) -> Self {
        let directions: Vec<[f32; 2]> = (0..DIRECTIONS)
            .map(|i| {
                let a = angle((i as f64 + 0.5) / DIRECTIONS as f64);
                [libm::sin(a) as f32, -libm::cos(a) as f32]
            })
            .collect();
        let turns = directions.iter().map(|d| nearest_turn(*d) as u8);
        Self {
            turns: turns.collect(),
            directions,
        }
    }

    /// The sixty-fourth turn that is nearest to a picked heading.
    #[inline]
    pub(super) fn turn(&self, bits: u32) -> u8 {
        self.turns[(bits as usize * DIRECTIONS) >> 32]
    }

    #[inline]
    pub(super) fn pick(&self, bits: u32) -> [f32; 2] {
        self.directions[(bits as usize * DIRECTIONS) >> 32]
    }
}

/// Standard normal quantile by bisection of the error function: for tables, not for loops. `u` in
/// (0, 1).
fn normal_quantile(u: f64) -> f64 {
    let (mut low, mut high) = (-9.0, 9.0);
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if 0.5 * libm::erfc(-middle / std::f64::consts::SQRT_2) < u {
            low = middle;
        } else {
            high = middle;
        }
    }
    0.5 * (low + high)
}
