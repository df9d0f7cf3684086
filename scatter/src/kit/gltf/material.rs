//! Materials and their textures.
//!
//! A texture that is missing, broken or of another form is no error: the surface keeps its plain
//! colour, and a warning says so.

use std::sync::Arc;

use gltf::json::extensions::texture::TextureTransform;
use gltf::json::material::AlphaMode;
use gltf::json::texture::{Info, WrappingMode};
use gltf::json::validation::Checked;
use gltf::json::{Index, Root, material, texture};
use serde::Deserialize;

use super::buffer::Buffers;
use super::glass;
use super::{lookup, shorten};
use crate::error::{Error, Result};
use crate::kit::{Alpha, Material, Texture, Wrap};

/// Maximum number of warnings that are kept: more of them say nothing new.
const MAX_WARNINGS: usize = 50;

/// What was left out while reading, each thing once.
#[derive(Debug, Default)]
pub(super) struct Warnings(Vec<String>);

impl Warnings {
    pub(super) fn add(&mut self, text: String) {
        if self.0.len() < MAX_WARNINGS && !self.0.contains(&text) {
            self.0.push(text);
        }
    }

    pub(super) fn into_texts(self) -> Vec<String> {
        self.0
    }
}

/// Which of a primitive's texture coordinates a material uses, and how it moves them
/// (KHR_texture_transform).
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Coordinates {
    /// The n of TEXCOORD_n.
    pub(super) set: u32,
    offset: [f32; 2],
    rotation: f32,
    scale: [f32; 2],
}

impl Coordinates {
    fn new(set: u32, transform: Option<&TextureTransform>) -> Self {
        let Some(transform) = transform else {
            return Self {
                set,
                offset: [0.0; 2],
                rotation: 0.0,
                scale: [1.0; 2],
            };
        };
        Self {
            set: transform.tex_coord.unwrap_or(set),
            offset: transform.offset.0,
            rotation: transform.rotation.0,
            scale: transform.scale.0,
        }
    }

    /// Scales, then turns counter-clockwise as seen on the picture (v points down), then moves.
    pub(super) fn moved(&self, [u, v]: [f32; 2]) -> [f32; 2] {
        let angle = f64::from(self.rotation);
        let (sin, cos) = (libm::sin(angle), libm::cos(angle));
        let (u, v) = (
            f64::from(u) * f64::from(self.scale[0]),
            f64::from(v) * f64::from(self.scale[1]),
        );
        [
            (cos * u + sin * v + f64::from(self.offset[0])) as f32,
            (cos * v - sin * u + f64::from(self.offset[1])) as f32,
        ]
    }
}

/// A material with what its mesh must bring.
#[derive(Debug, Clone)]
pub(super) struct MappedMaterial {
    pub(super) material: Material,
    /// None without textures.
    pub(super) coordinates: Option<Coordinates>,
}

/// Reads each material, texture and image once.
#[derive(Debug)]
pub(super) struct Materials<'a> {
    root: &'a Root,
    buffers: &'a Buffers<'a>,
    materials: Vec<Option<MappedMaterial>>,
    textures: Vec<Option<Option<Arc<Texture>>>>,
    images: Vec<Option<Option<Arc<[u8]>>>>,
}

impl<'a> Materials<'a> {
    pub(super) fn new(root: &'a Root, buffers: &'a Buffers<'a>) -> Self {
        Self {
            root,
            buffers,
            materials: vec![None; root.materials.len()],
            textures: vec![None; root.textures.len()],
            images: vec![None; root.images.len()],
        }
    }

    /// The material that `place` refers to, or the specification's own for a primitive without one.
    pub(super) fn material(
        &mut self,
        index: Option<usize>,
        place: &str,
        warnings: &mut Warnings,
    ) -> Result<MappedMaterial> {
        let Some(index) = index else {
            let material = Material {
                metallic: 1.0,
                ..Material::default()
            };
            return Ok(MappedMaterial {
                material,
                coordinates: None,
            });
        };
        lookup(&self.root.materials, index, "materials", || {
            format!("{place}.material")
        })?;
        if let Some(material) = &self.materials[index] {
            return Ok(material.clone());
        }
        let material = self.read(index, warnings)?;
        Ok(self.materials[index].insert(material).clone())
    }

