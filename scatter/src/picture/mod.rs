//! A ray-traced look through a shot's camera.
//!
//! Sun as a disc, sky light and one bounce; a thin lens; a ground shader with grains down to the
//! pixel. The same scene, size and samples give the same bytes with any number of threads.

mod backdrop;
mod coarse;
mod denoise;
mod distance;
mod dome;
mod expose;
pub mod exr;
mod fabric;
mod file;
mod followed;
mod frame;
mod glass;
mod ground;
mod layers;
mod lens;
mod lettering;
mod light;
mod mesh;
mod noise;
mod open;
mod pick;
mod placed;
pub mod plan;
pub mod png;
mod probe;
mod sample;
mod sheet;
mod skin;
mod soil;
mod solid;
mod support;
mod surface;
mod texels;
mod tone;
mod trace;
mod weathered;
mod wet;
mod world;

pub use backdrop::Backdrop;
pub use coarse::{BLOCK, coarse};
pub use file::check_target;
pub use layers::{Layers, layers};
pub use pick::{Seen, SeenThing, pick};
pub use probe::Probe;
pub use sheet::Sheet;
pub use tone::{MOST_STOPS, Tone};
pub use world::TracedKit;

use crate::error::{Error, Result};
use crate::ground::Ground;
use crate::layout::Layout;
use crate::optics::Camera;
use crate::scene::{Finish, Light, Prop, Scene};

use expose::expose;
use world::World;

/// What there is to see.
#[derive(Clone)]
pub struct Subject<'a> {
    /// Placed pieces.
    pub layout: &'a Layout,
    /// Heroes.
    pub heroes: Vec<Prop<'a>>,
    /// The ground, where there is one.
    pub ground: Option<&'a Ground>,
    /// What the place looks like beyond its shapes.
    pub finish: Finish,
    /// Sun and sky.
    pub light: Light,
}

impl<'a> Subject<'a> {
    /// A layout in its scene.
    #[must_use]
    pub fn new(scene: &'a Scene, layout: &'a Layout) -> Self {
        Self {
            layout,
            heroes: scene.props(),
            ground: Some(&scene.ground),
            finish: scene.finish,
            light: scene.light,
        }
    }
}

impl std::fmt::Debug for Subject<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Subject")
            .field("instances", &self.layout.instances.len())
            .field("heroes", &self.heroes.len())
            .field("finish", &self.finish)
            .field("light", &self.light)
            .finish_non_exhaustive()
    }
}

/// A part of a picture, in pixels from its upper left corner. Its pixels are those of the whole
/// picture, bit by bit; where it is denoised, a margin is sampled around it for that.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Crop {
    /// First column.
    pub x: u32,
    /// First row.
    pub y: u32,
    /// Columns.
    pub width: u32,
    /// Rows.
    pub height: u32,
}

/// How to look.
#[derive(Debug, Clone, PartialEq)]
pub struct LookOptions {
    /// Width of the picture in pixels; its height follows the camera's frame.
    pub width: u32,
    /// The part of the picture to make, and nothing else. None for the whole.
    pub crop: Option<Crop>,
    /// Samples a pixel.
    pub samples: u32,
    /// Surfaces that light is followed back to after the one that is seen, at least 1. What comes
    /// after counts as lit by the sky's mean.
    pub bounces: u32,
    /// Names of the only passes to show; empty shows all.
    pub only: Vec<String>,
    /// Names of passes to leave out.
    pub without: Vec<String>,
    /// Blur by the camera's focus distance and stop.
    pub depth_of_field: bool,
    /// Take the noise out and keep edges and texture.
    pub denoise: bool,
}

impl Default for LookOptions {
    fn default() -> Self {
        Self {
            width: 960,
            crop: None,
            samples: 16,
            bounces: 2,
            only: Vec::new(),
            without: Vec::new(),
            depth_of_field: true,
            denoise: false,
        }
    }
}

/// Most pixels of a picture: 100 megapixels are 1.2 GB of linear light.
const MOST_PIXELS: u64 = 100_000_000;

/// Most surfaces that light is followed back to: after 16 of albedo 0.5 nothing is left of it in 16
/// bits.
const MOST_BOUNCES: u32 = 16;

