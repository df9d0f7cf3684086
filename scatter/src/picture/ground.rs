//! The ground about a camera as a mesh: as fine as the picture's pixels inside the view, coarser
//! beside it.

use glam::{DVec2, DVec3};

use crate::ground::{Ground, WantedGround};
use crate::kit::Mesh;
use crate::optics::Camera;

/// Pixels outside the view, over those inside: there the ground is met by shadows and bounced light
/// only.
const COARSER: f64 = 16.0;
/// Minimum height of the lens above its ground that is assumed, metres: it bounds the number of
/// triangles when the lens lies on the ground.
const LOWEST: f64 = 0.02;
/// Most triangles: 200 MB with their hierarchy.
const MOST_TRIANGLES: usize = 4_000_000;

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

/// Mesh of the ground about `camera` to a radius of at least `reach` metres, relative to the lens.
/// `pixel` is the side of a pixel over the distance.
pub(super) fn mesh(ground: &Ground, camera: &Camera, reach: f64, pixel: f64) -> Mesh {
    let lens = DVec2::new(camera.position.x, camera.position.z);
    let wedge = Wedge::of(camera);
    let finest = |r: [f64; 4]| {
        let (low, high) = (DVec2::new(r[0], r[1]), DVec2::new(r[2], r[3]));
        let nearest = lens.clamp(low, high);
        let plan = nearest.distance(lens);
        if plan > reach {
            return None;
        }
        let above = camera.position.y - ground.height(nearest.x, nearest.y);
        let distance = libm::hypot(plan, above.abs().max(LOWEST));
        let in_view = wedge.meets(0.5 * (low + high) - lens, 0.5 * low.distance(high));
        Some(pixel * distance * if in_view { 1.0 } else { COARSER })
    };
    let (low, high) = (lens - reach, lens + reach);
    let wanted = WantedGround {
        within: vec![[low.x, low.y, high.x, high.y]],
        pixel: &finest,
        most: MOST_TRIANGLES,
        origin: camera.position,
    };
    ground.triangulated(&wanted).mesh
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
    fn looking_straight_down_is_fine_all_round() {
        let wedge = Wedge::of(&camera(-90.0));
        assert!(wedge.meets(DVec2::new(-1.0, 0.0), 0.01));
        assert!(wedge.meets(DVec2::new(0.0, 1.0), 0.01));
    }

    #[test]
    fn triangles_are_finer_where_the_lens_looks() {
        let cam = camera(-15.0);
        let ground = Ground::of_document(
            r#"{"relief":{"height":"30 mm","feature":"0.6 m","roughness":0.6}}"#,
        );
        let mesh = mesh(&ground, &cam, 20.0, 0.005);
        // Corners of triangles within half a metre of two metres ahead, and of two behind
        let near = |z: f64| {
            let place = DVec3::new(0.0, -0.4, z).as_vec3();
            let close = mesh.positions.iter().filter(|p| p.distance(place) < 0.5);
            close.count()
        };
        assert!(near(-2.0) > 10 * near(2.0), "{} {}", near(-2.0), near(2.0));
        for (p, n) in mesh.positions.iter().zip(&mesh.normals) {
            let w = p.as_dvec3() + cam.position;
            assert!((w.y - ground.height(w.x, w.z)).abs() < 1e-5);
            assert!(n.y > 0.3);
        }
    }
}
