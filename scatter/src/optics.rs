//! Cameras and lenses: angles of view, pixel footprint, blur, projection.
//!
//! A thin lens in air (Kingslake, "Optics in Photography", 1992); the projection is that of the
//! glTF 2.0 specification, section "Cameras", with and without a far limit.

mod track;

pub use track::{Track, slerp};

use glam::{DMat3, DMat4, DQuat, DVec3, DVec4};

/// A framed camera. Looks along its local -z, +x to the right, +y up (the glTF 2.0 convention).
#[derive(Debug, Clone, PartialEq)]
pub struct Camera {
    /// Unique name.
    pub name: String,
    /// Position in the world, metres.
    pub position: DVec3,
    /// World from camera.
    pub rotation: DQuat,
    /// Vertical angle of view, radians, in (0, pi).
    pub yfov: f64,
    /// Frame width and height in pixels.
    pub frame: [u32; 2],
    /// Nearest depth in the picture, metres, above zero.
    pub near: f64,
    /// Farthest depth in the picture, metres; infinite where there is no limit.
    pub far: f64,
    /// Focal length, metres.
    pub focal_length: f64,
    /// Distance in focus, metres, where one is set.
    pub focus: Option<f64>,
    /// Stop (f-number), where one is set.
    pub stop: Option<f64>,
}

impl Camera {
    /// A camera of a full-frame sensor, 36 mm wide, at a world place and looking at another,
    /// metres, with its horizon level. `lens` is its focal length in metres, `frame` its picture in
    /// pixels.
    #[must_use]
    pub fn looking(
        name: impl Into<String>,
        at: [f64; 3],
        toward: [f64; 3],
        lens: f64,
        frame: [u32; 2],
    ) -> Self {
        let [position, target] = [at, toward].map(DVec3::from_array);
        let height = FULL_FRAME * f64::from(frame[1]) / f64::from(frame[0]);
        Self {
            name: name.into(),
            position,
            rotation: looking(target - position, 0.0),
            yfov: 2.0 * libm::atan(0.5 * height / lens),
            frame,
            near: NEAR,
            far: f64::INFINITY,
            focal_length: lens,
            focus: None,
            stop: None,
        }
    }
}

/// Width of a full-frame sensor, metres.
const FULL_FRAME: f64 = 0.036;
/// The nearest depth of a camera that sets none, metres: closer than a close-up lens focuses.
const NEAR: f64 = 0.01;

/// World from camera for a line of sight along `sight`, rolled clockwise by `roll` radians as seen
/// from behind. Looking straight up or down, the top of the picture is toward -z (down) or +z (up).
pub(crate) fn looking(sight: DVec3, roll: f64) -> DQuat {
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

/// A place in the frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Projected {
    /// Pixels from the left and the top edge of the frame; may lie outside it.
    pub pixel: [f64; 2],
    /// Distance along the line of sight, metres: not the distance from the lens.
    pub depth: f64,
}

/// Angle of view in radians across `extent` of the sensor at `focal_length`, both in metres: 2
/// atan(d / 2f).
#[must_use]
pub fn angle_of_view(extent: f64, focal_length: f64) -> f64 {
    2.0 * libm::atan2(extent, 2.0 * focal_length)
}

/// Focal length in metres that gives `angle` radians across `extent` metres of the sensor.
#[must_use]
pub fn focal_length(extent: f64, angle: f64) -> f64 {
    0.5 * extent / libm::tan(0.5 * angle)
}

impl Camera {
    /// Frame width over height.
    #[must_use]
    pub fn aspect(&self) -> f64 {
        f64::from(self.frame[0]) / f64::from(self.frame[1])
    }

    /// Pixels that one metre spans at one metre of depth.
    #[must_use]
    pub fn pixels_per_radian(&self) -> f64 {
        f64::from(self.frame[1]) / (2.0 * libm::tan(0.5 * self.yfov))
    }

