//! How a surface reflects light: rough diffuse, a weak gloss, and light through thin sheets.
//!
//! Diffuse: Portsmouth, Kutz and Hill, "EON: a practical energy-preserving rough diffuse BRDF",
//! 2025, which is the model of Oren and Nayar 1994 in Fujii's form, with the energy that it loses
//! restored. Gloss: Trowbridge and Reitz 1975 (GGX) with Smith masking; sampled after Heitz,
//! "Sampling the GGX distribution of visible normals", 2018; Fresnel after Schlick 1994.

use std::f32::consts::PI;

use glam::{DVec2, Vec3A};

use super::frame::{Basis, cosine};
use super::glass::{GlassPoint, at_normal, facet};
use super::light::luminance;
use crate::color::WATER_F0;

/// A point of a surface, ready to be lit.
#[derive(Debug, Clone, Copy)]
pub(super) struct ShadingPoint {
    /// Place, relative to the lens, metres.
    pub(super) point: Vec3A,
    /// Unit normal of the triangle, towards the viewer.
    pub(super) face: Vec3A,
    /// Unit shading normal, towards the viewer.
    pub(super) normal: Vec3A,
    /// How far off the surface new rays start, metres.
    pub(super) lift: f32,
    /// Linear base colour.
    pub(super) base: Vec3A,
    /// 0 (mirror) to 1 (matt).
    pub(super) roughness: f32,
    /// Share of it under a film of water.
    pub(super) wet: f32,
    /// 0 (dielectric) to 1 (metal).
    pub(super) metallic: f32,
    /// Share of diffuse light that goes through.
    pub(super) translucency: f32,
    /// Relief too small for the mesh.
    pub(super) relief: SmallRelief,
    /// Light passes through it as through glass, or its refractive index is its own.
    pub(super) glass: Option<GlassPoint>,
}

/// Relief too small for the mesh, which shades itself from the sun.
#[derive(Debug, Clone, Copy)]
pub(super) enum SmallRelief {
    /// None.
    Smooth,
    /// Grains, looked at one by one.
    Grains(GrainPoint),
    /// Grains that are not told apart: the share of the sun that reaches them.
    Mean(f32),
}

/// A place among the ground's own grains.
#[derive(Debug, Clone, Copy)]
pub(super) struct GrainPoint {
    /// World x and z.
    pub(super) plan: DVec2,
    /// Height of the small relief there, metres.
    pub(super) height: f32,
    /// What lumps under the grains have of it.
    pub(super) lumps: f32,
    /// Side of what is looked at, metres.
    pub(super) footprint: f32,
}

/// A direction that light is gathered from.
#[derive(Debug, Clone, Copy)]
pub(super) struct Bounce {
    /// Unit direction.
    pub(super) direction: Vec3A,
    /// Factor on the radiance from there.
    pub(super) weight: Vec3A,
    /// Where it goes through glass: whether it goes in from outside.
    pub(super) through: Option<bool>,
    /// Whether it goes through glass, or is thrown back by it.
    pub(super) clear: bool,
}

/// Roughness of the diffuse part: 0.5 rad-like units give soil and stone their flat look against
/// the light (Oren and Nayar 1994: 20 to 35 degrees for such surfaces).
const DIFFUSE_ROUGHNESS: f32 = 0.5;
/// Reflectance of a dielectric at normal incidence, refractive index 1.5.
const DIELECTRIC: f32 = 0.04;

/// Constants of the diffuse model.
const C1: f32 = 0.5 - 2.0 / (3.0 * PI);
const C2: f32 = 2.0 / 3.0 - 28.0 / (15.0 * PI);

/// Share of the light from cosine `mu` that one bounce of the rough diffuse reflects (white
/// surface).
fn single_albedo(mu: f32, r: f32) -> f32 {
    let m = 1.0 - mu;
    let g = m * (0.057_108_53 + m * (0.491_881_87 + m * (-0.332_181_44 + m * 0.071_443)));
    (1.0 + r * g) / (1.0 + C1 * r)
}

