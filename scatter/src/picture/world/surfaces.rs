//! The surface at a place where a ray met something: of a piece with its skin, of a hero, of the
//! ground with its grains.

use glam::{DVec2, Vec3A};

use super::{FIXED, RayHit, World};
use crate::picture::glass::GlassPoint;
use crate::picture::skin::{self, SkinPoint};
use crate::picture::surface::{GrainPoint, ShadingPoint};
use crate::rays::Ray;

/// Skins are computed where a pixel is under this side, metres: wider than that, nothing of them
/// shows.
const FINEST_SKIN: f32 = 0.006;

/// How far rays start off the surface, over the size of the numbers they are computed with:
/// positions in f32 are exact to 6e-8 of their size, and a point on a slanted triangle loses a few
/// bits more. At one metre this is 2 micrometres.
const LIFT: f32 = 2.0e-6;

/// A point of the ground's mesh, before the soil is known there.
struct GroundPoint {
    /// Place, relative to the lens, metres.
    point: Vec3A,
    /// Unit normal of the triangle, towards the viewer.
    face: Vec3A,
    /// Unit normal of the mesh, towards the viewer.
    normal: Vec3A,
    /// How far off the surface new rays start, metres.
    lift: f32,
    /// Side of the pixel's footprint, metres.
    footprint: f32,
}

