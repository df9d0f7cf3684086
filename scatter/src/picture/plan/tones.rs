//! Tones of a plan: one a pass, told apart by hue and lightness.
//!
//! Based on: Ottosson, "A perceptual color space for image processing" (OKLab), 2020: equal steps
//! look equal.

use std::f64::consts::TAU;

/// 8-bit sRGB.
pub(super) type Srgb8 = [u8; 3];

/// Lines and letters.
pub(super) const INK: Srgb8 = [30, 30, 34];
/// The paper: under everything, and under the legend.
pub(super) const PAPER: Srgb8 = [240, 238, 232];
/// Heroes.
pub(super) const HERO: Srgb8 = [206, 150, 44];

/// Hue of the first tone: a blue grey, far from the hero's ochre.
const FIRST_HUE: f64 = 0.66;
/// Golden ratio: steps of it round a circle never come near each other soon.
const STEP: f64 = 0.618_033_988_749_894_9;

/// A tone for each of `count` passes; the first ones are the darkest, as large pieces lie under
/// small ones.
pub(super) fn of(count: usize) -> Vec<Srgb8> {
    (0..count)
        .map(|i| {
            let lightness = 0.52 + 0.26 * (i as f64 / count.max(2) as f64);
            let (sin, cos) = libm::sincos(TAU * (FIRST_HUE + STEP * i as f64));
            srgb(lightness, 0.085 * cos, 0.085 * sin)
        })
        .collect()
}

fn srgb(lightness: f64, a: f64, b: f64) -> Srgb8 {
    let cube = |v: f64| v * v * v;
    let l = cube(lightness + 0.396_337_777_4 * a + 0.215_803_757_3 * b);
    let m = cube(lightness - 0.105_561_345_8 * a - 0.063_854_172_8 * b);
    let s = cube(lightness - 0.089_484_177_5 * a - 1.291_485_548 * b);
    [
        4.076_741_662_1 * l - 3.307_711_591_3 * m + 0.230_969_929_2 * s,
        -1.268_438_004_6 * l + 2.609_757_401_1 * m - 0.341_319_396_5 * s,
        -0.004_196_086_3 * l - 0.703_418_614_7 * m + 1.707_614_701 * s,
    ]
    .map(|c| {
        let c = c.clamp(0.0, 1.0);
        let encoded = if c <= 0.003_130_8 {
            12.92 * c
        } else {
            1.055 * libm::pow(c, 1.0 / 2.4) - 0.055
        };
        (encoded * 255.0 + 0.5) as u8
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tones_of_a_shot_can_be_told_apart() {
        let tones = of(8);
        for (i, a) in tones.iter().enumerate() {
            for b in &tones[..i] {
                let apart: u32 = a
                    .iter()
                    .zip(b)
                    .map(|(a, b)| u32::from(a.abs_diff(*b)))
                    .sum();
                assert!(apart > 24, "{a:?} {b:?}");
            }
        }
    }

    #[test]
    fn white_and_black_are_where_they_should_be() {
        assert_eq!(srgb(1.0, 0.0, 0.0), [255; 3]);
        assert_eq!(srgb(0.0, 0.0, 0.0), [0; 3]);
    }
}
