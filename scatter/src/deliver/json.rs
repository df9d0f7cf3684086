//! `layout.json`: a layout as text, one instance a line, so that two layouts diff.
//!
//! Positions are written as decimals of at most nine places (they lie on a lattice of one
//! nanometre), other numbers as the shortest decimal that reads back as the same number.

use super::exporter::{Exporter, PictureFiles, PlannedFile, Writer};
use crate::error::Result;
use std::collections::BTreeMap;
use std::io::{self, Write};
use std::sync::Arc;

use serde::Serialize;

use super::GENERATOR;
use super::lines::{self, Text};
use super::pictures::Pictures;
use super::space::Conversion;
use crate::color::LayerTone;
use crate::kit::simpler::full_name;
use crate::kit::{Material, Piece, Texture};
use crate::layout::document::{FORMAT, VERSION};
use crate::layout::{Instance, Layout, PassRecord, Tints};
use crate::optics::Camera;
use crate::shot::Space;

/// Writes the layout in Strew's own space. Holds a few megabytes at most, whatever its size;
/// formats on rayon's threads.
///
/// # Errors
/// Whatever `out` returns.
pub fn write<W: Write + Send>(layout: &Layout, out: &mut W) -> io::Result<()> {
    let way = Conversion::new(Space::default());
    let listed = layout.listed_pieces().flat_map(|(_, p)| &p.parts);
    let pictures = Pictures::of(listed.map(|part| &part.material));
    write_in(layout, &layout.instances, (&way, ""), &pictures, out)
}

/// Writes the layout with these of its instances in a space, as part of a delivery, which it names
/// unless it is empty; `pictures` stand beside it.
pub(super) fn write_in<W: Write + Send>(
    layout: &Layout,
    instances: &[Instance],
    (way, delivery): (&Conversion, &str),
    pictures: &Pictures<'_>,
    out: &mut W,
) -> io::Result<()> {
    write_head(layout, (way, delivery), pictures, out)?;
    out.write_all(if instances.is_empty() { b"" } else { b"\n    " })?;
    let listed = listed(layout);
    let tints = Tints::of(layout);
    lines::write(
        instances,
        ",\n    ",
        |text, instance| line(text, (instance, tints.tint(instance)), &listed, way),
        out,
    )?;
    out.write_all(b"\n  ]\n}\n")
}

/// Where each piece of the layout stands in the list of the file.
fn listed(layout: &Layout) -> Vec<usize> {
    let mut places = vec![0; layout.pieces.len()];
    for (place, (piece, _)) in layout.listed_pieces().enumerate() {
        places[piece] = place;
    }
    places
}

fn line(
    text: &mut Text<'_>,
    (instance, tint): (&Instance, Option<[f32; 3]>),
    listed: &[usize],
    way: &Conversion,
) {
    text.text("{\"id\":\"");
    text.hexadecimal(instance.id);
    text.text("\",\"pass\":");
    text.integer(u16::from(instance.pass));
    text.text(",\"piece\":");
    text.integer(listed[usize::from(instance.piece)]);
    text.text(",\"position\":[");
    text.place(instance.position, way, ",");
    text.text("],\"rotation\":[");
    text.all(way.rotation(instance.rotation), ",");
    text.text("],\"scale\":");
    text.shortest(instance.scale);
    text.text(",\"diameter\":");
    text.shortest(diameter(instance, way));
    if let Some(tint) = tint {
        text.text(",\"tint\":[");
        text.all(tint, ",");
        text.text("]");
    }
    text.text("}");
}

/// The diameter in the space's unit.
pub(super) fn diameter(instance: &Instance, way: &Conversion) -> f32 {
    way.length(f64::from(instance.diameter)) as f32
}

/// Everything before the instances.
fn write_head<W: Write>(
    layout: &Layout,
    (way, delivery): (&Conversion, &str),
    pictures: &Pictures<'_>,
    out: &mut W,
) -> io::Result<()> {
    writeln!(out, "{{")?;
    field(out, "format", &FORMAT)?;
    field(out, "version", &VERSION)?;
    field(out, "generator", &GENERATOR)?;
    field(out, "shot", &layout.shot)?;
    field(out, "take", &layout.take)?;
    if !delivery.is_empty() {
        field(out, "delivery", &delivery)?;
    }
    field(out, "space", &SpaceWords::new(way))?;
    list(
        out,
        "cameras",
        layout.cameras.iter().map(|c| CameraLine::new(c, way)),
    )?;
    list(
        out,
        "pieces",
        layout
            .listed_pieces()
            .map(|(_, p)| PieceLine::new(p, way, pictures)),
    )?;
    list(out, "passes", layout.passes.iter().map(PassLine::new))?;
    write!(out, "  \"instances\": [")
}

fn field<W: Write>(out: &mut W, key: &str, value: &impl Serialize) -> io::Result<()> {
    write!(out, "  \"{key}\": ")?;
    serde_json::to_writer(&mut *out, value)?;
    writeln!(out, ",")
}

/// An array with one element a line.
fn list<W: Write>(
    out: &mut W,
    key: &str,
    values: impl Iterator<Item = impl Serialize>,
) -> io::Result<()> {
    write!(out, "  \"{key}\": [")?;
    for (i, value) in values.enumerate() {
        out.write_all(if i > 0 { b",\n    " } else { b"\n    " })?;
        serde_json::to_writer(&mut *out, &value)?;
    }
    writeln!(out, "\n  ],")
}

