//! Checks of the picture against optics and geometry.

use std::sync::Arc;

use glam::{DAffine3, DMat4, DQuat, DVec3, Vec3};

use super::*;
use crate::kit::{Material, Mesh, Part};

/// A layout with nothing in it.
fn bare() -> Layout {
    Layout {
        shot: "test".into(),
        take: 1,
        cameras: Vec::new(),
        pieces: Arc::new(Vec::new()),
        passes: Vec::new(),
        instances: Vec::new(),
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
    let layout = bare();
    let prop = Prop {
        parts,
        world_from_prop: DAffine3::IDENTITY,
    };
    let scene = Scene {
        layout: &layout,
        heroes: &[prop],
        ground: None,
        look: GroundLook::Soil,
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

/// White furnace (Pharr, Jakob and Humphreys, "Physically based rendering", 2016, section 14): a white surface in even
/// light is as bright as the light, wherever the paths go.
#[test]
fn white_furnace_is_one_everywhere() {
    let light = Light {
        sun_direction: DVec3::Y,
        mood: Mood::Even,
        lamp: None,
    };
    let cam = camera(DVec3::new(0.0, 1.0, 2.0), DVec3::ZERO, 0.7, [24, 16]);
    // A white block in a white corner: bounces meet surfaces all the time
    let parts = [
        square(3.0, 0.0, 1.0),
        cuboid(Vec3::new(-0.3, 0.0, -0.3), Vec3::new(0.3, 0.5, 0.3), 1.0),
    ];
    let picture = shoot(&parts, light, &cam, &options(&cam, 256));
    let mean = picture.rgb.iter().sum::<f32>() / picture.rgb.len() as f32;
    // 98,304 samples, deviation about 0.22: five standard errors are under 0.005
    assert!((mean - 1.0).abs() < 0.005, "mean {mean}");
    for y in 0..picture.height {
        for (x, v) in picture.row(y).into_iter().enumerate() {
            // 256 samples; the weights of three surfaces, each within 0.8..1.3, multiply to a deviation of about 0.22: six
            // standard errors are under 0.1
            assert!((v - 1.0).abs() < 0.1, "pixel {x}, {y}: {v}");
        }
    }
}

/// Matt grey of albedo a on a convex body in even light: a.
#[test]
fn grey_plate_in_even_light_has_its_albedo() {
    let light = Light {
        sun_direction: DVec3::Y,
        mood: Mood::Even,
        lamp: None,
    };
    let cam = camera(DVec3::new(0.0, 1.0, 0.5), DVec3::ZERO, 0.3, [8, 8]);
    for albedo in [0.18_f32, 0.5] {
        let picture = shoot(
            &[square(2.0, 0.0, albedo)],
            light,
            &cam,
            &options(&cam, 256),
        );
        let mean = picture.rgb.iter().sum::<f32>() / picture.rgb.len() as f32;
        // Rough surfaces are not equally bright from all sides; the mean over them is exact, this view within 5 %
        assert!((mean / albedo - 1.0).abs() < 0.05, "{albedo}: {mean}");
    }
}

/// Length of a shadow = height / tan(elevation).
#[test]
fn shadow_is_as_long_as_geometry_says() {
    for elevation in [20.0_f64, 45.0] {
        let height = 0.2;
        // Straight down, one pixel = 4 mm at the ground
        let pixel = 0.004;
        let size = [256, 8];
        let above = 10.0;
        let yfov = 2.0 * libm::atan(0.5 * pixel * 8.0 / above);
        let cam = camera(
            DVec3::new(0.3, above, 0.0),
            DVec3::new(0.3, 0.0, 0.0),
            yfov,
            size,
        );
        let wall = cuboid(
            Vec3::new(-0.05, 0.0, -1.0),
            Vec3::new(0.0, height as f32, 1.0),
            0.02,
        );
        let picture = shoot(
            &[square(5.0, 0.0, 0.5), wall],
            sun(elevation),
            &cam,
            &options(&cam, 32),
        );
        let columns = picture.columns();
        let lit = *columns.last().unwrap();
        // The wall's foot is at x = 0; the shadow's end is where half of the light is back
        let foot = (128.0 - 0.3 / pixel) as usize;
        let dark = columns[foot + 6];
        let half = 0.5 * (lit + dark);
        let end = (foot + 6..columns.len())
            .find(|&i| columns[i] > half)
            .unwrap();
        let x =
            end as f64 - (columns[end] - half) as f64 / (columns[end] - columns[end - 1]) as f64;
        let length = (x + 0.5 - 128.0) * pixel + 0.3;
        let expect = height / libm::tan(elevation.to_radians());
        assert!(
            (length - expect).abs() < pixel,
            "{elevation} deg: {length} against {expect}"
        );
    }
}

/// Penumbra of an edge at height h: the sun is 1/107.3 rad across (mean 1923 arc seconds; mail-archive.com/sundial
/// msg06788), so along the shadow the edge is h / sin(e) x 1/107.3 / sin(e) wide.
#[test]
fn penumbra_is_as_wide_as_the_sun() {
    let widths: Vec<f64> = [0.5_f64, 1.0]
        .into_iter()
        .map(|height| {
            let e = 40.0_f64.to_radians();
            let pixel = 0.0004;
            let size = [128, 8];
            let above = 0.4;
            let end = height / libm::tan(e);
            let yfov = 2.0 * libm::atan(0.5 * pixel * 8.0 / above);
            let cam = camera(
                DVec3::new(end, above, 0.0),
                DVec3::new(end, 0.0, 0.0),
                yfov,
                size,
            );
            // A black plate at the height, its edge over x = 0
            let plate = part(
                [(-9.0, -9.0), (-9.0, 9.0), (0.0, 9.0), (0.0, -9.0)]
                    .map(|(x, z)| Vec3::new(x, height as f32, z))
                    .to_vec(),
                vec![0, 1, 2, 0, 2, 3],
                0.0,
            );
            let picture = shoot(
                &[square(12.0, 0.0, 0.5), plate],
                sun(40.0),
                &cam,
                &options(&cam, 256),
            );
            let columns = picture.columns();
            let (dark, lit) = (columns[0], columns[127]);
            // Light uncovered by a straight edge across a disc: 10 % at 0.1565 of its diameter (circular segment), so from
            // 10 % to 90 % the edge runs over 0.687 of it
            let at = |share: f32| {
                let level = dark + share * (lit - dark);
                let i = (1..128).find(|&i| columns[i] > level).unwrap();
                i as f64 - f64::from((columns[i] - level) / (columns[i] - columns[i - 1]))
            };
            let measured = (at(0.9) - at(0.1)) * pixel / 0.687;
            let expect = height / (libm::sin(e) * libm::sin(e)) / 107.3;
            assert!(
                (measured / expect - 1.0).abs() < 0.06,
                "height {height}: {measured} against {expect}"
            );
            measured
        })
        .collect();
    assert!((widths[1] / widths[0] - 2.0).abs() < 0.15);
}

/// Blur circle of a thin lens: c = f^2 / N x |d - s| / (d (s - f)) on the sensor. 50 mm f/2.8 focused at 1 m, point at 2 m:
/// 0.4699 mm on the sensor (computed, depth-of-field equations as at dofmaster.com/equations).
#[test]
fn blur_circle_follows_the_thin_lens() {
    // Sensor 4.5 mm high at 50 mm: 96 pixels of 0.046875 mm
    let pixel_mm = 4.5 / 96.0;
    let yfov = 2.0 * libm::atan(2.25 / 50.0);
    let mut cam = camera(DVec3::ZERO, DVec3::NEG_Z, yfov, [96, 96]);
    cam.focal_length = 0.05;
    cam.stop = Some(2.8);
    cam.focus = Some(1.0);
    // A bright plate at 2 m before black: 6 mm square, 3.2 pixels
    let r = 0.003;
    let plate = part(
        [(-r, -r), (r, -r), (r, r), (-r, r)]
            .map(|(x, y)| Vec3::new(x, y, -2.0))
            .to_vec(),
        vec![0, 1, 2, 0, 2, 3],
        1.0,
    );
    let backdrop = part(
        [(-1.0, -1.0), (1.0, -1.0), (1.0, 1.0), (-1.0, 1.0)]
            .map(|(x, y)| Vec3::new(x, y, -2.001))
            .to_vec(),
        vec![0, 1, 2, 0, 2, 3],
        0.0,
    );
    let light = Light {
        sun_direction: DVec3::new(0.0, 0.2, 1.0),
        mood: Mood::Sun,
        lamp: None,
    };
    let base = shoot(
        std::slice::from_ref(&backdrop),
        light,
        &cam,
        &options(&cam, 128),
    );
    let picture = shoot(&[backdrop, plate], light, &cam, &options(&cam, 128));
    // An even disc of radius a has the second moment a^2 / 4 along each axis
    let (mut sum, mut moment) = (0.0, 0.0);
    for y in 0..96 {
        for x in 0..96 {
            let v = f64::from(picture.green(x, y) - base.green(x, y));
            sum += v;
            moment += v * (f64::from(x) - 47.5).powi(2);
        }
    }
    // Less the pixel filter's (tent of half-width 0.9) and the plate's own
    let plate_pixels = 6.0 * 50.0 / 2000.0 / pixel_mm;
    let variance = moment / sum - 0.9 * 0.9 / 6.0 - plate_pixels * plate_pixels / 12.0;
    let diameter_mm = 4.0 * variance.sqrt() * pixel_mm;
    // The frame's angle of view is that of a lens focused far away: its picture plane is at f where the formula has
    // s f / (s - f), so everything is (s - f) / s as large
    let expect = 0.4699 * (1.0 - 0.05);
    assert!(
        (diameter_mm / expect - 1.0).abs() < 0.04,
        "{diameter_mm} against {expect}"
    );
}

/// Points land where the matrix of the glTF 2.0 specification (section 3.10.3.3, infinite projection) puts them.
#[test]
fn points_land_on_the_pixels_of_the_camera_matrix() {
    let size = [96, 64];
    let mut cam = camera(
        DVec3::new(1000.3, 2.0, -499.5),
        DVec3::new(1000.0, 0.1, -502.0),
        0.6,
        size,
    );
    cam.near = 0.05;
    let world_from_camera = DMat4::from_rotation_translation(cam.rotation, cam.position);
    let (a, t) = (cam.aspect(), libm::tan(0.5 * cam.yfov));
    let projection = DMat4::from_cols_array(&[
        1.0 / (a * t),
        0.0,
        0.0,
        0.0,
        0.0,
        1.0 / t,
        0.0,
        0.0,
        0.0,
        0.0,
        -1.0,
        -1.0,
        0.0,
        0.0,
        -2.0 * cam.near,
        0.0,
    ]);
    for target in [
        DVec3::new(1000.0, 0.1, -502.0),
        DVec3::new(999.2, 0.6, -503.0),
        DVec3::new(1000.5, -0.2, -501.5),
    ] {
        // A bright ball of 8 mm, as an octahedron, placed as a prop far from the origin
        let r = 0.02_f32;
        let axes = [
            Vec3::X,
            Vec3::NEG_X,
            Vec3::Y,
            Vec3::NEG_Y,
            Vec3::Z,
            Vec3::NEG_Z,
        ];
        let ball = part(
            axes.map(|v| v * r).to_vec(),
            vec![
                0, 2, 4, 4, 2, 1, 1, 2, 5, 5, 2, 0, 4, 3, 0, 1, 3, 4, 5, 3, 1, 0, 3, 5,
            ],
            1.0,
        );
        let layout = bare();
        let parts = [ball];
        let prop = Prop {
            parts: &parts,
            world_from_prop: DAffine3::from_translation(target),
        };
        let light = Light {
            sun_direction: DVec3::Y,
            mood: Mood::Overcast,
            lamp: None,
        };
        let mut scene = Scene {
            layout: &layout,
            heroes: &[prop],
            ground: None,
            look: GroundLook::Soil,
            light,
        };
        let look = options(&cam, 64);
        let with = render(&scene, &cam, &look, &mut |_, _| true).unwrap();
        scene.heroes = &[];
        let without = render(&scene, &cam, &look, &mut |_, _| true).unwrap();
        let (mut sum, mut x, mut y) = (0.0, 0.0, 0.0);
        for j in 0..size[1] {
            for i in 0..size[0] {
                let d = f64::from((with.green(i, j) - without.green(i, j)).abs());
                sum += d;
                x += d * (f64::from(i) + 0.5);
                y += d * (f64::from(j) + 0.5);
            }
        }
        assert!(sum > 0.0, "the ball is in the picture");
        let clip = projection * world_from_camera.inverse() * target.extend(1.0);
        let px = (clip.x / clip.w + 1.0) * 0.5 * f64::from(size[0]);
        let py = (1.0 - clip.y / clip.w) * 0.5 * f64::from(size[1]);
        assert!((x / sum - px).abs() < 0.25, "{} against {px}", x / sum);
        assert!((y / sum - py).abs() < 0.25, "{} against {py}", y / sum);
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
    };
    let mut layout = bare();
    layout.pieces = Arc::new(vec![stone]);
    layout.passes = ["near", "far"]
        .map(|name| crate::layout::PassRecord {
            name: name.into(),
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
            pass: u16::from(i >= 20),
            piece: 0,
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

fn garden_picture(look: &LookOptions) -> Picture {
    let (layout, cam) = garden();
    let ground = |x: f64, z: f64| 0.01 * libm::sin(9.0 * x) * libm::cos(7.0 * z);
    let scene = Scene {
        layout: &layout,
        heroes: &[],
        ground: Some(&ground),
        look: GroundLook::Gravel,
        light: sun(30.0),
    };
    render(&scene, &cam, look, &mut |_, _| true).unwrap()
}

#[test]
fn same_bytes_on_one_two_and_four_threads() {
    let (_, cam) = garden();
    let look = options(&cam, 4);
    let pictures: Vec<_> = [1, 2, 4]
        .into_iter()
        .map(|threads| {
            rayon::ThreadPoolBuilder::new()
                .num_threads(threads)
                .build()
                .unwrap()
                .install(|| garden_picture(&look))
        })
        .collect();
    assert!(pictures[0].rgb.iter().any(|&v| v > 0.0));
    for p in &pictures[1..] {
        let same = p
            .rgb
            .iter()
            .zip(&pictures[0].rgb)
            .all(|(a, b)| a.to_bits() == b.to_bits());
        assert!(same);
    }
}

#[test]
fn light_does_not_depend_on_the_number_of_samples() {
    let (_, cam) = garden();
    let mean = |samples| {
        let p = garden_picture(&options(&cam, samples));
        p.rgb.iter().sum::<f32>() / p.rgb.len() as f32
    };
    let many = mean(64);
    for samples in [1, 3, 16] {
        let few = mean(samples);
        // 960 pixels; one sample is off by about its own size, so a mean is by 1 / sqrt(960) = 3 %: three of them
        assert!((few / many - 1.0).abs() < 0.1, "{samples}: {few}, {many}");
    }
}

#[test]
fn passes_can_be_shown_alone_and_left_out() {
    let (_, cam) = garden();
    let all = garden_picture(&options(&cam, 1));
    let mut look = options(&cam, 1);
    look.only = vec!["near".into()];
    let only = garden_picture(&look);
    look.only.clear();
    look.without = vec!["far".into()];
    let without = garden_picture(&look);
    assert_eq!(only, without);
    assert_eq!((all.figures.instances, only.figures.instances), (40, 20));
    look.without = vec!["leaves".into()];
    let (layout, _) = garden();
    let error = look.shown_passes(&layout).unwrap_err();
    assert!(error.to_string().contains("there is no pass `leaves`"));
}

#[test]
fn progress_comes_after_each_fourfold_and_can_stop() {
    let (layout, cam) = garden();
    let scene = Scene {
        layout: &layout,
        heroes: &[],
        ground: None,
        look: GroundLook::Sand,
        light: sun(50.0),
    };
    let mut seen = Vec::new();
    render(&scene, &cam, &options(&cam, 20), &mut |_, n| {
        seen.push(n);
        true
    })
    .unwrap();
    assert_eq!(seen, [1, 4, 16, 20], "a small picture needs no coarse one");
    let mut seen = Vec::new();
    render(&scene, &cam, &options(&cam, 20), &mut |_, n| {
        seen.push(n);
        n < 4
    })
    .unwrap();
    assert_eq!(seen, [1, 4]);
}

/// An instance is met where its mesh, moved by translate x rotate x scale, is met.
#[test]
fn instances_stand_where_their_transform_puts_them() {
    let (layout, cam) = garden();
    let bare = bare();
    let scene = |layout, heroes| Scene {
        layout,
        heroes,
        ground: None,
        look: GroundLook::Soil,
        light: sun(40.0),
    };
    let props: Vec<Prop<'_>> = layout
        .instances
        .iter()
        .map(|i| Prop {
            parts: &layout.pieces[0].parts,
            world_from_prop: DAffine3::from_scale_rotation_translation(
                DVec3::splat(f64::from(i.scale)),
                glam::Quat::from_array(i.rotation).as_dquat(),
                i.position,
            ),
        })
        .collect();
    let look = options(&cam, 1);
    let kit = TracedKit::new(&layout.pieces);
    let none = TracedKit::new(&[]);
    let placed = World::build(&kit, &scene(&layout, &[]), &cam, &look).unwrap();
    let baked = World::build(&none, &scene(&bare, &props), &cam, &look).unwrap();
    let lens = Lens::new(&cam, cam.frame, false);
    let mut walk = Walk::default();
    let (mut hits, mut edges) = (0, 0);
    for y in 0..24 {
        for x in 0..40 {
            for index in 0..4 {
                let ray = lens.ray(x, y, &Sampler::new(x, y, index));
                let (a, b) = (
                    placed.nearest(ray, &mut walk),
                    baked.nearest(ray, &mut walk),
                );
                let (Some(a), Some(b)) = (a, b) else {
                    edges += usize::from(a.is_some() != b.is_some());
                    continue;
                };
                hits += 1;
                let (a, b) = (
                    placed.surface(&ray, &a, 0.001),
                    baked.surface(&ray, &b, 0.001),
                );
                edges += usize::from(a.point.distance(b.point) > 2e-5);
            }
        }
    }
    assert!(hits > 500, "{hits} rays hit something");
    // The store's rotations are off by up to 3e-5: a ray on an outline may fall either way
    assert!(edges <= 3, "{edges} of {hits} rays differ");
}

#[test]
fn a_lens_inside_a_piece_or_a_hero_is_refused() {
    let (layout, cam) = garden();
    let look = options(&cam, 1);
    let flat = |_: f64, _: f64| 0.0;
    let block = [cuboid(Vec3::splat(-0.2), Vec3::splat(0.2), 0.5)];
    let hero = Prop {
        parts: &block,
        world_from_prop: DAffine3::from_translation(cam.position),
    };
    let mut scene = Scene {
        layout: &layout,
        heroes: &[hero],
        ground: Some(&flat),
        look: GroundLook::Soil,
        light: sun(50.0),
    };
    let error = render(&scene, &cam, &look, &mut |_, _| true).unwrap_err();
    assert!(error.to_string().contains("inside a hero"), "{error}");
    scene.heroes = &[];
    assert!(render(&scene, &cam, &look, &mut |_, _| true).is_ok());
    let mut around = layout.instances[0];
    around.position = cam.position - DVec3::Y * 0.3;
    around.scale = 1.0;
    let mut crowded = layout.clone();
    crowded.instances.push(around);
    scene.layout = &crowded;
    let error = render(&scene, &cam, &look, &mut |_, _| true).unwrap_err();
    assert!(
        error.to_string().contains("inside a piece, `block`"),
        "{error}"
    );
}

#[test]
fn unusable_numbers_are_refused() {
    let (mut layout, cam) = garden();
    let try_with = |layout: &Layout, cam: &Camera, look: &LookOptions, ground: bool| {
        let flat = |_: f64, _: f64| 0.0;
        let high = |_: f64, _: f64| 1.0;
        let scene = Scene {
            layout,
            heroes: &[],
            ground: Some(if ground { &high } else { &flat }),
            look: GroundLook::Soil,
            light: sun(50.0),
        };
        render(&scene, cam, look, &mut |_, _| true)
            .unwrap_err()
            .to_string()
    };
    let look = options(&cam, 1);
    assert!(try_with(&layout, &cam, &look, true).contains("under the ground"));
    let huge = LookOptions {
        width: 1_000_000,
        ..look.clone()
    };
    assert!(try_with(&layout, &cam, &huge, false).contains("GB"));
    let mut none = cam.clone();
    none.frame = [0, 24];
    assert!(try_with(&layout, &none, &look, false).contains("zero"));
    let mut nan = cam.clone();
    nan.position.x = f64::NAN;
    assert!(try_with(&layout, &nan, &look, false).contains("not usable"));
    layout.instances[3].position.y = f64::INFINITY;
    assert!(try_with(&layout, &cam, &look, false).contains("instances[3]"));
    layout.instances[3].position.y = 0.0;
    layout.instances[5].piece = 9;
    assert!(try_with(&layout, &cam, &look, false).contains("instances[5]"));
}

/// Illuminance of a small source falls as cosine over the square of the distance (inverse square law; Kingslake 1992).
#[test]
fn lamplight_falls_with_the_square_of_the_distance() {
    let floor = [square(4.0, 0.0, 0.5)];
    let cam = camera(DVec3::new(0.0, 3.0, 0.0), DVec3::ZERO, 0.8, [64, 64]);
    let height = 0.8;
    let light = Light {
        sun_direction: DVec3::NEG_Y,
        mood: Mood::Night,
        lamp: Some(Lamp {
            position: DVec3::new(0.0, height, 0.0),
            candela: 50.0,
            kelvin: 2200.0,
        }),
    };
    let picture = shoot(&floor, light, &cam, &options(&cam, 64));
    let metres = 2.0 * 3.0 * libm::tan(0.4) / 64.0;
    let expected = |x: f64| {
        let d2 = x * x + height * height;
        height / libm::sqrt(d2) / d2
    };
    let row = picture.row(32);
    let [near, far] = [33_u32, 60].map(|x| {
        let at = (f64::from(x) + 0.5 - 32.0) * metres;
        f64::from(row[x as usize]) / expected(at)
    });
    // The rough diffuse is not quite Lambert's: within a sixth over 55 degrees of incidence; the law itself changes it 5-fold
    assert!((near / far - 1.0).abs() < 0.17, "{near} {far}");
    // Warm: a flame has far more red than blue
    let at = (32 * 64 + 33) * 3;
    assert!(picture.rgb[at] > 3.0 * picture.rgb[at + 2]);
}

/// A texture of one row of pixels.
fn texture(pixels: &[[u8; 3]]) -> Arc<crate::kit::Texture> {
    let mut bytes = Vec::new();
    let mut encoder = ::png::Encoder::new(&mut bytes, pixels.len() as u32, 1);
    encoder.set_color(::png::ColorType::Rgb);
    let mut writer = encoder.write_header().unwrap();
    writer.write_image_data(pixels.as_flattened()).unwrap();
    writer.finish().unwrap();
    let wrap = [crate::kit::Wrap::Repeat; 2];
    Arc::new(crate::kit::Texture::new("test".into(), bytes.into(), wrap).unwrap())
}

/// A level square, its texture once from left to right.
fn papered(texture: Arc<crate::kit::Texture>) -> Part {
    let mut part = square(1.0, 0.0, 1.0);
    part.mesh.uvs = vec![[0.0, 0.0], [0.0, 1.0], [1.0, 1.0], [1.0, 0.0]];
    part.material.base_color_texture = Some(texture);
    part
}

fn from_above(part: Part) -> Picture {
    let cam = camera(DVec3::new(0.0, 2.0, 0.0), DVec3::ZERO, 0.9, [32, 32]);
    let light = Light {
        mood: Mood::Even,
        ..sun(45.0)
    };
    shoot(&[part], light, &cam, &options(&cam, 64))
}

#[test]
fn base_colour_textures_show_at_their_coordinates() {
    let halves = [[[188_u8; 3]; 8], [[99; 3]; 8]];
    let seen = from_above(papered(texture(halves.as_flattened())));
    assert!(seen.warnings.is_empty());
    // sRGB 188 and 99 are linear 0.5029 and 0.1248 (IEC 61966-2-1); in even light a plate has its albedo. At about a quarter
    // and three quarters of the square: four pixels of the texture off its step.
    for (x, expect) in [(8, 0.5029), (23, 0.1248)] {
        let got = seen.green(x, 16);
        assert!((got / expect - 1.0).abs() < 0.06, "{got} for {expect}");
    }
}

#[test]
fn a_broken_texture_is_a_warning_and_a_plain_colour() {
    let whole = texture(&[[99, 99, 99]; 64]);
    let mut broken = (*whole).clone();
    // The head is whole, the pixels are not
    broken.bytes = whole.bytes[..whole.bytes.len() - 30].into();
    let seen = from_above(papered(Arc::new(broken)));
    assert_eq!(seen.warnings.len(), 1, "{:?}", seen.warnings);
    assert!(
        seen.warnings[0].contains("texture test"),
        "{:?}",
        seen.warnings
    );
    assert!((seen.green(8, 16) - 1.0).abs() < 0.02);
}

#[test]
fn what_is_cut_out_neither_shows_nor_shades() {
    let mut part = papered(texture(&[[255, 255, 255]; 2]));
    // Opaque on the left, clear on the right
    part.mesh.colors = vec![
        [u16::MAX; 4],
        [u16::MAX; 4],
        [u16::MAX, u16::MAX, u16::MAX, 0],
        [u16::MAX, u16::MAX, u16::MAX, 0],
    ];
    part.material.alpha = crate::kit::Alpha::Cut(0.5);
    let floor = square(4.0, -0.5, 0.2);
    let cam = camera(DVec3::new(0.0, 6.0, 0.0), DVec3::ZERO, 0.6, [64, 64]);
    let mut light = sun(89.0);
    light.sun_direction = DVec3::Y;
    let seen = shoot(&[part, floor], light, &cam, &options(&cam, 16));
    // Six metres up at 0.6 rad a pixel of 64 is about 58 mm: half a metre is nine pixels off the middle
    let (left, right, bare) = (seen.green(24, 32), seen.green(40, 32), seen.green(60, 32));
    assert!(left > 3.0 * right, "white {left}, seen through {right}");
    assert!(right > 0.75 * bare, "{right} is shaded against {bare}");
}

#[test]
fn a_large_picture_comes_in_coarse_blocks_first() {
    let (layout, cam) = garden();
    let scene = Scene {
        layout: &layout,
        heroes: &[],
        ground: None,
        look: GroundLook::Sand,
        light: sun(50.0),
    };
    let look = LookOptions {
        width: 480,
        samples: 1,
        ..LookOptions::default()
    };
    let mut seen = Vec::new();
    let picture = render(&scene, &cam, &look, &mut |so_far, taken| {
        seen.push((taken, so_far.clone()));
        taken > 0
    })
    .unwrap();
    // Stopped at the coarse one: all pixels of a block are alike, and not all blocks
    assert_eq!(seen.len(), 1);
    assert_eq!(seen[0].0, 0);
    assert_eq!(picture.rgb, seen[0].1.rgb);
    for y in (0..picture.height).step_by(4) {
        for x in (0..480).step_by(4) {
            assert_eq!(picture.green(x, y), picture.green(x + 3, y));
        }
    }
    assert!((0..480).any(|x| picture.green(x, 100) != picture.green(0, 100)));
}
