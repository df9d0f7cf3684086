//! One level of the wavelet.

use glam::Vec3A;
use rayon::prelude::*;

use super::guide::{Guide, Leniency};
use crate::picture::light::luminance;

/// What falls on a pixel's surface.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Estimate {
    /// Mean, linear.
    pub(super) light: Vec3A,
    /// Variance of the luminance of the mean; none where nothing tells.
    pub(super) variance: Option<f32>,
}

/// Differences under this share of the light are not seen, whatever variances say.
const UNSEEN: f32 = 0.02;

/// The B3 spline, whose even steps are the wavelet's.
const SPLINE: [f32; 5] = [1.0 / 16.0, 4.0 / 16.0, 6.0 / 16.0, 4.0 / 16.0, 1.0 / 16.0];

/// Calls `each` for the pixels around one, in steps of `step`, out to `far` steps: their index, and
/// the steps to them along columns and rows.
#[inline(always)]
fn around(
    (width, height): (usize, usize),
    (row, column): (usize, usize),
    (step, far): (i32, i32),
    mut each: impl FnMut(usize, i32, i32),
) {
    for dy in -far..=far {
        let y = row as i32 + dy * step;
        if y < 0 || y >= height as i32 {
            continue;
        }
        for dx in -far..=far {
            let x = column as i32 + dx * step;
            if x >= 0 && x < width as i32 {
                each(y as usize * width + x as usize, dx, dy);
            }
        }
    }
}

/// What `pixel` makes of each pixel's row and column.
fn each<T: Send>(
    (width, height): (usize, usize),
    pixel: impl Fn(usize, usize) -> T + Sync,
) -> Vec<T> {
    let rows = (0..height).into_par_iter();
    rows.flat_map_iter(|row| (0..width).map(move |column| (row, column)))
        .map(|(row, column)| pixel(row, column))
        .collect()
}

/// Gives each pixel the mean variance of those around it: of a few samples it is itself noise, and
/// low where by chance the light is. Where samples can't tell, the spread among neighbours does.
pub(super) fn steadied(own: &[Estimate], guides: &[Guide], width: usize) -> Vec<Estimate> {
    let size = (width, own.len() / width);
    each(size, |row, column| {
        let here = row * width + column;
        let (mut sum, mut weights) = (0.0, 0.0);
        let (mut first, mut second, mut count) = (0.0, 0.0, 0.0_f32);
        around(size, (row, column), (1, 1), |i, dx, dy| {
            if !guides[i].surface {
                return;
            }
            let weight = 1.0 / (1 << (dx.abs() + dy.abs())) as f32;
            if let Some(variance) = own[i].variance {
                sum += weight * variance;
                weights += weight;
            }
            let light = luminance(own[i].light);
            (first, second, count) = (first + light, second + light * light, count + 1.0);
        });
        let mean = first / count.max(1.0);
        let variance = if weights > 0.0 {
            sum / weights
        } else {
            (second / count.max(1.0) - mean * mean).max(0.0)
        };
        Estimate {
            light: own[here].light,
            variance: Some(variance),
        }
    })
}

/// The next level: means of 5 x 5 pixels in steps of `step`, of those of one surface whose light
/// does not differ significantly. `guides` come with the picture's width and the side of a pixel
/// over its distance.
pub(super) fn level(
    light: &[Estimate],
    (guides, width, pixel): (&[Guide], usize, f32),
    step: i32,
    tolerance: &Leniency,
) -> Vec<Estimate> {
    let size = (width, light.len() / width);
    let cut = tolerance.deviations * tolerance.deviations;
    each(size, |row, column| {
        let here = row * width + column;
        let (own, guide) = (light[here], &guides[here]);
        if !guide.surface {
            return own;
        }
        let own_light = luminance(own.light);
        let own_variance = own.variance.unwrap_or(0.0);
        let (mut sum, mut weights, mut variance) = (Vec3A::ZERO, 0.0, 0.0);
        around(size, (row, column), (step, 2), |i, dx, dy| {
            let (other, other_guide) = (&light[i], &guides[i]);
            if !other_guide.surface {
                return;
            }
            let mut weight = SPLINE[(dx + 2) as usize] * SPLINE[(dy + 2) as usize];
            let spread = other.variance.unwrap_or(0.0);
            if i != here {
                let other_light = luminance(other.light);
                let unseen = UNSEEN * (own_light + other_light);
                let room = cut * (own_variance + spread + unseen * unseen);
                let apart = own_light - other_light;
                let apart = apart * apart;
                if apart >= room {
                    return;
                }
                let pixels = step as f32 * ((dx * dx + dy * dy) as f32).sqrt();
                let same = 1.0 - apart / room;
                weight *= same * guide.likeness(other_guide, pixels, pixel, tolerance);
            }
            sum += other.light * weight;
            weights += weight;
            variance += spread * weight * weight;
        });
        Estimate {
            light: sum / weights,
            variance: Some(variance / (weights * weights)),
        }
    })
}
