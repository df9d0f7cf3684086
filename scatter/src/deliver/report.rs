//! `report.json`: what a delivery holds, what it will cost, and what the time went into.

use std::borrow::Cow;
use std::collections::BTreeMap;
use std::io::{self, Write};

use serde::Serialize;

use super::manifest::FileRecord;
use super::space::Conversion;
use super::{DeliverOptions, GENERATOR, Stage, json};
use crate::brief::Mix;
use crate::layout::{Layout, MixReading, RenderMemory};
use crate::shade::Figures;

/// The version of the form.
const VERSION: u32 = 1;

/// What a delivery holds.
#[derive(Debug, Clone, Copy)]
pub(super) struct Listing<'a> {
    /// Its digest.
    pub(super) digest: &'a str,
    /// Its files.
    pub(super) files: &'a [FileRecord],
}

/// The report, in the order of the file.
#[derive(Debug, Serialize)]
pub(super) struct Report<'a> {
    format: &'static str,
    version: u32,
    generator: &'static str,
    shot: &'a str,
    shot_digest: &'a str,
    take: u64,
    /// Digest of all that is delivered, which the files quote.
    delivery: &'a str,
    /// Of json, csv and usda; glTF has its own.
    space: json::SpaceWords,
    passes: Vec<PassReport<'a>>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    mixes: Vec<MixReport<'a>>,
    /// What was told while the shot was read, dressed and delivered.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    warnings: Vec<Cow<'a, str>>,
    /// The ground, where it is delivered.
    #[serde(skip_serializing_if = "Option::is_none")]
    ground: Option<GroundReport>,
    totals: Totals,
    files: &'a [FileRecord],
    render_memory: RenderMemory,
    seconds: Vec<Seconds<'a>>,
}

#[derive(Debug, Serialize)]
struct PassReport<'a> {
    name: &'a str,
    /// On the shown ground, as is all down to `short`; `thrown` is `laid` and all `refused`
    /// together.
    asked: u64,
    thrown: u64,
    laid: u64,
    refused: BTreeMap<&'a str, u64>,
    /// Square metres.
    ground: f64,
    cover_asked: f64,
    cover: f64,
    /// What is short of the cover asked, and what would help.
    #[serde(skip_serializing_if = "Option::is_none")]
    short: Option<String>,
    /// In the layout.
    placed: u64,
    /// In the versions that are delivered.
    triangles: u64,
    /// In full.
    full_triangles: u64,
    #[serde(skip_serializing_if = "Option::is_none")]
    carpet: Option<CarpetReport>,
    #[serde(skip_serializing_if = "Option::is_none")]
    shade: Option<ShadeReport>,
}

/// The delivered ground, as [`super::GroundFigures`] has it.
#[derive(Debug, Serialize)]
struct GroundReport {
    triangles: u64,
    tolerance_pixels: f64,
}

/// The tiles of the carpet. Lengths in metres.
#[derive(Debug, Serialize)]
struct CarpetReport {
    /// Distance between the middles of neighbouring tiles.
    tile: f64,
    /// How much lower the ground is to be drawn under it.
    ground_sunk: f64,
    tiles: u64,
    /// In the tiles and their finer octaves; 0 for tiles from a file.
    grains: u64,
}

/// The light of the shade, asked and got. Lengths in metres.
#[derive(Debug, Serialize)]
struct ShadeReport {
    /// Share of the sun that comes through to the framed ground.
    lit_asked: f64,
    lit: f64,
    /// Mean width of the flecks square to the sun's azimuth.
    fleck_asked: f64,
    fleck: f64,
    /// Width of a shadow's edge square to the sun's rays.
    softness_asked: f64,
    softness: f64,
    /// Of the casters from the ground, along the rays, and over level ground.
    distance: f64,
    height: f64,
    /// One side of the leaves over the ground's area.
    leaf_area: f64,
    /// Distance between gaps among the leaves; length of a leaf over that of the kit's sprays.
    gaps: f64,
    scale: f64,
}

/// The size law of a mix, asked and got, over the pieces of its passes. Lengths in metres.
#[derive(Debug, Serialize)]
struct MixReport<'a> {
    name: &'a str,
    asked: &'a Mix,
    #[serde(skip_serializing_if = "Option::is_none")]
    exponent: Option<ExponentReport>,
    classes: Vec<ClassReport>,
}

/// The exponent of a power law; the error is a standard error.
#[derive(Debug, Serialize)]
struct ExponentReport {
    asked: f64,
    got: f64,
    error: f64,
}

/// Pieces of a mix between two diameters, on the ground that such pieces were made on, in square
/// metres.
#[derive(Debug, Serialize)]
struct ClassReport {
    from: f64,
    to: f64,
    ground: f64,
    asked: u64,
    got: u64,
}

#[derive(Debug, Serialize)]
struct Totals {
    asked: u64,
    placed: u64,
    refused: u64,
    triangles: u64,
    full_triangles: u64,
    unique_pieces: u64,
    unique_triangles: u64,
    bytes_on_disk: u64,
    seconds: f64,
}

#[derive(Debug, Serialize)]
struct Seconds<'a> {
    stage: &'a str,
    seconds: f64,
}

