//! The ground from straight above, to scale: -z (azimuth 0) is up, +x to the right.
//!
//! Each pass in its own tone, heroes, every camera's footprint on the ground, and the region that
//! each octave of each pass is made in.

mod canvas;
mod difference;
mod drawing;
mod outline;
mod svg;
mod tones;

pub use svg::write_svg;

use std::f64::consts::TAU;

use glam::DVec3;

use crate::error::{Error, Result};
use crate::ground::Ground;
use crate::layout::Layout;
use crate::optics::Camera;
use crate::plan::{NANO, convex_hull};
use crate::session::Prepared;
use crate::view::ConvexPolygon;

use drawing::{Drawing, Frame, Ink, Legend};
use outline::{CORNERS, PlanOutline};

/// How to draw.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlanOptions {
    /// Width of the drawing, pixels.
    pub width: u32,
    /// Width of the ground shown, metres, about what the first camera looks at; none shows all
    /// pieces, heroes and cameras.
    pub across: Option<f64>,
}

/// A plan, ready to be written.
#[derive(Debug, Clone)]
pub struct Plan {
    drawing: Drawing,
    drawn: u64,
}

/// A piece narrower than this many pixels is left out of the drawing.
const FINEST: f64 = 0.6;
/// Ground left free round what is shown, over its width.
const BORDER: f64 = 0.04;
/// Points along each side of a frame whose rays outline its footprint.
const ALONG: usize = 16;

/// What is told of a piece: pass, piece, diameter and id.
fn title(pass: &str, piece: &str, (diameter, id): (f32, u64)) -> String {
    format!("{pass}, {piece}, {:.1} mm, {id:016x}", 1e3 * diameter)
}

impl Plan {
    /// Draws a layout of the brief that was prepared.
    ///
    /// # Errors
    /// The width is zero, or the octaves can't be worked out.
    pub fn new(layout: &Layout, prepared: &Prepared, options: &PlanOptions) -> Result<Self> {
        if options.width == 0 {
            return Err(Error::input(
                "width",
                "the drawing has no width",
                "1 pixel or more",
            ));
        }
        let ground = &prepared.scene().ground;
        let footprints: Vec<Vec<[f64; 2]>> = prepared
            .scene()
            .cameras
            .iter()
            .map(|camera| footprint(camera, ground))
            .collect();
        let window = match options.across {
            Some(across) => about(prepared, across),
            None => all(layout, prepared),
        };
        let tones = tones::of(layout.passes.len());
        let legend = legend(layout, &tones);
        let mut drawing = Drawing::new(Frame::new(window, options.width).under(&legend));
        let forms: Vec<PlanOutline> = layout.pieces.iter().map(PlanOutline::of).collect();
        let mut drawn = 0;
        for (i, tone) in tones.iter().enumerate() {
            // Drawn from above, casters would hide the ground that they shade, and a carpet all
            // that lies on it
            if layout.passes[i].tally.is_of_shot() {
                continue;
            }
            let of_pass = layout.instances.iter().filter(|p| usize::from(p.pass) == i);
            let outlines: Vec<(Vec<[f64; 2]>, String)> = of_pass
                .filter_map(|p| {
                    let corners = forms.get(usize::from(p.piece))?.outline(p);
                    let title = title(
                        &layout.passes[i].name,
                        &layout.pieces[usize::from(p.piece)].name,
                        (p.diameter, p.id),
                    );
                    Some((corners, title))
                })
                .filter(|(corners, _)| drawing.frame.shows(corners, FINEST))
                .collect();
            drawn += outlines.len() as u64;
            drawing.fill_titled(outlines, Ink::solid(*tone));
        }
        for (octaves, tone) in prepared.octave_regions()?.iter().zip(&tones) {
            for octave in octaves {
                for region in &octave.regions {
                    let corners = grown(region);
                    if let Some(top) = corners.iter().min_by(|a, b| a[1].total_cmp(&b[1])) {
                        let [from, to] = octave.sizes.map(|d| d * 1e3);
                        drawing.label(*top, &format!("{from:.1}-{to:.1} mm"), *tone);
                    }
                    drawing.stroke(corners, Ink::line(*tone, 1.0).dashed());
                }
            }
        }
        for hero in prepared.scene().heroes.iter() {
            let corners = hero.outline(f64::INFINITY).iter();
            let corners: Vec<[f64; 2]> = corners.map(|p| p.map(|v| v as f64 / NANO)).collect();
            drawing.fill(vec![corners.clone()], Ink::solid(tones::HERO));
            drawing.stroke(corners, Ink::line(tones::INK, 2.0));
        }
        for (camera, corners) in prepared.scene().cameras.iter().zip(footprints) {
            let at = [camera.position.x, camera.position.z];
            drawing.stroke(corners, Ink::line(tones::INK, 2.0));
            drawing.mark(at, tones::INK);
            drawing.label(at, &camera.name, tones::INK);
        }
        drawing.legend(&legend);
        drawing.scale_bar();
        drawing.place_labels();
        Ok(Self { drawing, drawn })
    }

    /// Pieces that are drawn.
    #[must_use]
    pub fn drawn(&self) -> u64 {
        self.drawn
    }

    /// Width and height of the ground that is shown, metres.
    #[must_use]
    pub fn extent(&self) -> [f64; 2] {
        self.drawing.frame.extent()
    }

