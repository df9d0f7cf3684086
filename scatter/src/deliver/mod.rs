//! Writing layouts for other programs.
//!
//! One call, [`write()`], delivers a layout into a folder: the formats asked for and `report.json`.
//! All files are written under temporary names and take their own names together at the end, so a
//! run that fails changes nothing. The pictures of the textures that USDA and JSON files name are
//! files of their own.
//!
//! [`compare`](fn@compare::compare) holds two delivered `layout.json` files against each other.

pub(crate) mod atomic;
mod check;
pub mod compare;
mod contents;
pub mod csv;
pub mod glb;
mod included;
pub mod json;
mod lines;
mod materials;
mod pictures;
pub mod report;
pub mod space;
mod tangents;
mod terrain;
mod usda;

pub use atomic::replace;
pub use contents::Contents;
pub use included::{Included, Sun};

pub use crate::shot::Format;

use std::fs::File;
use std::io::{self, BufWriter, Write};
use std::path::PathBuf;
use std::time::Instant;

use crate::error::{Error, Fault, Kind, Result};
use crate::layout::{Instance, Layout};
use crate::session::Stage;
use crate::shot::{Hand, Space, Split};
use pictures::Pictures;
use space::Conversion;

/// What writes the files, as the files themselves name it.
pub const GENERATOR: &str = concat!("scatter ", env!("CARGO_PKG_VERSION"));

/// The name of the report.
const REPORT: &str = "report.json";

/// Where and how to deliver, and what the report should know.
#[derive(Debug, Clone)]
pub struct DeliverOptions<'a> {
    /// The folder to write into; made if missing.
    pub dir: PathBuf,
    /// The formats to write. `report.json` is written always.
    pub formats: Vec<Format>,
    /// Unit and axes of json, csv and usda.
    pub space: Space,
    /// How the pieces are split into files.
    pub split: Option<Split>,
    /// What stands about the pieces in glb, glb-nodes and usda.
    pub included: Included<'a>,
    /// The first and the last frame in which a moving camera sees each of the layout's instances,
    /// in its order; the report lists them. See
    /// [`Dresser::first_last_seen`](crate::layout::Dresser::first_last_seen).
    pub seen: Option<Vec<Option<[i64; 2]>>>,
    /// Digest of the shot document, quoted in the report.
    pub shot_digest: String,
    /// What the time went into so far; the report adds the writing of each format.
    pub stages: Vec<Stage>,
}

impl DeliverOptions<'_> {
    /// Delivers formats into a folder, in Scatter's own space, one file a format, with the layout's
    /// cameras.
    #[must_use]
    pub fn new(dir: impl Into<PathBuf>, formats: &[Format]) -> Self {
        Self {
            dir: dir.into(),
            formats: formats.to_vec(),
            space: Space::default(),
            split: None,
            included: Included {
                cameras: true,
                ..Included::default()
            },
            seen: None,
            shot_digest: String::new(),
            stages: Vec::new(),
        }
    }
}

/// A file that now stands in the folder.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DeliveredFile {
    /// Where it is.
    pub path: PathBuf,
    /// Its length in bytes.
    pub bytes: u64,
}

/// Delivers `layout`: the formats asked for, in their order (each once), then `report.json`.
///
/// Peak memory beyond the layout is a few megabytes, whatever its size.
///
/// # Errors
/// [`Kind::Input`] for a space that a format can't be in; [`Kind::Failed`] when the folder or the disk refuses, when the
/// layout is not fit to be written (a number that is not finite, an index to nothing), or when a
/// format can't hold it (a GLB ends at 4 GiB). Nothing is left behind then, and files that stood
/// there before are as they were.
pub fn write(layout: &Layout, options: &DeliverOptions<'_>) -> Result<Vec<DeliveredFile>> {
    check::check(layout, &options.included)?;
    check_space(options)?;
    let mut delivery = atomic::Delivery::open(&options.dir)?;
    let mut stages = options.stages.clone();
    let mut files = Vec::new();
    let root = glb::root_translation(layout);
    let usda = options.formats.contains(&Format::Usda);
    let beside = Contents {
        // JSON tells of pieces alone
        included: usda.then_some(&options.included),
        ..Contents::whole(layout, &options.included)
    };
    let pictures = Pictures::of(beside.parts().map(|part| &part.material));
    for (i, &format) in options.formats.iter().enumerate() {
        if options.formats[..i].contains(&format) {
            continue;
        }
        for file in planned(layout, options, format, root) {
            let begun = Instant::now();
            let name = file.name.clone();
            let bytes = match format {
                Format::Glb | Format::GlbNodes => {
                    let form = if format == Format::Glb {
                        glb::Form::Instanced
                    } else {
                        glb::Form::Nodes
                    };
                    let plan = glb::Glb::plan(&file.contents, form)
                        .map_err(|e| e.in_file(&options.dir.join(&name)))?;
                    delivery.stage(&name, |out| plan.write(out))?
                }
                _ => delivery.stage(&name, |out| {
                    file.write_text(format, options.space, &pictures, out)
                })?,
            };
            stages.push(Stage {
                name: format!("write {name}"),
                seconds: begun.elapsed().as_secs_f64(),
            });
            files.push(report::FileSize { name, bytes });
        }
    }
    if usda || options.formats.contains(&Format::Json) {
        for (picture, name) in pictures.files() {
            let bytes = delivery.stage(&name, |out| out.write_all(&picture.bytes))?;
            files.push(report::FileSize { name, bytes });
        }
    }
    let way = Conversion::new(options.space);
    let report = report::Report::new(layout, options, &way, &files, &stages);
    delivery.stage(REPORT, |out| match &options.seen {
        Some(seen) => report.write_with_seen(layout, seen, out),
        None => report.write(out),
    })?;
    delivery.commit()
}

