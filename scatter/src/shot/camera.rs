//! The camera as the document has it.

mod pose;

use glam::{DQuat, DVec3};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use self::pose::{Aim, CameraPose};
use super::MAX_COORDINATE_M;
use super::bounds::{FPS, FRAME, KEYS, MAX_FRAMES, NAME, STOP};
use crate::error::{Error, Result};
use crate::optics;
use crate::units::{Angle, Length};

/// Sensor of a full-frame camera, 36 mm x 24 mm: the default.
const FULL_FRAME_MM: [f64; 2] = [36.0, 24.0];

/// Near limit where none is set: closer than a close-up lens focuses.
const NEAR_MM: f64 = 10.0;

/// Frames a second where a file's animation is read and none are given: film's.
const FILM_FPS: f64 = 24.0;

/// A camera. It stands where `at` with `toward` or `rotation` says, moves by `keys`, or comes from
/// a glTF `file`. Its lens is `lens` with `sensor`, or `vertical_angle`, or the file's.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(extend("allOf" = [
    { "oneOf": [
        { "required": ["at"], "not": { "anyOf": [{ "required": ["file"] }, { "required": ["keys"] }] },
          "oneOf": [{ "required": ["toward"] }, { "required": ["rotation"], "not": { "required": ["roll"] } }] },
        { "required": ["keys"], "not": { "anyOf": [
          { "required": ["at"] }, { "required": ["toward"] }, { "required": ["rotation"] }, { "required": ["roll"] }, { "required": ["file"] }
        ] } },
        { "required": ["file"], "not": { "anyOf": [
          { "required": ["at"] }, { "required": ["toward"] }, { "required": ["rotation"] }, { "required": ["roll"] }, { "required": ["keys"] },
          { "required": ["lens"] }, { "required": ["vertical_angle"] }
        ] } }
    ] },
    { "oneOf": [{ "required": ["lens"] }, { "required": ["vertical_angle"] }, { "required": ["file"] }] }
]))]
pub struct Camera {
    /// Name, unique in the shot, 1 to 64 characters.
    #[schemars(length(min = NAME.least, max = NAME.most))]
    pub name: String,
    /// Position in the world: x, y (up), z; at most 130 km from the origin along each axis.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub at: Option<[Length; 3]>,
    /// The world place that the middle of the frame looks at: x, y (up), z.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub toward: Option<[Length; 3]>,
    /// World from camera as a unit quaternion x, y, z, w, instead of `toward`; the camera looks
    /// along its own -z with +y up.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rotation: Option<[f64; 4]>,
    /// Turn about the line of sight, clockwise as seen from behind the camera; only with `toward`.
    /// Default 0.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub roll: Option<Angle>,
    /// Poses of a moving camera, in the order of their frames, at least two, at most 10000.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(length(min = KEYS.least, max = KEYS.most))]
    pub keys: Option<Vec<CameraKey>>,
    /// How a camera with `keys` goes from one to the next. Default smooth.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub between: Option<Between>,
    /// glTF file (`.glb` or `.gltf`) with the camera, relative to the shot's folder. Its lens and
    /// its motion are kept.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(length(min = 1))]
    pub file: Option<String>,
    /// Name of the camera in the file. Default its only one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub camera: Option<String>,
    /// Name of the animation in the file. Default the only one that moves the camera.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub animation: Option<String>,
    /// First and last frame of the file's animation; it begins at the first. At most 10000 frames.
    /// Default the whole animation from frame 1.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub frames: Option<[i32; 2]>,
    /// Frames a second that the file's animation is read at, above 0, to 1000. Default 24.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(range(max = FPS.most), extend("exclusiveMinimum" = FPS.above))]
    pub fps: Option<f64>,
    /// Focal length, 0.1 mm to 10 m.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(schema_with = "crate::units::positive_length")]
    pub lens: Option<Length>,
    /// Sensor width and height, above zero, to 1 m. The width spans the frame's width; the height
    /// follows the frame's aspect. Default 36 mm x 24 mm.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(schema_with = "crate::units::positive_length_pair")]
    pub sensor: Option<[Length; 2]>,
    /// Vertical angle of view instead of `lens`: above 0, to 179 deg.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(schema_with = "crate::units::positive_angle")]
    pub vertical_angle: Option<Angle>,
    /// Frame width and height in pixels, 1 to 65536 each.
    #[schemars(inner(range(min = FRAME.least, max = FRAME.most)))]
    pub frame: [u32; 2],
    /// Nearest depth in the picture, above zero. Default 10 mm, or the file's.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(schema_with = "crate::units::positive_length")]
    pub near: Option<Length>,
    /// Farthest depth in the picture, beyond `near`. Default the file's, or none: as far as the
    /// pixels resolve the ground.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(schema_with = "crate::units::positive_length")]
    pub far: Option<Length>,
    /// Depth in focus, along the line of sight from the lens to a plane square to it; beyond the
    /// focal length. What is nearer or farther blurs if there is a `stop`, too. Default none:
    /// everything is sharp.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(schema_with = "crate::units::positive_length")]
    pub focus: Option<Length>,
    /// Stop (f-number), above 0, to 1000; blurs only with a `focus`. Default none: everything is
    /// sharp.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(range(max = STOP.most), extend("exclusiveMinimum" = STOP.above))]
    pub stop: Option<f64>,
}

