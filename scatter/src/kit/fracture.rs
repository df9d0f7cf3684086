//! The solid that is left when rock breaks: half-spaces along joint sets, steps and shell-shaped
//! chips. All of it is seen from a point inside, so the surface is at one distance in every
//! direction and can't cross itself.

use glam::DVec3;

use super::draw::Draw;

/// A plane n·x = d with the solid on the side of the origin (d > 0).
#[derive(Debug, Clone, Copy)]
struct Cut {
    normal: DVec3,
    distance: f64,
}

impl Cut {
    /// Distance along a unit direction, infinite where the ray leaves it behind.
    fn reach(self, u: DVec3) -> f64 {
        let toward = self.normal.dot(u);
        if toward > 1e-9 {
            self.distance / toward
        } else {
            f64::INFINITY
        }
    }
}

/// A broken block about the origin, about one unit in radius.
#[derive(Debug, Clone)]
pub(crate) struct Fracture {
    faces: Vec<Cut>,
    /// Steps: what lies beyond both planes of a pair is taken away.
    steps: Vec<[Cut; 2]>,
    /// Chips: balls (centre, radius) outside the origin that are taken away.
    chips: Vec<(DVec3, f64)>,
}

/// Maximum distance of a block's surface: joints that lean far can leave a direction open.
const REACH: f64 = 1.6;

/// How a block breaks.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Breakage {
    /// How far the joint sets are from square: 0 square, 0.8 down to about 50 degrees.
    pub(crate) skew: f64,
    /// How far the two planes of a joint set are from parallel: about its tangent.
    pub(crate) taper: f64,
    /// Faces that follow no joint.
    pub(crate) free_faces: u32,
    pub(crate) steps: u32,
    pub(crate) chips: u32,
}

impl Fracture {
    /// Breaks a block along three joint sets, not quite square to each other.
    pub(crate) fn new(draw: &mut Draw, how: Breakage) -> Self {
        // Joint sets: rough rock parts along two or three directions that keep 60 to 90 degrees
        // between them.
        let first = draw.direction();
        let skew = |draw: &mut Draw, v: DVec3| (v + draw.direction() * how.skew).normalize();
        let second = skew(draw, first.any_orthonormal_vector());
        let third = skew(draw, first.cross(second).normalize());
        let mut faces = Vec::new();
        for joint in [first, second, third] {
            for side in [1.0, -1.0] {
                let normal = (joint * side + draw.direction() * how.taper).normalize();
                let distance = draw.range(0.58, 0.96);
                faces.push(Cut { normal, distance });
            }
        }
        for _ in 0..how.free_faces {
            let normal = draw.direction();
            let distance = draw.range(0.78, 1.02);
            faces.push(Cut { normal, distance });
        }
        let mut solid = Self {
            faces,
            steps: Vec::new(),
            chips: Vec::new(),
        };
        // Steps run along two joints, at the block's rim.
        for k in 0..how.steps {
            let pair = [(0, 2), (1, 4), (3, 5), (0, 5), (2, 4)][k as usize % 5];
            let step = [pair.0, pair.1].map(|i: usize| Cut {
                normal: (solid.faces[i].normal + draw.direction() * 0.15).normalize(),
                distance: solid.faces[i].distance * draw.range(0.62, 0.88),
            });
            solid.steps.push(step);
        }
        // Chips start on edges, where the block is struck: the ball's cap bites a little below the
        // surface.
        for _ in 0..how.chips {
            let mut u = draw.direction();
            let mut farthest = solid.reach(u);
            for _ in 0..6 {
                let other = (u + draw.direction() * 0.5).normalize();
                if solid.reach(other) > farthest {
                    farthest = solid.reach(other);
                    u = other;
                }
            }
            let radius = draw.range(0.3, 0.7);
            let depth = draw.range(0.05, 0.13);
            solid.chips.push((u * (farthest + radius - depth), radius));
        }
        solid
    }

    /// Distance from the origin to the surface along a unit direction.
    pub(crate) fn reach(&self, u: DVec3) -> f64 {
        self.hit(u).0
    }

    /// A stable number for the plane or ball that ends the ray, for what differs from face to face.
    pub(crate) fn face(&self, u: DVec3) -> usize {
        self.hit(u).1
    }

    /// Distance to the surface, and the number of what ends the ray there.
    fn hit(&self, u: DVec3) -> (f64, usize) {
        let last = self.faces.len() + 2 * self.steps.len() + self.chips.len();
        let mut nearest = (REACH, last);
        let mut meet = |reach: f64, number: usize| {
            if reach < nearest.0 {
                nearest = (reach, number);
            }
        };
        for (i, face) in self.faces.iter().enumerate() {
            meet(face.reach(u), i);
        }
        let steps_from = self.faces.len();
        for (i, [a, b]) in self.steps.iter().enumerate() {
            let (ra, rb) = (a.reach(u), b.reach(u));
            let second = usize::from(rb > ra);
            meet(ra.max(rb), steps_from + 2 * i + second);
        }
        let chips_from = steps_from + 2 * self.steps.len();
        for (i, &(centre, radius)) in self.chips.iter().enumerate() {
            let along = centre.dot(u);
            let gap = radius * radius - (centre.length_squared() - along * along);
            if along > 0.0 && gap > 0.0 {
                meet(along - gap.sqrt(), chips_from + i);
            }
        }
        nearest
    }
}
