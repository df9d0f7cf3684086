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
pub mod exporter;
pub mod glb;
mod identity;
mod included;
pub mod json;
mod lines;
pub mod manifest;
mod materials;
mod pictures;
pub mod report;
mod tangents;
mod terrain;
mod usda;

pub use atomic::replace;
pub use contents::Contents;
pub use exporter::{Exporter, PictureFiles, PlannedFile, SceneFile};
pub use included::{DistantLight, GroundFigures, Included};
pub use manifest::{FileRecord, FolderState, Manifest};

pub use crate::layout::space;
pub use crate::shot::Format;

use std::collections::HashSet;
use std::io::Write;
use std::path::PathBuf;
use std::time::Instant;

use crate::error::{Error, Result};
use crate::layout::{Instance, Layout, PassRecord};
use crate::session::Stage;
use crate::shot::{Space, Split};
use pictures::Pictures;
use space::Conversion;

/// What writes the files, as the files themselves name it.
pub const GENERATOR: &str = concat!("strew ", env!("CARGO_PKG_VERSION"));

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
    /// [`Prepared::first_last_seen`](crate::session::Prepared::first_last_seen).
    pub seen: Option<Vec<Option<[i64; 2]>>>,
    /// Digest of the shot document, quoted in the report.
    pub shot_digest: String,
    /// What the time went into so far; the report adds the writing of each format.
    pub stages: Vec<Stage>,
}

impl DeliverOptions<'_> {
    /// Delivers formats into a folder, in Strew's own space, one file a format, with the layout's
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

/// What became of a delivery.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Delivered {
    /// Its digest, which its files quote: 32 hexadecimal digits.
    pub digest: String,
    /// Its files, the report last.
    pub files: Vec<DeliveredFile>,
    /// Files of the delivery before it that are no part of this one: taken away.
    pub removed: Vec<PathBuf>,
    /// Files with names like those of a delivery that are no part of this one and were changed, or
    /// that no report told of: left alone.
    pub left: Vec<PathBuf>,
    /// What was wrong with the files that stood in the folder before, in a sentence.
    pub found: Option<String>,
}

/// Delivers `layout`: the formats asked for, in their order (each once), then `report.json`, which
/// takes its name when all other files have theirs.
///
/// Files of the delivery before it that are no part of this one are taken away if they are as its
/// report says.
///
/// Peak memory beyond the layout is a few megabytes, whatever its size.
///
/// # Errors
/// [`ErrorKind::Input`](crate::error::ErrorKind::Input) for a space that a format can't be in;
/// [`ErrorKind::Failed`](crate::error::ErrorKind::Failed) when the folder or the disk refuses, when
/// the layout is not fit to be written (a number that is not finite, an index to nothing), or when
/// a format can't hold it (a GLB ends at 4 GiB). Nothing is left behind then, and files that stood
/// there before are as they were.
pub fn write(layout: &Layout, options: &DeliverOptions<'_>) -> Result<Delivered> {
    write_with(layout, options, &exporters(options))
}

/// As [`write()`], in the forms of some exporters in place of the formats of `options`.
///
/// # Errors
/// As [`write()`].
pub fn write_with(
    layout: &Layout,
    options: &DeliverOptions<'_>,
    exporters: &[&dyn Exporter],
) -> Result<Delivered> {
    check::check(layout, &options.included)?;
    for exporter in exporters {
        exporter.check(options.space)?;
    }
    let before = manifest::state(&options.dir);
    let digest = identity::identity(layout, options, exporters);
    let mut delivery = atomic::Delivery::open(&options.dir)?;
    let mut stages = options.stages.clone();
    let mut files = Vec::new();
    let names = |pictures: PictureFiles| exporters.iter().any(|e| e.pictures() == pictures);
    let beside = Contents {
        included: names(PictureFiles::OfAll).then_some(&options.included),
        ..Contents::whole(layout, &options.included)
    };
    let pictures = Pictures::of(beside.parts().map(|part| &part.material));
    for exporter in exporters {
        for file in planned((layout, &digest), options, *exporter, &pictures) {
            let begun = Instant::now();
            let in_file = |e: Error| e.in_file(&options.dir.join(&file.name));
            let writer = exporter.plan(&file).map_err(in_file)?;
            files.push(delivery.stage(&file.name, writer)?);
            stages.push(Stage {
                name: format!("write {}", file.name),
                seconds: begun.elapsed().as_secs_f64(),
            });
        }
    }
    if names(PictureFiles::OfAll) || names(PictureFiles::OfPieces) {
        for (picture, name) in pictures.files() {
            files.push(delivery.stage(&name, |out| out.write_all(&picture.bytes))?);
        }
    }
    let way = Conversion::new(options.space);
    let listing = report::Listing {
        digest: &digest,
        files: &files,
    };
    let report = report::Report::new(layout, options, &way, listing, &stages);
    delivery.stage(REPORT, |out| match &options.seen {
        Some(seen) => report.write_with_seen(layout, seen, out),
        None => report.write(out),
    })?;
    let in_folder = |names: Vec<String>| names.iter().map(|n| options.dir.join(n)).collect();
    let retired = before.retired(&files);
    let delivered = delivery.commit(&retired)?;
    Ok(Delivered {
        digest,
        files: delivered,
        removed: in_folder(retired),
        left: in_folder(manifest::unlisted(&options.dir, &files)),
        found: before.problem(),
    })
}

