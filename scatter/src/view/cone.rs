//! An outer bound of what a run of frames can see: a quick no.

use glam::DVec3;

use super::{Body, Eye};

/// Added to angles and lengths, radians and metres, so that rounding never makes a wrong no.
const SLACK: f64 = 1e-9;

/// All the frustums of a run of frames: a ball that holds the lenses, a cone about the lines of
/// sight.
#[derive(Debug, Clone)]
pub(super) struct Cone {
    apex: DVec3,
    /// Radius of the ball about `apex`.
    ball: f64,
    axis: DVec3,
    /// Maximum angle from the axis to a ray of any frame, radians.
    half: f64,
    /// Maximum distance before its apex at which a frustum begins when its sides are moved out by
    /// 1.
    before: f64,
    /// Depth over diameter at which pieces are no longer resolved.
    resolved: f64,
    near: f64,
    far: f64,
}

impl Cone {
    /// The cone of at least one frame.
    pub(super) fn new(eyes: &[Eye]) -> Self {
        let cameras = || eyes.iter().map(Eye::camera);
        let sight = |e: &Eye| e.camera().rotation * DVec3::NEG_Z;
        let low = cameras()
            .map(|c| c.position)
            .fold(DVec3::INFINITY, DVec3::min);
        let high = cameras()
            .map(|c| c.position)
            .fold(DVec3::NEG_INFINITY, DVec3::max);
        let apex = 0.5 * (low + high);
        let axis = eyes
            .iter()
            .map(sight)
            .sum::<DVec3>()
            .normalize_or(DVec3::NEG_Z);
        let most = |of: &dyn Fn(&Eye) -> f64| eyes.iter().map(of).fold(0.0, f64::max);
        let corner = |e: &Eye| {
            let [w, t] = e.half();
            libm::atan(libm::sqrt(w * w + t * t))
        };
        Self {
            apex,
            ball: most(&|e| e.camera().position.distance(apex)) + SLACK,
            axis,
            half: most(&|e| angle(sight(e), axis) + corner(e)) + SLACK,
            before: most(&|e| {
                // 1 over the sine of half the angle of view, of the narrower side
                let slant = |t: f64| libm::sqrt(1.0 + t * t) / t;
                let [w, t] = e.half();
                slant(w).max(slant(t))
            }),
            resolved: most(&|e| e.camera().pixels_per_radian() / e.pixels()),
            near: most(&|e| e.camera().near),
            far: most(&|e| e.camera().far),
        }
    }

    /// Whether some frame may see the piece somewhere within `way` of its middle. Never wrong when
    /// it says no.
    pub(super) fn may_see(&self, middle: DVec3, body: &Body, way: f64) -> bool {
        let to = middle - self.apex;
        let distance = to.length();
        let loose = self.ball + way + body.radius * self.before;
        if distance <= loose {
            return true;
        }
        let off = angle(to / distance, self.axis);
        if off > self.half + libm::asin((loose / distance).min(1.0)) + SLACK {
            return false;
        }
        // The smallest depth at which any frame has it
        let spread = (off + self.half).min(std::f64::consts::PI);
        let depth = distance * libm::cos(spread) - self.ball - way - SLACK;
        depth <= self.near.max(body.diameter * self.resolved) && depth <= self.far + body.radius
    }
}

/// Angle between unit vectors, radians.
fn angle(a: DVec3, b: DVec3) -> f64 {
    libm::atan2(a.cross(b).length(), a.dot(b))
}
