//! What is seen at the middle of a pixel.

use glam::DVec3;

use super::lens::Lens;
use super::world::Walk;
use super::{LookOptions, Subject, TracedKit};
use crate::error::{Error, Result};
use crate::optics::Camera;

/// What a pixel shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SeenThing {
    /// A piece: its index in the layout's instances.
    Piece(usize),
    /// A hero.
    Hero,
    /// The ground.
    Ground,
}

/// A thing that is seen, and where.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Seen {
    /// What it is.
    pub thing: SeenThing,
    /// The place on it in the world, metres; single precision, counted from the lens.
    pub position: DVec3,
    /// Distance from the lens, metres.
    pub distance: f64,
}

/// What is seen at the middle of the pixel in column `x` and row `y` of the picture that
/// [`render_with`](super::render_with) makes of the same. None where nothing but sky is.
///
/// # Errors
/// As [`render_with`](super::render_with), and for a pixel outside the picture.
pub fn pick(
    kit: &TracedKit,
    scene: &Subject<'_>,
    camera: &Camera,
    options: &LookOptions,
    [x, y]: [u32; 2],
) -> Result<Option<Seen>> {
    let size = [options.width, options.height(camera)];
    if x >= size[0] || y >= size[1] {
        return Err(Error::input(
            "X,Y",
            format!("the pixel {x},{y} is not in the picture"),
            format!(
                "0,0 to {},{}; --width says how wide the picture is",
                size[0] - 1,
                size[1] - 1
            ),
        ));
    }
    let world = super::world(kit, None, scene, camera, options)?;
    let lens = Lens::new(camera, size, options.depth_of_field);
    let (ray, _) = lens.central(x, y);
    let hit = world.nearest(ray, &mut Walk::default());
    Ok(hit.map(|hit| Seen {
        thing: match world.instance_of(&hit) {
            Some(index) => SeenThing::Piece(index),
            None if world.is_ground(&hit) => SeenThing::Ground,
            None => SeenThing::Hero,
        },
        position: camera.position + (ray.direction * hit.mesh.t).as_dvec3(),
        distance: f64::from(hit.mesh.t),
    }))
}
