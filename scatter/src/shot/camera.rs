//! The camera as the document has it.

use glam::{DMat3, DQuat, DVec3};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::optics;
use crate::units::{Angle, Length};

/// Sensor of a full-frame camera, 36 mm x 24 mm: the default.
const FULL_FRAME_MM: [f64; 2] = [36.0, 24.0];

/// Near limit where none is set: closer than a close-up lens focuses.
const NEAR_MM: f64 = 10.0;

/// A camera. What it looks at is `toward` or `rotation`; its lens is `lens` with `sensor`, or `vertical_angle`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(extend("allOf" = [
    { "oneOf": [{ "required": ["toward"] }, { "required": ["rotation"], "not": { "required": ["roll"] } }] },
    { "oneOf": [{ "required": ["lens"] }, { "required": ["vertical_angle"] }] }
]))]
pub struct Camera {
    /// Name, unique in the shot, 1 to 64 characters.
    #[schemars(length(min = 1, max = 64))]
    pub name: String,
    /// Position in the world: x, y (up), z; at most 130 km from the origin along each axis.
    pub at: [Length; 3],
    /// The world place that the middle of the frame looks at: x, y (up), z.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub toward: Option<[Length; 3]>,
    /// World from camera as a unit quaternion x, y, z, w, instead of `toward`; the camera looks along its own -z
    /// with +y up.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rotation: Option<[f64; 4]>,
    /// Turn about the line of sight, clockwise as seen from behind the camera; only with `toward`. Default 0.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub roll: Option<Angle>,
    /// Focal length, 0.1 mm to 10 m.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(schema_with = "crate::units::positive_length")]
    pub lens: Option<Length>,
    /// Sensor width and height, above zero, to 1 m. The width spans the frame's width; the height follows the
    /// frame's aspect. Default 36 mm x 24 mm.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(schema_with = "crate::units::positive_length_pair")]
    pub sensor: Option<[Length; 2]>,
    /// Vertical angle of view instead of `lens`: above 0, to 179 deg.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(schema_with = "crate::units::positive_angle")]
    pub vertical_angle: Option<Angle>,
    /// Frame width and height in pixels, 1 to 65536 each.
    #[schemars(inner(range(min = 1, max = 65536)))]
    pub frame: [u32; 2],
    /// Nearest depth in the picture, above zero. Default 10 mm.
    #[serde(default = "default_near")]
    #[schemars(schema_with = "crate::units::positive_length")]
    pub near: Length,
    /// Farthest depth in the picture, beyond `near`. Default none: as far as the pixels resolve the ground.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(schema_with = "crate::units::positive_length")]
    pub far: Option<Length>,
    /// Distance in focus, beyond the focal length. Default none: everything is sharp.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(schema_with = "crate::units::positive_length")]
    pub focus: Option<Length>,
    /// Stop (f-number), above 0, to 1000. Default none: everything is sharp.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(range(max = 1000.0), extend("exclusiveMinimum" = 0))]
    pub stop: Option<f64>,
}

fn default_near() -> Length {
    Length::from_millimetres(NEAR_MM)
}

impl Camera {
    /// Sensor width and height, with the default where none is set.
    #[must_use]
    pub fn sensor(&self) -> [Length; 2] {
        self.sensor
            .unwrap_or(FULL_FRAME_MM.map(Length::from_millimetres))
    }