    fn read(&mut self, index: usize, warnings: &mut Warnings) -> Result<MappedMaterial> {
        let json = &self.root.materials[index];
        let place = format!("materials[{index}]");
        let plain = &json.pbr_metallic_roughness;
        let name = json.name.as_deref().map(shorten);
        let share = |value: f32| value.clamp(0.0, 1.0);
        let mut material = Material {
            name: name.unwrap_or_else(|| format!("material-{index}")),
            base_color: plain.base_color_factor.0.map(share),
            roughness: share(plain.roughness_factor.0),
            metallic: share(plain.metallic_factor.0),
            alpha: alpha(json, &place)?,
            double_sided: json.double_sided,
            ..Material::default()
        };
        material.glass = glass::read(json, &place, warnings);
        let gloss = Gloss::of(json);
        let mut color = plain.base_color_texture.as_ref();
        if let Some(gloss) = &gloss {
            material.base_color = gloss.diffuse_factor.map(share);
            material.roughness = 1.0 - share(gloss.glossiness_factor);
            material.metallic = 0.0;
            color = gloss.diffuse_texture.as_ref();
        }
        let mut coordinates = None;
        if let Some(info) = color {
            let place = format!("{place}: its colour");
            material.base_color_texture = self.texture(
                info.index,
                of_info(info),
                &mut coordinates,
                &place,
                warnings,
            );
        }
        if let Some(info) = &plain.metallic_roughness_texture
            && gloss.is_none()
        {
            let place = format!("{place}: its roughness");
            material.metallic_roughness_texture = self.texture(
                info.index,
                of_info(info),
                &mut coordinates,
                &place,
                warnings,
            );
        }
        if let Some(info) = &json.normal_texture {
            // Not parsed for this kind of texture by the crate.
            let transform = info
                .extensions
                .as_ref()
                .and_then(|e| e.others.get("KHR_texture_transform"))
                .and_then(|value| TextureTransform::deserialize(value).ok());
            let used = Coordinates::new(info.tex_coord, transform.as_ref());
            let place = format!("{place}: its normals");
            material.normal_texture =
                self.texture(info.index, used, &mut coordinates, &place, warnings);
            if info.scale.is_finite() {
                material.normal_scale = info.scale;
            }
        }
        Ok(MappedMaterial {
            material,
            coordinates,
        })
    }

    /// A texture, if it can be read and uses the coordinates that the textures before it use.
    fn texture(
        &mut self,
        index: Index<texture::Texture>,
        used: Coordinates,
        shared: &mut Option<Coordinates>,
        place: &str,
        warnings: &mut Warnings,
    ) -> Option<Arc<Texture>> {
        if shared.is_some_and(|shared| shared != used) {
            warnings.add(format!(
                "{place}: the texture has coordinates of its own and is left out; lay all textures of a material alike"
            ));
            return None;
        }
        match self.load(index.value()) {
            Ok(texture) => {
                *shared = Some(used);
                Some(texture)
            }
            Err(error) => {
                for fault in error.faults {
                    let at = if fault.place.is_empty() {
                        String::new()
                    } else {
                        format!("{}: ", fault.place)
                    };
                    warnings.add(format!(
                        "{place}: {at}{}; the surface keeps its plain value",
                        fault.problem
                    ));
                }
                None
            }
        }
    }