/// Where a moving camera is in one frame.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(extend("oneOf" = [
    { "required": ["toward"] }, { "required": ["rotation"], "not": { "required": ["roll"] } }
]))]
pub struct CameraKey {
    /// Number of the frame, after that of the key before.
    pub at_frame: i32,
    /// Position in the world: x, y (up), z.
    pub at: [Length; 3],
    /// The world place that the middle of the frame looks at: x, y (up), z. All keys of a camera
    /// have it, or all have `rotation`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub toward: Option<[Length; 3]>,
    /// World from camera as a unit quaternion x, y, z, w, instead of `toward`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rotation: Option<[f64; 4]>,
    /// Turn about the line of sight; only with `toward`. Default 0.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub roll: Option<Angle>,
    /// Focal length, 0.1 mm to 10 m; only with a `lens` of the camera. Default that one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(schema_with = "crate::units::positive_length")]
    pub lens: Option<Length>,
    /// Depth in focus; only with a `focus` of the camera. Default that one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(schema_with = "crate::units::positive_length")]
    pub focus: Option<Length>,
}

/// How a camera goes from key to key.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Between {
    /// Straight, at even speed.
    Linear,
    /// By cubics through the keys: no corner in its way, no jerk in its speed. Rotations turn as
    /// with `linear`.
    #[default]
    Smooth,
}

impl Camera {
    /// Sensor width and height, with the default where none is set.
    #[must_use]
    pub fn sensor(&self) -> [Length; 2] {
        self.sensor
            .unwrap_or(FULL_FRAME_MM.map(Length::from_millimetres))
    }

    /// The camera as optics has it, in its first frame. Meaningful for a camera that has passed the
    /// shot's check and is not from a file.
    #[must_use]
    pub fn optics(&self) -> optics::Camera {
        match self.keys.as_deref() {
            Some([first, ..]) => self.with(&CameraPose::of_key(first)),
            _ => self.with(&CameraPose {
                position: self.at.map_or(DVec3::ZERO, place),
                aim: Aim::new(self.toward, self.rotation, self.roll),
                lens: None,
                focus: None,
            }),
        }
    }

    /// The camera in all its frames. Meaningful for a camera that has passed the shot's check and
    /// is not from a file.
    #[must_use]
    pub fn track(&self) -> optics::Track {
        let Some(keys) = self.keys.as_deref().filter(|k| !k.is_empty()) else {
            return optics::Track::still(self.optics());
        };
        let poses: Vec<CameraPose> = keys.iter().map(CameraPose::of_key).collect();
        let frames: Vec<f64> = keys.iter().map(|k| f64::from(k.at_frame)).collect();
        let smooth = self.between.unwrap_or_default() == Between::Smooth;
        let (first, last) = (keys[0].at_frame, keys[keys.len() - 1].at_frame);
        let at = |frame: i32| {
            self.with(&CameraPose::between(
                &frames,
                &poses,
                f64::from(frame),
                smooth,
            ))
        };
        optics::Track {
            name: self.name.clone(),
            first: i64::from(first),
            frames: (first..=last).map(at).collect(),
        }
    }

