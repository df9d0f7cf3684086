//! The ground that the cameras see, as one mesh without gaps.

use std::borrow::Cow;

use glam::{DAffine3, DVec3};

use super::included::GroundFigures;
use crate::ground::WantedGround;
use crate::kit::{Material, Part};
use crate::scene::{Prop, Scene};
use crate::view::{Body, OctaveReach};

/// A diameter that every camera resolves to its far limit, metres.
const ALWAYS_SEEN: f64 = 1e9;

/// The ground of a scene's view, and how well it follows the ground that pieces lie on; none where
/// no camera sees any.
pub(super) fn prop(scene: &Scene, material: Material) -> Option<(Prop<'static>, GroundFigures)> {
    let reach = OctaveReach {
        diameter: ALWAYS_SEEN,
        round: 0.0,
        lift: 0.0,
        tall: 0.0,
    };
    let ground = &scene.ground;
    let regions = scene.view.regions(reach, ground);
    let mut origin = DVec3::ZERO;
    for camera in &scene.cameras {
        origin += camera.position / scene.cameras.len() as f64;
    }
    let pixel = |r: [f64; 4]| {
        let seen = regions.iter().any(|region| region.touches(r));
        seen.then(|| finest_pixel(scene, r))
    };
    let wanted = WantedGround {
        within: regions.iter().map(|region| region.bounds()).collect(),
        pixel: &pixel,
        most: scene.most_ground_triangles,
        // Whole metres at the mean of the cameras, so that 32-bit vertices hold their places
        origin: DVec3::from_array(origin.to_array().map(libm::round)),
    };
    let made = ground.triangulated(&wanted);
    let triangles = made.mesh.indices.len() / 3;
    let figures = GroundFigures {
        triangles: triangles as u64,
        tolerance: made.tolerance,
    };
    let mesh = made.mesh;
    (triangles > 0).then(|| {
        let prop = Prop {
            name: "ground".to_owned(),
            parts: Cow::Owned(vec![Part { mesh, material }]),
            // Where a carpet lies its grains stand in the ground, which must not show between them
            world_from_prop: DAffine3::from_translation(wanted.origin - DVec3::Y * scene.sunk),
        };
        (prop, figures)
    })
}

/// Side of the smallest pixel of any camera on the ground of a plan rectangle, metres.
fn finest_pixel(scene: &Scene, [x0, z0, x1, z1]: [f64; 4]) -> f64 {
    let (x, z) = (0.5 * (x0 + x1), 0.5 * (z0 + z1));
    let body = Body {
        middle: DVec3::new(x, scene.ground.height(x, z), z),
        radius: 0.5 * libm::hypot(x1 - x0, z1 - z0),
        diameter: ALWAYS_SEEN,
    };
    1.0 / scene.view.pixels_per_metre(&body)
}

#[cfg(test)]
mod tests;
