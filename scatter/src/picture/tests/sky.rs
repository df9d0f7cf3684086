//! Sun and sky against published figures.

use std::f32::consts::PI;

use glam::{DVec3, Vec3A};

use super::*;
use crate::picture::dome::{ClearSky, Dome};
use crate::picture::light::{Sky, glow, luminance};

/// A direction at an altitude and an azimuth from the sun's, which stands towards +x; degrees.
fn toward(altitude: f32, azimuth: f32) -> Vec3A {
    let (up, level) = libm::sincosf(altitude.to_radians());
    let (side, ahead) = libm::sincosf(azimuth.to_radians());
    Vec3A::new(level * ahead, up, level * side)
}

/// Illuminance of a wall that looks along +z, by the sky alone.
fn on_a_wall(dome: &Dome) -> f32 {
    let mut sum = 0.0;
    const STEPS: u32 = 200;
    for i in 0..STEPS {
        let altitude = (i as f32 + 0.5) / STEPS as f32 * 0.5 * PI;
        for j in 0..STEPS {
            let azimuth = (j as f32 + 0.5) / STEPS as f32 * PI;
            let d = toward(altitude.to_degrees(), azimuth.to_degrees());
            let ring = libm::cosf(altitude);
            sum += luminance(dome.radiance(d)) * d.z.max(0.0) * ring;
        }
    }
    sum * (0.5 * PI / STEPS as f32) * (PI / STEPS as f32)
}

fn sky(mood: Mood, elevation: f32) -> Sky {
    let light = Light {
        sun_direction: toward(elevation, 0.0).as_dvec3(),
        mood,
        lamp: None,
    };
    Sky::new(&light, DVec3::ZERO)
}

fn blue_over_red(c: Vec3A) -> f32 {
    c.z / c.x
}

/// The overcast sky of the CIE (Moon and Spencer 1942): L = Lz (1 + 2 sin h) / 3, so level ground
/// gets 7 pi / 9 Lz, and a wall (3 pi + 8) / (14 pi) = 0.396 of that, both by integration.
#[test]
fn an_overcast_sky_lights_ground_and_walls_as_its_formula_says() {
    let dome = Dome::Overcast;
    let zenith = luminance(dome.radiance(Vec3A::Y));
    for (altitude, share) in [(10.0_f32, 0.4491_f32), (30.0, 0.6667), (60.0, 0.9107)] {
        let got = luminance(dome.radiance(toward(altitude, 70.0))) / zenith;
        assert!((got - share).abs() < 1e-3, "{altitude} deg: {got}");
    }
    let ground = luminance(dome.level());
    assert!((ground / (7.0 * PI / 9.0 * zenith) - 1.0).abs() < 1e-3);
    let wall = on_a_wall(&dome) / ground;
    assert!((wall - 0.396).abs() < 2e-3, "{wall}");
}

/// Figures of the crate `hw-skymodel` 0.1.1 by its own evaluation: turbidity, elevation, zenith,
/// luminance at 5 degrees over the zenith's toward the sun, aside and away, irradiance of level
/// ground.
#[test]
fn a_clear_sky_is_as_the_model_gives_it() {
    let zeniths = [
        (3.0, 45.0, [2.414, 4.185, 8.482]),
        (6.0, 45.0, [4.596, 6.366, 10.094]),
    ];
    for (turbidity, elevation, zenith) in zeniths {
        let dome = Dome::Clear(ClearSky::through(turbidity, toward(elevation, 0.0)));
        let got = dome.radiance(Vec3A::Y);
        assert!(
            (got - Vec3A::from_array(zenith)).abs().max_element() < 2e-3,
            "{got}"
        );
    }
    let ratios = [
        (3.0, 45.0, [6.53, 3.84, 4.64]),
        (6.0, 45.0, [6.37, 2.50, 2.67]),
        (3.0, 20.0, [21.7, 5.0, 7.3]),
        (3.0, 5.0, [30.0, 5.1, 7.8]),
    ];
    for (turbidity, elevation, expected) in ratios {
        let dome = Dome::Clear(ClearSky::through(turbidity, toward(elevation, 0.0)));
        let zenith = luminance(dome.radiance(Vec3A::Y));
        for (azimuth, ratio) in [0.0, 90.0, 180.0].into_iter().zip(expected) {
            let got = luminance(dome.radiance(toward(5.0, azimuth))) / zenith;
            assert!((got / ratio - 1.0).abs() < 0.01, "{azimuth}: {got} {ratio}");
        }
    }
    let level = Dome::Clear(ClearSky::through(3.0, toward(45.0, 0.0))).level();
    let due = Vec3A::new(16.3, 25.3, 42.4);
    assert!((level / due - 1.0).abs().max_element() < 0.01, "{level}");
}

/// Two published models that know nothing of each other: what the clear sky of Hosek and Wilkie
/// (turbidity 3, in units of its own) sends to level ground grows with the sun's elevation as
/// Gillette and others found it, 0.8 + 15.5 sqrt(sin h) klx, within 7 %.
#[test]
fn a_clear_sky_grows_with_the_sun_as_was_measured() {
    let unit = |elevation: f32| {
        let dome = Dome::Clear(ClearSky::through(3.0, toward(elevation, 0.0)));
        let klx = 0.8 + 15.5 * libm::sinf(elevation.to_radians()).sqrt();
        klx / luminance(dome.level())
    };
    let middle = unit(30.0);
    for elevation in [5.0, 20.0, 45.0, 60.0] {
        let got = unit(elevation) / middle;
        assert!((got - 1.0).abs() < 0.1, "{elevation} deg: {got}");
    }
}

