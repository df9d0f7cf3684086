//! One camera: what it resolves.

use glam::DVec3;

use super::{Body, Reach};
use crate::error::Fault;
use crate::ground::Ground;
use crate::optics::Camera;
use crate::shot::Resolve;

/// With defocus counted, a piece smaller than this share of the blur circle is not resolved: spread over a hundred times its
/// own area it is under one part in a hundred of what its pixels show.
const BLURRED_AWAY: f64 = 0.1;

/// A camera with its finest footprint.
#[derive(Debug, Clone)]
pub struct Eye {
    camera: Camera,
    resolve: Resolve,
    /// Tangents of half the horizontal and vertical angle of view.
    half: [f64; 2],
}

impl Eye {
    /// A camera at what `resolve` asks.
    #[must_use]
    pub fn new(camera: &Camera, resolve: Resolve) -> Self {
        let tall = libm::tan(0.5 * camera.yfov);
        Self {
            camera: camera.clone(),
            resolve,
            half: [tall * camera.aspect(), tall],
        }
    }

    /// The place as seen from the camera: right, up, depth.
    fn local(&self, p: DVec3) -> DVec3 {
        let q = self.camera.rotation.conjugate() * (p - self.camera.position);
        DVec3::new(q.x, q.y, -q.z)
    }

    /// Depth beyond which a piece of the given diameter falls under the finest footprint, metres.
    fn farthest(&self, diameter: f64) -> f64 {
        (diameter * self.camera.pixels_per_radian() / self.resolve.pixels).min(self.camera.far)
    }

    /// Whether a piece of the given diameter is resolved at a depth.
    fn resolves(&self, diameter: f64, depth: f64) -> bool {
        let depth = depth.max(self.camera.near);
        let pixels = diameter * self.camera.pixels_per_radian() / depth;
        pixels >= self.resolve.pixels
            && (!self.resolve.defocus || pixels >= BLURRED_AWAY * self.camera.blur_pixels(depth))
    }

    /// Signed distances from a place to the frustum's six sides, positive inside.
    fn sides(&self, q: DVec3) -> [f64; 6] {
        let [w, t] = self.half;
        let (slant_w, slant_t) = (libm::sqrt(1.0 + w * w), libm::sqrt(1.0 + t * t));
        [
            (w * q.z - q.x) / slant_w,
            (w * q.z + q.x) / slant_w,
            (t * q.z - q.y) / slant_t,
            (t * q.z + q.y) / slant_t,
            q.z - self.camera.near,
            // An infinite far side never cuts
            if self.camera.far.is_finite() {
                self.camera.far - q.z
            } else {
                f64::MAX
            },
        ]
    }

    /// Whether the piece's bounding sphere reaches into the frustum and the piece is resolved at its middle's depth.
    #[must_use]
    pub fn sees(&self, body: &Body) -> bool {
        let q = self.local(body.middle);
        self.resolves(body.diameter, q.z) && self.sides(q).iter().all(|s| *s > -body.radius)
    }

    /// Whether the bounding sphere, moved along the line from its middle to `end`, reaches into the frustum where the piece would be
    /// resolved.
    #[must_use]
    pub fn sees_along(&self, body: &Body, end: DVec3) -> bool {
        let (a, b) = (self.local(body.middle), self.local(end));
        let (from, to) = (self.sides(a), self.sides(b));
        // The part of the line that is inside all sides, each moved out by the radius
        let (mut first, mut last) = (0.0_f64, 1.0_f64);
        for (s, e) in from.iter().zip(&to) {
            let (s, e) = (s + body.radius, e + body.radius);
            if s <= 0.0 && e <= 0.0 {
                return false;
            }
            if s < 0.0 {
                first = first.max(s / (s - e));
            } else if e < 0.0 {
                last = last.min(s / (s - e));
            }
        }
        if first > last {
            return false;
        }
        let depth = |t: f64| a.z + (b.z - a.z) * t;
        self.resolves(body.diameter, depth(first)) || self.resolves(body.diameter, depth(last))
    }

