//! The triangles of a piece, tested by vertical rays where it stands.

use std::cell::RefCell;

use glam::{DMat3, DQuat, DVec3, Vec3A};
use obvhs::BvhBuildParams;

use crate::kit::Piece;
use crate::rays::{Ray, TraversalStack, Triangles};

/// Boxes of triangles are this much larger than the triangles, over the piece's size: more than
/// single precision loses.
const PADDING: f32 = 1e-5;
/// Facets steeper than this (height over distance) count as that steep: what lies is not carried
/// along them.
const STEEP: f64 = 3.0;

thread_local! {
    /// Nodes to visit in a cast: empty between casts.
    static STACK: RefCell<TraversalStack> = const { RefCell::new(TraversalStack::new()) };
}

/// Triangles in the piece's frame, in a hierarchy. Single precision: a ray is off by a few
/// ten-millionths of the piece's size.
pub(super) struct ContactMesh {
    triangles: Triangles,
    /// Where vertical rays start: farther from the piece's origin than any of it.
    outside: f64,
    /// Corners of its bounds.
    low: DVec3,
    high: DVec3,
}

/// Where a body is. Metres.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Standing {
    /// World place of the piece's origin.
    pub position: DVec3,
    /// World from piece.
    pub rotation: DQuat,
    /// Scale of the piece's mesh.
    pub scale: f64,
}

/// The plane that touches a surface at a plan place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TangentPlane {
    /// Height, world, metres.
    pub height: f64,
    /// Height gained per metre along x and z.
    pub slope: [f64; 2],
}

/// A contact mesh where it stands, ready for vertical rays.
#[derive(Clone, Copy)]
pub struct HeightProbe<'a> {
    shape: &'a ContactMesh,
    world_from_piece: DMat3,
    position: DVec3,
    scale: f64,
    /// A metre along world x, y and z in the piece's frame; y is the unit direction up.
    x: DVec3,
    up: DVec3,
    z: DVec3,
    /// Lower end of the heights between which all of it lies, world, metres.
    pub bottom: f64,
    /// Upper end of these heights.
    pub top: f64,
}

impl std::fmt::Debug for HeightProbe<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("HeightProbe")
            .field("position", &self.position)
            .field("scale", &self.scale)
            .finish_non_exhaustive()
    }
}

impl ContactMesh {
    pub(super) fn of(piece: &Piece) -> Self {
        let mut corners: Vec<[Vec3A; 3]> = Vec::new();
        for mesh in piece.parts.iter().map(|p| &p.mesh) {
            let corner = |i: u32| mesh.positions.get(i as usize).map(|p| Vec3A::from(*p));
            for t in mesh.indices.chunks_exact(3) {
                if let (Some(a), Some(b), Some(c)) = (corner(t[0]), corner(t[1]), corner(t[2])) {
                    corners.push([a, b, c]);
                }
            }
        }
        let pad = PADDING * piece.measure.size.max_element();
        let (triangles, _) = Triangles::build(&corners, pad, BvhBuildParams::medium_build());
        let all = || corners.iter().flatten().map(|v| v.as_dvec3());
        Self {
            outside: 2.0 * all().map(|v| v.length()).fold(0.0, f64::max),
            low: all().fold(DVec3::INFINITY, DVec3::min),
            high: all().fold(DVec3::NEG_INFINITY, DVec3::max),
            triangles,
        }
    }

    /// Its triangles, in the piece's frame.
    pub(super) fn triangles(&self) -> impl Iterator<Item = [DVec3; 3]> {
        self.triangles.all().map(|[a, ab, ac]| {
            let a = a.as_dvec3();
            [a, a + ab.as_dvec3(), a + ac.as_dvec3()]
        })
    }

    /// Centre of mass of a sheet of even thickness, in the piece's frame.
    pub(super) fn middle_of_area(&self) -> DVec3 {
        let (mut sum, mut area) = (DVec3::ZERO, 0.0);
        for [a, ab, ac] in self.triangles.all() {
            let (a, ab, ac) = (a.as_dvec3(), ab.as_dvec3(), ac.as_dvec3());
            let of = ab.cross(ac).length();
            sum += (a + (ab + ac) / 3.0) * of;
            area += of;
        }
        if area > 0.0 { sum / area } else { sum }
    }

