//! `report.json`: what a delivery holds, what it will cost, and what the time went into.

use std::collections::BTreeMap;
use std::io::{self, Write};

use serde::Serialize;

use super::{GENERATOR, Stage, json};
use crate::layout::Layout;

/// The version of the form.
const VERSION: u32 = 1;

/// Acceleration structure of one unique triangle, bytes. Measured: Embree 3.13.5 grew by 82 MB for a mesh of
/// 1,002,252 triangles.
const BVH_BYTES_PER_TRIANGLE: u64 = 82;

/// One instance with its transform and its share of the top-level structure, bytes. Measured: Embree 3.13.5 grew by
/// 36 MB for 100,000 instances.
const BYTES_PER_INSTANCE: u64 = 360;

/// Position and normal of a vertex, three 32-bit floats each.
const BYTES_PER_VERTEX: u64 = 24;

/// A vertex colour, four 16-bit components.
const BYTES_PER_COLOR: u64 = 8;

/// Three 32-bit indices.
const INDEX_BYTES_PER_TRIANGLE: u64 = 12;

/// The length of a delivered file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct FileSize {
    /// Its name in the delivery's folder.
    pub name: &'static str,
    /// Bytes on disk.
    pub bytes: u64,
}

/// The memory that a path tracer will need to hold the layout: an estimate, in bytes.
///
/// `unique_meshes` (vertices, normals, colours and indices of every piece in use) + `unique_triangles` x 82
/// (acceleration structure) + `instances` x 360 (transforms and top level) + `textures`. The two factors were measured
/// with Embree 3.13.5; other renderers differ, often by a factor of two. Picture buffers and the rest of the scene are
/// not counted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct RenderMemory {
    /// The sum of the parts below.
    pub bytes: u64,
    /// Buffers of the meshes in use, each once.
    pub unique_meshes: u64,
    /// Acceleration structures of the meshes in use.
    pub mesh_structures: u64,
    /// Transforms and top-level structure of all instances.
    pub instances: u64,
    /// Textures of the meshes in use; pieces have none yet.
    pub textures: u64,
    /// The rule in words.
    pub formula: &'static str,
}

impl RenderMemory {
    /// Estimates for the pieces that the layout uses.
    #[must_use]
    pub fn of(layout: &Layout) -> Self {
        let mut unique_meshes = 0;
        let mut triangles = 0;
        for (piece, used) in layout.pieces.iter().zip(used_pieces(layout)) {
            if used {
                triangles += piece.triangles();
                unique_meshes += piece.triangles() * INDEX_BYTES_PER_TRIANGLE;
                for part in &piece.parts {
                    unique_meshes += part.mesh.positions.len() as u64 * BYTES_PER_VERTEX
                        + part.mesh.colors.len() as u64 * BYTES_PER_COLOR;
                }
            }
        }
        let mesh_structures = triangles * BVH_BYTES_PER_TRIANGLE;
        let instances = layout.instances.len() as u64 * BYTES_PER_INSTANCE;
        Self {
            bytes: unique_meshes + mesh_structures + instances,
            unique_meshes,
            mesh_structures,
            instances,
            textures: 0,
            formula: "mesh buffers + 82 B per unique triangle + 360 B per instance + textures",
        }
    }
}

/// Which pieces the layout places, in the order of its pieces.
fn used_pieces(layout: &Layout) -> Vec<bool> {
    let mut used = vec![false; layout.pieces.len()];
    for instance in &layout.instances {
        if let Some(used) = used.get_mut(usize::from(instance.piece)) {
            *used = true;
        }
    }
    used
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
    passes: Vec<PassReport<'a>>,
    totals: Totals,
    files: &'a [FileSize],
    render_memory: RenderMemory,
    seconds: Vec<Seconds<'a>>,
}

#[derive(Debug, Serialize)]
struct PassReport<'a> {
    name: &'a str,
    asked: u64,
    placed: u64,
    refused: BTreeMap<&'a str, u64>,
    cover_asked: f64,
    cover: f64,
    triangles: u64,
}

#[derive(Debug, Serialize)]
struct Totals {
    asked: u64,
    placed: u64,
    refused: u64,
    triangles: u64,
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

impl<'a> Report<'a> {
    /// The report on `layout` as delivered in `files`. The report's own length is not in it.
    pub(super) fn new(
        layout: &'a Layout,
        shot_digest: &'a str,
        files: &'a [FileSize],
        stages: &'a [Stage],
    ) -> Self {
        let passes: Vec<PassReport> = layout
            .passes
            .iter()
            .map(|pass| PassReport {
                name: &pass.name,
                asked: pass.tally.asked,
                placed: pass.tally.placed,
                refused: json::refused(pass),
                cover_asked: pass.tally.cover_asked,
                cover: pass.tally.cover,
                triangles: pass.tally.triangles,
            })
            .collect();
        let refused = |pass: &crate::layout::PassRecord| -> u64 {
            pass.tally.refused.iter().map(|(_, count)| count).sum()
        };
        let used = used_pieces(layout);
        let unique = || {
            let pairs = layout.pieces.iter().zip(&used);
            pairs.filter(|(_, used)| **used).map(|(piece, _)| piece)
        };
        let totals = Totals {
            asked: passes.iter().map(|p| p.asked).sum(),
            placed: passes.iter().map(|p| p.placed).sum(),
            refused: layout.passes.iter().map(refused).sum(),
            triangles: passes.iter().map(|p| p.triangles).sum(),
            unique_pieces: unique().count() as u64,
            unique_triangles: unique().map(crate::kit::Piece::triangles).sum(),
            bytes_on_disk: files.iter().map(|f| f.bytes).sum(),
            seconds: stages.iter().map(|s| s.seconds).sum(),
        };
        Self {
            format: "scatter-report",
            version: VERSION,
            generator: GENERATOR,
            shot: &layout.shot,
            shot_digest,
            take: layout.take,
            passes,
            totals,
            files,
            render_memory: RenderMemory::of(layout),
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
}