/// Axes and unit, as words.
#[derive(Debug, Clone, Copy, Serialize)]
pub(super) struct SpaceWords {
    unit: &'static str,
    up: &'static str,
    forward: &'static str,
    hand: &'static str,
}

impl SpaceWords {
    pub(super) fn new(way: &Conversion) -> Self {
        Self {
            unit: way.unit(),
            up: way.up(),
            forward: way.forward(),
            hand: way.hand(),
        }
    }
}

/// A camera. Distances that are not set, or not finite, are null.
#[derive(Serialize)]
struct CameraLine<'a> {
    name: &'a str,
    position: [f64; 3],
    rotation: [f64; 4],
    yfov: f64,
    aspect: f64,
    frame: [u32; 2],
    near: f64,
    far: f64,
    focus: Option<f64>,
    stop: Option<f64>,
}

impl<'a> CameraLine<'a> {
    fn new(camera: &'a Camera, way: &Conversion) -> Self {
        Self {
            name: &camera.name,
            position: way.point(camera.position).to_array(),
            rotation: way.rotation(camera.rotation.to_array()),
            yfov: camera.yfov,
            aspect: camera.aspect(),
            frame: camera.frame,
            near: way.length(camera.near),
            far: way.length(camera.far),
            focus: camera.focus.map(|f| way.length(f)),
            stop: camera.stop,
        }
    }
}

#[derive(Serialize)]
struct PieceLine<'a> {
    name: &'a str,
    source: &'a str,
    /// The piece that it is a simpler version of.
    #[serde(skip_serializing_if = "Option::is_none")]
    version_of: Option<&'a str>,
    triangles: u64,
    size: [f32; 3],
    /// Its materials that have textures, each once.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    materials: Vec<MaterialLine<'a>>,
}

/// The files of a material's textures, relative to this one.
#[derive(Serialize)]
struct MaterialLine<'a> {
    name: &'a str,
    #[serde(skip_serializing_if = "Option::is_none")]
    base_color: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    roughness_metalness: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    normals: Option<String>,
}

impl<'a> MaterialLine<'a> {
    /// None for a material without textures that the delivery holds.
    fn new(material: &'a Material, pictures: &Pictures<'_>) -> Option<Self> {
        let file = |texture: &Option<Arc<Texture>>| {
            let texture = texture.as_ref()?;
            pictures.position(texture).map(|_| pictures.path(texture))
        };
        let line = Self {
            name: &material.name,
            base_color: file(&material.base_color_texture),
            roughness_metalness: file(&material.metallic_roughness_texture),
            normals: file(&material.normal_texture),
        };
        let files = [&line.base_color, &line.roughness_metalness, &line.normals];
        files.iter().any(|f| f.is_some()).then_some(line)
    }
}

impl<'a> PieceLine<'a> {
    fn new(piece: &'a Piece, way: &Conversion, pictures: &Pictures<'_>) -> Self {
        let mut materials: Vec<MaterialLine<'_>> = Vec::new();
        for part in &piece.parts {
            let known = materials.iter().any(|s| s.name == part.material.name);
            if !known {
                materials.extend(MaterialLine::new(&part.material, pictures));
            }
        }
        Self {
            name: &piece.name,
            source: &piece.source,
            version_of: piece.is_version().then(|| full_name(&piece.name)),
            triangles: piece.triangles(),
            size: way.extents(piece.measure.size),
            materials,
        }
    }
}

#[derive(Serialize)]
struct PassLine<'a> {
    name: &'a str,
    /// The family of rock that its stones are of.
    #[serde(skip_serializing_if = "Option::is_none")]
    stone: Option<&'a str>,
    /// The one colour of all its pieces, linear.
    #[serde(skip_serializing_if = "Option::is_none")]
    color: Option<[f32; 3]>,
    asked: u64,
    placed: u64,
    cover: f64,
    refused: BTreeMap<&'a str, u64>,
}

impl<'a> PassLine<'a> {
    fn new(pass: &'a PassRecord) -> Self {
        let (stone, color) = match pass.tone {
            Some(LayerTone::Stone(family)) => (Some(family.name()), None),
            Some(LayerTone::Even(color)) => (None, Some(color)),
            None => (None, None),
        };
        Self {
            name: &pass.name,
            stone,
            color,
            asked: pass.tally.asked,
            placed: pass.tally.placed,
            cover: pass.tally.cover,
            refused: refused(pass),
        }
    }
}

/// Pieces refused, by reason; a reason told twice is summed.
pub(super) fn refused(pass: &PassRecord) -> BTreeMap<&str, u64> {
    let mut reasons = BTreeMap::new();
    for (reason, count) in &pass.tally.refused {
        *reasons.entry(reason.word()).or_default() += count;
    }
    reasons
}

/// The `json` format.
pub(super) struct Json;

impl Exporter for Json {
    fn name(&self) -> [&'static str; 2] {
        ["layout", "json"]
    }

    fn pictures(&self) -> PictureFiles {
        PictureFiles::OfPieces
    }

    fn plan<'a>(&self, file: &'a PlannedFile<'a>) -> Result<Writer<'a>> {
        let (layout, instances) = (file.contents.layout, file.contents.instances);
        Ok(Box::new(move |out| {
            let space = (&file.way(), file.contents.delivery);
            write_in(layout, instances, space, file.pictures, out)
        }))
    }
}
