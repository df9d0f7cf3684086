//! `layout.usda`: a layout as OpenUSD text, a PointInstancer a pass.
//!
//! Source: Pixar, "OpenUSD", 2024: the schemas UsdGeomPointInstancer, UsdGeomMesh, UsdGeomCamera,
//! UsdShade and UsdLux; "UsdPreviewSurface specification", version 2.6, 2023.
//!
//! - `/layout` carries the large translation of a layout far from the world's origin; see
//!   [`root_translation`](super::glb::root_translation). Positions under it are 32-bit.
//! - `/layout/materials` has each surface once; the pictures of its textures are files in the
//!   folder `textures` beside it.
//! - `/layout/PASS` is the pass's PointInstancer; the meshes that it copies stand in its scope
//!   `prototypes`, where nothing draws them for themselves.
//! - Rotations stand twice: `orientationsf` in 32 bits, and `orientations` in 16 for readers that
//!   know no other.
//! - `ids` are the layout's ids as signed numbers of the same 64 bits.
//! - `primvars:displayColor` of an instancer, one value an instance, is the factor on the colours of
//!   its prototypes, where the shot names a family of rock.
//! - The text is written as a stream: prims first, then instances array by array.

mod included;
mod instancer;
mod mesh;
mod names;

pub(super) use names::quoted;

use std::io::{self, Write};

use super::GENERATOR;
use super::contents::Contents;
use super::exporter::{Exporter, PictureFiles, PlannedFile, SceneFile, Writer};
use super::materials;
use super::pictures::Pictures;
use super::space::Conversion;
use crate::error::{Error, Result};
use crate::kit::{Material, Part};
use crate::layout::Tints;
use crate::shot::{Hand, Space};
use names::{Names, Numbers};

/// The root prim.
const ROOT: &str = "/layout";

/// Writes one file. `sublayers` are files that it draws in, `pictures` stand beside it.
pub(super) fn write<W: Write + Send>(
    contents: &Contents<'_>,
    way: &Conversion,
    sublayers: &[String],
    pictures: &Pictures<'_>,
    out: &mut W,
) -> io::Result<()> {
    writeln!(out, "#usda 1.0\n(")?;
    if !contents.delivery.is_empty() {
        let delivery = quoted(contents.delivery);
        writeln!(out, "    customLayerData = {{")?;
        writeln!(out, "        string delivery = {delivery}\n    }}")?;
    }
    writeln!(out, "    defaultPrim = \"layout\"")?;
    let about = format!(
        "{}, take {}, by {GENERATOR}",
        contents.layout.shot, contents.layout.take
    );
    writeln!(out, "    doc = {}", quoted(&about))?;
    writeln!(out, "    metersPerUnit = {}", way.metres_per_unit())?;
    if !sublayers.is_empty() {
        writeln!(out, "    subLayers = [")?;
        for (i, file) in sublayers.iter().enumerate() {
            let comma = if i + 1 < sublayers.len() { "," } else { "" };
            writeln!(out, "        @./{file}@{comma}")?;
        }
        writeln!(out, "    ]")?;
    }
    let up = way.up().trim_start_matches('+').to_uppercase();
    writeln!(out, "    upAxis = \"{up}\"\n)\n")?;
    writeln!(
        out,
        "def Xform \"layout\" (\n    kind = \"assembly\"\n)\n{{"
    )?;
    let root = way.point(contents.root).to_array();
    writeln!(out, "    double3 xformOp:translate = {}", Numbers(&root))?;
    writeln!(
        out,
        "    uniform token[] xformOpOrder = [\"xformOp:translate\"]\n"
    )?;
    let mut surfaces = Surfaces::default();
    let mut names = Names::default();
    names.take("materials");
    for part in contents.parts() {
        surfaces.add(&part.material);
    }
    surfaces.write(pictures, out)?;
    let scene = UsdaScene {
        contents,
        way,
        surfaces: &surfaces,
        tints: Tints::of(contents.layout),
    };
    included::write(&scene, &mut names, out)?;
    for group in contents.instances.chunk_by(|a, b| a.pass == b.pass) {
        instancer::write(&scene, group, &mut names, out)?;
    }
    writeln!(out, "}}")
}

/// What the parts of the file share.
struct UsdaScene<'a> {
    contents: &'a Contents<'a>,
    way: &'a Conversion,
    surfaces: &'a Surfaces<'a>,
    tints: Tints,
}

/// The materials of a file, each once, with their prims' names.
#[derive(Default)]
struct Surfaces<'a> {
    names: Names,
    known: Vec<(&'a Material, String)>,
}

impl<'a> Surfaces<'a> {
    fn add(&mut self, material: &'a Material) {
        if !self.known.iter().any(|(m, _)| *m == material) {
            let name = self.names.take(&material.name);
            self.known.push((material, name));
        }
    }

    /// The path of a part's material.
    fn path(&self, part: &Part) -> String {
        let name = self
            .known
            .iter()
            .find(|(m, _)| **m == part.material)
            .map_or("", |(_, name)| name);
        format!("{ROOT}/materials/{name}")
    }

    fn write<W: Write>(&self, pictures: &Pictures<'_>, out: &mut W) -> io::Result<()> {
        if self.known.is_empty() {
            return Ok(());
        }
        writeln!(out, "    def Scope \"materials\"\n    {{")?;
        for (material, name) in &self.known {
            let path = format!("{ROOT}/materials/{name}");
            materials::usd(material, name, &path, pictures, out)?;
        }
        writeln!(out, "    }}\n")
    }
}

/// The `usda` format.
pub(super) struct Usda;

impl Exporter for Usda {
    fn name(&self) -> [&'static str; 2] {
        ["layout", "usda"]
    }

    fn scene(&self) -> SceneFile {
        SceneFile::Always
    }

    fn pictures(&self) -> PictureFiles {
        PictureFiles::OfAll
    }

    fn check(&self, space: Space) -> Result<()> {
        match space.hand {
            Hand::Right => Ok(()),
            Hand::Left => Err(Error::input(
                "",
                "usda can't be left-handed: OpenUSD is right-handed by definition",
                "hand right for usda, or leave usda out",
            )),
        }
    }

    fn plan<'a>(&self, file: &'a PlannedFile<'a>) -> Result<Writer<'a>> {
        Ok(Box::new(move |out| {
            write(&file.contents, &file.way(), &file.parts, file.pictures, out)
        }))
    }
}
