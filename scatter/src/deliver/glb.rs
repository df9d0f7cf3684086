//! `layout.glb` and `layout-nodes.glb`: a layout as binary glTF 2.0, with `EXT_mesh_gpu_instancing`
//! or with a node an instance.
//!
//! Sources: Khronos Group, "glTF 2.0 Specification", 2021; Khronos Group,
//! "EXT_mesh_gpu_instancing", 2020; Khronos Group, "KHR_lights_punctual", 2018.
//!
//! - Each piece's mesh is stored once; one node a pass and piece, named `pass/piece`, carries all
//!   its instances as TRANSLATION, ROTATION and SCALE. The extension is listed as required: a
//!   reader without it would show one copy in silence.
//! - In `layout-nodes.glb` the node `pass/piece` has a child an instance, named by its id, and no
//!   extension is needed.
//! - Instances are 32-bit, so a layout far from the world's origin has a root node that carries the
//!   large translation; see [`root_translation`]. Cameras hang from the same root.
//! - Surfaces are metallic-roughness materials times vertex colours. A material's translucency has
//!   no place in the core format; it stands in the material's `extras`. Textures are embedded as
//!   they were read, each picture once; texture coordinates are left out where no texture reads
//!   them.
//! - The file is planned first (JSON and all lengths), then its binary part is written as a stream.

mod nodes;
mod plan;
mod stream;

pub use plan::{Form, Glb};

use glam::DVec3;

use super::exporter::{Exporter, PlannedFile, SceneFile, Writer};
use crate::error::Result;
use crate::layout::Layout;

/// Where the root node of a layout stands: whole metres, so that 32-bit readers hold it exactly to
/// 16,000 km.
///
/// At the world's origin, unless the layout is farther from it than its own bounds are wide; then
/// at its mean position. Either way a 32-bit instance translation t under a root at r is off its
/// world position p by at most 2^-24 |t| per axis, and |t| is bounded by a small multiple of |p|:
/// the relative error stays under 3e-7.
#[must_use]
pub fn root_translation(layout: &Layout) -> DVec3 {
    let mut low = DVec3::INFINITY;
    let mut high = DVec3::NEG_INFINITY;
    let mut sum = DVec3::ZERO;
    for instance in &layout.instances {
        low = low.min(instance.position);
        high = high.max(instance.position);
        sum += instance.position;
    }
    if layout.instances.is_empty() {
        return DVec3::ZERO;
    }
    let nearest = DVec3::ZERO.clamp(low, high);
    if nearest.length() <= low.distance(high) {
        return DVec3::ZERO;
    }
    #[expect(
        clippy::cast_precision_loss,
        reason = "only the mean's rounding hangs on it"
    )]
    let count = layout.instances.len() as f64;
    (sum / count).round()
}

impl Exporter for Form {
    fn name(&self) -> [&'static str; 2] {
        match self {
            Self::Instanced => ["layout", "glb"],
            Self::Nodes => ["layout-nodes", "glb"],
        }
    }

    fn scene(&self) -> SceneFile {
        SceneFile::IfAny
    }

    fn plan<'a>(&self, file: &'a PlannedFile<'a>) -> Result<Writer<'a>> {
        let plan = Glb::plan(&file.contents, *self)?;
        Ok(Box::new(move |out| plan.write(out)))
    }
}