impl LookOptions {
    /// Height of the picture in pixels.
    #[must_use]
    pub fn height(&self, camera: &Camera) -> u32 {
        ((f64::from(self.width) / camera.aspect()).round() as u32).max(1)
    }

    /// Side of a pixel over the distance.
    fn pixel(&self, camera: &Camera) -> f64 {
        2.0 * libm::tan(0.5 * camera.yfov) / f64::from(self.height(camera))
    }

    /// Which passes of the layout are shown.
    fn shown_passes(&self, layout: &Layout) -> Result<Vec<bool>> {
        for name in self.only.iter().chain(&self.without) {
            if !layout.passes.iter().any(|p| p.name == *name) {
                let known: Vec<_> = layout.passes.iter().map(|p| p.name.as_str()).collect();
                return Err(Error::input(
                    "",
                    format!("there is no pass `{name}`"),
                    format!("the passes are: {}", known.join(", ")),
                ));
            }
        }
        Ok(layout
            .passes
            .iter()
            .map(|p| {
                (self.only.is_empty() || self.only.contains(&p.name))
                    && !self.without.contains(&p.name)
            })
            .collect())
    }

    /// The part of the picture that is made: the crop, or the whole.
    #[must_use]
    pub fn part(&self, camera: &Camera) -> Crop {
        self.crop.unwrap_or(Crop {
            x: 0,
            y: 0,
            width: self.width,
            height: self.height(camera),
        })
    }

    /// Whether a picture can be made so.
    ///
    /// # Errors
    /// A side of it is zero, there are no samples, it would be too large, or the camera's numbers
    /// can't be used.
    pub fn check(&self, camera: &Camera) -> Result<()> {
        let [w, h] = camera.frame;
        if w == 0 || h == 0 || self.width == 0 {
            return Err(Error::input(
                "frame",
                "a side of the picture is zero",
                "give a width and a height of one pixel or more",
            ));
        }
        if self.samples == 0 {
            return Err(Error::input(
                "samples",
                "there are no samples to take",
                "give 1 or more",
            ));
        }
        if !(1..=MOST_BOUNCES).contains(&self.bounces) {
            return Err(Error::input(
                "bounces",
                format!("light can't be followed over {} surfaces", self.bounces),
                format!("give 1 to {MOST_BOUNCES}"),
            ));
        }
        let whole = [self.width, self.height(camera)];
        let part = self.part(camera);
        let ends = [(part.x, part.width), (part.y, part.height)];
        for ((from, length), side) in ends.into_iter().zip(whole) {
            if length == 0 || u64::from(from) + u64::from(length) > u64::from(side) {
                return Err(Error::input(
                    "crop",
                    format!(
                        "{} x {} pixels at {},{} are not within the picture",
                        part.width, part.height, part.x, part.y
                    ),
                    format!("the picture has {} x {} pixels", whole[0], whole[1]),
                ));
            }
        }
        let pixels = u64::from(part.width) * u64::from(part.height);
        if pixels > MOST_PIXELS {
            return Err(Error::new(
                crate::error::ErrorKind::OverBudget,
                crate::error::Fault::new(
                    "frame",
                    format!(
                        "{} x {} pixels would take {:.1} GB",
                        part.width,
                        part.height,
                        pixels as f64 * 12e-9
                    ),
                    format!("stay within {} megapixels", MOST_PIXELS / 1_000_000),
                ),
            ));
        }
        let sound = camera.position.is_finite()
            && camera.rotation.is_finite()
            && camera.rotation.length_squared() > 1e-12
            && camera.yfov > 0.0
            && camera.yfov < std::f64::consts::PI
            && camera.near > 0.0
            && camera.far > camera.near;
        if !sound {
            return Err(Error::input(
                format!("camera {}", camera.name),
                "its place, angle of view or depths are not usable numbers",
                "position finite, angle of view within 0 and 180 degrees, 0 < near < far",
            ));
        }
        Ok(())
    }
}

