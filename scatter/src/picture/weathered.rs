//! What time leaves on surfaces: lichen on the sides of stones that the sun does not dry, and dust
//! on what looks up.
//!
//! Dust: a layer over a surface of reflectance R gives D + (R - D) exp(-2 t), where t is the share
//! of the area that its grains cover (two-layer model, from memory); it lies as the square to the
//! fourth power of the cosine to the upright (from memory). What shelters from above is not looked
//! for: under an overhang that looks up itself, dust lies as in the open. Lichen: by eye.

use glam::{DVec3, FloatExt, Vec3A};

use super::sample::mix;
use super::solid::fractal;
use super::surface::ShadingPoint;
use crate::brief::Weathering;

/// Where a surface may be weathered.
#[derive(Debug, Clone, Copy)]
pub(super) struct WeatherSpot {
    /// Place in the world, metres.
    pub(super) place: DVec3,
    /// Unit normal of the mesh, in the world.
    pub(super) normal: Vec3A,
    /// Hash of a stone's id; None for what is no stone.
    pub(super) stone: Option<u32>,
    /// Linear albedo of the place's dust.
    pub(super) dust: Vec3A,
    /// Side of what is looked at, metres.
    pub(super) footprint: f32,
}

/// Share of a level face that grains of dust cover at full strength: one and a half times over.
const DUST_DEPTH: f32 = 1.5;
/// Noises repeat after this way, metres, beyond any one frame: small numbers keep their digits.
const REPEAT: f64 = 64.0;

/// Crusts of lichen, linear albedo (by eye), size of their patches in metres, and how seldom they
/// are: pale grey-green, near black, ochre.
const CRUSTS: [([f32; 3], f32, f32); 3] = [
    ([0.30, 0.33, 0.25], 0.022, 0.10),
    ([0.05, 0.052, 0.045], 0.011, 0.26),
    ([0.38, 0.27, 0.07], 0.015, 0.34),
];

/// The surface `fresh` after its time in the weather.
pub(super) fn weathered(
    asked: &Weathering,
    fresh: ShadingPoint,
    spot: &WeatherSpot,
) -> ShadingPoint {
    let near = spot.place.to_array().map(|x| x.rem_euclid(REPEAT) as f32);
    let near = Vec3A::from(near);
    let mut base = fresh.base;
    if let Some(own) = spot.stone {
        base = lichen(asked.lichen as f32, base, (near, own), spot);
    }
    let up = spot.normal.y.max(0.0);
    if asked.dust > 0.0 && up > 0.0 {
        let finest = (2.0 * spot.footprint).max(0.002);
        let patch = fractal(near, 0.06, finest, 0.6, 51).value;
        let depth = DUST_DEPTH * asked.dust as f32 * up * up * up * (1.0 + 0.8 * patch).max(0.0);
        base = spot.dust + (base - spot.dust) * libm::expf(-2.0 * depth);
    }
    ShadingPoint { base, ..fresh }
}

/// How well lichen does on a face, 0..1: best where it looks north (-z) and up.
fn shade(normal: Vec3A) -> f32 {
    let north = (-normal.z).smoothstep(-0.5, 0.7);
    let up = normal.y.smoothstep(-0.35, 0.35);
    (0.25 + 0.75 * north) * up
}

fn lichen(much: f32, base: Vec3A, (near, own): (Vec3A, u32), spot: &WeatherSpot) -> Vec3A {
    let does = much * shade(spot.normal);
    if does <= 0.0 {
        return base;
    }
    let finest = (2.0 * spot.footprint).max(0.000_5);
    let mut base = base;
    for (salt, (tone, size, seldom)) in (52..).zip(CRUSTS) {
        let n = fractal(near, size, finest, 0.62, mix(own ^ mix(salt))).value;
        // At full strength a crust covers all but its rarest places
        let from = seldom + 0.55 * (0.75 - does);
        let crust = n.smoothstep(from, from + 0.12);
        base = base.lerp(Vec3A::from(tone) * (1.0 + 0.4 * n), 0.85 * crust);
    }
    base
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::picture::surface::SmallRelief;

    fn fresh() -> ShadingPoint {
        ShadingPoint {
            point: Vec3A::ZERO,
            face: Vec3A::Y,
            normal: Vec3A::Y,
            lift: 0.0,
            base: Vec3A::splat(0.08),
            roughness: 0.9,
            wet: 0.0,
            metallic: 0.0,
            translucency: 0.0,
            relief: SmallRelief::Smooth,
            glass: None,
        }
    }

    /// Mean change of a face's green over 900 places.
    fn change(asked: Weathering, normal: Vec3A) -> f32 {
        let changes = (0..900).map(|k| {
            let spot = WeatherSpot {
                place: DVec3::new(0.011 * f64::from(k % 30), 0.2, 0.013 * f64::from(k / 30)),
                normal,
                stone: Some(7),
                dust: Vec3A::splat(0.4),
                footprint: 0.000_5,
            };
            (weathered(&asked, fresh(), &spot).base.y - 0.08).abs()
        });
        changes.sum::<f32>() / 900.0
    }

    #[test]
    fn dust_lies_on_what_looks_up_and_covers_as_the_layer_says() {
        let dusty = Weathering {
            lichen: 0.0,
            dust: 0.5,
        };
        let top = change(dusty, Vec3A::Y);
        // t = 0.75 about: 1 - exp(-1.5) = 0.78 of the way from 0.08 to 0.4, less by the patches
        assert!((0.20..=0.26).contains(&top), "{top}");
        let slanted = change(dusty, Vec3A::new(0.0, 0.5, 0.866));
        assert!(slanted < 0.3 * top, "{slanted} of {top}");
        assert_eq!(change(dusty, Vec3A::NEG_Y), 0.0);
        assert_eq!(change(dusty, Vec3A::X), 0.0);
    }

    #[test]
    fn lichen_grows_where_it_is_shady_and_more_where_more_is_asked_for() {
        let at = |lichen: f64, normal: [f32; 3]| {
            let normal = Vec3A::from(normal).normalize();
            change(Weathering { lichen, dust: 0.0 }, normal)
        };
        let (north, south) = (at(0.6, [0.0, 0.6, -0.8]), at(0.6, [0.0, 0.6, 0.8]));
        assert!(north > 2.0 * south && north > 0.01, "{north} {south}");
        assert!(at(1.0, [0.0, 1.0, -0.5]) > at(0.4, [0.0, 1.0, -0.5]));
        assert_eq!(at(0.0, [0.0, 1.0, 0.0]), 0.0);
        assert_eq!(at(1.0, [0.0, -1.0, 0.0]), 0.0);
    }
}
