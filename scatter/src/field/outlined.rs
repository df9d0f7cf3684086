//! What lies already, as fields see it: its outline in plan and how high it stands.

use crate::plan::{Ellipse, NANO, Placed, Rectangle};

/// Something that lies already, with its outline.
#[derive(Debug, Clone, PartialEq)]
pub enum Outlined {
    /// A piece of an earlier pass.
    Piece {
        /// The piece.
        placed: Placed,
        /// Its long axis over its diameter.
        elongation: f64,
        /// Its height over the ground, metres.
        height: f64,
    },
    /// The outline of a hero or of a pinned piece: a convex polygon in plan, counter-clockwise seen with +x right and +z up, nanometres.
    Hull {
        /// Corners, at least three.
        corners: Vec<[i64; 2]>,
        /// Its height over the ground, metres.
        height: f64,
    },
}

impl Outlined {
    /// Its diameter in metres: of a hull, that of the disc of its plan area.
    #[must_use]
    pub fn diameter(&self) -> f64 {
        match self {
            Self::Piece { placed, .. } => f64::from(placed.diameter),
            Self::Hull { corners, .. } => {
                let from = corners[0];
                let doubled: f64 = corners
                    .windows(2)
                    .map(|w| {
                        let [a, b] = [w[0], w[1]]
                            .map(|c| [(c[0] - from[0]) as f64, (c[1] - from[1]) as f64]);
                        a[0] * b[1] - a[1] * b[0]
                    })
                    .sum();
                libm::sqrt(2.0 * doubled.abs() / std::f64::consts::PI) / NANO
            }
        }
    }

    /// Its height over the ground, metres.
    #[must_use]
    pub fn height(&self) -> f64 {
        match self {
            Self::Piece { height, .. } | Self::Hull { height, .. } => *height,
        }
    }

    /// The plan rectangle that holds it.
    #[must_use]
    pub fn bounds(&self) -> Rectangle {
        match self {
            Self::Piece {
                placed, elongation, ..
            } => {
                let outer = (0.5 * NANO * f64::from(placed.diameter) * elongation) as i64 + 1;
                Rectangle {
                    x0: placed.x,
                    z0: placed.z,
                    x1: placed.x,
                    z1: placed.z,
                }
                .grown(outer)
            }
            Self::Hull { corners, .. } => {
                let mut r = Rectangle {
                    x0: i64::MAX,
                    z0: i64::MAX,
                    x1: i64::MIN,
                    z1: i64::MIN,
                };
                for [x, z] in corners {
                    (r.x0, r.z0, r.x1, r.z1) =
                        (r.x0.min(*x), r.z0.min(*z), r.x1.max(*x), r.z1.max(*z));
                }
                r
            }
        }
    }

    /// Whether it counts for an asking piece: a hull always does.
    pub(super) fn counts(&self, smallest: f64) -> bool {
        match self {
            Self::Piece { placed, .. } => f64::from(placed.diameter) >= smallest,
            Self::Hull { .. } => true,
        }
    }

    /// Distance from a place to its outline in nanometres, negative inside.
    #[must_use]
    pub fn edge_distance(&self, x: i64, z: i64) -> f64 {
        match self {
            Self::Piece {
                placed, elongation, ..
            } => placed
                .ellipse((x, z), *elongation, 1.0)
                .edge_distance(0.0, 0.0),
            Self::Hull { corners, .. } => polygon_distance(corners, x, z),
        }
    }

    /// Whether an outline comes nearer than `within` nanometres to it.
    #[must_use]
    pub fn meets(&self, piece: &Placed, piece_elongation: f64, within: f64) -> bool {
        let corner = (piece.x, piece.z);
        let own = piece.ellipse(corner, piece_elongation, 1.0);
        match self {
            Self::Piece {
                placed, elongation, ..
            } => {
                let other = placed.ellipse(corner, *elongation, 1.0);
                own.overlaps(&Ellipse {
                    outer: other.outer + within,
                    inner: other.inner + within,
                    ..other
                })
            }
            Self::Hull { corners, .. } => polygon_meets(corners, &own, corner, within),
        }
    }
}

/// Signed distance from a place to a convex counter-clockwise polygon.
fn polygon_distance(corners: &[[i64; 2]], x: i64, z: i64) -> f64 {
    let mut inside = f64::NEG_INFINITY;
    let mut outside = f64::INFINITY;
    for (i, a) in corners.iter().enumerate() {
        let b = corners[(i + 1) % corners.len()];
        let (ex, ez) = ((b[0] - a[0]) as f64, (b[1] - a[1]) as f64);
        let (px, pz) = ((x - a[0]) as f64, (z - a[1]) as f64);
        let length = libm::sqrt(ex * ex + ez * ez);
        inside = inside.max((ez * px - ex * pz) / length);
        let t = ((px * ex + pz * ez) / (length * length)).clamp(0.0, 1.0);
        let (dx, dz) = (px - t * ex, pz - t * ez);
        outside = outside.min(libm::sqrt(dx * dx + dz * dz));
    }
    if inside <= 0.0 { inside } else { outside }
}

/// Whether an ellipse comes nearer than `within` to a convex polygon: by the ellipse's reach along each edge's normal and towards each corner.
fn polygon_meets(corners: &[[i64; 2]], own: &Ellipse, corner: (i64, i64), within: f64) -> bool {
    let reach = |nx: f64, nz: f64| {
        let (u, v) = (f64::from(own.along[0]), f64::from(own.along[1]));
        let (a, b) = (own.outer * (nx * u + nz * v), own.inner * (nz * u - nx * v));
        libm::sqrt(a * a + b * b)
    };
    let local = |c: &[i64; 2]| {
        [
            (c[0] - corner.0) as f64 - own.x,
            (c[1] - corner.1) as f64 - own.z,
        ]
    };
    let separates = |nx: f64, nz: f64| {
        let nearest = corners
            .iter()
            .map(local)
            .map(|c| c[0] * nx + c[1] * nz)
            .fold(f64::INFINITY, f64::min);
        nearest >= reach(nx, nz) + within
    };
    for (i, a) in corners.iter().enumerate() {
        let (a, b) = (local(a), local(&corners[(i + 1) % corners.len()]));
        let (ex, ez) = (b[0] - a[0], b[1] - a[1]);
        let length = libm::sqrt(ex * ex + ez * ez);
        let to_corner = libm::sqrt(a[0] * a[0] + a[1] * a[1]);
        // Against the edge's outward normal, and straight at the corner
        if separates(-ez / length, ex / length)
            || (to_corner > 0.0 && separates(a[0] / to_corner, a[1] / to_corner))
        {
            return false;
        }
    }
    true
}