/// Would the folder take a delivery? Asked before the long work, so that it is not done in vain.
/// Changes nothing.
///
/// # Errors
/// Those of [`write()`] that can be known without a layout.
pub fn check_folder(options: &DeliverOptions<'_>) -> Result<()> {
    let mut rehearsal = atomic::Delivery::open(&options.dir)?;
    for exporter in exporters(options) {
        exporter.check(options.space)?;
        rehearsal.stage(&file_name(exporter, None), |_| Ok(()))?;
    }
    rehearsal.stage(REPORT, |_| Ok(()))?;
    Ok(())
}

/// The exporters of the formats asked for, each once.
fn exporters(options: &DeliverOptions<'_>) -> Vec<&'static dyn Exporter> {
    let formats = options.formats.iter().enumerate();
    let first = formats.filter(|(i, format)| !options.formats[..*i].contains(format));
    first.map(|(_, format)| exporter::of(*format)).collect()
}

/// The name of an exporter's file; with the passes split, of a pass's.
fn file_name(exporter: &dyn Exporter, pass: Option<&str>) -> String {
    let [stem, ending] = exporter.name();
    match pass {
        Some(pass) => format!("{stem}.{pass}.{ending}"),
        None => format!("{stem}.{ending}"),
    }
}

/// The files of an exporter: one, or one a pass. Scenes have one more for what is no pass.
fn planned<'a>(
    (layout, delivery): (&'a Layout, &'a str),
    options: &'a DeliverOptions<'_>,
    exporter: &dyn Exporter,
    pictures: &'a Pictures<'a>,
) -> Vec<PlannedFile<'a>> {
    let root = glb::root_translation(layout);
    let file = |pass: Option<&str>, instances: &'a [Instance], with_included: bool| PlannedFile {
        name: file_name(exporter, pass),
        contents: Contents {
            layout,
            instances,
            included: with_included.then_some(&options.included),
            delivery,
            root,
        },
        parts: Vec::new(),
        space: options.space,
        pictures,
    };
    match options.split {
        None => return vec![file(None, &layout.instances, true)],
        Some(Split::Passes) => {}
    }
    let parts = file_parts(layout);
    let mut files: Vec<PlannedFile<'_>> = parts
        .iter()
        .enumerate()
        .map(|(i, name)| {
            let instances = &layout.instances;
            let of_pass = instances.partition_point(|p| usize::from(p.pass) < i)
                ..instances.partition_point(|p| usize::from(p.pass) <= i);
            file(Some(name), &instances[of_pass], false)
        })
        .collect();
    let included = &options.included;
    let has_more = !included.is_empty() || (included.cameras && !layout.cameras.is_empty());
    let scene = match exporter.scene() {
        SceneFile::Always => true,
        SceneFile::IfAny => has_more,
        SceneFile::Never => false,
    };
    if scene {
        let mut rest = file(None, &[], true);
        rest.parts = files.iter().map(|f| f.name.clone()).collect();
        files.push(rest);
    }
    files
}

/// The passes' names as parts of file names: what a file system may not take becomes a dash.
fn file_parts(layout: &Layout) -> Vec<String> {
    // Some file systems don't tell capitals from small letters
    let mut taken: HashSet<String> = HashSet::new();
    let part = |pass: &PassRecord| {
        let keep = |c: char| c.is_ascii_alphanumeric() || c == '-' || c == '_';
        let letters = pass.name.chars();
        let plain: String = letters.map(|c| if keep(c) { c } else { '-' }).collect();
        let mut part = plain.clone();
        let mut number = 2_u32;
        while !taken.insert(part.to_ascii_lowercase()) {
            part = format!("{plain}-{number}");
            number += 1;
        }
        part
    };
    layout.passes.iter().map(part).collect()
}

#[cfg(test)]
mod tests;
#[cfg(test)]
mod tints;
