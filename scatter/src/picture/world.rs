//! The scene as rays see it: a hierarchy over instances, each holding a hierarchy over one piece's
//! triangles; ground and heroes as one mesh beside it. Everything is relative to the lens: the
//! difference is taken in f64, the rest in f32.

mod surfaces;

pub(super) use surfaces::Sight;

use std::sync::Arc;

use glam::{DVec3, Vec3A};
use obvhs::BvhBuildParams;
use obvhs::aabb::Aabb;
use rayon::prelude::*;

use super::backdrop::Backdrop;
use super::distance::Distance;
use super::light::Sky;
use super::mesh::TracedMesh;
use super::open::MeanGround;
use super::placed::TracedInstance;
use super::soil::BareGround;
use super::support::Support;
use super::wet::WetPlace;
use super::{Figures, LookOptions, Subject};
use crate::brief::Weathering;
use crate::error::{Error, Result};
use crate::ground::Ground;
use crate::kit::{Kind, Piece};
use crate::layout::Tints;
use crate::optics::Camera;
use crate::rays::{Meeting, Ray, TraversalStack, WideBvh};

/// The nearest thing on a ray.
#[derive(Debug, Clone, Copy)]
pub(super) struct RayHit {
    pub(super) mesh: Meeting,
    /// Index into the instances; [`FIXED`] for ground and heroes.
    instance: u32,
}

/// The state of one thread on its way through the scene.
#[derive(Debug, Default)]
pub(super) struct Walk {
    stack: TraversalStack,
    /// Rays followed so far.
    pub(super) rays: u64,
}

/// Maximum number of instances in a leaf of the hierarchy: keeps hierarchy and store together under
/// 64 bytes an instance.
const IN_LEAF: u32 = 3;

/// Marks a hit on ground or heroes.
const FIXED: u32 = u32::MAX;

/// Diffuse albedo of ground that needs no correction of the exposure: a little above the 18 % of a
/// grey card.
const KEY_ALBEDO: f32 = 0.22;

/// The pieces of a layout made ready for rays: to be kept from picture to picture when the pieces
/// stay.
pub struct TracedKit {
    pieces: Vec<TracedPiece>,
}

/// A piece made ready for rays.
struct TracedPiece {
    mesh: TracedMesh,
    support: Support,
    /// The kind as which it grew, if it did: decides its skin.
    kind: Option<Kind>,
    /// Its mean colour, for where it is too far off to be there.
    mean: Vec3A,
}

impl std::fmt::Debug for TracedKit {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("TracedKit")
            .field("pieces", &self.pieces.len())
            .finish_non_exhaustive()
    }
}

impl TracedKit {
    /// Builds a hierarchy for each piece, in the order of the layout's pieces.
    #[must_use]
    pub fn new(pieces: &[Piece]) -> Self {
        let pieces = pieces
            .par_iter()
            .map(|p| {
                let points = p.parts.iter().flat_map(|part| &part.mesh.positions);
                let mesh = TracedMesh::of_parts(&p.parts);
                TracedPiece {
                    mean: mesh.mean_color(),
                    mesh,
                    support: Support::of(points.copied()),
                    kind: p.kind(),
                }
            })
            .collect();
        Self { pieces }
    }

    /// Mean colour of a piece.
    pub(super) fn mean_color(&self, piece: usize) -> Vec3A {
        self.pieces.get(piece).map_or(Vec3A::ZERO, |p| p.mean)
    }
}

/// Subject made ready for rays.
pub(super) struct World<'a> {
    kit: &'a TracedKit,
    placed: Vec<TracedInstance>,
    tints: Tints,
    /// Index into the layout's instances of each of `placed`.
    origins: Vec<u32>,
    top: WideBvh,
    fixed: Arc<TracedMesh>,
    /// Triangles of `fixed` with material 0 are the ground.
    pub(super) look: BareGround,
    /// The same as light that bounced gathers it.
    mean: MeanGround,
    /// What is wet.
    wet: Option<WetPlace>,
    /// What time left.
    weathering: Option<Weathering>,
    ground: Option<&'a Ground>,
    /// Position of the lens in the world.
    origin: DVec3,
    /// Light.
    pub(super) sky: Sky,
    /// Side of a pixel over distance.
    pixel: f32,
    /// Surfaces that light may be followed back to after the first.
    pub(super) bounces: u32,
    /// Factor on radiance for the picture.
    exposure: f32,
    /// Whether light passes through anything as through glass.
    has_glass: bool,
    /// What lies beyond the dressing.
    distance: Distance,
}

