//! Glass: what is read of the extensions that let light pass through a surface.

use gltf::json::material;
use serde::Deserialize;
use serde::de::DeserializeOwned;

use super::material::Warnings;
use crate::kit::{Glass, GlassBody};

/// Refractive indices that are read: air to beyond diamond.
const INDEX: (f32, f32) = (1.0, 4.0);

/// What is used of `KHR_materials_transmission`.
#[derive(Debug, Default, Deserialize)]
#[serde(default, rename_all = "camelCase")]
struct Transmission {
    transmission_factor: f32,
    transmission_texture: Option<serde_json::Value>,
}

/// What is used of `KHR_materials_ior`.
#[derive(Debug, Deserialize)]
#[serde(default)]
struct Index {
    ior: f32,
}

impl Default for Index {
    /// The specification's own.
    fn default() -> Self {
        Self { ior: 1.5 }
    }
}

/// What is used of `KHR_materials_volume`.
#[derive(Debug, Deserialize)]
#[serde(default, rename_all = "camelCase")]
struct Volume {
    thickness_factor: f32,
    thickness_texture: Option<serde_json::Value>,
    attenuation_distance: f32,
    attenuation_color: [f32; 3],
}

impl Default for Volume {
    /// The specification's own: a thin wall that takes nothing.
    fn default() -> Self {
        Self {
            thickness_factor: 0.0,
            thickness_texture: None,
            attenuation_distance: f32::INFINITY,
            attenuation_color: [1.0; 3],
        }
    }
}

/// An extension of a material, if it has it; what can't be read is told.
fn extension<T: DeserializeOwned>(
    json: &material::Material,
    name: &str,
    place: &str,
    warnings: &mut Warnings,
) -> Option<T> {
    let value = json.extensions.as_ref()?.others.get(name)?;
    let read = serde_json::from_value(value.clone());
    read.map_err(|e| warnings.add(format!("{place}: {name} is left out: {e}")))
        .ok()
}

/// How light passes through a material; None where it does not, and where its refractive index is
/// that of any dielectric.
pub(super) fn read(
    json: &material::Material,
    place: &str,
    warnings: &mut Warnings,
) -> Option<Glass> {
    let passing: Transmission =
        extension(json, "KHR_materials_transmission", place, warnings).unwrap_or_default();
    let index: Option<Index> = extension(json, "KHR_materials_ior", place, warnings);
    let volume: Option<Volume> = extension(json, "KHR_materials_volume", place, warnings);
    if passing.transmission_texture.is_some() {
        warnings.add(format!(
            "{place}: the texture of its transmission is left out; the factor holds everywhere"
        ));
    }
    let transmission = passing.transmission_factor.clamp(0.0, 1.0);
    if transmission <= 0.0 && index.is_none() {
        return None;
    }
    let asked = index.unwrap_or_default().ior;
    let index = if asked >= INDEX.0 && asked <= INDEX.1 {
        asked
    } else {
        warnings.add(format!(
            "{place}: a refractive index of {asked} is not read, 1.5 is taken; give {} to {}",
            INDEX.0, INDEX.1
        ));
        Index::default().ior
    };
    Some(Glass {
        transmission,
        index,
        body: volume.and_then(|v| body(&v, place, warnings)),
    })
}

/// What fills a mesh; its own thickness counts, not that of the file.
fn body(volume: &Volume, place: &str, warnings: &mut Warnings) -> Option<GlassBody> {
    if volume.thickness_texture.is_some() {
        warnings.add(format!(
            "{place}: the texture of its thickness is left out; light goes through the mesh as it is"
        ));
    }
    if volume.thickness_factor <= 0.0 {
        return None;
    }
    let distance = volume.attenuation_distance;
    Some(GlassBody {
        // Black would take all at once
        color: volume.attenuation_color.map(|c| c.clamp(1e-4, 1.0)),
        distance: if distance > 0.0 {
            distance
        } else {
            f32::INFINITY
        },
    })
}
