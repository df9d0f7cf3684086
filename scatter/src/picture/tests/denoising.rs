//! The filter against pictures of many samples, closed forms, and its own promises.

use glam::{DVec3, Vec3};

use super::*;

/// Stones on gravel in the sun, 64 x 38 pixels.
fn stones(look: &LookOptions) -> Picture {
    let (layout, mut cam) = garden();
    cam.frame = [64, 38];
    let ground =
        Ground::of_document(r#"{"relief":{"height":"20 mm","feature":"0.7 m","roughness":0.5}}"#);
    let scene = Subject {
        layout: &layout,
        heroes: Vec::new(),
        ground: Some(&ground),
        finish: Look::Gravel.into(),
        light: sun(30.0),
    };
    render(&scene, &cam, look, &mut |_, _| true).unwrap()
}

fn look(samples: u32, denoise: bool) -> LookOptions {
    LookOptions {
        width: 64,
        samples,
        denoise,
        ..LookOptions::default()
    }
}

/// Root of the mean squared difference, linear light.
fn error(a: &[f32], b: &[f32]) -> f32 {
    let squares = a.iter().zip(b).map(|(a, b)| (a - b) * (a - b));
    (squares.sum::<f32>() / a.len() as f32).sqrt()
}

fn mean(rgb: &[f32]) -> f32 {
    rgb.iter().sum::<f32>() / rgb.len() as f32
}

/// Blocks under a cloudy sky, where the noise is that of light: of 4 samples half of the error at
/// most is left (Dammertz et al. 2010 claim pictures like those of many more; the half is our own
/// aim).
#[test]
fn the_noise_of_light_is_halved() {
    let light = Light {
        sun_direction: DVec3::Y,
        mood: Mood::Overcast,
        lamp: None,
    };
    let cam = camera(DVec3::new(0.4, 0.9, 1.6), DVec3::ZERO, 0.6, [64, 38]);
    let block = |x: f32, z: f32| {
        let low = Vec3::new(x, 0.0, z);
        cuboid(low, low + Vec3::new(0.25, 0.3, 0.2), 0.3)
    };
    let parts = [
        square(3.0, 0.0, 0.4),
        block(-0.4, -0.3),
        block(-0.1, 0.1),
        block(0.2, -0.4),
    ];
    let at = |samples, denoise| {
        let look = LookOptions {
            denoise,
            ..options(&cam, samples)
        };
        shoot(&parts, light, &cam, &look)
    };
    let truth = at(256, false).rgb;
    let few = at(4, true);
    let raw = few.raw.as_deref().unwrap();
    let (before, after) = (error(raw, &truth), error(&few.rgb, &truth));
    assert!(after < 0.5 * before, "{before} before, {after} after");
}

/// Sunlit stones on gravel of a pixel's size, where most of the error is edges and texture that 4
/// samples miss: a filter of light leaves that as it is. What it takes away is a fifth at least
/// (a quarter when it was measured).
#[test]
fn stones_on_gravel_lose_some_error_and_no_light() {
    let truth = stones(&look(256, false)).rgb;
    let few = stones(&look(4, true));
    let raw = few.raw.as_deref().unwrap();
    // The same samples as without a filter
    assert_eq!(raw, stones(&look(4, false)).rgb);
    let (before, after) = (error(raw, &truth), error(&few.rgb, &truth));
    assert!(after < 0.8 * before, "{before} before, {after} after");
    let shift = mean(&few.rgb) / mean(raw) - 1.0;
    assert!(shift.abs() < 0.01, "mean shifted by {shift}");
}

/// White furnace, as for the tracer itself: what is 1 everywhere stays 1, at every pixel.
#[test]
fn a_white_furnace_stays_white() {
    let light = Light {
        sun_direction: DVec3::Y,
        mood: Mood::Even,
        lamp: None,
    };
    let cam = camera(DVec3::new(0.0, 1.0, 2.0), DVec3::ZERO, 0.7, [48, 32]);
    let parts = [
        square(3.0, 0.0, 1.0),
        cuboid(Vec3::new(-0.3, 0.0, -0.3), Vec3::new(0.3, 0.5, 0.3), 1.0),
    ];
    let look = LookOptions {
        denoise: true,
        ..options(&cam, 64)
    };
    let picture = shoot(&parts, light, &cam, &look);
    // 98,304 samples, deviation about 0.22: five standard errors are under 0.005
    assert!((mean(&picture.rgb) - 1.0).abs() < 0.005);
    for v in &picture.rgb {
        // 64 samples: six standard errors of a pixel alone were 0.17
        assert!((v - 1.0).abs() < 0.1, "{v}");
    }
}

/// Flat regions: a plate under a cloudy sky behind a wall, where light falls off smoothly. Its
/// brightness after few samples is that after many, band by band.
#[test]
fn flat_regions_keep_their_brightness() {
    let light = Light {
        sun_direction: DVec3::Y,
        mood: Mood::Overcast,
        lamp: None,
    };
    let cam = camera(DVec3::new(0.0, 1.2, 0.0), DVec3::ZERO, 0.6, [48, 48]);
    let parts = [
        square(3.0, 0.0, 0.5),
        cuboid(Vec3::new(-3.0, 0.0, -1.0), Vec3::new(3.0, 0.6, -0.5), 0.3),
    ];
    let at = |samples, denoise| {
        let look = LookOptions {
            denoise,
            ..options(&cam, samples)
        };
        shoot(&parts, light, &cam, &look)
    };
    let (few, many) = (at(4, true), at(256, false));
    let band = 8 * 48 * 3;
    for (i, (a, b)) in few.rgb.chunks(band).zip(many.rgb.chunks(band)).enumerate() {
        // 384 pixels of 4 samples, deviation of one about 0.4 of the light: standard error 1 % of
        // it, and the bias has to be under 1 %
        let shift = mean(a) / mean(b) - 1.0;
        assert!(shift.abs() < 0.02, "band {i} is off by {shift}");
    }
    let shift = mean(&few.rgb) / mean(&many.rgb) - 1.0;
    assert!(shift.abs() < 0.01, "the plate is off by {shift}");
}

#[test]
fn a_denoised_crop_is_that_of_the_whole_on_any_number_of_threads() {
    let whole = stones(&look(2, true));
    let part = Crop {
        x: 21,
        y: 3,
        width: 30,
        height: 20,
    };
    let cropped = LookOptions {
        crop: Some(part),
        ..look(2, true)
    };
    for threads in [1, 3] {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build();
        let crop = pool.unwrap().install(|| stones(&cropped));
        for y in 0..part.height {
            let from = ((part.y + y) * whole.width + part.x) as usize * 3;
            let row = (y * part.width) as usize * 3;
            let length = part.width as usize * 3;
            let bits = |rgb: &[f32]| rgb.iter().map(|v| v.to_bits()).collect::<Vec<_>>();
            assert_eq!(
                bits(&crop.rgb[row..row + length]),
                bits(&whole.rgb[from..from + length]),
                "row {y}"
            );
        }
    }
}
