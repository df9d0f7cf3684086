//! The ground as a mesh about the camera: squares in a quadtree, fine near the lens and inside the
//! view.
//!
//! Squares are level with the axes, so that boxes around their triangles hardly overlap. Where
//! squares of different fineness meet, a strip hangs from their edges: no ray slips through.

use glam::{DVec2, DVec3, Vec3};
use rayon::prelude::*;

use crate::ground::Ground;
use crate::kit::Mesh;
use crate::optics::Camera;

/// Height of the ground.
pub trait Terrain: Sync {
    /// World y in metres at world x and z.
    fn height(&self, x: f64, z: f64) -> f64;
}

impl Terrain for Ground {
    fn height(&self, x: f64, z: f64) -> f64 {
        Self::height(self, x, z)
    }
}

impl<F: Fn(f64, f64) -> f64 + Sync> Terrain for F {
    fn height(&self, x: f64, z: f64) -> f64 {
        self(x, z)
    }
}

/// Side of a mesh cell over its distance from the lens, inside the view: small relief is the
/// shader's.
const FINE: f64 = 1.0 / 50.0;
/// The same outside the view, where the ground is met by shadows and bounced light only.
const COARSE: f64 = 1.0 / 12.0;
/// Minimum height of the lens above its ground that is assumed, metres: it bounds the number of
/// squares when the lens lies on the ground.
const LOWEST: f64 = 0.02;
/// Cells along a side of a square.
const CELLS: usize = 8;
/// Vertices along a side.
const SIDE: usize = CELLS + 1;

/// The part of the plan that the frame shows: a heading and the angle by which it opens to either
/// side, radians.
struct Wedge {
    heading: f64,
    half: f64,
}

impl Wedge {
    fn of(camera: &Camera) -> Self {
        let forward = camera.rotation * DVec3::NEG_Z;
        let up = camera.rotation * DVec3::Y;
        let right = camera.rotation * DVec3::X;
        let tan_y = libm::tan(0.5 * camera.yfov);
        let tan_x = tan_y * camera.aspect();
        let heading = libm::atan2(forward.z, forward.x);
        // Widest turn of the frame's corners from the heading; all round when the frame holds the
        // straight-down direction
        let mut half: f64 = 0.05;
        for (x, y) in [(-1.0, -1.0), (1.0, -1.0), (-1.0, 1.0), (1.0, 1.0)] {
            let d = forward + right * (x * tan_x) + up * (y * tan_y);
            let turn = wrap(libm::atan2(d.z, d.x) - heading);
            half = half.max(turn.abs() + 0.05);
        }
        let corner = libm::atan(libm::hypot(tan_x, tan_y));
        if forward.y < -libm::cos(corner) || half > 1.3 {
            half = std::f64::consts::PI;
        }
        Self { heading, half }
    }

    /// Whether a disc at `centre` from the lens may be in view.
    fn meets(&self, centre: DVec2, radius: f64) -> bool {
        let distance = centre.length();
        if distance <= radius {
            return true;
        }
        let turn = wrap(libm::atan2(centre.y, centre.x) - self.heading).abs();
        turn <= self.half + libm::asin(radius / distance)
    }
}

/// Brings an angle to -pi..pi.
fn wrap(angle: f64) -> f64 {
    libm::atan2(libm::sin(angle), libm::cos(angle))
}

/// A square of the ground: its low corner in the world's plan, and its side.
#[derive(Clone, Copy)]
struct GroundSquare {
    low: DVec2,
    side: f64,
}

/// The squares about `lens`, which is `above` metres over the ground.
fn squares(camera: &Camera, reach: f64, above: f64) -> Vec<GroundSquare> {
    let lens = DVec2::new(camera.position.x, camera.position.z);
    let wedge = Wedge::of(camera);
    let mut work = vec![GroundSquare {
        low: lens - reach,
        side: 2.0 * reach,
    }];
    let mut leaves = Vec::new();
    while let Some(s) = work.pop() {
        let nearest = lens.clamp(s.low, s.low + s.side);
        let distance = libm::hypot((nearest - lens).length(), above);
        let centre = s.low + 0.5 * s.side - lens;
        let in_view = wedge.meets(centre, s.side * std::f64::consts::FRAC_1_SQRT_2);
        let share = if in_view { FINE } else { COARSE };
        if s.side / CELLS as f64 > share * distance {
            let side = 0.5 * s.side;
            for (i, j) in [(0.0, 0.0), (1.0, 0.0), (0.0, 1.0), (1.0, 1.0)] {
                work.push(GroundSquare {
                    low: s.low + DVec2::new(i, j) * side,
                    side,
                });
            }
        } else {
            leaves.push(s);
        }
    }
    leaves
}

/// Positions and normals of a square's vertices, row by row along x.
fn vertices(terrain: &dyn Terrain, square: &GroundSquare, origin: DVec3) -> (Vec<Vec3>, Vec<Vec3>) {
    // Heights with one row more all round, for the slopes
    const WIDE: usize = SIDE + 2;
    let cell = square.side / CELLS as f64;
    let at = |i: usize, j: usize| square.low + DVec2::new(i as f64 - 1.0, j as f64 - 1.0) * cell;
    let heights: Vec<f64> = (0..WIDE * WIDE)
        .map(|k| {
            let p = at(k % WIDE, k / WIDE);
            terrain.height(p.x, p.y)
        })
        .collect();
    let mut positions = Vec::with_capacity(SIDE * SIDE);
    let mut normals = Vec::with_capacity(SIDE * SIDE);
    for j in 1..=SIDE {
        for i in 1..=SIDE {
            let k = j * WIDE + i;
            let p = at(i, j);
            positions.push((DVec3::new(p.x, heights[k], p.y) - origin).as_vec3());
            let slope_x = (heights[k + 1] - heights[k - 1]) / (2.0 * cell);
            let slope_z = (heights[k + WIDE] - heights[k - WIDE]) / (2.0 * cell);
            normals.push(DVec3::new(-slope_x, 1.0, -slope_z).normalize().as_vec3());
        }
    }
    (positions, normals)
}

