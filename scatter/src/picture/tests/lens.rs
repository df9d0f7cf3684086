//! The lens against optics: blur circles, the projection.

use glam::{DAffine3, DMat4, DVec3, Vec3};

use super::*;

/// Blur circle of a thin lens: c = f^2 / N x |d - s| / (d (s - f)) on the sensor. 50 mm f/2.8
/// focused at 1 m, point at 2 m: 0.4699 mm on the sensor (computed, depth-of-field equations as at
/// dofmaster.com/equations).
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
    // The frame's angle of view is that of a lens focused far away: its picture plane is at f where
    // the formula has s f / (s - f), so everything is (s - f) / s as large
    let expect = 0.4699 * (1.0 - 0.05);
    assert!(
        (diameter_mm / expect - 1.0).abs() < 0.04,
        "{diameter_mm} against {expect}"
    );
}

/// The pixel, fractions and all, in whose middle a bright ball at `target` is seen: what it changes
/// in the picture, averaged.
fn seen_at(target: DVec3, cam: &Camera) -> (f64, f64) {
    // A ball of 4 cm across, as an octahedron, placed as a prop far from the origin
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
    let prop = Prop::new("hero", &parts, DAffine3::from_translation(target));
    let light = Light {
        sun_direction: DVec3::Y,
        mood: Mood::Overcast,
        lamp: None,
    };
    let mut scene = Subject {
        layout: &layout,
        heroes: vec![prop],
        ground: None,
        finish: Look::Soil.into(),
        light,
    };
    let look = options(cam, 64);
    let with = render(&scene, cam, &look, &mut |_, _| true).unwrap();
    scene.heroes.clear();
    let without = render(&scene, cam, &look, &mut |_, _| true).unwrap();
    let (mut sum, mut x, mut y) = (0.0, 0.0, 0.0);
    for j in 0..cam.frame[1] {
        for i in 0..cam.frame[0] {
            let d = f64::from((with.green(i, j) - without.green(i, j)).abs());
            sum += d;
            x += d * (f64::from(i) + 0.5);
            y += d * (f64::from(j) + 0.5);
        }
    }
    assert!(sum > 0.0, "the ball is in the picture");
    (x / sum, y / sum)
}

/// Points land where the matrix of the glTF 2.0 specification (section 3.10.3.3, infinite
/// projection) puts them.
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
        let (x, y) = seen_at(target, &cam);
        let clip = projection * world_from_camera.inverse() * target.extend(1.0);
        let px = (clip.x / clip.w + 1.0) * 0.5 * f64::from(size[0]);
        let py = (1.0 - clip.y / clip.w) * 0.5 * f64::from(size[1]);
        assert!((x - px).abs() < 0.25, "{x} against {px}");
        assert!((y - py).abs() < 0.25, "{y} against {py}");
    }
}