    /// The camera as optics has it. Meaningful for a camera that has passed the shot's check.
    #[must_use]
    pub fn optics(&self) -> optics::Camera {
        let position = place(self.at);
        let rotation = match (self.rotation, self.toward) {
            (Some(q), _) => DQuat::from_array(q).normalize(),
            (None, Some(toward)) => looking(
                place(toward) - position,
                self.roll.unwrap_or_default().radians(),
            ),
            (None, None) => DQuat::IDENTITY,
        };
        let [width, height] = self.frame.map(f64::from);
        let sensor_width = self.sensor()[0].metres();
        // The height that the frame's aspect leaves of the sensor.
        let sensor_height = sensor_width * height / width;
        let (yfov, focal_length) = match (self.vertical_angle, self.lens) {
            (Some(angle), _) => {
                let yfov = angle.radians();
                (yfov, optics::focal_length(sensor_height, yfov))
            }
            (None, lens) => {
                let lens = lens.unwrap_or_default().metres();
                (optics::angle_of_view(sensor_height, lens), lens)
            }
        };
        optics::Camera {
            name: self.name.clone(),
            position,
            rotation,
            yfov,
            frame: self.frame,
            near: self.near.metres(),
            far: self.far.map_or(f64::INFINITY, Length::metres),
            focal_length,
            focus: self.focus.map(Length::metres),
            stop: self.stop,
        }
    }
}

/// Three lengths as a place in the world, metres.
pub(crate) fn place(at: [Length; 3]) -> DVec3 {
    DVec3::from_array(at.map(Length::metres))
}

/// World from camera for a line of sight along `sight`, rolled clockwise by `roll` radians as seen from behind.
/// Looking straight up or down, the top of the picture is toward -z (down) or +z (up).
fn looking(sight: DVec3, roll: f64) -> DQuat {
    let back = -sight.normalize_or(-DVec3::Z);
    let right = DVec3::Y.cross(back);
    // Below this sine the line of sight is upright and gives no horizon: +x is taken for the right.
    let right = if right.length() < 1e-9 {
        DVec3::X
    } else {
        right.normalize()
    };
    let up = back.cross(right);
    DQuat::from_mat3(&DMat3::from_cols(right, up, back)).normalize() * DQuat::from_rotation_z(-roll)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::FRAC_PI_2;

    fn camera(json: &str) -> optics::Camera {
        serde_json::from_str::<Camera>(json).unwrap().optics()
    }

    #[test]
    fn looks_along_its_own_minus_z_with_the_horizon_level() {
        let c = camera(
            r#"{"name":"c","at":[1,2,3],"toward":[4,0,-2],"lens":"35 mm","frame":[1500,1000]}"#,
        );
        let sight = (DVec3::new(4.0, 0.0, -2.0) - c.position).normalize();
        assert!((c.rotation * -DVec3::Z - sight).length() < 1e-12);
        assert!((c.rotation * DVec3::X).y.abs() < 1e-12, "horizon tilted");
        assert!((c.rotation * DVec3::Y).y > 0.0, "upside down");
        // 35 mm on 36 x 24: 0.660595 (glTF 2.0 specification's example camera, aspect 1.5, within 2e-6).
        assert!((c.yfov - 0.660_593).abs() < 3e-6, "{}", c.yfov);
    }

    #[test]
    fn roll_turns_clockwise_seen_from_behind() {
        let c = camera(
            r#"{"name":"c","at":[0,1,0],"toward":[0,1,-1],"roll":"90 deg","lens":"35 mm","frame":[3,2]}"#,
        );
        // Seen from behind, clockwise takes the top of the camera to the right: +x.
        assert!((c.rotation * DVec3::Y - DVec3::X).length() < 1e-12);
    }

    #[test]
    fn straight_down_has_minus_z_at_the_top() {
        let c =
            camera(r#"{"name":"c","at":[0,2,0],"toward":[0,0,0],"lens":"35 mm","frame":[3,2]}"#);
        assert!((c.rotation * -DVec3::Z + DVec3::Y).length() < 1e-12);
        assert!((c.rotation * DVec3::Y + DVec3::Z).length() < 1e-12);
    }

    #[test]
    fn vertical_angle_and_lens_agree() {
        let by_angle = camera(
            r#"{"name":"c","at":[0,1,0],"toward":[0,0,0],"vertical_angle":"90 deg","frame":[1,1]}"#,
        );
        assert!((by_angle.yfov - FRAC_PI_2).abs() < 1e-12);
        // A 36 mm square sensor sees 90 degrees at 18 mm.
        assert!((by_angle.focal_length - 0.018).abs() < 1e-12);
    }
}
