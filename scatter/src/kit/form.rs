//! What makes a worn stone depart from an ellipsoid: a narrow end, facets, a scoop, a notch.
//!
//! A worn pebble is rarely an ellipsoid. It keeps flats where it broke late or where it slid,
//! hollows where a shell of rock came off, and a step where a slab did (an L in plan); one end is
//! often the narrower. Each changes only the distance along a direction, so that the surface stays
//! closed and can't cross itself.

use glam::DVec3;

use super::{draw::Draw, perlin::PerlinNoise};

/// How the stones of a kind depart from ellipsoids. Shares of stones and depths are by eye, beside
/// photographs, and such that the plan outlines spread as those of river gravel do (the test
/// `outlines_of_stones_spread_as_real_ones`).
#[derive(Debug, Clone, Copy)]
pub(crate) struct Irregularity {
    /// Largest difference of width between the ends: at k the narrow end is (1 - k) / (1 + k) as
    /// wide as the broad one.
    pub(crate) taper: f64,
    /// Height of the broad waves in which the sides swell and sink, as a share of the radius: about
    /// that of the highest wave, from the truest stone to the least true.
    pub(crate) waves: [f64; 2],
    /// Share of stones with one, two and three facets.
    pub(crate) facets: [f64; 3],
    /// Distance of a facet from the middle, as a share of the stone's extent that way, deepest and
    /// shallowest.
    pub(crate) facet_distance: [f64; 2],
    /// Share of stones with a scoop.
    pub(crate) scooped: f64,
    /// Share of stones with a notch, which makes an L of them.
    pub(crate) notched: f64,
}

/// A plane to which the stone is cut: its normal, and its distance as a share of the stone's extent
/// along that.
#[derive(Debug, Clone, Copy)]
struct CutPlane {
    normal: DVec3,
    share: f64,
}

/// A ball that is taken out: toward `at`, of this radius, this deep under the surface there.
/// Lengths over the stone's radius.
#[derive(Debug, Clone, Copy)]
struct Scoop {
    at: DVec3,
    radius: f64,
    depth: f64,
}

/// The form of one stone.
pub(crate) struct StoneForm {
    /// Points to the narrow end; its length is the taper.
    taper: DVec3,
    waves: f64,
    swell: PerlinNoise,
    facets: Vec<CutPlane>,
    scoop: Option<Scoop>,
    notch: Option<[CutPlane; 2]>,
}

/// Cuts mostly look to the side, where they show in plan: flats above and below come of the joints.
/// The share of a direction's height that is kept.
const TO_THE_SIDE: f64 = 0.5;

/// Waves around a stone's radius: about a lobe a side. Shorter waves of the same height hollow the
/// sides more, and the outlines come out less solid than those of river gravel.
const WAVE: f64 = 1.1;

/// Each finer wave over the one before: a hair less than n^(-2), 0.25 an octave, with their number
/// n around the grain. Sand falls off as n^(-5/3), 0.31 an octave (Barclay and Buckingham, "On the
/// shapes of natural sand grains", 2009); with that, stones that lie among others are less solid in
/// plan than the hand-drawn outlines of river gravel are.
const GAIN: f64 = 0.22;

fn sideways(draw: &mut Draw) -> DVec3 {
    (draw.direction() * DVec3::new(1.0, TO_THE_SIDE, 1.0)).normalize_or(DVec3::X)
}

