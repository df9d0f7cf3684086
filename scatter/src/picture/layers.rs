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
    /// The id of the piece at the middle of each pixel; 0 where there is none.
    pub ids: Vec<u64>,
}

/// A row of pixels.
#[derive(Default)]
struct Row {
    depth: Vec<f32>,
    ids: Vec<u64>,
    /// Of each pass, pixel by pixel.
    shares: Vec<f32>,
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
    let part = options.part(camera);
    let passes = scene.layout.passes.len();
    let share = 1.0 / options.samples as f32;
    let rows: Vec<Row> = (part.y..part.y + part.height)
        .into_par_iter()
        .map(|y| {
            let mut walk = Walk::default();
            let mut row = Row {
                shares: vec![0.0; part.width as usize * passes],
                ..Row::default()
            };
            for column in 0..part.width {
                let x = part.x + column;
                let (ray, cosine) = lens.central(x, y);
                let hit = world.nearest(ray, &mut walk);
                let depth = hit.map_or(f32::INFINITY, |h| h.mesh.t * cosine);
                row.depth.push(depth);
                let instance = hit.and_then(|h| world.instance_of(&h));
                row.ids
                    .push(instance.map_or(0, |i| scene.layout.instances[i].id));
                for index in 0..options.samples {
                    let ray = lens.ray(x, y, &Sampler::new(x, y, index));
                    let hit = world.nearest(ray, &mut walk);
                    if let Some(pass) = hit.and_then(|h| world.pass_of(&h)) {
                        row.shares[column as usize * passes + pass] += share;
                    }
                }
            }
            row
        })
        .collect();
    let mattes = scene.layout.passes.iter().enumerate().map(|(i, pass)| {
        let of_pass = rows
            .iter()
            .flat_map(|row| row.shares[i..].iter().step_by(passes));
        (pass.name.clone(), of_pass.copied().collect())
    });
    Ok(Layers {
        mattes: mattes.collect(),
        depth: rows.iter().flat_map(|row| &row.depth).copied().collect(),
        ids: rows.iter().flat_map(|row| &row.ids).copied().collect(),
    })
}
