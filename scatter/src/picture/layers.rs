//! What a compositor needs beside the light: depth, and the share of each pass in each pixel.

use rayon::prelude::*;

use super::lens::Lens;
use super::sample::Sampler;
use super::world::Walk;
use super::{LookOptions, Subject, TracedKit};
use crate::error::Result;
use crate::optics::Camera;

/// Depth and mattes of a picture, rows from the top.
#[derive(Debug, Clone, PartialEq)]
pub struct Layers {
    /// Depth along the line of sight at the middle of each pixel, metres; infinite where nothing
    /// is.
    pub depth: Vec<f32>,
    /// Each pass's name and its share of each pixel, 0 to 1, from the picture's own samples, so
    /// that blur and edges agree.
    pub mattes: Vec<(String, Vec<f32>)>,
}

/// Depth and mattes of the picture that [`render_with`](super::render_with) makes of the same.
///
/// # Errors
/// As [`render_with`](super::render_with).
pub fn layers(
    kit: &TracedKit,
    scene: &Subject<'_>,
    camera: &Camera,
    options: &LookOptions,
) -> Result<Layers> {
    let world = super::world(kit, None, scene, camera, options)?;
    let size = [options.width, options.height(camera)];
    let lens = Lens::new(camera, size, options.depth_of_field);
    let passes = scene.layout.passes.len();
    let share = 1.0 / options.samples as f32;
    let rows: Vec<(Vec<f32>, Vec<f32>)> = (0..size[1])
        .into_par_iter()
        .map(|y| {
            let mut walk = Walk::default();
            let mut depth = Vec::with_capacity(size[0] as usize);
            let mut shares = vec![0.0; size[0] as usize * passes];
            for x in 0..size[0] {
                let (ray, cosine) = lens.central(x, y);
                let hit = world.nearest(ray, &mut walk);
                depth.push(hit.map_or(f32::INFINITY, |h| h.mesh.t * cosine));
                for index in 0..options.samples {
                    let ray = lens.ray(x, y, &Sampler::new(x, y, index));
                    let hit = world.nearest(ray, &mut walk);
                    if let Some(pass) = hit.and_then(|h| world.pass_of(&h)) {
                        shares[x as usize * passes + pass] += share;
                    }
                }
            }
            (depth, shares)
        })
        .collect();
    let mattes = scene.layout.passes.iter().enumerate().map(|(i, pass)| {
        let of_pass = rows
            .iter()
            .flat_map(|(_, shares)| shares[i..].iter().step_by(passes));
        (pass.name.clone(), of_pass.copied().collect())
    });
    Ok(Layers {
        mattes: mattes.collect(),
        depth: rows.iter().flat_map(|(depth, _)| depth).copied().collect(),
    })
}
