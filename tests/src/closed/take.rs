//! A shot, dressed for an eye straight above it.

use std::path::Path;

use scatter::error::Result;
use scatter::ground::Ground;
use scatter::kit::Shelf;
use scatter::kit::{Kind, Piece};
use scatter::layout::{Instance, Layout};
use scatter::shot::{Budget, Camera, Shot};
use scatter::units::{Angle, Bytes, Length};

use super::label::{REAL_PIXEL_M, REAL_SIDE};
use super::{LabelImage, Window};

/// Height of the camera over the ground, metres: its lines of sight are within a few degrees of
/// upright for a frame of a metre.
const HEIGHT_M: f64 = 10.0;
/// Ground about the windows that is dressed too, metres: what stands there shows at the border as
/// it does inside.
const MARGIN_M: f64 = 0.02;
/// Between a hero's place and the nearest window, metres: beyond what passes gather about a hero.
const FROM_HERO_M: f64 = 2.0;

/// Where and how finely to look.
#[derive(Debug, Clone, PartialEq)]
pub struct Look {
    /// Side of a pixel, metres.
    pub pixel: f64,
    /// Pixels along each side of a window.
    pub side: usize,
    /// Number of windows, laid out in a square.
    pub windows: usize,
    /// Plan place (x, z) of the square's middle; none: the origin, or beside the heroes if there
    /// are any.
    pub at: Option<[f64; 2]>,
    /// Least footprint of a piece that is made, pixels.
    pub finest: f64,
}

impl Default for Look {
    /// One window as the real masks are; pieces of half of the least stone that counts are made,
    /// since they hide parts of larger ones.
    fn default() -> Self {
        Self {
            pixel: REAL_PIXEL_M,
            side: REAL_SIDE,
            windows: 1,
            at: None,
            finest: 5.0,
        }
    }
}

impl Look {
    /// The windows on a shot's ground.
    #[must_use]
    pub fn windows(&self, shot: &Shot) -> Vec<Window> {
        let columns = self.columns();
        let [x, z] = self.middle(shot);
        let step = self.pixel * self.side as f64;
        let first = -0.5 * (columns - 1) as f64;
        (0..self.windows)
            .map(|k| {
                let column = first + (k % columns) as f64;
                let row = first + (k / columns) as f64;
                Window::about([x + column * step, z + row * step], self.side, self.pixel)
            })
            .collect()
    }

    fn columns(&self) -> usize {
        (1..=self.windows.max(1))
            .find(|c| c * c >= self.windows)
            .unwrap_or(1)
    }

    fn span(&self) -> f64 {
        self.columns() as f64 * self.pixel * self.side as f64
    }

    fn middle(&self, shot: &Shot) -> [f64; 2] {
        let heroes = shot.hero.iter().map(|h| [0, 2].map(|k| h.at[k].metres()));
        let east = heroes.max_by(|a, b| a[0].total_cmp(&b[0]));
        self.at.unwrap_or_else(|| {
            east.map_or([0.0; 2], |[x, z]| [x + FROM_HERO_M + 0.5 * self.span(), z])
        })
    }

    /// The shot with one camera in place of its own, straight above the windows, and as fine as
    /// `finest` says. Without shade, which would hang between; in full meshes; with a budget that a
    /// fine look may need. Files that the ground names are looked for in `folder`.
    ///
    /// # Errors
    /// The ground can't be read, or the shot is refused by its check.
    pub fn down(&self, shot: &Shot, folder: &Path) -> Result<Shot> {
        let [x, z] = self.middle(shot);
        let ground = Ground::read(&(&shot.ground).into(), &Shelf::of(folder))?.height(x, z);
        let half = 0.5 * self.span() + MARGIN_M;
        let m = Length::from_metres;
        let frame = (2.0 * half / self.pixel).ceil() as u32;
        let camera = Camera {
            name: "straight down".to_owned(),
            at: Some([m(x), m(ground + HEIGHT_M), m(z)]),
            toward: None,
            // A quarter turn about x: -z looks down
            rotation: Some([-0.5_f64.sqrt(), 0.0, 0.0, 0.5_f64.sqrt()]),
            roll: None,
            keys: None,
            between: None,
            file: None,
            camera: None,
            animation: None,
            frames: None,
            fps: None,
            lens: None,
            sensor: None,
            vertical_angle: Some(Angle::from_radians(2.0 * libm::atan(half / HEIGHT_M))),
            frame: [frame; 2],
            near: Some(m(0.5 * HEIGHT_M)),
            far: Some(m(1.5 * HEIGHT_M)),
            focus: None,
            stop: None,
        };
        let mut down = shot.clone();
        down.cameras = vec![camera];
        down.shade = None;
        down.resolve.pixels = self.finest;
        down.resolve.defocus = false;
        down.resolve.triangle_pixels = None;
        down.budget = Budget {
            pieces: 50_000_000,
            triangles: 20_000_000_000,
            memory: Bytes::new(64_000_000_000),
        };
        down.check()?;
        Ok(down)
    }
}

/// Which pieces are stones.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Stones {
    /// Those that grow as rock, cobble or pebble.
    Grown,
    /// All of these passes.
    Passes(Vec<String>),
}

impl Stones {
    /// Whether an instance is one.
    #[must_use]
    pub fn holds(&self, layout: &Layout, instance: &Instance) -> bool {
        match self {
            Self::Grown => is_grown_stone(&layout.pieces[usize::from(instance.piece)]),
            Self::Passes(names) => names.contains(&layout.passes[usize::from(instance.pass)].name),
        }
    }
}

fn is_grown_stone(piece: &Piece) -> bool {
    let kind = |kind: Kind| piece.name.starts_with(&format!("{}-", kind.name()));
    piece.source == "grown"
        && [Kind::Rock, Kind::Cobble, Kind::Pebble]
            .into_iter()
            .any(kind)
}

/// Indices of the instances that a label image shows as stones which its border does not cut, of at
/// least the least size that counts.
#[must_use]
pub fn whole_stones(image: &LabelImage) -> Vec<usize> {
    super::regions::regions(image)
        .into_iter()
        .filter(|r| !r.is_cut && r.axes[1] >= super::figures::LEAST_MINOR)
        .map(|r| r.label as usize - 1)
        .collect()
}