impl<'a> World<'a> {
    /// Builds everything that `camera` may see, or that shades it.
    pub(super) fn build(
        kit: &'a TracedKit,
        backdrop: &Backdrop,
        scene: &Subject<'a>,
        camera: &Camera,
        options: &LookOptions,
    ) -> Result<Self> {
        let origin = camera.position;
        if kit.pieces.len() != scene.layout.pieces.len() {
            return Err(Error::input(
                "pieces",
                format!(
                    "the kit has {} pieces, the layout {}",
                    kit.pieces.len(),
                    scene.layout.pieces.len()
                ),
                "make the kit from the layout's pieces",
            ));
        }
        let fixed = backdrop.serve(scene, camera, options)?;
        let shown = options.shown_passes(scene.layout)?;
        let mut placed = Vec::with_capacity(scene.layout.instances.len());
        let mut origins = Vec::with_capacity(scene.layout.instances.len());
        for (i, instance) in scene.layout.instances.iter().enumerate() {
            if shown.get(usize::from(instance.pass)).copied() == Some(false) {
                continue;
            }
            placed.push(TracedInstance::new(instance, origin, scene.layout, i)?);
            origins.push(i as u32);
        }
        let boxes: Vec<Aabb> = placed
            .par_iter()
            .map(|p| p.bounds(&kit.pieces[usize::from(p.piece)].support))
            .collect();
        let mut order = Vec::with_capacity(placed.len());
        let top = WideBvh::build(boxes, BvhBuildParams::fast_build(), IN_LEAF, |run| {
            order.extend_from_slice(run);
            ((order.len() - run.len()) as u32, run.len() as u32)
        });
        // In the order of the leaves, once the build's own memory is free again
        let placed: Vec<TracedInstance> = order.iter().map(|&i| placed[i as usize]).collect();
        let origins: Vec<u32> = order.iter().map(|&i| origins[i as usize]).collect();

        let sky = Sky::new(&scene.light, origin);
        let back = camera.rotation.normalize() * DVec3::Z;
        let axis = (DVec3::Y + back).normalize_or(DVec3::Y);
        // A photographer opens up for dark ground and stops down for pale, by a third of the
        // difference
        let key = if scene.ground.is_some() {
            libm::cbrtf(KEY_ALBEDO / BareGround::of(&scene.finish).mean_albedo())
        } else {
            1.0
        };

        let ground = |g: &Ground| origin.y - g.height(origin.x, origin.z);
        let lens = (camera, scene.ground.map_or(0.0, ground));
        let look = BareGround::of(&scene.finish);
        let tints = Tints::of(scene.layout);
        let distance = Distance::new((scene.layout, &tints), kit, lens, look, scene.light.mood);
        let pieces = kit.pieces.iter().map(|p| &p.mesh);
        let has_glass = pieces.chain([&*fixed]).any(TracedMesh::has_glass);
        Ok(Self {
            has_glass,
            distance,
            kit,
            placed,
            tints,
            origins,
            top,
            fixed,
            look,
            mean: look.mean(sky.sun_centre()),
            wet: WetPlace::of(&scene.finish),
            weathering: scene.finish.weathering,
            exposure: sky.exposure(axis.as_vec3a()) * key,
            ground: scene.ground,
            origin,
            bounces: options.bounces,
            sky,
            pixel: options.pixel(camera) as f32,
        })
    }

    /// The nearest thing within the ray's limits. The direction need not be a unit vector.
    pub(super) fn nearest(&self, mut ray: Ray, walk: &mut Walk) -> Option<RayHit> {
        walk.rays += 1;
        let stack = &mut walk.stack;
        let mut best = self.fixed.nearest(&ray, stack).map(|mesh| RayHit {
            mesh,
            instance: FIXED,
        });
        if let Some(hit) = best {
            ray.far = hit.mesh.t;
        }
        self.top.visit(&mut ray, stack, |first, count, ray, stack| {
            for instance in first..first + count {
                let placed = &self.placed[instance as usize];
                let local = placed.local_ray(ray);
                let piece = &self.kit.pieces[usize::from(placed.piece)].mesh;
                if let Some(mesh) = piece.nearest(&local, stack) {
                    ray.far = mesh.t;
                    best = Some(RayHit { mesh, instance });
                }
            }
            false
        });
        best
    }

    /// The layout's pass to which a hit thing belongs.
    pub(super) fn pass_of(&self, hit: &RayHit) -> Option<usize> {
        let placed = self.placed.get(hit.instance as usize)?;
        Some(usize::from(placed.pass))
    }