/// Would the folder take a delivery? Asked before the long work, so that it is not done in vain.
/// Changes nothing.
///
/// # Errors
/// Those of [`write()`] that can be known without a layout.
pub fn check_folder(options: &DeliverOptions<'_>) -> Result<()> {
    check_space(options)?;
    let mut rehearsal = atomic::Delivery::open(&options.dir)?;
    for format in &options.formats {
        rehearsal.stage(&file_name(*format, None), |_| Ok(()))?;
    }
    rehearsal.stage(REPORT, |_| Ok(()))?;
    Ok(())
}

fn check_space(options: &DeliverOptions<'_>) -> Result<()> {
    if options.space.hand == Hand::Left && options.formats.contains(&Format::Usda) {
        let problem = "usda can't be left-handed: OpenUSD is right-handed by definition";
        let fault = Fault::new("", problem, "hand right for usda, or leave usda out");
        return Err(Error::new(Kind::Input, fault));
    }
    Ok(())
}

/// A file to be written.
#[derive(Debug)]
struct Planned<'a> {
    name: String,
    contents: Contents<'a>,
    /// Files that it draws in.
    sublayers: Vec<String>,
}

impl Planned<'_> {
    fn write_text(
        &self,
        format: Format,
        space: Space,
        pictures: &Pictures<'_>,
        out: &mut BufWriter<&mut File>,
    ) -> io::Result<()> {
        let way = Conversion::new(space);
        let (layout, instances) = (self.contents.layout, self.contents.instances);
        match format {
            Format::Csv => csv::write(layout, instances, &way, out),
            Format::Usda => usda::write(&self.contents, &way, &self.sublayers, pictures, out),
            _ => json::write_in(layout, instances, &way, pictures, out),
        }
    }
}

/// The name of a format's file; with the passes split, of a pass's.
fn file_name(format: Format, pass: Option<&str>) -> String {
    let (stem, ending) = match format {
        Format::Glb => ("layout", "glb"),
        Format::GlbNodes => ("layout-nodes", "glb"),
        Format::Usda => ("layout", "usda"),
        Format::Json => ("layout", "json"),
        Format::Csv => ("layout", "csv"),
    };
    match pass {
        Some(pass) => format!("{stem}.{pass}.{ending}"),
        None => format!("{stem}.{ending}"),
    }
}

/// The files of a format: one, or one a pass. Scenes have one more for what is no pass.
fn planned<'a>(
    layout: &'a Layout,
    options: &'a DeliverOptions<'_>,
    format: Format,
    root: glam::DVec3,
) -> Vec<Planned<'a>> {
    let file = |pass: Option<&str>, instances: &'a [Instance], with_included: bool| Planned {
        name: file_name(format, pass),
        contents: Contents {
            layout,
            instances,
            included: with_included.then_some(&options.included),
            root,
        },
        sublayers: Vec::new(),
    };
    if options.split != Some(Split::Passes) {
        return vec![file(None, &layout.instances, true)];
    }
    let parts = file_parts(layout);
    let mut files: Vec<Planned<'_>> = parts
        .iter()
        .enumerate()
        .map(|(i, name)| {
            let of_pass = layout
                .instances
                .partition_point(|p| usize::from(p.pass) < i)
                ..layout
                    .instances
                    .partition_point(|p| usize::from(p.pass) <= i);
            file(Some(name), &layout.instances[of_pass], false)
        })
        .collect();
    let included = &options.included;
    let has_more = !included.is_empty() || (included.cameras && !layout.cameras.is_empty());
    let scene = match format {
        Format::Usda => true,
        Format::Glb | Format::GlbNodes => has_more,
        Format::Json | Format::Csv => false,
    };
    if scene {
        let mut rest = file(None, &[], true);
        rest.sublayers = files.iter().map(|f| f.name.clone()).collect();
        files.push(rest);
    }
    files
}

/// The passes' names as parts of file names: what a file system may not take becomes a dash.
fn file_parts(layout: &Layout) -> Vec<String> {
    let mut parts: Vec<String> = Vec::new();
    for pass in &layout.passes {
        let keep = |c: char| c.is_ascii_alphanumeric() || c == '-' || c == '_';
        let plain: String = pass
            .name
            .chars()
            .map(|c| if keep(c) { c } else { '-' })
            .collect();
        let mut part = plain.clone();
        let mut number = 2_u32;
        // Some file systems don't tell capitals from small letters
        while parts.iter().any(|p| p.eq_ignore_ascii_case(&part)) {
            part = format!("{plain}-{number}");
            number += 1;
        }
        parts.push(part);
    }
    parts
}

#[cfg(test)]
mod tests;
