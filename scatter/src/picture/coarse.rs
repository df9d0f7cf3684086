//! A first picture in blocks, to judge a frame by while the full one is made.

use rayon::prelude::*;

use super::lens::Lens;
use super::sample::Sampler;
use super::world::Walk;
use super::{LookOptions, Picture, Subject, TracedKit, world};
use crate::error::Result;
use crate::optics::Camera;

/// Side of the blocks of a coarse picture, pixels: a sixteenth of the rays, and forms of a
/// hundredth of the frame can still be told.
pub const BLOCK: u32 = 4;

/// A picture in blocks of [`BLOCK`] pixels, each filled with the light at the pixel in its middle,
/// one sample of it.
///
/// # Errors
/// As [`super::render_with`].
pub fn coarse(
    kit: &TracedKit,
    scene: &Subject<'_>,
    camera: &Camera,
    options: &LookOptions,
) -> Result<Picture> {
    let world = world(kit, None, scene, camera, options)?;
    let whole = [options.width, options.height(camera)];
    let lens = Lens::new(camera, whole, options.depth_of_field);
    let part = options.part(camera);
    let (width, height) = (part.width, part.height);
    let mut picture = Picture::black(&world, [width, height]);
    let exposure = world.exposure();
    let strip = width as usize * BLOCK as usize * 3;
    picture.figures.rays = picture
        .rgb
        .par_chunks_mut(strip)
        .enumerate()
        .map(|(row, strip)| {
            let mut walk = Walk::default();
            let rows = (strip.len() / (width as usize * 3)) as u32;
            for x0 in (0..width).step_by(BLOCK as usize) {
                let columns = BLOCK.min(width - x0);
                let (x, y) = (x0 + columns / 2, row as u32 * BLOCK + rows / 2);
                let (x, y) = (x + part.x, y + part.y);
                let sampler = Sampler::new(x, y, 0);
                let light = world
                    .follow(lens.ray(x, y, &sampler), &sampler, &mut walk)
                    .light();
                let light = if light.is_finite() {
                    light * exposure
                } else {
                    glam::Vec3A::ZERO
                };
                for y in 0..rows {
                    for x in x0..x0 + columns {
                        let at = (y * width + x) as usize * 3;
                        strip[at..at + 3].copy_from_slice(&light.to_array());
                    }
                }
            }
            walk.rays
        })
        .sum();
    Ok(picture)
}
