//! A sheet with a picture of each piece of a kit.

use std::path::Path;
use std::sync::Arc;

use glam::{DMat3, DQuat, DVec3};
use scatter::brief::{LayerIndex, Look};
use scatter::error::Result;
use scatter::ground::Ground;
use scatter::kit::{Piece, PieceIndex};
use scatter::layout::{Instance, Layout, PassRecord, Tally};
use scatter::optics::{Camera, focal_length};
use scatter::picture::{self, LookOptions, Sheet, Subject, Tone, TracedKit};
use scatter::scene::{Light, Mood};

use super::scene::write_png;
use crate::output::Output;

/// The most pieces on a sheet: more are too small to tell apart.
const MOST: usize = 400;

/// Light samples a pixel: enough to see shape and colour.
const SAMPLES: u32 = 16;

/// Vertical angle of view, radians: that of a 50 mm lens on 24 mm of height.
const ANGLE: f64 = 0.47;

/// Width of the frame over that of the piece in it: room for its shadow.
const MARGIN: f64 = 1.4;

/// Height of the sensor, metres: full frame.
const SENSOR: f64 = 0.024;

/// Unit vectors to the lens and to the sun: from half above, the light from the left.
fn to_lens() -> DVec3 {
    DVec3::new(0.35, 0.6, 1.0).normalize()
}

fn to_sun() -> DVec3 {
    DVec3::new(-0.7, 0.9, 0.5).normalize()
}

/// A piece on a sheet.
pub(crate) struct Shown<'a> {
    pub(crate) piece: &'a Piece,
    /// What stands under its picture.
    pub(crate) label: String,
}

/// Writes the sheet as a PNG file: the pictures' width in pixels, and how many stand in a row; None
/// for as many as make the sheet about as wide as it is high.
pub(crate) fn write(
    path: &Path,
    all: &[Shown<'_>],
    (width, columns): (u32, Option<u32>),
    output: &Output,
) -> Result<()> {
    let shown = &all[..all.len().min(MOST)];
    if shown.len() < all.len() {
        output.say(&format!("the sheet shows the first {MOST} pieces"));
    }
    let ground = Ground::level();
    let (count, cell) = (shown.len() as u32, [width, width * 3 / 4]);
    let mut sheet = match columns {
        Some(columns) => Sheet::with_columns(count, cell, columns),
        None => Sheet::new(count, cell),
    }?;
    for (i, Shown { piece, label }) in (0..).zip(shown) {
        output.progress(&format!("picture of {}", piece.name));
        let layout = alone(piece);
        let camera = camera(piece, cell);
        let options = LookOptions {
            width,
            samples: SAMPLES,
            ..LookOptions::default()
        };
        let scene = Subject {
            layout: &layout,
            heroes: Vec::new(),
            ground: Some(&ground),
            finish: Look::Sand.into(),
            light: Light {
                sun_direction: to_sun(),
                mood: Mood::Sun,
                lamp: None,
            },
        };
        let kit = TracedKit::new(&layout.pieces);
        let picture = picture::render_with(&kit, &scene, &camera, &options, &mut |_, _| true)?;
        sheet.place(i, &picture.to_srgb8(Tone::Film), label);
    }
    write_png(path, sheet.size(), sheet.rgb())
}

/// A layout with one piece at the origin.
fn alone(piece: &Piece) -> Layout {
    Layout {
        shot: String::new(),
        take: 0,
        cameras: Vec::new(),
        pieces: Arc::new(vec![piece.clone()]),
        passes: vec![PassRecord {
            name: "kit".to_owned(),
            tone: None,
            tally: Tally::default(),
        }],
        instances: vec![Instance {
            id: 1,
            position: DVec3::ZERO,
            rotation: [0.0, 0.0, 0.0, 1.0],
            scale: 1.0,
            diameter: piece.measure.b_axis as f32,
            pass: LayerIndex::default(),
            piece: PieceIndex::default(),
        }],
        ..Layout::default()
    }
}

/// A camera that holds the whole piece.
fn camera(piece: &Piece, frame: [u32; 2]) -> Camera {
    let size = piece.measure.size.as_dvec3();
    let middle = DVec3::new(0.0, 0.5 * size.y, 0.0);
    let radius = 0.5 * size.length();
    let back = to_lens();
    let right = DVec3::Y.cross(back).normalize();
    let up = back.cross(right);
    // Far enough that every corner of its meshes is within the frame by the margin
    let high = (0.5 * ANGLE).tan() / MARGIN;
    let wide = high * f64::from(frame[0]) / f64::from(frame[1]);
    let corners = piece.parts.iter().flat_map(|p| &p.mesh.positions);
    let corners = corners.map(|p| p.as_dvec3() - middle);
    let away = corners
        .map(|c| c.dot(back) + (c.dot(right).abs() / wide).max(c.dot(up).abs() / high))
        .fold(0.0, f64::max);
    Camera {
        name: "kit".to_owned(),
        position: middle + back * away,
        rotation: DQuat::from_mat3(&DMat3::from_cols(right, up, back)),
        yfov: ANGLE,
        frame,
        near: 0.01 * radius,
        far: f64::INFINITY,
        focal_length: focal_length(SENSOR, ANGLE),
        focus: None,
        stop: None,
    }
}
