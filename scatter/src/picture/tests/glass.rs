//! Glass: energy, refraction and absorption; roughness, metal and normals by texture.

use glam::{DVec3, Vec3};

use super::*;
use crate::kit::{Glass, GlassBody};

const EVEN: Light = Light {
    sun_direction: DVec3::Y,
    mood: Mood::Even,
    lamp: None,
};

fn glass(part: &mut Part, roughness: f32, index: f32, body: Option<GlassBody>) {
    part.material.roughness = roughness;
    part.material.glass = Some(Glass {
        transmission: 1.0,
        index,
        body,
    });
}

const CLEAR: Option<GlassBody> = Some(GlassBody {
    color: [1.0; 3],
    distance: f32::INFINITY,
});

/// A ball of rings of triangles, with its normals.
fn ball(radius: f32) -> Part {
    const RINGS: u32 = 24;
    const SECTORS: u32 = 48;
    let mut ball = part(Vec::new(), Vec::new(), 1.0);
    for i in 0..=RINGS {
        let (s, c) = libm::sincosf(std::f32::consts::PI * i as f32 / RINGS as f32);
        for j in 0..=SECTORS {
            let (z, x) = libm::sincosf(std::f32::consts::TAU * j as f32 / SECTORS as f32);
            let n = Vec3::new(s * x, c, -s * z);
            ball.mesh.positions.push(n * radius);
            ball.mesh.normals.push(n);
            if i < RINGS && j < SECTORS {
                let k = i * (SECTORS + 1) + j;
                let (right, below) = (k + 1, k + SECTORS + 1);
                ball.mesh
                    .indices
                    .extend([k, below, right, right, below, below + 1]);
            }
        }
    }
    ball
}

fn mean(picture: &Picture) -> f32 {
    picture.rgb.iter().sum::<f32>() / picture.rgb.len() as f32
}

/// White furnace: glass that takes nothing is invisible in even light, solid or thin, whatever its
/// index. What a rough facet would throw below the surface is lost, as with every such model of one
/// bounce between facets: some per cent.
#[test]
fn clear_glass_in_even_light_is_not_to_be_seen() {
    let cam = camera(DVec3::new(0.0, 0.2, 2.0), DVec3::ZERO, 0.3, [16, 16]);
    for (body, roughness, within) in [
        (CLEAR, 0.0, 0.002),
        (None, 0.0, 0.002),
        (CLEAR, 0.3, 0.08),
        (None, 0.3, 0.08),
    ] {
        let mut ball = ball(0.25);
        glass(&mut ball, roughness, 1.5, body);
        let seen = shoot(&[ball], EVEN, &cam, &options(&cam, 64));
        for v in &seen.rgb {
            let off = v - 1.0;
            assert!(
                off < 0.05 && off > -3.0 * within,
                "{body:?} {roughness}: {v}"
            );
        }
        assert!(
            (mean(&seen) - 1.0).abs() < within,
            "{body:?} {roughness}: {}",
            mean(&seen)
        );
    }
}

/// Lambert's law of absorption, looked through a slab square to it: (1 - F)^2 of what its colour
/// leaves over its thickness, and the light that goes to and fro in it; F = 0.04 for 1.5.
#[test]
fn a_slab_takes_of_the_light_what_its_thickness_says() {
    let cam = camera(DVec3::new(0.0, 0.0, 2.0), DVec3::ZERO, 0.02, [4, 4]);
    let mut slab = cuboid(Vec3::new(-9.0, -9.0, -0.1), Vec3::new(9.0, 9.0, 0.1), 1.0);
    let body = GlassBody {
        color: [0.5, 0.25, 0.8],
        distance: 0.1,
    };
    glass(&mut slab, 0.0, 1.5, Some(body));
    let seen = shoot(&[slab], EVEN, &cam, &options(&cam, 1024));
    for (c, color) in body.color.into_iter().enumerate() {
        let left = color * color;
        // Off the front, and out again behind or before after an odd or even number of ways
        let (f, t) = (0.04_f32, 0.96_f32);
        let out = t * t * left / (1.0 - f * left);
        let expected = f + out;
        let got = seen.rgb.iter().skip(c).step_by(3).sum::<f32>() / 16.0;
        // 16,384 paths: the choice between 0.04 and the rest deviates by under 0.2, five standard
        // errors are 0.008
        assert!((got - expected).abs() < 0.012, "{c}: {got} {expected}");
    }
}

/// A ball of glass turns the picture behind it upside down: its focal length, n r / (2 (n - 1)) from
/// its middle (Hecht, "Optics"), is 1.5 r for 1.5, so what is far stands on its head.
#[test]
fn a_ball_of_glass_turns_what_is_behind_it() {
    let cam = camera(DVec3::new(0.0, 0.0, 2.0), DVec3::ZERO, 0.2, [16, 16]);
    let mut ball = ball(0.15);
    glass(&mut ball, 0.0, 1.5, CLEAR);
    // Dark below, behind the ball
    let dark = cuboid(Vec3::new(-9.0, -9.0, -4.2), Vec3::new(9.0, 0.0, -4.0), 0.0);
    let seen = shoot(&[ball, dark], EVEN, &cam, &options(&cam, 64));
    assert!(seen.green(8, 4) < 0.3, "above {}", seen.green(8, 4));
    assert!(seen.green(8, 11) > 0.7, "below {}", seen.green(8, 11));
}

/// The sun shines through a thin pane, less what both its faces throw back: 2 F / (1 + F).
#[test]
fn the_sun_shines_through_a_pane() {
    let cam = camera(DVec3::new(0.0, 0.4, 0.01), DVec3::ZERO, 0.1, [8, 8]);
    let look = options(&cam, 64);
    let light = sun(60.0);
    // Dark, so that the pane throws little of its light back at it
    let floor = square(9.0, 0.0, 0.05);
    let open = mean(&shoot(std::slice::from_ref(&floor), light, &cam, &look));
    let mut pane = square(2.0, 1.0, 1.0);
    glass(&mut pane, 0.0, 1.5, None);
    let under = mean(&shoot(&[floor, pane], light, &cam, &look));
    // 30 degrees off the normal 4.15 % a face, so 7.97 % less sun; of sky light from all sides some
    // 15 % less, which is about a fifth of the light
    assert!((0.88..0.935).contains(&(under / open)), "{}", under / open);
}
