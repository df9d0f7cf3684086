//! The label image: which piece is topmost at each pixel, seen straight down.

use glam::{DVec3, Quat, Vec3};
use rayon::prelude::*;
use scatter::kit::Piece;
use scatter::layout::{Instance, Layout};

/// A pixel of the real masks, metres.
pub const REAL_PIXEL_M: f64 = 0.39e-3;
/// Side of the real masks, pixels.
pub const REAL_SIDE: usize = 512;
/// Instances that one task draws: enough that its own pair of buffers costs little.
const CHUNK: usize = 2048;

/// A rectangle of the plan and its pixels.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Window {
    /// Least x, metres.
    pub west: f64,
    /// Least z, metres.
    pub north: f64,
    /// Side of a pixel, metres.
    pub pixel: f64,
    /// Pixels along x.
    pub width: usize,
    /// Pixels along z.
    pub height: usize,
}

impl Window {
    /// A square of `side` x `side` pixels about (x, z).
    #[must_use]
    pub fn about([x, z]: [f64; 2], side: usize, pixel: f64) -> Self {
        let half = 0.5 * pixel * side as f64;
        Self {
            west: x - half,
            north: z - half,
            pixel,
            width: side,
            height: side,
        }
    }

    /// Number of pixels.
    #[must_use]
    pub fn pixels(&self) -> usize {
        self.width * self.height
    }

    /// Plan place (x, z) of a pixel's centre.
    #[must_use]
    pub fn place(&self, index: usize) -> [f64; 2] {
        [
            self.west + ((index % self.width) as f64 + 0.5) * self.pixel,
            self.north + ((index / self.width) as f64 + 0.5) * self.pixel,
        ]
    }
}

/// Rows of labels, one after another; 0 is ground.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LabelImage {
    /// Pixels in a row.
    pub width: usize,
    /// One label a pixel.
    pub labels: Vec<u32>,
}

impl LabelImage {
    /// Rows.
    #[must_use]
    pub fn height(&self) -> usize {
        self.labels.len() / self.width.max(1)
    }
}

/// What is seen in a window, straight down and without perspective.
#[derive(Debug, Clone)]
pub struct Seen {
    /// The window.
    pub window: Window,
    /// The topmost instance at each pixel: its index in the layout plus one; 0 where the ground is.
    pub top: Vec<u32>,
}

impl Seen {
    /// Draws the instances for which `is_drawn` is true over the ground `height(x, z)`, which hides
    /// what is under it. A triangle covers the pixels whose centres it holds; the highest there is
    /// seen, and of two as high the one of the lower index.
    pub fn draw(
        layout: &Layout,
        window: Window,
        height: impl Fn(f64, f64) -> f64 + Sync,
        is_drawn: impl Fn(&Instance) -> bool + Sync,
    ) -> Self {
        let reaches: Vec<f64> = layout.pieces.par_iter().map(reach).collect();
        let [wide, deep] = [window.width, window.height].map(|n| n as f64 * window.pixel);
        let is_near = |i: &Instance| {
            let reach = reaches[usize::from(i.piece)] * f64::from(i.scale);
            let [x, z] = [i.position.x - window.west, i.position.z - window.north];
            x > -reach && z > -reach && x < wide + reach && z < deep + reach
        };
        let near: Vec<usize> = (0..layout.instances.len())
            .into_par_iter()
            .filter(|k| is_near(&layout.instances[*k]) && is_drawn(&layout.instances[*k]))
            .collect();
        let empty = || Canvas {
            window,
            depth: vec![f32::NEG_INFINITY; window.pixels()],
            top: vec![0; window.pixels()],
        };
        let drawn = near
            .par_chunks(CHUNK)
            .fold(empty, |mut canvas, chunk| {
                for &k in chunk {
                    let instance = &layout.instances[k];
                    let piece = &layout.pieces[usize::from(instance.piece)];
                    canvas.draw(piece, instance, k as u32 + 1);
                }
                canvas
            })
            .reduce_with(Canvas::over)
            .unwrap_or_else(empty);
        let mut top = drawn.top;
        top.par_iter_mut().enumerate().for_each(|(k, top)| {
            let [x, z] = window.place(k);
            if *top > 0 && f64::from(drawn.depth[k]) <= height(x, z) {
                *top = 0;
            }
        });
        Self { window, top }
    }