    /// Plan points whose hull holds the ground that the frustum meets as far as it resolves the size: the corners of
    /// frustum and height slab. `above` is how high over the ground pieces and their shadows' rays reach, metres.
    #[must_use]
    pub fn plan_points(&self, reach: Reach, ground: &Ground, above: f64) -> Vec<[f64; 2]> {
        let near = (self.camera.near - reach.radius).max(0.0);
        let far = self.farthest(reach.diameter) + reach.radius;
        if far <= near {
            return Vec::new();
        }
        let slab = ground.relief_bound() + 2.0 * reach.radius;
        let (low, high) = (-slab, slab + above);
        let corners: Vec<DVec3> = [near, far]
            .into_iter()
            .flat_map(|z| {
                [(-1.0, -1.0), (1.0, -1.0), (1.0, 1.0), (-1.0, 1.0)]
                    .map(|(x, y)| self.corner(x, y, z))
            })
            .collect();
        // Heights over the sloping base plane: the frustum stays a convex body under that shear
        let over = |p: DVec3| p.y - ground.base(p.x, p.z);
        let mut points: Vec<[f64; 2]> = corners
            .iter()
            .filter(|p| (low..=high).contains(&over(**p)))
            .map(|p| [p.x, p.z])
            .collect();
        for (i, j) in EDGES {
            let (a, b) = (corners[i], corners[j]);
            let (ha, hb) = (over(a), over(b));
            for level in [low, high] {
                if (ha < level) != (hb < level) {
                    let p = a + (b - a) * ((level - ha) / (hb - ha));
                    points.push([p.x, p.z]);
                }
            }
        }
        points
    }

    /// World place at a depth, `x` and `y` from -1 to 1 across the frame.
    fn corner(&self, x: f64, y: f64, depth: f64) -> DVec3 {
        let q = DVec3::new(x * self.half[0] * depth, y * self.half[1] * depth, -depth);
        self.camera.position + self.camera.rotation * q
    }

    /// What is wrong with the camera on this ground, said of `place` in the shot document.
    pub(super) fn fault(&self, ground: &Ground, place: &str) -> Option<Fault> {
        let p = self.camera.position;
        let rise = ground.height(p.x, p.z);
        if p.y <= rise {
            return Some(Fault::new(
                format!("{place}.at"),
                format!(
                    "the camera stands at {:.3} m, under the ground, which rises to {rise:.3} m there",
                    p.y
                ),
                format!("lift it above {rise:.3} m"),
            ));
        }
        // How the rays through the frame's corners climb over the ground's base plane
        let climbs = [(-1.0, -1.0), (1.0, -1.0), (1.0, 1.0), (-1.0, 1.0)].map(|(x, y)| {
            let ray = self.corner(x, y, 1.0) - p;
            ray.y - ground.base(ray.x, ray.z)
        });
        if climbs.iter().all(|c| *c >= 0.0) {
            return Some(Fault::new(
                format!("{place}.toward"),
                "the camera looks at the sky: no ray of its frame meets the ground",
                "look down at the ground, or widen the angle of view",
            ));
        }
        if climbs.iter().any(|c| *c >= 0.0) && self.camera.far.is_infinite() {
            return Some(Fault::new(
                format!("{place}.far"),
                "the horizon is in the frame and there is no far limit",
                "set `far`, such as \"40 m\"",
            ));
        }
        None
    }
}

/// The frustum's twelve edges between its corners, near ones first.
const EDGES: [(usize, usize); 12] = [
    (0, 1),
    (1, 2),
    (2, 3),
    (3, 0),
    (4, 5),
    (5, 6),
    (6, 7),
    (7, 4),
    (0, 4),
    (1, 5),
    (2, 6),
    (3, 7),
];
