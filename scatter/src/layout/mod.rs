//! The result of dressing a shot.

mod ahead;
mod budget;
mod carpeting;
mod demand;
mod detail;
pub(crate) mod document;
mod dressing;
mod earlier;
mod forms;
mod laying;
mod ledger;
mod memory;
mod mixing;
mod needed;
mod origins;
mod pins;
mod planning;
mod read;
mod relations;
mod rested;
mod run;
mod seams;
mod settled;
mod settling;
mod shading;
mod target;

pub use dressing::{Dressed, Dresser, OctaveRegion, Stage, dress};
pub use earlier::Earlier;
pub use ledger::{Refused, Shortfall};
pub use memory::RenderMemory;
pub use mixing::{ExponentReading, MixReading, SizeClass};
pub use origins::{files, stamp};
pub use read::read;

use std::sync::Arc;

use glam::DVec3;

use crate::carpet;
use crate::kit::Piece;
use crate::optics::Camera;
use crate::shade;

/// One placed piece: world transform = translate x rotate x scale.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Instance {
    /// The piece's place in the world's streams; unique in a layout.
    pub id: u64,
    /// World position, metres, on a lattice of one nanometre.
    pub position: DVec3,
    /// Unit quaternion x, y, z, w.
    pub rotation: [f32; 4],
    /// Uniform scale of the piece's mesh.
    pub scale: f32,
    /// Intermediate axis in metres.
    pub diameter: f32,
    /// Index into [`Layout::passes`].
    pub pass: u16,
    /// Index into [`Layout::pieces`].
    pub piece: u16,
}

/// What became of one pass.
#[derive(Debug, Clone, PartialEq)]
pub struct PassRecord {
    /// The pass's name.
    pub name: String,
    /// What was asked for and what came of it.
    pub tally: Tally,
}

/// Asked and got. But for `placed` and triangles all is counted on the ground that the frames show,
/// for the sizes that they resolve there; `thrown` is `laid` and all `refused` together.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Tally {
    /// Pieces asked for, after fields, where the pass may lie.
    pub asked: u64,
    /// Pieces that were thrown to get them.
    pub thrown: u64,
    /// Pieces that lie.
    pub laid: u64,
    /// Pieces refused, by reason: each reason once, none of 0.
    pub refused: Vec<(Refused, u64)>,
    /// The shown ground on which the finest of them are made, square metres.
    pub ground: f64,
    /// Cover asked for, 0..1, averaged over the shown ground; 0 for pins, which ask for none.
    pub cover_asked: f64,
    /// Cover reached.
    pub cover: f64,
    /// What is short of it.
    pub shortfall: Option<Shortfall>,
    /// Pieces in the layout: with those that only throw their shadow into a frame.
    pub placed: u64,
    /// Triangles of all placed pieces, in the versions that they are placed in.
    pub triangles: u64,
    /// Triangles that they would have in full.
    pub full_triangles: u64,
    /// Its tiles, if the pass is the shot's carpet.
    pub carpet: Option<carpet::Figures>,
    /// The light, if the pass is the shot's shade.
    pub shade: Option<shade::Figures>,
}

impl Tally {
    /// Whether the pass is of the shot as a whole, its carpet or its shade, rather than of pieces
    /// that lie on the ground one by one.
    #[must_use]
    pub fn is_of_shot(&self) -> bool {
        self.carpet.is_some() || self.shade.is_some()
    }
}

/// A dressed shot. Instances are sorted by pass, then piece, then id.
#[derive(Debug, Clone)]
pub struct Layout {
    /// The shot's name.
    pub shot: String,
    /// The take.
    pub take: u64,
    /// The shot's cameras.
    pub cameras: Vec<Camera>,
    /// The pieces that it may use: the kit's, then simpler versions of them if the shot asks for
    /// these, then the carpet's tiles.
    pub pieces: Arc<Vec<Piece>>,
    /// One record a pass, in the shot's order; then one for the pins, one for the carpet and one
    /// for the shade, if there are any.
    pub passes: Vec<PassRecord>,
    /// Every placed piece.
    pub instances: Vec<Instance>,
}

impl Layout {
    /// The pieces that a delivery tells of: the kit's, and of their versions those in use. With
    /// each its place in
    /// [`Layout::pieces`].
    pub fn listed_pieces(&self) -> impl Iterator<Item = (usize, &Piece)> {
        let used = self.used_pieces();
        let pieces = self.pieces.iter().enumerate();
        pieces.filter(move |(i, piece)| used[*i] || !piece.is_version())
    }

    /// Which pieces the layout places, in the order of its pieces.
    #[must_use]
    pub fn used_pieces(&self) -> Vec<bool> {
        let mut used = vec![false; self.pieces.len()];
        for instance in &self.instances {
            if let Some(used) = used.get_mut(usize::from(instance.piece)) {
                *used = true;
            }
        }
        used
    }
}
