//! What stands about the instances: ground, heroes, lights and cameras.

use glam::DVec3;
use serde_json::json;

use super::{GltfDocument, LIGHTS};
use crate::deliver::glb::nodes::Node;
use crate::deliver::included::Included;
use crate::optics::Camera;

impl<'a> GltfDocument<'a> {
    /// Ground, heroes and lights.
    pub(super) fn included(&mut self, included: &'a Included<'a>, root: DVec3) {
        for prop in &included.props {
            let Some(mesh) = self.mesh(&prop.name, &prop.parts) else {
                continue;
            };
            let (scale, rotation, place) = prop.world_from_prop.to_scale_rotation_translation();
            self.nodes.push(Node::One(json!({
                "name": prop.name,
                "mesh": mesh,
                "translation": (place - root).to_array(),
                "rotation": rotation.normalize().to_array(),
                "scale": scale.to_array(),
            })));
        }
        if let Some(sun) = &included.sun {
            self.nodes.push(Node::One(json!({
                "name": sun.name,
                "rotation": sun.rotation.normalize().to_array(),
                "extensions": { LIGHTS: { "light": self.lights.len() } },
            })));
            self.lights.push(json!({
                "name": sun.name,
                "type": "directional",
                "intensity": sun.lux,
            }));
        }
        if let Some(lamp) = &included.lamp {
            self.nodes.push(Node::One(json!({
                "name": "lamp",
                "translation": (lamp.position - root).to_array(),
                "extensions": { LIGHTS: { "light": self.lights.len() } },
            })));
            self.lights.push(json!({
                "name": "lamp",
                "type": "point",
                "intensity": lamp.candela,
                "color": glow(lamp.kelvin),
            }));
        }
    }

    pub(super) fn camera(&mut self, camera: &Camera, root: DVec3) {
        let mut perspective = json!({
            "yfov": camera.yfov,
            "aspectRatio": camera.aspect(),
            "znear": camera.near,
        });
        // Without a far plane the projection is infinite.
        if camera.far.is_finite() {
            perspective["zfar"] = json!(camera.far);
        }
        self.nodes.push(Node::One(json!({
            "name": camera.name,
            "camera": self.cameras.len(),
            "translation": (camera.position - root).to_array(),
            "rotation": camera.rotation.normalize().to_array(),
        })));
        self.cameras.push(json!({
            "name": camera.name,
            "type": "perspective",
            "perspective": perspective,
        }));
    }
}

/// Linear colour of a glowing body at a temperature, its largest component 1: Planck's law at the
/// middle wavelengths of the sRGB primaries, with daylight of 6500 K as white.
fn glow(kelvin: f64) -> [f64; 3] {
    /// Second radiation constant, metre kelvin.
    const C2: f64 = 0.014_388;
    let planck = |metres: f64, t: f64| 1.0 / (libm::exp(C2 / (metres * t)) - 1.0);
    let color = [610e-9, 550e-9, 465e-9].map(|w| planck(w, kelvin) / planck(w, 6500.0));
    let most = color.into_iter().fold(0.0, f64::max);
    color.map(|c| c / most)
}