impl ShadeReport {
    fn new(figures: Figures) -> Self {
        let Figures {
            lit: [lit_asked, lit],
            fleck: [fleck_asked, fleck],
            softness: [softness_asked, softness],
            distance,
            height,
            leaf_area,
            gaps,
            scale,
        } = figures;
        Self {
            lit_asked,
            lit,
            fleck_asked,
            fleck,
            softness_asked,
            softness,
            distance,
            height,
            leaf_area,
            gaps,
            scale,
        }
    }
}

impl<'a> MixReport<'a> {
    fn new(reading: &'a MixReading) -> Self {
        Self {
            name: &reading.name,
            asked: &reading.mix,
            exponent: reading.exponent.map(|e| ExponentReport {
                asked: e.asked,
                got: e.got,
                error: e.error,
            }),
            classes: reading
                .classes
                .iter()
                .map(|c| ClassReport {
                    from: c.from,
                    to: c.to,
                    ground: c.ground,
                    asked: c.asked.round() as u64,
                    got: c.got,
                })
                .collect(),
        }
    }
}

impl<'a> Report<'a> {
    /// The report on `layout` as delivered. The report's own length is not in it.
    pub(super) fn new(
        layout: &'a Layout,
        options: &'a DeliverOptions<'_>,
        way: &Conversion,
        listing: Listing<'a>,
        stages: &'a [Stage],
    ) -> Self {
        let passes: Vec<PassReport> = layout
            .passes
            .iter()
            .map(|pass| PassReport {
                name: &pass.name,
                asked: pass.tally.asked,
                thrown: pass.tally.thrown,
                laid: pass.tally.laid,
                refused: json::refused(pass),
                ground: pass.tally.ground,
                cover_asked: pass.tally.cover_asked,
                cover: pass.tally.cover,
                short: pass.tally.shortfall.as_ref().map(ToString::to_string),
                placed: pass.tally.placed,
                triangles: pass.tally.triangles,
                full_triangles: pass.tally.full_triangles,
                carpet: pass.tally.carpet.map(|c| CarpetReport {
                    tile: c.tile,
                    ground_sunk: c.sunk,
                    tiles: c.tiles,
                    grains: c.grains,
                }),
                shade: pass.tally.shade.map(ShadeReport::new),
            })
            .collect();
        let refused = |pass: &crate::layout::PassRecord| -> u64 {
            pass.tally.refused.iter().map(|(_, count)| count).sum()
        };
        let used = layout.used_pieces();
        let unique = || {
            let pairs = layout.pieces.iter().zip(&used);
            pairs.filter(|(_, used)| **used).map(|(piece, _)| piece)
        };
        let totals = Totals {
            asked: passes.iter().map(|p| p.asked).sum(),
            placed: passes.iter().map(|p| p.placed).sum(),
            refused: layout.passes.iter().map(refused).sum(),
            triangles: passes.iter().map(|p| p.triangles).sum(),
            full_triangles: passes.iter().map(|p| p.full_triangles).sum(),
            unique_pieces: unique().count() as u64,
            unique_triangles: unique().map(crate::kit::Piece::triangles).sum(),
            bytes_on_disk: listing.files.iter().map(|f| f.bytes).sum(),
            seconds: stages.iter().map(|s| s.seconds).sum(),
        };
        let of_layout = layout.warnings.iter().map(|w| Cow::Borrowed(w.as_str()));
        let of_ground = options.included.ground.and_then(|ground| ground.warning());
        Self {
            format: "strew-report",
            version: VERSION,
            generator: GENERATOR,
            shot: &layout.shot,
            shot_digest: &options.shot_digest,
            take: layout.take,
            delivery: listing.digest,
            space: json::SpaceWords::new(way),
            passes,
            mixes: layout.mixes.iter().map(MixReport::new).collect(),
            warnings: of_layout.chain(of_ground.map(Cow::Owned)).collect(),
            ground: options.included.ground.map(|ground| GroundReport {
                triangles: ground.triangles,
                tolerance_pixels: ground.tolerance,
            }),
            totals,
            files: listing.files,
            render_memory: RenderMemory::of(layout, options.included.parts()),
            seconds: stages
                .iter()
                .map(|s| Seconds {
                    stage: &s.name,
                    seconds: s.seconds,
                })
                .collect(),
        }
    }

    pub(super) fn write<W: Write>(&self, out: &mut W) -> io::Result<()> {
        serde_json::to_writer_pretty(&mut *out, self)?;
        out.write_all(b"\n")
    }

    /// Writes the report with the first and the last frame in which a moving camera sees each
    /// piece, one piece a line; what none sees is left out. `seen` goes with the layout's
    /// instances.
    pub(super) fn write_with_seen<W: Write>(
        &self,
        layout: &Layout,
        seen: &[Option<[i64; 2]>],
        out: &mut W,
    ) -> io::Result<()> {
        let head = serde_json::to_string_pretty(self)?;
        out.write_all(head.trim_end_matches(['}', '\n']).as_bytes())?;
        out.write_all(b",\n  \"seen\": [")?;
        let pieces = layout.instances.iter().zip(seen);
        let seen = pieces.filter_map(|(i, seen)| seen.map(|frames| (i, frames)));
        for (n, (instance, [first, last])) in seen.enumerate() {
            let between = if n > 0 { ",\n    " } else { "\n    " };
            let (id, pass) = (instance.id, usize::from(instance.pass));
            write!(
                out,
                "{between}{{\"id\":\"{id:016x}\",\"pass\":{pass},\"first\":{first},\"last\":{last}}}"
            )?;
        }
        out.write_all(b"\n  ]\n}\n")
    }
}
