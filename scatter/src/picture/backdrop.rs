//! What stays from take to take: ground and heroes, made ready for the rays of one camera.

use std::sync::Arc;

use obvhs::BvhBuildParams;

use super::mesh::{MeshBuilder, TracedMesh};
use super::{LookOptions, Subject, ground};
use crate::error::{Error, Result};
use crate::kit::{Material, Mesh};
use crate::optics::Camera;

/// Ground and heroes of a scene made ready for the rays of one camera: to be kept for all layouts
/// that are looked at through it.
#[derive(Clone)]
pub struct Backdrop {
    /// Relative to the lens. Triangles of the first material are the ground.
    mesh: Arc<TracedMesh>,
    camera: Camera,
    /// How much lower than it is the ground is drawn, metres: see [`sunk`].
    sunk: f64,
}

impl std::fmt::Debug for Backdrop {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Backdrop")
            .field("camera", &self.camera.name)
            .field("sunk", &self.sunk)
            .finish_non_exhaustive()
    }
}

impl Backdrop {
    /// Builds what `camera` may see of the scene's ground and heroes, or what these shade; its
    /// layout tells only whether a carpet is shown.
    ///
    /// # Errors
    /// A hero's place is not finite, or a named pass is missing.
    pub fn new(scene: &Subject<'_>, camera: &Camera, options: &LookOptions) -> Result<Self> {
        let sunk = sunk(scene, options)?;
        let origin = camera.position;
        let mut builder = MeshBuilder::default();
        let mesh = scene.ground.map_or_else(Mesh::default, |terrain| {
            // Past the farthest pieces the ground runs on, so that no edge shows
            let reach = (camera.far * 4.0).clamp(20.0, 2000.0);
            let mut mesh = ground::mesh(terrain, camera, reach, options.pixel(camera));
            for p in &mut mesh.positions {
                p.y -= sunk as f32;
            }
            mesh
        });
        // The ground's look comes from the ground shader
        builder.add(&mesh, &Material::default(), None);
        for prop in &scene.heroes {
            let mut place = prop.world_from_prop;
            place.translation -= origin;
            if !place.is_finite() {
                return Err(Error::input(
                    "hero",
                    "its place is not finite",
                    "give finite numbers",
                ));
            }
            for part in prop.parts.iter() {
                builder.add(&part.mesh, &part.material, Some(&place));
            }
        }
        Ok(Self {
            // Squares of ground gain nothing from a slower build
            mesh: Arc::new(builder.build(BvhBuildParams::very_fast_build())),
            camera: camera.clone(),
            sunk,
        })
    }

    /// Its mesh, if it was made for such a picture.
    ///
    /// # Errors
    /// It was made for another camera, or for a scene with another carpet.
    pub(super) fn serve(
        &self,
        scene: &Subject<'_>,
        camera: &Camera,
        options: &LookOptions,
    ) -> Result<Arc<TracedMesh>> {
        if self.camera != *camera || self.sunk.to_bits() != sunk(scene, options)?.to_bits() {
            return Err(Error::input(
                "backdrop",
                "it was made for another camera or carpet",
                "make one for this picture",
            ));
        }
        Ok(Arc::clone(&self.mesh))
    }
}

/// How much lower the ground is drawn, metres: where a carpet lies its grains stand in the ground,
/// which must not show between them.
fn sunk(scene: &Subject<'_>, options: &LookOptions) -> Result<f64> {
    let shown = options.shown_passes(scene.layout)?;
    let passes = scene.layout.passes.iter().zip(&shown);
    let carpets = passes.filter(|(_, shown)| **shown);
    let sunk = carpets.filter_map(|(p, _)| Some(p.tally.carpet?.sunk));
    Ok(sunk.fold(0.0, f64::max))
}
