//! The solid that is left when rock breaks: half-spaces along joint sets, steps and shell-shaped chips, all seen from a
//! point inside, so that the surface is one distance in every direction and can't cross itself.

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

    /// Normal of the plane through the origin that holds the edge with another cut.
    fn edge(self, other: Self) -> DVec3 {
        (self.normal * other.distance - other.normal * self.distance).normalize_or(DVec3::Y)
    }
}

/// A broken block about the origin, about one unit in radius.
#[derive(Debug, Clone)]
pub(crate) struct Fracture {
    faces: Vec<Cut>,
    /// Steps: what lies beyond both planes of a pair is gone.
    steps: Vec<[Cut; 2]>,
    /// Chips: balls (centre, radius) outside the origin that are gone.
    chips: Vec<(DVec3, f64)>,
}

/// How a block breaks.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Breakage {
    /// Faces that follow no joint.
    pub(crate) free_faces: u32,
    pub(crate) steps: u32,
    pub(crate) chips: u32,
}

impl Fracture {
    /// Breaks a block along three joint sets, not quite square to each other.
    pub(crate) fn new(draw: &mut Draw, how: Breakage) -> Self {
        // Joint sets: rough rock parts along two or three directions that keep 60 to 90 degrees between them.
        let first = draw.direction();
        let skew = |draw: &mut Draw, v: DVec3| (v + draw.direction() * 0.42).normalize();
        let second = skew(draw, first.any_orthonormal_vector());
        let third = skew(draw, first.cross(second).normalize());
        let mut faces = Vec::new();
        for joint in [first, second, third] {
            for side in [1.0, -1.0] {
                // Planes of one set are near parallel: a few degrees apart.
                let normal = (joint * side + draw.direction() * 0.13).normalize();
                let distance = draw.range(0.66, 0.95);
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
        // Chips start on edges, where the block is struck: the ball's cap bites a little below the surface.
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
        let mut nearest = self
            .faces
            .iter()
            .map(|face| face.reach(u))
            .chain(self.steps.iter().map(|[a, b]| a.reach(u).max(b.reach(u))))
            .fold(f64::INFINITY, f64::min);
        for &(centre, radius) in &self.chips {
            let along = centre.dot(u);
            let gap = radius * radius - (centre.length_squared() - along * along);
            if along > 0.0 && gap > 0.0 {
                nearest = nearest.min(along - gap.sqrt());
            }
        }
        nearest
    }

    /// The face that ends the ray, as a stable number, for what differs from face to face.
    pub(crate) fn face(&self, u: DVec3) -> usize {
        self.active(u)[0].1
    }

    /// The cuts that the ray meets, nearest first: reach, number, plane.
    fn active(&self, u: DVec3) -> Vec<(f64, usize, Cut)> {
        let mut cuts: Vec<(f64, usize, Cut)> = self
            .faces
            .iter()
            .enumerate()
            .map(|(i, face)| (face.reach(u), i, *face))
            .collect();
        for (i, &[a, b]) in self.steps.iter().enumerate() {
            let k = self.faces.len() + 2 * i;
            let (ra, rb) = (a.reach(u), b.reach(u));
            cuts.push(if ra > rb { (ra, k, a) } else { (rb, k + 1, b) });
        }
        cuts.sort_by(|x, y| x.0.total_cmp(&y.0).then(x.1.cmp(&y.1)));
        cuts
    }

    /// Moves a direction onto an edge or a corner within `angle` radians of it, so that mesh edges follow the block's.
    pub(crate) fn snap(&self, u: DVec3, angle: f64) -> DVec3 {
        let cuts = self.active(u);
        let (_, number, nearest) = cuts[0];
        let mut edges: Vec<DVec3> = Vec::new();
        for &(_, _, other) in cuts.iter().skip(1).take(3) {
            let edge = nearest.edge(other);
            if edge.dot(u).abs() < angle {
                edges.push(edge);
            }
        }
        // The inner edge of a step.
        if number >= self.faces.len() {
            let [a, b] = self.steps[(number - self.faces.len()) / 2];
            let edge = a.edge(b);
            if edge.dot(u).abs() < angle {
                edges.push(edge);
            }
        }
        let corner = match edges.as_slice() {
            [] => return u,
            [one, two, ..] => {
                let corner = one.cross(*two).normalize_or(u);
                if corner.dot(u) < 0.0 { -corner } else { corner }
            }
            [_] => u,
        };
        if edges.len() > 1 && (corner - u).length() < angle {
            return corner;
        }
        let closest = edges
            .iter()
            .copied()
            .min_by(|x, y| x.dot(u).abs().total_cmp(&y.dot(u).abs()))
            .unwrap_or(DVec3::Y);
        (u - closest * closest.dot(u)).normalize_or(u)
    }
}
