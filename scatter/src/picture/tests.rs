//! Checks of the picture against optics and geometry.

use std::sync::Arc;

use glam::{DAffine3, DQuat, DVec3, Vec3};

mod denoising;
mod distance;
mod glass;
mod lens;
mod light;
mod rendering;
mod scene;
mod sky;
mod textures;

use super::*;
use crate::brief::LayerIndex;
use crate::brief::Look;
use crate::kit::{Material, Mesh, Part, PieceIndex};
use crate::scene::{Lamp, Mood};

/// A layout with nothing in it.
fn bare() -> Layout {
    Layout {
        shot: "test".into(),
        take: 1,
        cameras: Vec::new(),
        pieces: Arc::new(Vec::new()),
        passes: Vec::new(),
        ..Layout::default()
    }
}

fn material(albedo: f32) -> Material {
    Material {
        name: "test".into(),
        base_color: [albedo, albedo, albedo, 1.0],
        roughness: 1.0,
        metallic: 0.0,
        double_sided: false,
        translucency: 0.0,
        ..Material::default()
    }
}

/// A part of triangles without normals: shaded flat.
fn part(positions: Vec<Vec3>, indices: Vec<u32>, albedo: f32) -> Part {
    Part {
        mesh: Mesh {
            positions,
            indices,
            ..Mesh::default()
        },
        material: material(albedo),
    }
}

/// A level square from -half to half at height y.
fn square(half: f32, y: f32, albedo: f32) -> Part {
    let p = |x: f32, z: f32| Vec3::new(x * half, y, z * half);
    part(
        vec![p(-1., -1.), p(-1., 1.), p(1., 1.), p(1., -1.)],
        vec![0, 1, 2, 0, 2, 3],
        albedo,
    )
}

/// A box between two corners.
fn cuboid(low: Vec3, high: Vec3, albedo: f32) -> Part {
    let positions = (0..8)
        .map(|i| {
            Vec3::new(
                if i & 1 == 0 { low.x } else { high.x },
                if i & 2 == 0 { low.y } else { high.y },
                if i & 4 == 0 { low.z } else { high.z },
            )
        })
        .collect();
    let quads: [[u32; 4]; 6] = [
        [0, 4, 6, 2],
        [1, 3, 7, 5],
        [0, 1, 5, 4],
        [2, 6, 7, 3],
        [0, 2, 3, 1],
        [4, 5, 7, 6],
    ];
    let indices = quads
        .iter()
        .flat_map(|q| [q[0], q[1], q[2], q[0], q[2], q[3]])
        .collect();
    part(positions, indices, albedo)
}

/// A camera at `at` looking towards `to`, frame `size`, vertical angle `yfov`.
fn camera(at: DVec3, to: DVec3, yfov: f64, size: [u32; 2]) -> Camera {
    let back = (at - to).normalize();
    let hint = if back.y.abs() > 0.99 {
        DVec3::NEG_Z
    } else {
        DVec3::Y
    };
    let right = hint.cross(back).normalize();
    let rotation = DQuat::from_mat3(&glam::DMat3::from_cols(right, back.cross(right), back));
    Camera {
        name: "test".into(),
        position: at,
        rotation,
        yfov,
        frame: size,
        near: 0.01,
        far: 100.0,
        focal_length: 0.012 / libm::tan(0.5 * yfov),
        focus: None,
        stop: None,
    }
}

fn options(camera: &Camera, samples: u32) -> LookOptions {
    LookOptions {
        width: camera.frame[0],
        samples,
        ..LookOptions::default()
    }
}

fn sun(elevation_deg: f64) -> Light {
    // From the left of a camera that looks along -z or straight down: shadows fall towards +x
    let e = elevation_deg.to_radians();
    Light {
        sun_direction: DVec3::new(-libm::cos(e), libm::sin(e), 0.0),
        mood: Mood::Sun,
        lamp: None,
    }
}

fn shoot(parts: &[Part], light: Light, camera: &Camera, options: &LookOptions) -> Picture {
    shoot_as(Look::Soil.into(), parts, light, camera, options)
}

fn shoot_as(
    finish: Finish,
    parts: &[Part],
    light: Light,
    camera: &Camera,
    options: &LookOptions,
) -> Picture {
    let layout = bare();
    let prop = Prop::new("hero", parts, DAffine3::IDENTITY);
    let scene = Subject {
        layout: &layout,
        heroes: vec![prop],
        ground: None,
        finish,
        light,
    };
    render(&scene, camera, options, &mut |_, _| true).unwrap()
}

impl Picture {
    fn green(&self, x: u32, y: u32) -> f32 {
        self.rgb[((y * self.width + x) * 3 + 1) as usize]
    }

    /// Mean of the green channel over a row.
    fn row(&self, y: u32) -> Vec<f32> {
        (0..self.width).map(|x| self.green(x, y)).collect()
    }

    /// Mean over rows, column by column.
    fn columns(&self) -> Vec<f32> {
        let mut sum = vec![0.0; self.width as usize];
        for y in 0..self.height {
            for (s, v) in sum.iter_mut().zip(self.row(y)) {
                *s += v / self.height as f32;
            }
        }
        sum
    }
}

/// A small scene with everything in it: ground, a hero, instances.
fn garden() -> (Layout, Camera) {
    let stone = crate::kit::Piece {
        name: "block".into(),
        source: "grown".into(),
        parts: vec![cuboid(
            Vec3::new(-0.5, 0.0, -0.4),
            Vec3::new(0.5, 0.6, 0.4),
            0.3,
        )],
        measure: crate::kit::Measure {
            size: Vec3::new(1.0, 0.6, 0.8),
            b_axis: 0.8,
            elongation: 1.25,
            plan_fill: 1.0,
            flatness: 0.75,
        },
        lies: crate::shot::Lies::Rigid,
    };
    let mut layout = bare();
    layout.pieces = Arc::new(vec![stone]);
    layout.passes = ["near", "far"]
        .map(|name| crate::layout::PassRecord {
            name: name.into(),
            tone: None,
            tally: crate::layout::Tally::default(),
        })
        .to_vec();
    layout.instances = (0..40)
        .map(|i| crate::layout::Instance {
            id: i,
            position: DVec3::new((i % 8) as f64 * 0.12 - 0.42, 0.0, -((i / 8) as f64) * 0.15),
            rotation: glam::Quat::from_rotation_y(i as f32).to_array(),
            scale: 0.05,
            diameter: 0.04,
            pass: LayerIndex::new(u16::from(i >= 20)),
            piece: PieceIndex::default(),
        })
        .collect();
    let cam = camera(
        DVec3::new(0.0, 0.4, 0.7),
        DVec3::new(0.0, 0.0, -0.2),
        0.6,
        [40, 24],
    );
    (layout, cam)
}
