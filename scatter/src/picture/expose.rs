//! Takes a picture's samples.

use glam::Vec3A;
use rayon::prelude::*;

use super::denoise::{self, GatheredLight};
use super::lens::Lens;
use super::sample::Sampler;
use super::world::{Walk, World};
use super::{Crop, LookOptions, Picture};
use crate::optics::Camera;

/// Side of the square tiles that threads work on, pixels: near rays meet near things.
const TILE: u32 = 16;

/// A tile's pixels, and what their samples brought so far.
struct Tile {
    /// In pixels of the whole picture.
    part: Crop,
    /// Sums of light, row by row.
    light: Vec<Vec3A>,
    /// What the filter needs; empty without one.
    gathered: Vec<GatheredLight>,
}

/// The tiles of a part.
fn tiles(part: &Crop, denoise: bool) -> Vec<Tile> {
    let starts = |from: u32, length: u32| (from..from + length).step_by(TILE as usize);
    let rows = starts(part.y, part.height);
    let corners = rows.flat_map(|y| starts(part.x, part.width).map(move |x| (x, y)));
    corners
        .map(|(x, y)| {
            let part = Crop {
                x,
                y,
                width: TILE.min(part.x + part.width - x),
                height: TILE.min(part.y + part.height - y),
            };
            let pixels = (part.width * part.height) as usize;
            Tile {
                part,
                light: vec![Vec3A::ZERO; pixels],
                gathered: vec![GatheredLight::default(); if denoise { pixels } else { 0 }],
            }
        })
        .collect()
}

impl Tile {
    /// Takes the samples of these numbers; returns the rays followed.
    fn sample(&mut self, world: &World<'_>, lens: &Lens, samples: std::ops::Range<u32>) -> u64 {
        let mut walk = Walk::default();
        let Crop { width, height, .. } = self.part;
        for pixel in 0..width * height {
            let (x, y) = (self.part.x + pixel % width, self.part.y + pixel / width);
            for index in samples.clone() {
                let sampler = Sampler::new(x, y, index);
                let followed = world.follow(lens.ray(x, y, &sampler), &sampler, &mut walk);
                let light = followed.light();
                if !light.is_finite() {
                    continue;
                }
                self.light[pixel as usize] += light;
                if let Some(gathered) = self.gathered.get_mut(pixel as usize) {
                    gathered.add(&followed);
                }
            }
        }
        walk.rays
    }
}

/// The part with as many pixels around as a denoised pixel depends on, within the picture.
fn with_margin(part: &Crop, [width, height]: [u32; 2]) -> Crop {
    let (x, y) = (
        part.x.saturating_sub(denoise::REACH),
        part.y.saturating_sub(denoise::REACH),
    );
    Crop {
        x,
        y,
        width: (part.x + part.width + denoise::REACH).min(width) - x,
        height: (part.y + part.height + denoise::REACH).min(height) - y,
    }
}

/// Puts `of` each tile into rows of `part`; what lies outside of it is left out.
fn in_rows<T: Copy + Default>(tiles: &[Tile], part: &Crop, of: impl Fn(&Tile) -> &[T]) -> Vec<T> {
    let mut rows = vec![T::default(); part.width as usize * part.height as usize];
    for tile in tiles {
        for (pixel, value) in (0..).zip(of(tile)) {
            let x = tile.part.x + pixel % tile.part.width;
            let y = tile.part.y + pixel / tile.part.width;
            let (Some(x), Some(y)) = (x.checked_sub(part.x), y.checked_sub(part.y)) else {
                continue;
            };
            if x < part.width && y < part.height {
                rows[y as usize * part.width as usize + x as usize] = *value;
            }
        }
    }
    rows
}

/// `light`, in rows of `from`, cut to `part` and scaled.
fn cut(light: &[Vec3A], from: &Crop, part: &Crop, scale: f32) -> Vec<f32> {
    let row = |y: u32| {
        let first = (part.y - from.y + y) * from.width + part.x - from.x;
        &light[first as usize..(first + part.width) as usize]
    };
    let rows = (0..part.height).flat_map(row);
    rows.flat_map(|c| (*c * scale).to_array()).collect()
}

/// Takes the samples, in steps of four times as many.
pub(super) fn expose(
    world: &World<'_>,
    camera: &Camera,
    options: &LookOptions,
    progress: &mut dyn FnMut(&Picture, u32) -> bool,
) -> Picture {
    let whole = [options.width, options.height(camera)];
    let lens = Lens::new(camera, whole, options.depth_of_field);
    let part = options.part(camera);
    let sampled = if options.denoise {
        with_margin(&part, whole)
    } else {
        part
    };
    let mut tiles = tiles(&sampled, options.denoise);
    let mut picture = Picture::black(world, [part.width, part.height]);
    let exposure = world.exposure();
    let (mut taken, mut goal) = (0, 1);
    loop {
        let until = goal.min(options.samples);
        picture.figures.rays += tiles
            .par_iter_mut()
            .map(|tile| tile.sample(world, &lens, taken..until))
            .sum::<u64>();
        taken = until;
        let light = in_rows(&tiles, &part, |tile| &tile.light);
        let raw = cut(&light, &part, &part, exposure / taken as f32);
        if options.denoise {
            let gathered = in_rows(&tiles, &sampled, |tile| &tile.gathered);
            let width = sampled.width as usize;
            let light = denoise::filtered(&gathered, width, taken, world.pixel());
            picture.rgb = cut(&light, &sampled, &part, exposure);
            picture.raw = Some(raw);
        } else {
            picture.rgb = raw;
        }
        if !progress(&picture, taken) || taken == options.samples {
            return picture;
        }
        goal = goal.saturating_mul(4);
    }
}
