//! One camera in one frame: what it resolves.

use glam::DVec3;

use super::{Body, OctaveReach};
use crate::brief::Resolve;
use crate::ground::{Floor, Ground, HeightTiles};
use crate::optics::Camera;

/// Where defocus counts, a piece smaller than this share of the blur circle is not resolved: spread
/// over a hundred times its own area, it is under one part in a hundred of what its pixels show.
const BLURRED_AWAY: f64 = 0.1;

/// A camera with its finest footprint.
#[derive(Debug, Clone)]
pub struct Eye {
    camera: Camera,
    resolve: Resolve,
    /// Tangents of half the horizontal and vertical angle of view.
    half: [f64; 2],
    sides: [Side; SIDES],
}

/// A half-space that holds all that the camera can see.
#[derive(Debug, Clone, Copy)]
struct Side {
    /// Unit normal, into it.
    normal: DVec3,
    /// Distance of the camera's position from its border, positive inside, metres.
    offset: f64,
}

/// Left, right, upper and lower side, near and far end of the frustum, the floor, and the first
/// four cut off where they go under the floor.
const SIDES: usize = 11;
/// Sides whose cut is steeper than this sine are cut by themselves.
const UPRIGHT: f64 = 1e-6;

/// Nothing is outside of it.
const EVERYWHERE: Side = Side {
    normal: DVec3::ZERO,
    offset: f64::MAX,
};