impl World<'_> {
    /// What was hit on a ray of unit direction. `width` is the side of the ray's footprint over the
    /// distance: a pixel for the primary ray.
    pub(in crate::picture) fn surface(&self, ray: &Ray, hit: &RayHit, width: f32) -> ShadingPoint {
        let (mesh, placed) = if hit.instance == FIXED {
            (&*self.fixed, None)
        } else {
            let placed = &self.placed[hit.instance as usize];
            let piece = &self.kit.pieces[usize::from(placed.piece)];
            (&piece.mesh, Some((placed, piece)))
        };
        let local = mesh.point(&hit.mesh);
        let face = mesh.face_normal(&hit.mesh);
        let smooth = mesh
            .normal(&hit.mesh)
            .normalize_or(face.normalize_or_zero());
        let leaned = mesh.leaned(&hit.mesh, smooth);
        let (point, face, normal) = match placed {
            Some((p, _)) => {
                let q = p.rotation();
                (p.world(local), q * face, q * leaned)
            }
            None => (local, face, leaned),
        };
        let outside = face.dot(ray.direction) < 0.0;
        let (face, mut normal) = facing(face, normal, ray.direction);
        // Numbers as large as the place, and as the way to it from the piece's own origin
        let size = point.abs().max_element()
            + placed.map_or(0.0, |(p, _)| local.abs().max_element() * p.scale);
        let material = mesh.material(&hit.mesh);
        let lift = LIFT * size.max(1e-3);
        if placed.is_none() && material == 0 {
            let at = GroundPoint {
                point,
                face,
                normal,
                lift,
                footprint: width * hit.mesh.t,
            };
            return self.ground_surface(ray, &at);
        }
        let m = &mesh.materials[material];
        let mut base = Vec3A::from_vec4(mesh.color(&hit.mesh)) * Vec3A::from_slice(&m.base_color);
        if let Some((p, piece)) = placed {
            base *= p.own_tint();
            let footprint = width * hit.mesh.t;
            if let Some(kind) = piece.kind
                && footprint < FINEST_SKIN
            {
                let q = p.rotation();
                let reach = piece.support.along(Vec3A::X) * p.scale;
                let spot = SkinPoint {
                    place: local * p.scale,
                    reach,
                    normal: q.conjugate() * normal,
                    up: normal.y,
                    own: p.own(),
                    footprint,
                };
                let skin = skin::skin(kind, base, &spot);
                normal = (q * skin.normal).normalize_or(normal);
                base = skin.base;
                if kind.row().surface.is_stone() {
                    base = self.silted(base, point, reach, footprint);
                }
            }
        }
        let [roughness, metallic] = mesh.gloss(&hit.mesh);
        ShadingPoint {
            point,
            face,
            normal: bend(normal, face, -ray.direction),
            lift,
            // Nothing real sends back all that it gets, but a colour of exactly one is kept for
            // measuring
            base: base.clamp(Vec3A::ZERO, Vec3A::ONE),
            roughness,
            metallic,
            translucency: m.translucency,
            grains: None,
            glass: m.glass.map(|glass| GlassPoint { glass, outside }),
        }
    }

    /// World x and z of a point.
    fn plan(&self, point: Vec3A) -> DVec2 {
        DVec2::new(
            self.origin.x + f64::from(point.x),
            self.origin.z + f64::from(point.z),
        )
    }

    /// The colour of a stone where fines of the ground cling to its foot: what was rained on and
    /// splashed. `reach` is half of the stone's length, metres.
    fn silted(&self, base: Vec3A, point: Vec3A, reach: f32, footprint: f32) -> Vec3A {
        let Some(ground) = self.ground else {
            return base;
        };
        let plan = self.plan(point);
        let over = self.origin.y + f64::from(point.y) - ground.height(plan.x, plan.y);
        // A sixth of its half length, and not above what rain splashes (common practice, no source)
        let band = (0.16 * reach).clamp(0.000_5, 0.012);
        self.look.silted(base, plan, over as f32 / band, footprint)
    }

    /// The ground at a point of its mesh.
    fn ground_surface(&self, ray: &Ray, at: &GroundPoint) -> ShadingPoint {
        let GroundPoint {
            point,
            face,
            normal,
            lift,
            footprint,
        } = *at;
        let plan = self.plan(point);
        let soil = self.look.at(plan, footprint);
        // The mesh's normal is (-dh/dx, 1, -dh/dz): slopes add
        let y = normal.y.max(0.05);
        let bumped = Vec3A::new(
            normal.x / y - soil.slope.x,
            1.0,
            normal.z / y - soil.slope.y,
        )
        .normalize();
        ShadingPoint {
            point,
            face,
            normal: bend(bumped, face, -ray.direction),
            lift,
            base: self.distance.ground(soil.albedo, point.length()),
            roughness: soil.roughness,
            metallic: 0.0,
            translucency: 0.0,
            grains: Some(GrainPoint {
                plan,
                height: soil.height,
                footprint,
            }),
            glass: None,
        }
    }

    /// Share of the sun that reaches the ground between its own grains, by four steps up the sun's
    /// ray.
    pub(in crate::picture) fn grain_shadow(&self, grains: &GrainPoint) -> f32 {
        let GrainPoint {
            plan,
            height,
            footprint,
        } = *grains;
        let sun = self.sky.sun_centre();
        let level = (1.0 - sun.y * sun.y).max(0.0).sqrt();
        // Grains stop mattering when they are under a pixel
        if footprint > 0.004 || level < 1e-3 || sun.y <= 0.0 {
            return 1.0;
        }
        let rise = sun.y / level;
        let heading = DVec2::new(f64::from(sun.x), f64::from(sun.z)) / f64::from(level);
        let mut open = 1.0_f32;
        for step in [0.0012_f32, 0.0028, 0.006, 0.012] {
            let there = self
                .look
                .height(plan + heading * f64::from(step), footprint);
            let clear = height + step * rise - there;
            // Soft over a part of the step, as a grain's edge is
            open = open.min((1.0 + clear / (0.3 * step)).clamp(0.0, 1.0));
        }
        open
    }
}

/// The unit normals of the triangle and of the mesh on the side that a ray comes to.
#[inline]
fn facing(face: Vec3A, normal: Vec3A, direction: Vec3A) -> (Vec3A, Vec3A) {
    let mut face = face.normalize_or(-direction);
    if face.dot(direction) > 0.0 {
        face = -face;
    }
    let normal = normal.normalize_or(face);
    (
        face,
        if normal.dot(face) < 0.0 {
            -normal
        } else {
            normal
        },
    )
}

/// Turns a shading normal up until the viewer sees its front.
#[inline]
fn bend(normal: Vec3A, face: Vec3A, viewer: Vec3A) -> Vec3A {
    let c = normal.dot(viewer);
    if c > 0.02 {
        return normal;
    }
    (normal + viewer * (0.02 - c)).normalize_or(face)
}
