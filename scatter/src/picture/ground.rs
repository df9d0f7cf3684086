//! The ground as a mesh about the camera: rings and spokes, fine near the lens and inside the view.

use glam::{DVec2, DVec3, Vec3};
use rayon::prelude::*;

use crate::kit::Mesh;
use crate::optics::Camera;

/// Height of the ground.
pub trait Terrain: Sync {
    /// World y in metres at world x and z.
    fn height(&self, x: f64, z: f64) -> f64;
}

impl<F: Fn(f64, f64) -> f64 + Sync> Terrain for F {
    fn height(&self, x: f64, z: f64) -> f64 {
        self(x, z)
    }
}

/// Side of a mesh cell over its distance from the lens, inside the view: small relief is the shader's.
const FINE: f64 = 1.0 / 72.0;
/// The same outside the view, where the ground is met by shadows and bounced light only.
const COARSE: f64 = 1.0 / 18.0;
/// Nearest that the camera counts above its ground: keeps the number of rings bounded when it lies on it.
const LOWEST: f64 = 0.02;

/// Directions of the spokes, radians from +x towards +z, increasing over one full turn.
fn spokes(camera: &Camera) -> Vec<f64> {
    let forward = camera.rotation * DVec3::NEG_Z;
    let up = camera.rotation * DVec3::Y;
    let tan_y = libm::tan(0.5 * camera.yfov);
    let tan_x = tan_y * camera.aspect();
    let right = camera.rotation * DVec3::X;
    let heading = libm::atan2(forward.z, forward.x);
    // Widest turn of the frame's corners from the heading; all round when the frame holds the straight-down direction
    let mut half: f64 = 0.0;
    for (x, y) in [(-1.0, -1.0), (1.0, -1.0), (-1.0, 1.0), (1.0, 1.0)] {
        let d = forward + right * (x * tan_x) + up * (y * tan_y);
        let turn = libm::atan2(d.z, d.x) - heading;
        half = half.max(libm::atan2(libm::sin(turn), libm::cos(turn)).abs());
    }
    let steep = forward.y < -libm::cos(libm::atan(tan_x.hypot(tan_y)));
    if steep || half > 1.3 {
        half = std::f64::consts::PI;
    } else {
        half += 0.05;
    }
    let inside = (2.0 * half / FINE).ceil().max(8.0) as usize;
    let rest = std::f64::consts::TAU - 2.0 * half;
    let outside = (rest / COARSE).ceil() as usize;
    let mut angles: Vec<f64> = (0..inside)
        .map(|i| heading - half + 2.0 * half * i as f64 / inside as f64)
        .collect();
    angles.extend((0..outside).map(|i| heading + half + rest * i as f64 / outside as f64));
    angles
}

/// Mesh of the ground about `camera`, out to `reach` metres, relative to `origin`.
pub(super) fn mesh(terrain: &dyn Terrain, camera: &Camera, reach: f64, origin: DVec3) -> Mesh {
    let centre = DVec2::new(camera.position.x, camera.position.z);
    let above = (camera.position.y - terrain.height(centre.x, centre.y))
        .abs()
        .max(LOWEST);
    let directions: Vec<DVec2> = spokes(camera)
        .into_iter()
        .map(|a| DVec2::new(libm::cos(a), libm::sin(a)))
        .collect();
    let mut radii = Vec::new();
    let mut r = 0.0_f64;
    while r < reach && radii.len() < 4000 {
        // Seen at a flat angle a ring looks narrow: it may be twice as deep as wide
        r += 2.0 * FINE * (r * r + above * above).sqrt() * if r < above { 0.5 } else { 1.0 };
        radii.push(r);
    }

    // Centre, then ring by ring
    let n = directions.len();
    let point = |p: DVec2| {
        let y = terrain.height(p.x, p.y);
        (DVec3::new(p.x, y, p.y) - origin).as_vec3()
    };
    let mut positions = vec![point(centre)];
    positions.par_extend(
        radii
            .par_iter()
            .flat_map_iter(|&r| directions.iter().map(move |&d| (r, d)))
            .map(|(r, d)| point(centre + d * r)),
    );
    let index = |ring: usize, spoke: usize| (1 + ring * n + spoke % n) as u32;
    let mut indices = Vec::with_capacity(radii.len() * n * 6);
    for s in 0..n {
        // Spokes run from +x to +z: clockwise seen from above, so turned round for an upward front
        indices.extend([0, index(0, s + 1), index(0, s)]);
    }
    for ring in 1..radii.len() {
        for s in 0..n {
            let (a, b) = (index(ring - 1, s), index(ring - 1, s + 1));
            let (c, d) = (index(ring, s), index(ring, s + 1));
            indices.extend([a, b, d, a, d, c]);
        }
    }

    // Vertex normals from the neighbours along the ring and across it
    let normals = (0..positions.len())
        .into_par_iter()
        .map(|i| {
            if i == 0 {
                return Vec3::Y;
            }
            let (ring, spoke) = ((i - 1) / n, (i - 1) % n);
            let inner = if ring == 0 { 0 } else { index(ring - 1, spoke) };
            let outer = index((ring + 1).min(radii.len() - 1), spoke);
            let across = positions[outer as usize] - positions[inner as usize];
            let along = positions[index(ring, spoke + 1) as usize]
                - positions[index(ring, spoke + n - 1) as usize];
            along.cross(across).normalize_or(Vec3::Y)
        })
        .collect();
    Mesh {
        positions,
        normals,
        colors: Vec::new(),
        uvs: Vec::new(),
        indices,
    }
}