    /// The label image of the instances for which `is_stone` is true; what else is seen hides them
    /// and is no label itself.
    #[must_use]
    pub fn labels(&self, layout: &Layout, is_stone: impl Fn(&Instance) -> bool) -> LabelImage {
        let label = |top: &u32| match *top {
            0 => 0,
            k if is_stone(&layout.instances[k as usize - 1]) => k,
            _ => 0,
        };
        LabelImage {
            width: self.window.width,
            labels: self.top.iter().map(label).collect(),
        }
    }

    /// Share of the window's pixels that show a piece.
    #[must_use]
    pub fn cover(&self) -> f64 {
        let seen = self.top.iter().filter(|top| **top > 0).count();
        seen as f64 / self.top.len().max(1) as f64
    }
}

/// Farthest vertex from a piece's origin, metres at scale 1.
#[must_use]
pub fn reach(piece: &Piece) -> f64 {
    let vertices = piece.parts.iter().flat_map(|p| &p.mesh.positions);
    f64::from(vertices.map(|v| v.length()).fold(0.0, f32::max))
}

/// World place of each vertex of a piece's mesh.
pub fn placed<'a>(
    instance: &Instance,
    vertices: &'a [Vec3],
) -> impl Iterator<Item = DVec3> + use<'a> {
    let turn = Quat::from_array(instance.rotation).as_dquat();
    let scale = f64::from(instance.scale);
    let position = instance.position;
    vertices
        .iter()
        .map(move |v| position + turn * (v.as_dvec3() * scale))
}

/// Heights in single precision: a nanometre at ten metres over the origin would be lost, a
/// micrometre is kept.
struct Canvas {
    window: Window,
    depth: Vec<f32>,
    top: Vec<u32>,
}

impl Canvas {
    fn draw(&mut self, piece: &Piece, instance: &Instance, label: u32) {
        let window = self.window;
        for part in &piece.parts {
            // Columns, heights and rows, with pixel centres at whole numbers
            let corners: Vec<DVec3> = placed(instance, &part.mesh.positions)
                .map(|p| {
                    DVec3::new(
                        (p.x - window.west) / window.pixel - 0.5,
                        p.y,
                        (p.z - window.north) / window.pixel - 0.5,
                    )
                })
                .collect();
            for t in part.mesh.indices.chunks_exact(3) {
                self.triangle([0, 1, 2].map(|k| corners[t[k] as usize]), label);
            }
        }
    }

    fn triangle(&mut self, [a, b, c]: [DVec3; 3], label: u32) {
        let low = a.min(b).min(c);
        let high = a.max(b).max(c);
        let [x0, z0] = [low.x, low.z].map(|v| v.ceil().max(0.0));
        let x1 = high.x.floor().min(self.window.width as f64 - 1.0);
        let z1 = high.z.floor().min(self.window.height as f64 - 1.0);
        if x0 > x1 || z0 > z1 {
            return;
        }
        let cross =
            |p: DVec3, q: DVec3, x: f64, z: f64| (q.x - p.x) * (z - p.z) - (q.z - p.z) * (x - p.x);
        let area = cross(a, b, c.x, c.z);
        if area == 0.0 {
            return;
        }
        for row in z0 as usize..=z1 as usize {
            for column in x0 as usize..=x1 as usize {
                let (x, z) = (column as f64, row as f64);
                let u = cross(b, c, x, z) / area;
                let v = cross(c, a, x, z) / area;
                let w = cross(a, b, x, z) / area;
                if u < 0.0 || v < 0.0 || w < 0.0 {
                    continue;
                }
                let k = row * self.window.width + column;
                self.put(k, (u * a.y + v * b.y + w * c.y) as f32, label);
            }
        }
    }

    fn put(&mut self, k: usize, depth: f32, label: u32) {
        let first = self.top[k] == 0 || label < self.top[k];
        if depth > self.depth[k] || (depth == self.depth[k] && first) {
            self.depth[k] = depth;
            self.top[k] = label;
        }
    }

    fn over(mut self, other: Self) -> Self {
        for k in 0..self.top.len() {
            if other.top[k] > 0 {
                self.put(k, other.depth[k], other.top[k]);
            }
        }
        self
    }
}
