//! Writing layouts for other programs.
//!
//! One call, [`write()`], delivers a layout into a folder: the formats asked for and `report.json`. All files are
//! written under temporary names and take their own names together at the end, so a run that fails changes nothing.

mod atomic;
mod check;
pub mod glb;
pub mod json;
pub mod report;

use std::path::PathBuf;
use std::str::FromStr;
use std::time::Instant;

use crate::error::{Error, Result};
use crate::layout::{Layout, Stage};

/// What writes the files, as the files themselves name it.
pub const GENERATOR: &str = concat!("scatter ", env!("CARGO_PKG_VERSION"));

/// The name of the report.
const REPORT: &str = "report.json";

/// A file format that a layout can be delivered in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Format {
    /// `layout.glb`: glTF 2.0 with `EXT_mesh_gpu_instancing`.
    Glb,
    /// `layout.json`: every instance's transform as text.
    Json,
}

impl Format {
    /// Every format.
    pub const ALL: [Self; 2] = [Self::Glb, Self::Json];

    /// The format's name in shot documents and options.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Glb => "glb",
            Self::Json => "json",
        }
    }

    /// The name of the file that it is delivered as.
    #[must_use]
    pub fn file_name(self) -> &'static str {
        match self {
            Self::Glb => "layout.glb",
            Self::Json => "layout.json",
        }
    }
}

impl FromStr for Format {
    type Err = Error;

    fn from_str(text: &str) -> Result<Self> {
        Self::ALL
            .into_iter()
            .find(|format| format.name() == text)
            .ok_or_else(|| {
                let known = Self::ALL.map(Self::name).join(", ");
                Error::input(
                    "",
                    format!("unknown format {text:?}"),
                    format!("the formats are {known}"),
                )
            })
    }
}

/// Where to deliver, and what the report should know.
#[derive(Debug, Clone, PartialEq)]
pub struct DeliverOptions {
    /// The folder to write into; made if missing.
    pub dir: PathBuf,
    /// The formats to write. `report.json` is written always.
    pub formats: Vec<Format>,
    /// Digest of the shot document, quoted in the report.
    pub shot_digest: String,
    /// What the time went into so far; the report adds the writing of each format.
    pub stages: Vec<Stage>,
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
/// [`Kind::Failed`](crate::error::Kind::Failed) when the folder or the disk refuses, when the layout is not fit to be
/// written (a number that is not finite, an index to nothing), or when a format can't hold it (a GLB ends at 4 GiB).
/// Nothing is left behind then, and files that stood there before are as they were.
pub fn write(layout: &Layout, options: &DeliverOptions) -> Result<Vec<DeliveredFile>> {
    check::check(layout)?;
    let mut delivery = atomic::Delivery::open(&options.dir)?;
    let mut stages = options.stages.clone();
    let mut files = Vec::new();
    for (i, &format) in options.formats.iter().enumerate() {
        if options.formats[..i].contains(&format) {
            continue;
        }
        let begun = Instant::now();
        let name = format.file_name();
        let bytes = match format {
            Format::Glb => {
                let plan =
                    glb::Glb::plan(layout).map_err(|e| e.in_file(&options.dir.join(name)))?;
                delivery.stage(name, |out| plan.write(out))?
            }
            Format::Json => delivery.stage(name, |out| json::write(layout, out))?,
        };
        files.push(report::FileSize { name, bytes });
        stages.push(Stage {
            name: format!("write {name}"),
            seconds: begun.elapsed().as_secs_f64(),
        });
    }
    let report = report::Report::new(layout, &options.shot_digest, &files, &stages);
    delivery.stage(REPORT, |out| report.write(out))?;
    delivery.commit()
}

/// Would the folder take a delivery? Asked before the long work, so that it is not done in vain. Changes nothing.
///
/// # Errors
/// Those of [`write()`] that can be known without a layout.
pub fn check_folder(options: &DeliverOptions) -> Result<()> {
    let mut rehearsal = atomic::Delivery::open(&options.dir)?;
    for format in &options.formats {
        rehearsal.stage(format.file_name(), |_| Ok(()))?;
    }
    rehearsal.stage(REPORT, |_| Ok(()))?;
    Ok(())
}

#[cfg(test)]
mod tests;