    /// The index of a hit piece in the layout's instances.
    pub(super) fn instance_of(&self, hit: &RayHit) -> Option<usize> {
        let index = self.origins.get(hit.instance as usize)?;
        Some(*index as usize)
    }

    /// Whether what was hit is the ground.
    pub(super) fn is_ground(&self, hit: &RayHit) -> bool {
        hit.instance == FIXED && self.fixed.material(&hit.mesh) == 0
    }

    /// Whether anything lies within the ray's limits.
    pub(super) fn blocked(&self, mut ray: Ray, walk: &mut Walk) -> bool {
        walk.rays += 1;
        let stack = &mut walk.stack;
        self.top.visit(&mut ray, stack, |first, count, ray, stack| {
            (first..first + count).any(|instance| {
                let placed = &self.placed[instance as usize];
                self.kit.pieces[usize::from(placed.piece)]
                    .mesh
                    .blocks(&placed.local_ray(ray), stack)
            })
        }) || self.fixed.blocks(&ray, stack)
    }

    /// Factor on radiance for the picture.
    pub(super) fn exposure(&self) -> f32 {
        self.exposure
    }

    /// Radiance of what a ray sees that meets nothing.
    pub(super) fn beyond(&self, direction: Vec3A) -> Vec3A {
        if direction.y < 0.0 && self.ground.is_some() {
            self.distance.beyond(&self.sky, direction)
        } else {
            self.sky.radiance(direction)
        }
    }

    /// What is left of `light` from `metres` off, with the haze before it.
    pub(super) fn hazed(&self, direction: Vec3A, light: Vec3A, metres: f32) -> Vec3A {
        if self.ground.is_none() {
            return light;
        }
        self.distance.hazed(&self.sky, direction, light, metres)
    }

    /// Whether light passes through anything as through glass.
    pub(super) fn has_glass(&self) -> bool {
        self.has_glass
    }

    /// Side of a pixel over the distance.
    pub(super) fn pixel(&self) -> f32 {
        self.pixel
    }

    /// The closed thing that the lens is inside of: an index into the layout's pieces, or none for
    /// a hero. Looks both ways along the three axes: from inside, what is met shows its back.
    pub(super) fn lens_inside(&self) -> Option<Option<usize>> {
        let mut walk = Walk::default();
        let mut around = None;
        let mut fronts = 0;
        for axis in [Vec3A::X, Vec3A::Y, Vec3A::Z] {
            for direction in [axis, -axis] {
                let ray = Ray::from(Vec3A::ZERO, direction);
                let hit = self.nearest(ray, &mut walk)?;
                let (mesh, normal, piece) = if hit.instance == FIXED {
                    let normal = self.fixed.face_normal(&hit.mesh);
                    (&*self.fixed, normal, None)
                } else {
                    let placed = &self.placed[hit.instance as usize];
                    let mesh = &self.kit.pieces[usize::from(placed.piece)].mesh;
                    let normal = placed.rotation() * mesh.face_normal(&hit.mesh);
                    (mesh, normal, Some(usize::from(placed.piece)))
                };
                let material = mesh.material(&hit.mesh);
                let ground = piece.is_none() && material == 0;
                let back = normal.dot(direction) > 0.0 && !mesh.materials[material].double_sided;
                if back && !ground {
                    around = Some(piece);
                } else {
                    fronts += 1;
                }
            }
        }
        // One of six may be something else that lies inside with the lens, such as the ground under
        // a sunken stone
        around.filter(|_| fronts <= 1)
    }

    /// What could not be shown as intended, each thing once.
    pub(super) fn warnings(&self) -> Vec<String> {
        let of_pieces = self.kit.pieces.iter().map(|p| &p.mesh);
        let mut told: Vec<String> = of_pieces
            .chain([&*self.fixed])
            .flat_map(|mesh| mesh.warnings.iter().cloned())
            .collect();
        told.sort();
        told.dedup();
        told
    }

    /// Figures of what the world holds.
    pub(super) fn figures(&self) -> Figures {
        Figures {
            rays: 0,
            instances: self.placed.len() as u64,
            instance_bytes: (size_of_val(self.placed.as_slice()) + self.top.bytes()) as u64,
            mesh_bytes: (self.fixed.bytes()
                + self
                    .kit
                    .pieces
                    .iter()
                    .map(|p| p.mesh.bytes())
                    .sum::<usize>()) as u64,
        }
    }
}