    /// A file's camera with what this one says of it: where it stands at each of its frames. Its
    /// vertical angle of view is the file's.
    ///
    /// # Errors
    /// The frame has another aspect than the file's camera; the fault's place is within the camera.
    pub fn filmed(&self, film: &Film<'_>) -> Result<optics::Track> {
        let [width, height] = self.frame.map(f64::from);
        if let Some(aspect) = film.aspect
            && (aspect * height / width - 1.0).abs() > ASPECT_WITHIN
        {
            return Err(Error::input(
                "frame",
                format!(
                    "{width} x {height} has the aspect {:.4}; the file's camera has {aspect:.4}",
                    width / height
                ),
                format!(
                    "the file's frame is {width} x {:.0} at this width",
                    width / aspect
                ),
            ));
        }
        let fps = self.fps.unwrap_or(FILM_FPS);
        let (first, count) = match (self.frames, film.span) {
            (Some([first, last]), Some(_)) => (first, i64::from(last) - i64::from(first) + 1),
            (None, Some([from, to])) => (1, libm::floor((to - from) * fps + 1e-6) as i64 + 1),
            (frames, None) => (frames.map_or(1, |f| f[0]), 1),
        };
        if count > MAX_FRAMES {
            return Err(Error::input(
                "frames",
                format!("the animation has {count} frames at {fps} a second"),
                format!("at most {MAX_FRAMES}; give `frames` or another `fps`"),
            ));
        }
        let start = film.span.map_or(0.0, |s| s[0]);
        let sensor_height = self.sensor()[0].metres() * height / width;
        let at = |i: i64| {
            let (position, rotation) = (film.pose)(start + i as f64 / fps);
            optics::Camera {
                name: self.name.clone(),
                position,
                rotation,
                yfov: film.yfov,
                frame: self.frame,
                near: self.near.map_or(film.near, Length::metres),
                far: self
                    .far
                    .map(Length::metres)
                    .or(film.far)
                    .unwrap_or(f64::INFINITY),
                focal_length: optics::focal_length(sensor_height, film.yfov),
                focus: self.focus.map(Length::metres),
                stop: self.stop,
            }
        };
        let track = optics::Track {
            name: self.name.clone(),
            first: i64::from(first),
            frames: (0..count).map(at).collect(),
        };
        let near = track.frames[0].near;
        if self.far.is_some_and(|far| far.metres() <= near) {
            return Err(Error::input(
                "far",
                format!("it is not beyond near, which is {near} m in the file"),
                "give `near` too, or leave `far` out",
            ));
        }
        let wild = |c: &optics::Camera| c.position.abs().max_element() > MAX_COORDINATE_M;
        if let Some(i) = track.frames.iter().position(wild) {
            return Err(Error::input(
                "file",
                format!(
                    "in frame {} the camera is at {:.0}",
                    i64::from(first) + i as i64,
                    track.frames[i].position
                ),
                format!(
                    "at most {} km along each axis; is the file in metres?",
                    MAX_COORDINATE_M / 1e3
                ),
            ));
        }
        Ok(track)
    }

    fn with(&self, pose: &CameraPose) -> optics::Camera {
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
                let lens = pose.lens.unwrap_or(lens.unwrap_or_default().metres());
                (optics::angle_of_view(sensor_height, lens), lens)
            }
        };
        optics::Camera {
            name: self.name.clone(),
            position: pose.position,
            rotation: pose.aim.rotation(pose.position),
            yfov,
            frame: self.frame,
            near: self.near.unwrap_or_else(default_near).metres(),
            far: self.far.map_or(f64::INFINITY, Length::metres),
            focal_length,
            focus: self.focus.map(|f| pose.focus.unwrap_or(f.metres())),
            stop: self.stop,
        }
    }
}

/// Near limit where none is set.
pub(super) fn default_near() -> Length {
    Length::from_millimetres(NEAR_MM)
}

/// How far the frame's aspect may be from the file's: a row of pixels more or less.
const ASPECT_WITHIN: f64 = 0.002;

/// A camera as a file has it.
pub struct Film<'a> {
    /// Vertical angle of view, radians, in (0, pi).
    pub yfov: f64,
    /// Width over height, where the file says.
    pub aspect: Option<f64>,
    /// Nearest depth, metres.
    pub near: f64,
    /// Farthest depth, metres; None without a limit.
    pub far: Option<f64>,
    /// Seconds of the first and last key of its motion; None where it stands.
    pub span: Option<[f64; 2]>,
    /// Position, metres, and world from camera at a time in seconds.
    pub pose: &'a dyn Fn(f64) -> (DVec3, DQuat),
}

impl std::fmt::Debug for Film<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Film")
            .field("yfov", &self.yfov)
            .field("span", &self.span)
            .finish_non_exhaustive()
    }
}

/// Three lengths as a place in the world, metres.
pub(crate) fn place(at: [Length; 3]) -> DVec3 {
    DVec3::from_array(at.map(Length::metres))
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
        // 35 mm on 36 x 24: 0.660595 (glTF 2.0 specification's example camera, aspect 1.5, within
        // 2e-6).
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
