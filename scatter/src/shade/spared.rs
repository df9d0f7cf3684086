//! The heroes as the sun sees them: rays on which nothing may hang.

use crate::hero::Hero;
use crate::plan::convex_hull;

use super::beam::Beam;
use super::canopy::{Canopy, CasterCandidate};

/// Convex outlines in the sun's plane.
#[derive(Debug, Clone, Default)]
pub(super) struct SparedOutlines {
    all: Vec<SparedOutline>,
}

#[derive(Debug, Clone)]
struct SparedOutline {
    /// Counter-clockwise.
    corners: Vec<[f64; 2]>,
    /// A disc that holds them.
    middle: [f64; 2],
    radius: f64,
}

impl SparedOutlines {
    /// The outlines of heroes in a sun's plane.
    pub(super) fn of(heroes: &[Hero], beam: &Beam) -> Self {
        let outline = |hero: &Hero| {
            let points: Vec<[f64; 2]> = hero
                .parts
                .iter()
                .flat_map(|part| &part.mesh.positions)
                .map(|p| beam.place(hero.world_from_hero.transform_point3(p.as_dvec3())))
                .collect();
            let corners = convex_hull(&points);
            (corners.len() >= 3).then(|| {
                let count = corners.len() as f64;
                let middle = [0, 1].map(|k| corners.iter().map(|c| c[k]).sum::<f64>() / count);
                let radius = corners
                    .iter()
                    .map(|c| distance(*c, middle))
                    .fold(0.0, f64::max);
                SparedOutline {
                    corners,
                    middle,
                    radius,
                }
            })
        };
        Self {
            all: heroes.iter().filter_map(outline).collect(),
        }
    }

    /// Whether a place lies in an outline, or within a margin of one, metres.
    pub(super) fn hold(&self, place: [f64; 2], margin: f64) -> bool {
        self.all.iter().any(|o| o.holds(place, margin))
    }

    /// Whether an outline may overlap a rectangle of pixels. Never wrong when it says no.
    pub(super) fn reach(&self, low: [i64; 2], high: [i64; 2], pixel: f64) -> bool {
        self.all.iter().any(|o| {
            (0..2).all(|k| {
                o.middle[k] + o.radius >= low[k] as f64 * pixel
                    && o.middle[k] - o.radius <= high[k] as f64 * pixel
            })
        })
    }

    /// Whether a caster's silhouette comes within a margin of an outline, metres.
    pub(super) fn meet(
        &self,
        canopy: &Canopy<'_>,
        candidate: &CasterCandidate,
        margin: f64,
    ) -> bool {
        let pose = &canopy.poses.all[candidate.pose];
        let reach = pose.radius * pose.size * canopy.scale + margin;
        self.all.iter().any(|outline| {
            distance(candidate.at, outline.middle) < outline.radius + reach
                && pose.spans.iter().any(|[row, from, to]| {
                    (*from..*to).any(|column| {
                        let place = [column, *row].map(|v| f64::from(v) * canopy.pixel);
                        outline.holds([0, 1].map(|k| candidate.at[k] + place[k]), margin)
                    })
                })
        })
    }
}

impl SparedOutline {
    fn holds(&self, place: [f64; 2], margin: f64) -> bool {
        if distance(place, self.middle) > self.radius + margin {
            return false;
        }
        let count = self.corners.len();
        let mut outside = false;
        for (i, a) in self.corners.iter().enumerate() {
            let b = self.corners[(i + 1) % count];
            let (ex, ey) = (b[0] - a[0], b[1] - a[1]);
            let (px, py) = (place[0] - a[0], place[1] - a[1]);
            outside |= ex * py - ey * px < 0.0;
            let t = ((ex * px + ey * py) / (ex * ex + ey * ey)).clamp(0.0, 1.0);
            if distance([px, py], [t * ex, t * ey]) <= margin {
                return true;
            }
        }
        !outside
    }
}

fn distance(a: [f64; 2], b: [f64; 2]) -> f64 {
    let (x, y) = (a[0] - b[0], a[1] - b[1]);
    libm::sqrt(x * x + y * y)
}