/// Sun and clear sky give level ground more than 100,000 lx, the sun is of about 5,000 K, a blue
/// sky of some 20,000 K (figures of a lighting handbook). A camera's white lies between the two.
#[test]
fn daylight_is_as_bright_and_as_blue_as_it_is_told_of() {
    let day = sky(Mood::Sun, 60.0);
    let (_, sun) = day.sun([0.5, 0.5]).unwrap();
    let klx = luminance(sun) * libm::sinf(PI / 3.0) + PI * luminance(day.ambient());
    assert!((95.0..125.0).contains(&klx), "{klx} klx");
    for elevation in [30.0, 60.0] {
        let day = sky(Mood::Sun, elevation);
        let (_, sun) = day.sun([0.5, 0.5]).unwrap();
        let apart = blue_over_red(day.ambient()) / blue_over_red(sun);
        let told = blue_over_red(glow(16_000.0)) / blue_over_red(glow(5000.0));
        assert!(
            (apart / told - 1.0).abs() < 0.25,
            "{elevation}: {apart} {told}"
        );
        assert!(blue_over_red(sun) < 1.0 && blue_over_red(day.ambient()) > 1.0);
    }
    let clouds = sky(Mood::Overcast, 35.0).ambient();
    assert!((0.9..1.1).contains(&blue_over_red(clouds)), "{clouds}");
}

/// Twilight in lux: 585 to 410 as the sun sets, 3.5 to 2 at 6 degrees under the horizon (AMS
/// glossary of meteorology, restated). Five to twenty times as bright over the sun as overhead,
/// blue overhead and orange in the band (from memory).
#[test]
fn dusk_is_as_dim_and_as_blue_as_it_is_told_of() {
    for (depth, least, most) in [(0.0, 410.0, 585.0), (6.0, 2.0, 3.5)] {
        let lux = 1e3 * PI * luminance(sky(Mood::Dusk, -depth).ambient());
        assert!(lux > least && lux < most, "{depth} deg: {lux} lx");
    }
    let dusk = sky(Mood::Dusk, -3.0);
    assert!(dusk.sun([0.5, 0.5]).is_none());
    let (overhead, band) = (dusk.radiance(Vec3A::Y), dusk.radiance(toward(5.0, 0.0)));
    let ratio = luminance(band) / luminance(overhead);
    assert!((5.0..20.0).contains(&ratio), "{ratio}");
    let away = dusk.radiance(toward(5.0, 180.0));
    assert!(luminance(away) < 0.5 * luminance(band));
    assert!(blue_over_red(overhead) > 1.2 && blue_over_red(band) < 0.7);
}

/// A sun of 6 degrees is far warmer than one of 40, and what is in its shade stays blue.
#[test]
fn the_golden_hour_is_warm_in_the_sun_alone() {
    let [low, high] = [(Mood::GoldenHour, 6.0), (Mood::Sun, 40.0)].map(|(mood, elevation)| {
        let sky = sky(mood, elevation);
        (
            blue_over_red(sky.sun([0.5; 2]).unwrap().1),
            blue_over_red(sky.ambient()),
        )
    });
    assert!(low.0 < 0.45 * high.0, "{low:?} {high:?}");
    assert!(low.1 > 1.0, "{low:?}");
}

/// Pits in even light, albedo 0.3: what is left after the bounces that are followed is reckoned, not
/// dropped, and not taken for open ground, which made a pit twice as deep as wide a fifth too bright
/// after two bounces.
#[test]
fn the_bottom_of_a_pit_is_as_dark_after_two_bounces_as_after_many() {
    let light = Light {
        sun_direction: DVec3::Y,
        mood: Mood::Even,
        lamp: None,
    };
    let cam = camera(DVec3::new(0.0, 3.0, 0.0), DVec3::ZERO, 0.06, [12, 12]);
    let floor = |deep: f32, bounces| {
        let wall = |x0: f32, z0: f32, x1: f32, z1: f32| {
            cuboid(Vec3::new(x0, 0.0, z0), Vec3::new(x1, deep, z1), 0.3)
        };
        let parts = [
            square(1.0, 0.0, 0.3),
            wall(-0.9, -0.9, -0.15, 0.9),
            wall(0.15, -0.9, 0.9, 0.9),
            wall(-0.15, -0.9, 0.15, -0.15),
            wall(-0.15, 0.15, 0.15, 0.9),
        ];
        let look = LookOptions {
            bounces,
            ..options(&cam, 256)
        };
        let picture = shoot(&parts, light, &cam, &look);
        picture.rgb.iter().sum::<f32>() / picture.rgb.len() as f32
    };
    for (deep, bounces, within) in [(0.3, 1, 0.03), (0.3, 2, 0.02), (0.6, 2, 0.08)] {
        let (few, many) = (floor(deep, bounces), floor(deep, 8));
        let off = few / many - 1.0;
        assert!(off.abs() < within, "{deep} m, {bounces} bounces: {off}");
    }
}