    /// The mesh where it stands, ready for vertical rays.
    pub(super) fn probe(&self, standing: &Standing) -> HeightProbe<'_> {
        let world_from_piece = DMat3::from_quat(standing.rotation);
        let piece_from_world = world_from_piece.transpose();
        let up = piece_from_world.y_axis;
        // The box's heights over its middle: each of its sides by how far it points up
        let middle = up.dot(0.5 * (self.low + self.high));
        let half = up.abs().dot(0.5 * (self.high - self.low));
        HeightProbe {
            shape: self,
            world_from_piece,
            position: standing.position,
            scale: standing.scale,
            x: piece_from_world.x_axis / standing.scale,
            up,
            z: piece_from_world.z_axis / standing.scale,
            bottom: standing.position.y + (middle - half) * standing.scale,
            top: standing.position.y + (middle + half) * standing.scale,
        }
    }
}

impl HeightProbe<'_> {
    /// World place of a point of the piece.
    #[must_use]
    pub fn world(&self, point: DVec3) -> DVec3 {
        self.position + self.world_from_piece * point * self.scale
    }

    /// Its top over a plan place where that is over `floor`.
    #[must_use]
    pub fn top_over(&self, x: f64, z: f64, floor: f64) -> Option<TangentPlane> {
        self.cast(x, z, -1.0, self.position.y - floor)
            .map(|(t, i)| self.plane(self.position.y - t, i))
            .filter(|f| f.height > floor)
    }

    /// Its underside over a plan place where that is under `ceiling`.
    #[must_use]
    pub fn underside_below(&self, x: f64, z: f64, ceiling: f64) -> Option<TangentPlane> {
        self.cast(x, z, 1.0, ceiling - self.position.y)
            .map(|(t, i)| self.plane(self.position.y + t, i))
            .filter(|f| f.height < ceiling)
    }

    /// The lowest height over a plan place at which the box about the piece, in its own frame, is
    /// met; None where all of it is elsewhere.
    #[must_use]
    pub fn box_over(&self, x: f64, z: f64) -> Option<f64> {
        let (low, high) = (self.shape.low, self.shape.high);
        let pad = f64::from(PADDING) * (high - low).max_element();
        let origin = self.x * (x - self.position.x) + self.z * (z - self.position.z);
        // A level side is met everywhere or nowhere: the quotient is infinite, or not a number,
        // which min and max pass over
        let (a, b) = (
            (low - pad - origin) / self.up,
            (high + pad - origin) / self.up,
        );
        let (enter, leave) = (a.min(b).max_element(), a.max(b).min_element());
        (enter <= leave).then_some(self.position.y + enter * self.scale)
    }

    /// Approximate depth of a point inside the mesh, metres: its distance from the faces over and
    /// under it, extended as planes.
    #[must_use]
    pub fn depth(&self, point: DVec3) -> Option<f64> {
        let over = self.top_over(point.x, point.z, point.y)?;
        let under = self.underside_below(point.x, point.z, point.y)?;
        let square = |f: TangentPlane| 1.0 + f.slope[0] * f.slope[0] + f.slope[1] * f.slope[1];
        let from = |f: TangentPlane| (f.height - point.y).abs() / square(f).sqrt();
        Some(from(over).min(from(under)))
    }

    /// The first triangle that a vertical ray from far outside meets, and where it does, metres
    /// along the ray from the height of the piece's origin; `toward` is the ray's direction, 1 or
    /// -1. Nothing farther than `until` is tested.
    fn cast(&self, x: f64, z: f64, toward: f64, until: f64) -> Option<(f64, u32)> {
        let shape = self.shape;
        let direction = self.up * toward;
        let origin = self.x * (x - self.position.x) + self.z * (z - self.position.z)
            - direction * shape.outside;
        let (o, d) = (origin.as_vec3a(), direction.as_vec3a());
        let end = ((until / self.scale + shape.outside) * (1.0 + f64::from(f32::EPSILON))) as f32;
        let ray = Ray::new(o, d, 0.0, end);
        let met = STACK.with_borrow_mut(|stack| shape.triangles.nearest(&ray, stack, |_| true))?;
        let along = (f64::from(met.t) - shape.outside) * self.scale;
        Some((along, met.place))
    }

    fn plane(&self, height: f64, triangle: u32) -> TangentPlane {
        let [_, ab, ac] = self.shape.triangles.edges(triangle).map(|v| v.as_dvec3());
        let normal = self.world_from_piece * ab.cross(ac);
        let level = |v: f64| (-v / normal.y).clamp(-STEEP, STEEP);
        let slope = if normal.y == 0.0 {
            [0.0; 2]
        } else {
            [level(normal.x), level(normal.z)]
        };
        TangentPlane { height, slope }
    }
}