    /// Horizontal angle of view, radians.
    #[must_use]
    pub fn xfov(&self) -> f64 {
        2.0 * libm::atan(self.aspect() * libm::tan(0.5 * self.yfov))
    }

    /// Metres that one pixel spans, square to the line of sight, at `depth` metres.
    #[must_use]
    pub fn pixel_footprint(&self, depth: f64) -> f64 {
        depth / self.pixels_per_radian()
    }

    /// Sensor width in metres that the frame's width spans.
    #[must_use]
    pub fn sensor_width(&self) -> f64 {
        2.0 * self.focal_length * libm::tan(0.5 * self.yfov) * self.aspect()
    }

    /// Diameter in metres on the sensor of the blur circle of a point at `depth` metres, by the
    /// thin lens: f^2 / N x |depth - focus| / (depth (focus - f)). Zero where focus or stop is not
    /// set.
    #[must_use]
    pub fn blur_circle(&self, depth: f64) -> f64 {
        let (Some(focus), Some(stop)) = (self.focus, self.stop) else {
            return 0.0;
        };
        let f = self.focal_length;
        f * f / stop * (depth - focus).abs() / (depth * (focus - f))
    }

    /// Diameter of the blur circle in pixels; see [`Camera::blur_circle`].
    #[must_use]
    pub fn blur_pixels(&self, depth: f64) -> f64 {
        self.blur_circle(depth) * f64::from(self.frame[0]) / self.sensor_width()
    }

    /// Depths in metres between which the blur circle stays under `circle` metres on the sensor;
    /// the far one is infinite beyond the hyperfocal distance. None where focus or stop is not set.
    #[must_use]
    pub fn depth_of_field(&self, circle: f64) -> Option<[f64; 2]> {
        let (focus, stop) = (self.focus?, self.stop?);
        let f = self.focal_length;
        // Blur under the circle: |depth - focus| / depth < k.
        let k = circle * stop * (focus - f) / (f * f);
        let far = if k < 1.0 {
            focus / (1.0 - k)
        } else {
            f64::INFINITY
        };
        Some([focus / (1.0 + k), far])
    }

    /// Where the frame shows the world place `p`; none where it is not in front of the lens (depth
    /// at most zero).
    #[must_use]
    pub fn project(&self, p: DVec3) -> Option<Projected> {
        let in_camera = self.rotation.conjugate() * (p - self.position);
        let depth = -in_camera.z;
        if depth.is_nan() || depth <= 0.0 {
            return None;
        }
        let scale = self.pixels_per_radian() / depth;
        let [width, height] = self.frame.map(f64::from);
        Some(Projected {
            pixel: [
                0.5 * width + in_camera.x * scale,
                0.5 * height - in_camera.y * scale,
            ],
            depth,
        })
    }

    /// Clip space from camera: the projection matrix of the glTF 2.0 specification, infinite
    /// without a far limit.
    #[must_use]
    pub fn clip_from_camera(&self) -> DMat4 {
        let y = 1.0 / libm::tan(0.5 * self.yfov);
        let (z, w) = if self.far.is_finite() {
            (
                (self.far + self.near) / (self.near - self.far),
                2.0 * self.far * self.near / (self.near - self.far),
            )
        } else {
            (-1.0, -2.0 * self.near)
        };
        DMat4::from_cols(
            DVec4::new(y / self.aspect(), 0.0, 0.0, 0.0),
            DVec4::new(0.0, y, 0.0, 0.0),
            DVec4::new(0.0, 0.0, z, -1.0),
            DVec4::new(0.0, 0.0, w, 0.0),
        )
    }

    /// Camera from world.
    #[must_use]
    pub fn camera_from_world(&self) -> DMat4 {
        let to_camera = self.rotation.conjugate();
        DMat4::from_rotation_translation(to_camera, to_camera * -self.position)
    }
}

#[cfg(test)]
mod tests;