    fn load(&mut self, index: usize) -> Result<Arc<Texture>> {
        let missing = || {
            Error::input(
                format!("textures[{index}]"),
                "the texture can't be read",
                "",
            )
        };
        let place = || format!("textures[{index}]");
        let json = lookup(&self.root.textures, index, "textures", place)?;
        if let Some(known) = &self.textures[index] {
            return known.clone().ok_or_else(missing);
        }
        self.textures[index] = Some(None);
        let wrap = match json.sampler {
            None => [Wrap::Repeat; 2],
            Some(sampler) => {
                let place = || format!("textures[{index}].sampler");
                let sampler = lookup(&self.root.samplers, sampler.value(), "samplers", place)?;
                [sampler.wrap_s, sampler.wrap_t].map(wrap)
            }
        };
        let source = json.source.value();
        // The JSON layer's sign for a texture without a plain source.
        if source == u32::MAX as usize {
            return Err(Error::input(
                place(),
                "the picture is of a form that is not read here (KTX2, WebP, AVIF)",
                "save it as PNG or JPEG",
            ));
        }
        let bytes = self.image(source)?;
        let image = &self.root.images[source];
        let name = image.name.as_deref().or_else(|| {
            let uri = image.uri.as_deref().filter(|u| !u.starts_with("data:"))?;
            uri.rsplit('/').next()
        });
        let name = name.map_or_else(|| format!("image-{source}"), shorten);
        let texture = Texture::new(name, bytes, wrap).map_err(|mut e| {
            for fault in &mut e.faults {
                fault.place = format!("images[{source}]");
            }
            e
        })?;
        let texture = Arc::new(texture);
        self.textures[index] = Some(Some(Arc::clone(&texture)));
        Ok(texture)
    }

    /// The encoded bytes of an image.
    fn image(&mut self, index: usize) -> Result<Arc<[u8]>> {
        let place = format!("images[{index}]");
        let json = lookup(&self.root.images, index, "images", || place.clone())?;
        if let Some(known) = &self.images[index] {
            let missing = || Error::input(&*place, "the picture can't be read", "");
            return known.clone().ok_or_else(missing);
        }
        self.images[index] = Some(None);
        let bytes: Arc<[u8]> = match (&json.uri, json.buffer_view) {
            (_, Some(view)) => self.buffers.view(view.value(), &place)?.into(),
            (Some(uri), None) => self.buffers.load(uri, &format!("{place}.uri"))?.into(),
            (None, None) => {
                let hint = "give it a uri or a bufferView";
                return Err(Error::input(place, "the picture has no bytes", hint));
            }
        };
        self.images[index] = Some(Some(Arc::clone(&bytes)));
        Ok(bytes)
    }
}

/// Coordinates that a plain texture reference asks for.
fn of_info(info: &Info) -> Coordinates {
    let transform = info.extensions.as_ref();
    Coordinates::new(
        info.tex_coord,
        transform.and_then(|e| e.texture_transform.as_ref()),
    )
}

fn wrap(mode: Checked<WrappingMode>) -> Wrap {
    match mode {
        Checked::Valid(WrappingMode::MirroredRepeat) => Wrap::Mirror,
        Checked::Valid(WrappingMode::ClampToEdge) => Wrap::Clamp,
        _ => Wrap::Repeat,
    }
}

/// What becomes of a material's opacity.
fn alpha(json: &material::Material, place: &str) -> Result<Alpha> {
    match json.alpha_mode {
        Checked::Valid(AlphaMode::Opaque) => Ok(Alpha::Opaque),
        Checked::Valid(AlphaMode::Blend) => Ok(Alpha::Blend),
        // The specification's cutoff where none is given; above 1 nothing is there.
        Checked::Valid(AlphaMode::Mask) => Ok(Alpha::Cut(
            json.alpha_cutoff.map_or(0.5, |c| c.0.clamp(0.0, 2.0)),
        )),
        Checked::Invalid => Err(Error::input(
            format!("{place}.alphaMode"),
            "no value that glTF knows",
            "one of OPAQUE, MASK, BLEND",
        )),
    }
}

/// What is used of KHR_materials_pbrSpecularGlossiness, the older way to write a dielectric.
#[derive(Debug, Deserialize)]
#[serde(default, rename_all = "camelCase")]
struct Gloss {
    diffuse_factor: [f32; 4],
    diffuse_texture: Option<Info>,
    glossiness_factor: f32,
}

impl Gloss {
    /// None where the material has no such extension, or not one that can be read.
    fn of(json: &material::Material) -> Option<Self> {
        let extensions = json.extensions.as_ref()?;
        let value = extensions
            .others
            .get("KHR_materials_pbrSpecularGlossiness")?;
        Self::deserialize(value).ok()
    }
}

impl Default for Gloss {
    fn default() -> Self {
        Self {
            diffuse_factor: [1.0; 4],
            diffuse_texture: None,
            glossiness_factor: 1.0,
        }
    }
}