/// Rough diffuse reflection times pi, for directions in the frame of the normal. `albedo` is the
/// share of light that the surface reflects in all, which is the meaning of base colours; the
/// model's own colour is that of one facet.
fn diffuse(albedo: Vec3A, wi: Vec3A, wo: Vec3A) -> Vec3A {
    let r = DIFFUSE_ROUGHNESS;
    let mean = (1.0 + C2 * r) / (1.0 + C1 * r);
    // Facets see each other: albedo = rho mean / (1 - rho (1 - mean)), solved for rho
    let rho = albedo / (Vec3A::splat(mean) + albedo * (1.0 - mean));
    let (ci, co) = (wi.z, wo.z);
    let s = wi.dot(wo) - ci * co;
    let st = if s > 0.0 { s / ci.max(co).max(1e-4) } else { s };
    let single = rho * ((1.0 + r * st) / (1.0 + C1 * r));
    let (ei, eo) = (single_albedo(ci, r), single_albedo(co, r));
    let many = rho * rho * mean / (Vec3A::ONE - rho * (1.0 - mean));
    single + many * ((1.0 - ei).max(1e-7) * (1.0 - eo).max(1e-7) / (1.0 - mean).max(1e-7))
}

/// Fresnel reflectance at cosine `c`.
fn fresnel(f0: Vec3A, c: f32) -> Vec3A {
    let m = (1.0 - c).clamp(0.0, 1.0);
    let m2 = m * m;
    f0 + (Vec3A::ONE - f0) * (m2 * m2 * m)
}

/// Smith's masking term's auxiliary function.
pub(super) fn lambda(w: Vec3A, alpha: f32) -> f32 {
    let c2 = (w.z * w.z).max(1e-8);
    let tan2 = (1.0 - c2).max(0.0) / c2;
    0.5 * ((1.0 + alpha * alpha * tan2).sqrt() - 1.0)
}

impl ShadingPoint {
    fn alpha(&self) -> f32 {
        // Below this the sun's disc would be a mirror image that few samples find
        let r = self.roughness.clamp(0.15, 1.0);
        r * r
    }

    /// Reflectance at normal incidence, were it no metal.
    fn dielectric(&self) -> f32 {
        let dry = self.glass.map_or(DIELECTRIC, |g| at_normal(g.glass.index));
        dry + (WATER_F0 - dry) * self.wet
    }

    fn f0(&self) -> Vec3A {
        Vec3A::splat(self.dielectric()).lerp(self.base, self.metallic)
    }

    /// Share of light that the gloss is given: what the gloss takes, the diffuse loses.
    fn gloss_share(&self, cos_o: f32) -> f32 {
        let plain = self.dielectric();
        let f = fresnel(Vec3A::splat(plain), cos_o).x;
        // Rough surfaces do not shine more at grazing angles: their facets face the viewer
        let f = plain + (f - plain) * (1.0 - self.roughness).max(0.0);
        let f = f * self.gloss_level();
        f + (1.0 - f) * self.metallic
    }

    /// Strength of the gloss: what is fully matt has none, as its facets would keep half of it
    /// among themselves.
    fn gloss_level(&self) -> f32 {
        let r2 = self.roughness * self.roughness;
        let matt = (1.0 - r2 * r2).max(0.0);
        matt + (1.0 - matt) * self.metallic
    }