impl Eye {
    /// A camera at the footprint that `resolve` asks for, over ground that is nowhere under
    /// `floor`.
    #[must_use]
    pub fn new(camera: &Camera, resolve: Resolve, floor: Floor) -> Self {
        let tall = libm::tan(0.5 * camera.yfov);
        let half = [tall * camera.aspect(), tall];
        Self {
            camera: camera.clone(),
            resolve,
            half,
            sides: sides(camera, half, floor),
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

    /// Maximum number of pixels spanned by a metre square to the line of sight, at any place of the
    /// piece's bounding sphere that the frame can show. For a sphere beside the frame: the number
    /// if the sphere were turned into the frame's corner.
    #[must_use]
    pub fn pixels_per_metre(&self, body: &Body) -> f64 {
        let q = self.local(body.middle);
        let [w, t] = self.half;
        // What the frame can show at a distance is at least as deep as its corner
        let corner = 1.0 / libm::sqrt(1.0 + w * w + t * t);
        let depth = (q.z - body.radius).max((q.length() - body.radius) * corner);
        self.camera.pixels_per_radian() / depth.max(self.camera.near)
    }

    /// The smallest diameter that is resolved at the place for which [`Eye::pixels_per_metre`] is
    /// computed, metres. Blur is not counted.
    #[must_use]
    pub fn finest_footprint(&self, body: &Body) -> f64 {
        self.resolve.pixels / self.pixels_per_metre(body)
    }

    /// Signed distances from a place to the sides of what the camera can see, positive inside.
    fn sides(&self, p: DVec3) -> [f64; SIDES] {
        let arm = p - self.camera.position;
        self.sides.map(|s| s.normal.dot(arm) + s.offset)
    }

    /// Whether the piece's bounding sphere overlaps the frustum over the floor, and the piece is
    /// resolved at the depth of its middle.
    #[must_use]
    pub fn sees(&self, body: &Body) -> bool {
        let sides = self.sides(body.middle);
        sides.iter().all(|s| *s > -body.radius)
            && self.resolves(body.diameter, self.local(body.middle).z)
    }

    /// Whether a ball overlaps the angle of view, however near or far.
    pub(super) fn holds(&self, middle: DVec3, radius: f64) -> bool {
        let q = self.local(middle);
        q.z > -radius && self.sides(middle)[..4].iter().all(|s| *s > -radius)
    }

    /// Whether the bounding sphere, moved along the line from its middle to `end`, overlaps the
    /// frustum where the piece would be resolved.
    #[must_use]
    pub fn sees_along(&self, body: &Body, end: DVec3) -> bool {
        let (a, b) = (self.local(body.middle), self.local(end));
        let (from, to) = (self.sides(body.middle), self.sides(end));
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

    /// Corners of the part of the frustum that resolves a size, near ones first; None if no part
    /// does.
    fn frustum(&self, reach: OctaveReach) -> Option<[DVec3; 8]> {
        let near = (self.camera.near - reach.round).max(0.0);
        let far = self.farthest(reach.diameter) + reach.round;
        if far <= near {
            return None;
        }
        let around = [(-1.0, -1.0), (1.0, -1.0), (1.0, 1.0), (-1.0, 1.0)];
        Some(std::array::from_fn(|i| {
            let (x, y) = around[i % 4];
            self.corner(x, y, if i < 4 { near } else { far })
        }))
    }

    /// Sets of plan points; their hulls together hold the ground that the frustum meets as far as
    /// it resolves the size: one for the whole ground, or one a tile of a ground that has tiles,
    /// marked by the tile. Each is the frustum between two heights. `shadow`: the longest way that
    /// a piece's shadow goes, metres along x, y, z. Nothing is seen under the lowest ground.
    #[must_use]
    pub fn plan_points(
        &self,
        reach: OctaveReach,
        ground: &Ground,
        shadow: DVec3,
    ) -> Vec<(GroundTile, Vec<[f64; 2]>)> {
        let Some(corners) = self.frustum(reach) else {
            return Vec::new();
        };
        let (round, over) = (reach.round, reach.round + reach.lift);
        let Some(tiles) = ground.tiles() else {
            // Heights over the sloping base plane: the frustum stays a convex body under that shear
            let heights = corners.map(|p| p.y - ground.base(p.x, p.z));
            let [low, high] = ground.slab();
            let points = between(&corners, &heights, [low, high + over - shadow.y]);
            return vec![((0, 0, 0), points)];
        };
        let heights = corners.map(|p| p.y);
        let lowest = ground.floor().low;
        let mut found = Vec::new();
        let mut open = vec![(0, 0, 0)];
        while let Some(tile) = open.pop() {
            let (level, column, row) = tile;
            let Some([low, high]) = tiles.heights(level, column, row) else {
                continue;
            };
            let r = tiles.rectangle(level, column, row);
            // What is seen of a piece or of its shadow lies about within its radius of the tile
            // much farther down the sun's rays
            let near = [
                r[0] - round + shadow.x.min(0.0),
                r[1] - round + shadow.z.min(0.0),
                r[2] + round + shadow.x.max(0.0),
                r[3] + round + shadow.z.max(0.0),
            ];
            let bottom = (low - round + shadow.y).max(lowest);
            let points = between(&corners, &heights, [bottom, high + over]);
            let points = clipped(&crate::plan::convex_hull(&points), near);
            if points.is_empty() {
                continue;
            }
            if self.is_fine(tiles, level, [low, high], round) {
                found.push((tile, points));
            } else {
                let (c, r) = (2 * column, 2 * row);
                open.extend(
                    [(0, 0), (1, 0), (0, 1), (1, 1)].map(|(i, k)| (level + 1, c + i, r + k)),
                );
            }
        }
        found
    }

    /// Whether a tile's range of heights does not matter as seen from the camera: the frustum
    /// extends at most a fifth farther on its low ground than on its high ground, or pieces are as
    /// high as the range.
    fn is_fine(
        &self,
        tiles: &HeightTiles,
        level: usize,
        [low, high]: [f64; 2],
        round: f64,
    ) -> bool {
        const SHARE: f64 = 0.2;
        level + 1 == tiles.levels()
            || high - low <= (SHARE * (self.camera.position.y - high)).max(2.0 * round)
    }

    /// The camera.
    #[must_use]
    pub fn camera(&self) -> &Camera {
        &self.camera
    }

    /// Tangents of half the horizontal and vertical angle of view.
    pub(super) fn half(&self) -> [f64; 2] {
        self.half
    }

    /// The finest footprint that counts, pixels.
    pub(super) fn pixels(&self) -> f64 {
        self.resolve.pixels
    }

    /// World place at a depth, `x` and `y` from -1 to 1 across the frame.
    fn corner(&self, x: f64, y: f64, depth: f64) -> DVec3 {
        let q = DVec3::new(x * self.half[0] * depth, y * self.half[1] * depth, -depth);
        self.camera.position + self.camera.rotation * q
    }

    /// What is wrong with the camera on this ground.
    pub(super) fn trouble(&self, ground: &Ground) -> Option<Trouble> {
        let p = self.camera.position;
        let rise = ground.height(p.x, p.z);
        if p.y <= rise && ground.holds(p.x, p.z) {
            return Some(Trouble::Under(rise));
        }
        if ground.tiles().is_some() {
            // Any size, as far as the picture goes: a piece of ten kilometres is resolved anywhere
            let any = OctaveReach {
                diameter: 1e4,
                round: 0.0,
                lift: 0.0,
                tall: 0.0,
            };
            let none = self.plan_points(any, ground, DVec3::ZERO).is_empty();
            return none.then_some(Trouble::Sky);
        }
        // How the rays through the frame's corners climb over the ground's base plane
        let climbs = [(-1.0, -1.0), (1.0, -1.0), (1.0, 1.0), (-1.0, 1.0)].map(|(x, y)| {
            let ray = self.corner(x, y, 1.0) - p;
            ray.y - ground.base(ray.x, ray.z)
        });
        if climbs.iter().all(|c| *c >= 0.0) {
            return Some(Trouble::Sky);
        }
        let horizon = climbs.iter().any(|c| *c >= 0.0) && self.camera.far.is_infinite();
        horizon.then_some(Trouble::Horizon)
    }
}

/// The sides of what a camera can see; `half` are the tangents of half its angles of view.
fn sides(camera: &Camera, [w, t]: [f64; 2], floor: Floor) -> [Side; SIDES] {
    let world = |right: f64, up: f64, depth: f64| {
        (camera.rotation * DVec3::new(right, up, -depth)).normalize()
    };
    let through = |normal: DVec3| Side {
        normal,
        offset: 0.0,
    };
    let ahead = world(0.0, 0.0, 1.0);
    let mut all = [EVERYWHERE; SIDES];
    all[..4].copy_from_slice(&[
        through(world(-1.0, 0.0, w)),
        through(world(1.0, 0.0, w)),
        through(world(0.0, -1.0, t)),
        through(world(0.0, 1.0, t)),
    ]);
    all[4] = Side {
        normal: ahead,
        offset: -camera.near,
    };
    // An infinite far side never cuts
    if camera.far.is_finite() {
        all[5] = Side {
            normal: -ahead,
            offset: camera.far,
        };
    }
    // What is over the floor: up . p >= low, `up` gaining one a metre of height
    let up = DVec3::new(-floor.slope[0], 1.0, -floor.slope[1]);
    let over = up.dot(camera.position) - floor.low;
    all[6] = Side {
        normal: up.normalize(),
        offset: over / up.length(),
    };
    // A side that leans outwards cuts the floor along a line; what is over the floor and inside the
    // side is inside the upright plane there
    for i in 0..4 {
        let Side { normal, .. } = all[i];
        let level = normal - up * normal.y;
        let length = level.length();
        if normal.y < 0.0 && length > UPRIGHT {
            all[7 + i] = Side {
                normal: level / length,
                offset: -normal.y * over / length,
            };
        }
    }
    all
}

/// What can be wrong with a camera on a ground.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Trouble {
    /// It is under the ground, which rises to this height.
    Under(f64),
    /// No ground is in its frame.
    Sky,
    /// The horizon is in its frame and nothing ends the view.
    Horizon,
}

/// A tile of the ground: level, column, row.
pub type GroundTile = (usize, usize, usize);

/// Plan points of the frustum between two heights; `heights` are its corners'.
fn between(corners: &[DVec3; 8], heights: &[f64; 8], [low, high]: [f64; 2]) -> Vec<[f64; 2]> {
    let mut points: Vec<[f64; 2]> = (0..8)
        .filter(|i| (low..=high).contains(&heights[*i]))
        .map(|i| [corners[i].x, corners[i].z])
        .collect();
    for (i, j) in EDGES {
        let (a, b) = (corners[i], corners[j]);
        let (ha, hb) = (heights[i], heights[j]);
        for level in [low, high] {
            if (ha < level) != (hb < level) {
                let p = a + (b - a) * ((level - ha) / (hb - ha));
                points.push([p.x, p.z]);
            }
        }
    }
    points
}

/// The part of a convex polygon inside a rectangle `[x0, z0, x1, z1]` (Sutherland and Hodgman,
/// "Reentrant polygon clipping", 1974).
fn clipped(polygon: &[[f64; 2]], r: [f64; 4]) -> Vec<[f64; 2]> {
    let mut points = polygon.to_vec();
    for (axis, bound, sign) in [
        (0, r[0], 1.0),
        (1, r[1], 1.0),
        (0, r[2], -1.0),
        (1, r[3], -1.0),
    ] {
        let inside = |p: &[f64; 2]| sign * (p[axis] - bound);
        let mut kept = Vec::with_capacity(points.len() + 1);
        for (i, p) in points.iter().enumerate() {
            let last = &points[(i + points.len() - 1) % points.len()];
            let (here, there) = (inside(p), inside(last));
            if (here < 0.0) != (there < 0.0) {
                let t = there / (there - here);
                kept.push([0, 1].map(|k| last[k] + (p[k] - last[k]) * t));
            }
            if here >= 0.0 {
                kept.push(*p);
            }
        }
        points = kept;
    }
    points
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
