//! Textures of base colour: where they show, what is cut out, what is broken.

use std::sync::Arc;

use glam::DVec3;

use super::*;

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
    // sRGB 188 and 99 are linear 0.5029 and 0.1248 (IEC 61966-2-1); in even light a plate has its
    // albedo. At about a quarter and three quarters of the square: four pixels of the texture off
    // its step.
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
    // Six metres up at 0.6 rad a pixel of 64 is about 58 mm: half a metre is nine pixels off the
    // middle
    let (left, right, bare) = (seen.green(24, 32), seen.green(40, 32), seen.green(60, 32));
    assert!(left > 3.0 * right, "white {left}, seen through {right}");
    assert!(right > 0.75 * bare, "{right} is shaded against {bare}");
}

/// Normals that lean towards the sun brighten a plate as the cosine does; where a texture says
/// metal, a plate mirrors the dim sky overhead.
#[test]
fn textures_of_roughness_metal_and_normals_show() {
    let cam = camera(DVec3::new(0.0, 2.0, 0.0), DVec3::ZERO, 0.9, [32, 32]);
    let light = sun(40.0);
    let look = options(&cam, 64);
    // Red along u, here towards +x, away from the sun; leaning by 20 degrees, sin 20 = 0.342, so red
    // 128 - 43.5 = 84 towards the sun, blue 247
    let mut part = papered(texture(&[[128, 128, 255]; 8]));
    part.material.base_color_texture = None;
    part.material.base_color = [0.5, 0.5, 0.5, 1.0];
    let middle =
        |part: &Part, light| shoot(std::slice::from_ref(part), light, &cam, &look).green(16, 16);
    let level = middle(&part, light);
    part.material.normal_texture = Some(texture(&[[84, 128, 247]; 8]));
    let leaned = middle(&part, light);
    // Sun and sky: sin 60 over sin 40 = 1.347 of the sun's part, which is about three quarters
    assert!((1.12..1.36).contains(&(leaned / level)), "{level} {leaned}");
    // Green against v, which runs towards +z (down in this picture): 128 + 43.5 leans as far to -z
    part.material.normal_texture = Some(texture(&[[128, 172, 247]; 8]));
    let north = Light {
        sun_direction: DVec3::new(0.0, 0.643, -0.766),
        ..light
    };
    let toward = middle(&part, north);
    part.material.normal_scale = 0.0;
    let level = middle(&part, north);
    assert!((1.12..1.36).contains(&(toward / level)), "{level} {toward}");
    // Metal on the right: its mirror shows the sky overhead, not a matt grey of sun and sky
    part.material.normal_texture = None;
    part.material.roughness = 1.0;
    part.material.metallic = 1.0;
    let halves = [[[0_u8, 255, 0]; 8], [[0, 60, 255]; 8]];
    part.material.metallic_roughness_texture = Some(texture(halves.as_flattened()));
    let seen = shoot(&[part], light, &cam, &look);
    let [matt, metal] = [8, 23].map(|x| seen.green(x, 16));
    assert!(metal < 0.6 * matt, "{matt} {metal}");
}