    /// The drawing in 8-bit sRGB, three bytes a pixel, rows from the top, with its width and
    /// height.
    #[must_use]
    pub fn to_pixels(&self) -> ([u32; 2], Vec<u8>) {
        canvas::paint(&self.drawing)
    }
}

/// What the drawing of a layout says of itself.
fn legend(layout: &Layout, tones: &[tones::Srgb8]) -> Legend {
    let passes = layout.passes.iter().zip(tones).map(|(pass, tone)| {
        let placed = pass.tally.placed;
        (format!("{} {placed}", pass.name), *tone)
    });
    Legend {
        title: format!("{} take {}", layout.shot, layout.take),
        tones: passes.collect(),
        keys: vec![
            "full line: ground in a camera's frame",
            "dashed: where pieces of these sizes are made",
            "lozenge: a camera",
        ],
    }
}

/// A polygon with its margin.
fn grown(polygon: &ConvexPolygon) -> Vec<[f64; 2]> {
    let margin = polygon.margin();
    let round = |[x, z]: [f64; 2]| {
        (0..CORNERS).map(move |i| {
            let (sin, cos) = libm::sincos(TAU * i as f64 / CORNERS as f64);
            [x + margin * cos, z + margin * sin]
        })
    };
    let points: Vec<[f64; 2]> = polygon.corners().iter().copied().flat_map(round).collect();
    convex_hull(&points)
}

/// Where the rays through the border of the frame meet the ground, or the far limit over it.
fn footprint(camera: &Camera, ground: &Ground) -> Vec<[f64; 2]> {
    let tall = libm::tan(0.5 * camera.yfov);
    let wide = tall * camera.aspect();
    let sides = [[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]];
    (0..4 * ALONG)
        .map(|i| {
            let (a, b) = (sides[i / ALONG], sides[(i / ALONG + 1) % 4]);
            let t = (i % ALONG) as f64 / ALONG as f64;
            let [x, y] = [0, 1].map(|k| a[k] + (b[k] - a[k]) * t);
            let ray = camera.rotation * DVec3::new(x * wide, y * tall, -1.0);
            let p = camera.position + ray * meeting(camera, ray, ground);
            [p.x, p.z]
        })
        .collect()
}

/// Depth at which a ray (of depth 1) from the camera first meets the ground, or the far limit if
/// that is nearer.
fn meeting(camera: &Camera, ray: DVec3, ground: &Ground) -> f64 {
    /// Maximum distance to which a ray is followed, metres, where nothing ends the view.
    const FARTHEST: f64 = 1e4;
    /// Factor of each step over the one before.
    const GROWTH: f64 = 1.02;
    /// Halvings of the step in which it meets: to a thousandth of a pixel.
    const HALVINGS: u32 = 20;
    let over = |t: f64| {
        let p = camera.position + ray * t;
        p.y - ground.height(p.x, p.z)
    };
    let far = camera.far.min(FARTHEST);
    let mut last = camera.near;
    while last < far {
        let next = (last * GROWTH).min(far);
        if over(next) <= 0.0 {
            let (mut low, mut high) = (last, next);
            for _ in 0..HALVINGS {
                let middle = 0.5 * (low + high);
                if over(middle) > 0.0 {
                    low = middle;
                } else {
                    high = middle;
                }
            }
            return high;
        }
        last = next;
    }
    far
}

/// The window `[x0, z0, x1, z1]` that holds all pieces, heroes and cameras.
fn all(layout: &Layout, prepared: &Prepared) -> [f64; 4] {
    let pieces = layout
        .instances
        .iter()
        .filter(|p| {
            let pass = layout.passes.get(usize::from(p.pass));
            pass.is_some_and(|p| !p.tally.is_of_shot())
        })
        .map(|p| [p.position.x, p.position.z]);
    let cameras = prepared
        .scene()
        .cameras
        .iter()
        .map(|c| [c.position.x, c.position.z]);
    let heroes = prepared
        .scene()
        .heroes
        .iter()
        .flat_map(|h| h.outline(f64::INFINITY))
        .map(|p| p.map(|v| v as f64 / NANO));
    let mut window = [
        f64::INFINITY,
        f64::INFINITY,
        f64::NEG_INFINITY,
        f64::NEG_INFINITY,
    ];
    for [x, z] in pieces.chain(cameras).chain(heroes) {
        window = [
            window[0].min(x),
            window[1].min(z),
            window[2].max(x),
            window[3].max(z),
        ];
    }
    // One camera over bare ground still has some ground about it
    let border = (BORDER * (window[2] - window[0]).max(window[3] - window[1])).max(0.05);
    [
        window[0] - border,
        window[1] - border,
        window[2] + border,
        window[3] + border,
    ]
}

/// The window `across` metres wide, three quarters of that high, about what the first camera looks
/// at.
fn about(prepared: &Prepared, across: f64) -> [f64; 4] {
    let [x, z] = prepared
        .scene()
        .cameras
        .first()
        .map_or([0.0, 0.0], |camera| {
            let ray = camera.rotation * DVec3::NEG_Z;
            let p = camera.position + ray * meeting(camera, ray, &prepared.scene().ground);
            [p.x, p.z]
        });
    let (w, h) = (0.5 * across, 0.375 * across);
    [x - w, z - h, x + w, z + h]
}

#[cfg(test)]
mod tests;
