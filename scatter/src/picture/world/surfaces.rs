//! The surface at a place where a ray met something: of a piece with its skin, of a hero, of the
//! ground with its grains.

use glam::{DVec2, DVec3, Vec3A};

use super::{FIXED, RayHit, World};
use crate::picture::glass::GlassPoint;
use crate::picture::skin::{self, SkinPoint};
use crate::picture::surface::{GrainPoint, ShadingPoint, SmallRelief};
use crate::picture::weathered::{WeatherSpot, weathered};
use crate::picture::wet::WetSpot;
use crate::rays::Ray;
use crate::scene::hollow;

/// Skins are computed where a pixel is under this side, metres: wider than that, nothing of them
/// shows.
const FINEST_SKIN: f32 = 0.006;

/// The footprint of light that bounced, metres: what is finer is not told apart.
const COARSE: f32 = 0.05;

/// How far rays start off the surface, over the size of the numbers they are computed with:
/// positions in f32 are exact to 6e-8 of their size, and a point on a slanted triangle loses a few
/// bits more. At one metre this is 2 micrometres.
const LIFT: f32 = 2.0e-6;

/// How closely a surface is looked at.
#[derive(Debug, Clone, Copy)]
pub(in crate::picture) enum Sight {
    /// By a pixel whose side is this over the distance.
    Pixel(f32),
    /// By light that bounced: of what is a few centimetres off it gathers the mean, and detail of
    /// its skin would be noise.
    Bounced,
}

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
    /// Side of the pixel's footprint, metres; none for light that bounced.
    footprint: Option<f32>,
}

impl World<'_> {
    /// What was hit on a ray of unit direction.
    pub(in crate::picture) fn surface(
        &self,
        ray: &Ray,
        hit: &RayHit,
        sight: Sight,
    ) -> ShadingPoint {
        let footprint = match sight {
            Sight::Pixel(width) => Some(width * hit.mesh.t),
            Sight::Bounced => None,
        };
        let (mut dry, plain) = self.fresh(ray, hit, footprint);
        let plan = self.plan(dry.point);
        let height = self.origin.y + f64::from(dry.point.y);
        // What light that bounced gathers has no detail
        let seen = footprint.unwrap_or(COARSE);
        if let Some(asked) = &self.weathering {
            let spot = WeatherSpot {
                place: DVec3::new(plan.x, height, plan.y),
                normal: plain,
                stone: self.stone(hit),
                dust: self.look.mean_color(),
                footprint: seen,
            };
            dry = weathered(asked, dry, &spot);
        }
        let Some(wet) = &self.wet else {
            return dry;
        };
        let of_ground = self.is_ground(hit);
        let mut spot = WetSpot {
            plan,
            height,
            hollow: 0.0,
            over: 0.0,
            up: plain.y,
            footprint: seen,
        };
        if let (true, Some(ground)) = (wet.has_puddles(), self.ground) {
            spot.hollow = hollow(|x, z| ground.height(x, z), plan.x, plan.y);
            if !of_ground {
                spot.over = (height - ground.height(plan.x, plan.y)).max(1e-6);
            }
        }
        let mut wetted = wet.film(&spot).over(dry, plain, of_ground);
        wetted.normal = bend(wetted.normal, dry.face, -ray.direction);
        wetted
    }

    /// The hash of the id of a grown stone; None for all else.
    fn stone(&self, hit: &RayHit) -> Option<u32> {
        let placed = self.placed.get(hit.instance as usize)?;
        let kind = self.kit.pieces[usize::from(placed.piece)].kind?;
        kind.is_stone().then(|| placed.own())
    }

    /// The same dry and without what time left, and the normal of its mesh. `footprint` is the side
    /// of the pixel's footprint, metres; none for light that bounced.
    fn fresh(&self, ray: &Ray, hit: &RayHit, footprint: Option<f32>) -> (ShadingPoint, Vec3A) {
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
                footprint,
            };
            return (self.ground_surface(ray, &at), normal);
        }
        let plain = normal;
        let m = &mesh.materials[material];
        let mut base = Vec3A::from_vec4(mesh.color(&hit.mesh)) * Vec3A::from_slice(&m.base_color);
        if let Some((p, piece)) = placed {
            let tinted = self.tints.at([p.pass.into(), p.piece.into()], p.own());
            base *= tinted.map_or_else(|| p.own_tint(), |t| Vec3A::from(t.tint));
            match (piece.kind, footprint) {
                (Some(kind), None) => base = skin::mean(kind, base, normal.y, p.own()),
                (Some(kind), Some(footprint)) if footprint < FINEST_SKIN => {
                    let spot = SkinPoint {
                        place: local * p.scale,
                        reach: piece.support.along(Vec3A::X) * p.scale,
                        normal: p.rotation().conjugate() * normal,
                        up: normal.y,
                        own: p.own(),
                        fabric: tinted.and_then(|t| t.fabric),
                        footprint,
                    };
                    let skin = skin::skin(kind, base, &spot);
                    normal = (p.rotation() * skin.normal).normalize_or(normal);
                    base = skin.base;
                    if kind.is_stone() {
                        base = self.silted(base, point, &spot);
                    }
                }
                (None, _) | (Some(_), Some(_)) => {}
            }
        }
        let [roughness, metallic] = mesh.gloss(&hit.mesh);
        let dry = ShadingPoint {
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
            relief: SmallRelief::Smooth,
            wet: 0.0,
            glass: m.glass.map(|glass| GlassPoint { glass, outside }),
        };
        (dry, plain)
    }

    /// World x and z of a point.
    fn plan(&self, point: Vec3A) -> DVec2 {
        DVec2::new(
            self.origin.x + f64::from(point.x),
            self.origin.z + f64::from(point.z),
        )
    }

    /// The colour of a stone where fines of the ground cling to its foot: what was rained on and
    /// splashed.
    fn silted(&self, base: Vec3A, point: Vec3A, spot: &SkinPoint) -> Vec3A {
        let Some(ground) = self.ground else {
            return base;
        };
        let plan = self.plan(point);
        let over = self.origin.y + f64::from(point.y) - ground.height(plan.x, plan.y);
        // A sixth of its half length, and not above what rain splashes (common practice, no source)
        let band = (0.16 * spot.reach).clamp(0.000_5, 0.012);
        let over = over as f32 / band;
        self.look.silted(base, plan, over, spot.footprint)
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
        let distance = point.length();
        let Some(footprint) = footprint else {
            return ShadingPoint {
                point,
                face,
                normal: bend(normal, face, -ray.direction),
                lift,
                base: self.distance.ground(self.mean.albedo, distance),
                roughness: self.mean.roughness,
                metallic: 0.0,
                translucency: 0.0,
                relief: SmallRelief::Mean(self.mean.open),
                wet: 0.0,
                glass: None,
            };
        };
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
            base: self.distance.ground(soil.albedo, distance),
            roughness: soil.roughness,
            metallic: 0.0,
            translucency: 0.0,
            relief: SmallRelief::Grains(GrainPoint {
                plan,
                height: soil.height,
                lumps: soil.lumps,
                footprint,
            }),
            wet: 0.0,
            glass: None,
        }
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