impl StoneForm {
    /// Draws the form of a stone.
    pub(crate) fn new(draw: &mut Draw, irregularity: &Irregularity) -> Self {
        // Toward any side, more often little than much.
        let taper = sideways(draw) * (irregularity.taper * draw.unit());
        let waves = draw.range(irregularity.waves[0], irregularity.waves[1]);
        let swell = PerlinNoise::new(draw.seed());
        let mut left = draw.unit();
        let mut count = 0;
        for (facets, share) in (1..).zip(irregularity.facets) {
            if (0.0..share).contains(&left) {
                count = facets;
            }
            left -= share;
        }
        let mut facets: Vec<CutPlane> = Vec::new();
        for _ in 0..count {
            let mut normal = sideways(draw);
            // A second one nearly beside the first would be the same face.
            for _ in 0..4 {
                if facets.iter().all(|f| f.normal.dot(normal) < 0.6) {
                    break;
                }
                normal = sideways(draw);
            }
            let share = draw.range(
                irregularity.facet_distance[0],
                irregularity.facet_distance[1],
            );
            facets.push(CutPlane { normal, share });
        }
        let at = sideways(draw);
        let scoop = Scoop {
            at,
            radius: draw.range(0.5, 1.3),
            depth: draw.range(0.12, 0.28),
        };
        let scoop = draw.chance(irregularity.scooped).then_some(scoop);
        let first = sideways(draw);
        let second = (first.cross(DVec3::Y) * draw.sign() + 0.3 * draw.direction())
            .normalize_or(first.any_orthonormal_vector());
        let notch = [first, second].map(|normal| CutPlane {
            normal,
            share: draw.range(0.30, 0.55),
        });
        let notch = (scoop.is_none() && draw.chance(irregularity.notched)).then_some(notch);
        Self {
            taper,
            waves,
            swell,
            facets,
            scoop,
            notch,
        }
    }

    /// Makes one end narrower, by a projective map that keeps planes plane, and lets the sides
    /// swell and sink in broad waves. Places are about the middle that the surface is seen from.
    pub(crate) fn bend(&self, positions: &mut [DVec3]) {
        let reach = farthest(positions, self.taper.normalize_or(DVec3::X)).max(1e-9);
        for p in positions {
            let u = p.normalize_or(DVec3::Y);
            let around = DVec3::new(u.x, TO_THE_SIDE * u.y, u.z) * WAVE;
            // Top and foot stay as even as they are.
            let wave = self.waves * (1.0 - u.y * u.y) * self.swell.fractal(around, 3, GAIN);
            *p *= (1.0 + wave).max(0.5) / (1.0 + self.taper.dot(*p) / reach).max(0.3);
        }
    }

    /// Cuts facets, scoop and notch. Places are about the middle that the surface is seen from.
    pub(crate) fn carve(&self, positions: &mut [DVec3]) {
        for facet in &self.facets {
            let distance = facet.share * farthest(positions, facet.normal);
            for p in positions.iter_mut() {
                *p *= (distance / p.dot(facet.normal).max(distance)).min(1.0);
            }
        }
        if let Some([a, b]) = self.notch {
            let distance = |f: CutPlane| f.share * farthest(positions, f.normal);
            let (da, db) = (distance(a), distance(b));
            for p in positions.iter_mut() {
                let (in_a, in_b) = (p.dot(a.normal) / da, p.dot(b.normal) / db);
                // Gone is what lies beyond both planes.
                *p /= in_a.min(in_b).max(1.0);
            }
        }
        if let Some(scoop) = self.scoop {
            // The surface toward it: of the vertex that lies nearest to that direction.
            let toward = positions
                .iter()
                .max_by(|p, q| {
                    let near = |p: &DVec3| p.normalize_or(DVec3::Y).dot(scoop.at);
                    near(p).total_cmp(&near(q))
                })
                .map_or(1.0, |p| p.length());
            let radius = scoop.radius * toward;
            let centre = scoop.at * (toward * (1.0 - scoop.depth) + radius);
            for p in positions.iter_mut() {
                let u = p.normalize_or(DVec3::Y);
                let along = centre.dot(u);
                let gap = radius * radius - (centre.length_squared() - along * along);
                if along > 0.0 && gap > 0.0 {
                    *p *= ((along - gap.sqrt()) / p.length()).min(1.0);
                }
            }
        }
    }
}

/// Maximum extent of places along a unit direction.
fn farthest(positions: &[DVec3], along: DVec3) -> f64 {
    positions.iter().map(|p| p.dot(along)).fold(0.0, f64::max)
}