    /// Radiance sent towards `wo` (unit) for each unit of illuminance on a surface square to `wi`
    /// (unit).
    pub(super) fn respond(&self, wo: Vec3A, wi: Vec3A) -> Vec3A {
        let basis = Basis::around(self.normal);
        let (o, i) = (basis.local(wo), basis.local(wi));
        let cos_o = o.z.max(1e-3);
        let o = Vec3A::new(o.x, o.y, cos_o);
        let share = self.gloss_share(cos_o);
        let share_matt = (1.0 - share) * self.scatters();
        let matt = self.base * share_matt;
        if i.z <= 0.0 {
            return matt * (self.translucency * -i.z / PI);
        }
        if wi.dot(self.face) <= 0.0 {
            return Vec3A::ZERO;
        }
        let mut out = diffuse(self.base, i, o) * (share_matt * (1.0 - self.translucency));
        let h = (o + i).normalize_or(Vec3A::Z);
        let alpha = self.alpha();
        let a2 = alpha * alpha;
        let k = h.z * h.z * (a2 - 1.0) + 1.0;
        let d = a2 / (k * k);
        let g = 1.0 / (1.0 + lambda(o, alpha) + lambda(i, alpha));
        let f = fresnel(self.f0(), o.dot(h)) * self.gloss_level();
        out += f * (d * g / (4.0 * cos_o * i.z.max(1e-4)));
        out * (i.z / PI)
    }

    /// Chooses a direction to gather light from. None when the choice fell under the surface.
    pub(super) fn bounce(&self, wo: Vec3A, choice: f32, random: [f32; 2]) -> Option<Bounce> {
        let passing = self.glass.filter(|g| g.glass.transmission > 0.0);
        let choice = match passing.map(|g| self.glassy_bounce(&g, wo, choice, random)) {
            Some(Ok(bounce)) => return bounce,
            // Scattered: matt alone, as the glass has had the gloss. The metal part keeps its own
            Some(Err(rest)) if self.metallic <= 0.0 => return self.matt_bounce(wo, rest, random),
            Some(Err(rest)) => rest,
            None => choice,
        };
        let basis = Basis::around(self.normal);
        let o = basis.local(wo);
        let o = Vec3A::new(o.x, o.y, o.z.max(1e-3)).normalize();
        let share = self.gloss_share(o.z);
        // Chosen about as often as it matters: on dark ground the gloss is a good part of what is
        // seen
        let matt = (1.0 - share) * luminance(self.base);
        let chance = share / (share + matt).max(1e-6);
        if choice < chance {
            let alpha = self.alpha();
            let h = facet(o, alpha, random);
            let i = h * (2.0 * o.dot(h)) - o;
            let direction = basis.world(i);
            if i.z <= 0.0 || direction.dot(self.face) <= 0.0 {
                return None;
            }
            let lo = lambda(o, alpha);
            let masking = (1.0 + lo) / (1.0 + lo + lambda(i, alpha));
            // The dielectric's Fresnel term is in the share already
            let f = Vec3A::ONE.lerp(fresnel(self.base, o.dot(h)), self.metallic);
            return Some(Bounce {
                direction,
                weight: f * (masking * share / chance),
                through: None,
                clear: false,
            });
        }
        // Diffuse: the same number again, stretched, decides on which side
        let side = (choice - chance) / (1.0 - chance).max(1e-6);
        let part = (1.0 - share) / (1.0 - chance).max(1e-6);
        let mut bounce = self.matt_bounce(wo, side, random)?;
        bounce.weight *= part;
        Some(bounce)
    }

    /// A direction that scattered light is gathered from; `side` decides whether it comes through.
    fn matt_bounce(&self, wo: Vec3A, side: f32, random: [f32; 2]) -> Option<Bounce> {
        let basis = Basis::around(self.normal);
        let o = basis.local(wo);
        let o = Vec3A::new(o.x, o.y, o.z.max(1e-3)).normalize();
        let i = cosine(random);
        if side < self.translucency {
            let direction = basis.world(-i);
            return (direction.dot(self.face) < 0.0).then_some(Bounce {
                direction,
                weight: self.base,
                through: None,
                clear: false,
            });
        }
        let direction = basis.world(i);
        (direction.dot(self.face) > 0.0).then(|| Bounce {
            direction,
            weight: diffuse(self.base, i, o),
            through: None,
            clear: false,
        })
    }

    /// Where a ray towards `direction` starts: on the side of the surface that it leaves to.
    #[inline]
    pub(super) fn start(&self, direction: Vec3A) -> Vec3A {
        self.point + self.face * self.lift.copysign(direction.dot(self.face))
    }
}