/// Linear light through the lens.
#[derive(Debug, Clone, PartialEq)]
pub struct Picture {
    /// Pixels across.
    pub width: u32,
    /// Pixels down.
    pub height: u32,
    /// Linear sRGB, three values a pixel, rows from the top; 1 is a white card in this light.
    pub rgb: Vec<f32>,
    /// The same as it was sampled, where `rgb` is denoised.
    pub raw: Option<Vec<f32>>,
    /// What it took.
    pub figures: Figures,
    /// What could not be shown as it was meant, such as a broken texture.
    pub warnings: Vec<String>,
}

impl Picture {
    /// A picture of a world before any light has come.
    fn black(world: &World<'_>, [width, height]: [u32; 2]) -> Self {
        Self {
            width,
            height,
            rgb: vec![0.0; width as usize * height as usize * 3],
            raw: None,
            figures: world.figures(),
            warnings: world.warnings(),
        }
    }
}

/// What a picture took.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Figures {
    /// Rays followed.
    pub rays: u64,
    /// Instances in the scene.
    pub instances: u64,
    /// Bytes of the instance store and the hierarchy over it.
    pub instance_bytes: u64,
    /// Bytes of the pieces, heroes and ground with their hierarchies.
    pub mesh_bytes: u64,
}

/// Renders `scene` through `camera`. `progress` is called with the picture so far and the samples
/// taken, after 1, 4, 16 ... samples and at the end; it returns whether to go on.
///
/// # Errors
/// When a number of the scene, camera or options can't be used, a named pass is missing, the lens
/// is under the ground or inside a piece or a hero, or the picture would be too large.
pub fn render(
    scene: &Subject<'_>,
    camera: &Camera,
    options: &LookOptions,
    progress: &mut dyn FnMut(&Picture, u32) -> bool,
) -> Result<Picture> {
    // Refuse before the work
    options.check(camera)?;
    render_with(
        &TracedKit::new(&scene.layout.pieces),
        scene,
        camera,
        options,
        progress,
    )
}

/// As [`render`], with the pieces made ready before: for one kit in many pictures.
///
/// # Errors
/// As [`render`], and when the kit is not that of the layout.
pub fn render_with(
    kit: &TracedKit,
    scene: &Subject<'_>,
    camera: &Camera,
    options: &LookOptions,
    progress: &mut dyn FnMut(&Picture, u32) -> bool,
) -> Result<Picture> {
    let world = world(kit, None, scene, camera, options)?;
    Ok(expose(&world, camera, options, progress))
}

/// As [`render_with`], with ground and heroes made ready before, too: for many takes of one shot
/// through one camera.
///
/// # Errors
/// As [`render_with`], and when the backdrop was made for another camera or carpet.
pub fn render_before(
    backdrop: &Backdrop,
    kit: &TracedKit,
    scene: &Subject<'_>,
    camera: &Camera,
    options: &LookOptions,
    progress: &mut dyn FnMut(&Picture, u32) -> bool,
) -> Result<Picture> {
    let world = world(kit, Some(backdrop), scene, camera, options)?;
    Ok(expose(&world, camera, options, progress))
}

/// The scene made ready for rays, refused where the lens can't stand.
fn world<'a>(
    kit: &'a TracedKit,
    backdrop: Option<&Backdrop>,
    scene: &Subject<'a>,
    camera: &Camera,
    options: &LookOptions,
) -> Result<World<'a>> {
    options.check(camera)?;
    if let Some(ground) = scene.ground {
        let height = ground.height(camera.position.x, camera.position.z);
        if height >= camera.position.y {
            return Err(Error::input(
                format!("camera {}", camera.name),
                format!("it is {:.3} m under the ground", height - camera.position.y),
                format!("raise it above {height:.3} m"),
            ));
        }
    }
    let world = match backdrop {
        Some(backdrop) => World::build(kit, backdrop, scene, camera, options),
        None => {
            let backdrop = Backdrop::new(scene, camera, options)?;
            World::build(kit, &backdrop, scene, camera, options)
        }
    }?;
    if let Some(piece) = world.lens_inside() {
        let what = match piece.and_then(|i| scene.layout.pieces.get(i)) {
            Some(piece) => format!("the lens is inside a piece, `{}`", piece.name),
            None => "the lens is inside a hero".into(),
        };
        return Err(Error::input(
            format!("camera {}", camera.name),
            what,
            "move the camera, or the thing",
        ));
    }
    Ok(world)
}

#[cfg(test)]
mod tests;
