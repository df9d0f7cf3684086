//! Light against closed forms: even light, shadows, penumbrae, lamps.

use glam::{DVec3, Vec3};

use super::*;

/// White furnace (Pharr, Jakob and Humphreys, "Physically based rendering", 2016, section 14): a
/// white surface in even light is as bright as the light, wherever the paths go.
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
            // 256 samples; the weights of three surfaces, each within 0.8..1.3, multiply to a
            // deviation of about 0.22: six standard errors are under 0.1
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
        // Rough surfaces are not equally bright from all sides; the mean over them is exact, this
        // view within 5 %
        assert!((mean / albedo - 1.0).abs() < 0.05, "{albedo}: {mean}");
    }
}

/// Under water a white plate in even light stays white, and a grey one has the diffuse albedo of
/// Lekner and Dorf 1988 and the water's own reflection on it: no light is made or lost.
#[test]
fn a_wet_plate_in_even_light_keeps_the_energy() {
    let light = Light {
        sun_direction: DVec3::Y,
        mood: Mood::Even,
        lamp: None,
    };
    let rain = crate::brief::Wet {
        level: None,
        ragged: 0.0,
        hollows: 0.0,
        dew: 1.0,
    };
    let wet = Finish {
        wet: Some(rain),
        ..Look::Soil.into()
    };
    let cam = camera(DVec3::new(0.0, 1.0, 0.3), DVec3::ZERO, 0.3, [8, 8]);
    // Their table, from the dry albedo: wet over dry of the diffuse part
    for (dry, ratio) in [(1.0_f32, 0.9796), (0.5, 0.64), (0.2, 0.53)] {
        let plate = [square(2.0, 0.0, dry)];
        let picture = shoot_as(wet, &plate, light, &cam, &options(&cam, 256));
        let mean = picture.rgb.iter().sum::<f32>() / picture.rgb.len() as f32;
        let known = dry * ratio + 0.0204;
        // As for a dry plate: this view of a rough surface is within 5 % of its mean over views
        assert!(
            (mean / known - 1.0).abs() < 0.05,
            "{dry}: {mean}, not {known}"
        );
        assert!(mean < 1.01, "{dry}: {mean}");
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

/// Penumbra of an edge at height h: the sun is 1/107.3 rad across (mean 1923 arc seconds;
/// mail-archive.com/sundial msg06788), so along the shadow the edge is h / sin(e) x 1/107.3 /
/// sin(e) wide.
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
            // Light uncovered by a straight edge across a disc: 10 % at 0.1565 of its diameter
            // (circular segment), so from 10 % to 90 % the edge runs over 0.687 of it
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

/// Illuminance of a small source falls as cosine over the square of the distance (inverse square
/// law; Kingslake 1992).
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
    // The rough diffuse is not quite Lambert's: within a sixth over 55 degrees of incidence; the
    // law itself changes it 5-fold
    assert!((near / far - 1.0).abs() < 0.17, "{near} {far}");
    // Warm: a flame has far more red than blue
    let at = (32 * 64 + 33) * 3;
    assert!(picture.rgb[at] > 3.0 * picture.rgb[at + 2]);
}
