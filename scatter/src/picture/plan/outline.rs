//! The outline of a piece on the plan, however it lies.

use std::f64::consts::TAU;

use glam::{DQuat, DVec3};

use crate::kit::{Piece, geodesic};
use crate::layout::Instance;
use crate::plan::convex_hull;

/// Frequency of the geodesic sphere of directions in which a piece's farthest points are taken: 92
/// directions, 22 degrees apart, so that the hull of a round piece is at most 2 % within its
/// outline.
const FREQUENCY: u32 = 3;
/// Corners of the polygon that stands for an ellipse: off by at most 2 % of its radius.
pub(super) const CORNERS: usize = 16;
/// A piece that fills less than this share of its own hull, seen from above, is thin and bent, as a
/// twig, or open, as a tuft: its hull would cover ground that the piece does not.
const FULL: f64 = 0.7;

/// A piece as the plan draws it.
#[derive(Debug, Clone)]
pub(super) enum PlanOutline {
    /// Its farthest points, in the piece's frame: the outline is their hull.
    Full(Vec<DVec3>),
    /// Half its length and half the width that makes an ellipse as large as its silhouette, along
    /// its x and z.
    Slender([f64; 2], f64),
}

impl PlanOutline {
    /// The outline of a piece, metres at scale 1.
    pub(super) fn of(piece: &Piece) -> Self {
        let points: Vec<DVec3> = piece
            .parts
            .iter()
            .flat_map(|part| &part.mesh.positions)
            .map(|p| p.as_dvec3())
            .collect();
        let mut farthest: Vec<usize> = geodesic(FREQUENCY)
            .positions
            .iter()
            .filter_map(|direction| {
                let along = |i: &usize| points[*i].dot(*direction);
                (0..points.len()).max_by(|a, b| along(a).total_cmp(&along(b)))
            })
            .collect();
        farthest.sort_unstable();
        farthest.dedup();
        let farthest: Vec<DVec3> = farthest.into_iter().map(|i| points[i]).collect();
        let plan: Vec<[f64; 2]> = farthest.iter().map(|p| [p.x, p.z]).collect();
        let measure = &piece.measure;
        let silhouette = measure.plan_fill * measure.b_axis * measure.b_axis;
        if silhouette >= FULL * area(&convex_hull(&plan)) {
            return Self::Full(farthest);
        }
        let half = measure.size.as_dvec3() * 0.5;
        let width = silhouette / (std::f64::consts::PI * half.x);
        Self::Slender([half.x, width.min(half.z)], half.y)
    }

    /// The outline of such a piece where it lies, metres in plan.
    pub(super) fn outline(&self, instance: &Instance) -> Vec<[f64; 2]> {
        let scale = f64::from(instance.scale);
        let rotation: DQuat = glam::Quat::from_array(instance.rotation).as_dquat();
        let place = |p: DVec3| {
            let world = instance.position + rotation * (p * scale);
            [world.x, world.z]
        };
        match self {
            Self::Full(points) => {
                let points: Vec<[f64; 2]> = points.iter().map(|p| place(*p)).collect();
                convex_hull(&points)
            }
            Self::Slender([length, width], height) => (0..CORNERS)
                .map(|i| {
                    let (sin, cos) = libm::sincos(TAU * i as f64 / CORNERS as f64);
                    place(DVec3::new(length * cos, *height, width * sin))
                })
                .collect(),
        }
    }
}

/// Area of a polygon, square metres.
fn area(corners: &[[f64; 2]]) -> f64 {
    let next = corners.iter().cycle().skip(1);
    let twice: f64 = corners
        .iter()
        .zip(next)
        .map(|(a, b)| a[0] * b[1] - a[1] * b[0])
        .sum();
    0.5 * twice.abs()
}