/// Mesh of the ground about `camera` to a radius of at least `reach` metres, relative to `origin`.
pub(super) fn mesh(terrain: &dyn Terrain, camera: &Camera, reach: f64, origin: DVec3) -> Mesh {
    let below = terrain.height(camera.position.x, camera.position.z);
    let above = (camera.position.y - below).abs().max(LOWEST);
    let squares = squares(camera, reach, above);
    let made: Vec<_> = squares
        .par_iter()
        .map(|s| vertices(terrain, s, origin))
        .collect();
    let mut mesh = Mesh::default();
    for (square, (positions, normals)) in squares.iter().zip(made) {
        let first = mesh.positions.len() as u32;
        let index = |i: usize, j: usize| first + (j * SIDE + i) as u32;
        mesh.positions.extend(&positions);
        mesh.normals.extend(&normals);
        for j in 0..CELLS {
            for i in 0..CELLS {
                let (a, b) = (index(i, j), index(i + 1, j));
                let (c, d) = (index(i, j + 1), index(i + 1, j + 1));
                mesh.indices.extend([a, c, d, a, d, b]);
            }
        }
        // The strip is as deep as a cell is wide: slopes up to one are covered
        let drop = Vec3::new(0.0, (square.side / CELLS as f64) as f32, 0.0);
        let edges: [fn(usize) -> (usize, usize); 4] =
            [|k| (k, 0), |k| (k, CELLS), |k| (0, k), |k| (CELLS, k)];
        for edge in edges {
            let hanging = mesh.positions.len() as u32;
            // One quad an edge: it only has to close a gap
            for k in [0, CELLS] {
                let (i, j) = edge(k);
                let top = j * SIDE + i;
                mesh.positions.push(positions[top] - drop);
                mesh.normals.push(normals[top]);
            }
            let mut fan = |a: u32, b: u32, c: u32| mesh.indices.extend([a, b, c]);
            for k in 0..CELLS {
                let ((i, j), (m, n)) = (edge(k), edge(k + 1));
                fan(index(i, j), index(m, n), hanging);
            }
            let (i, j) = edge(CELLS);
            fan(index(i, j), hanging + 1, hanging);
        }
    }
    mesh
}

#[cfg(test)]
mod tests {
    use super::*;
    use glam::DQuat;

    fn camera(pitch_deg: f64) -> Camera {
        Camera {
            name: "test".into(),
            position: DVec3::new(12.0, 0.4, -7.0),
            rotation: DQuat::from_rotation_x(pitch_deg.to_radians()),
            yfov: 0.5,
            frame: [160, 90],
            near: 0.05,
            far: 40.0,
            focal_length: 0.05,
            focus: None,
            stop: None,
        }
    }

    #[test]
    fn squares_tile_the_plan_and_are_fine_where_the_lens_looks() {
        let cam = camera(-15.0);
        let all = squares(&cam, 30.0, 0.4);
        let area: f64 = all.iter().map(|s| s.side * s.side).sum();
        assert!((area / 3600.0 - 1.0).abs() < 1e-9);
        // Two metres ahead and two metres behind
        let cell = |p: DVec2| {
            let hit = all
                .iter()
                .find(|s| p.cmpge(s.low).all() && p.cmplt(s.low + s.side).all())
                .unwrap();
            hit.side / CELLS as f64
        };
        assert!(cell(DVec2::new(12.01, -9.0)) <= 2.05 * FINE);
        assert!(cell(DVec2::new(12.01, -5.0)) > 2.05 * FINE);
    }

    #[test]
    fn looking_straight_down_is_fine_all_round() {
        let wedge = Wedge::of(&camera(-90.0));
        assert!(wedge.meets(DVec2::new(-1.0, 0.0), 0.01));
        assert!(wedge.meets(DVec2::new(0.0, 1.0), 0.01));
    }

    #[test]
    fn vertices_lie_on_the_ground_and_normals_stand_on_it() {
        let cam = camera(-20.0);
        let terrain = |x: f64, z: f64| 0.1 * x + 0.02 * libm::sin(3.0 * z);
        let mesh = mesh(&terrain, &cam, 20.0, cam.position);
        assert_eq!(mesh.positions.len(), mesh.normals.len());
        for (p, n) in mesh.positions.iter().zip(&mesh.normals).take(SIDE * SIDE) {
            let w = p.as_dvec3() + cam.position;
            assert!((w.y - terrain(w.x, w.z)).abs() < 1e-5);
            // Slope 0.1 along x everywhere
            assert!((n.x / n.y + 0.1).abs() < 1e-4);
        }
        for t in mesh.indices.chunks_exact(3) {
            assert!(t.iter().all(|&i| (i as usize) < mesh.positions.len()));
        }
    }
}
