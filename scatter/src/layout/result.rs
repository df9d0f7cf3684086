//! The layout: pieces, instances, and what became of each layer.

use std::sync::Arc;

use super::instance::Instance;
use super::mix::MixReading;
use super::tally::Tally;
use crate::color::LayerTone;
use crate::kit::Piece;
use crate::optics::Camera;

/// What was asked of one layer (a pass, the pins, the carpet or the shade), and what it got.
#[derive(Debug, Clone, PartialEq)]
pub struct PassRecord {
    /// The layer's name.
    pub name: String,
    /// What colours its pieces take; None for their own.
    pub tone: Option<LayerTone>,
    /// What was asked for and what came of it.
    pub tally: Tally,
}

/// A dressed shot. Instances are sorted by pass, then piece, then id.
#[derive(Debug, Clone, Default)]
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
    /// The size laws of the shot's mixes, asked and got.
    pub mixes: Vec<MixReading>,
    /// What may not be as intended: content of the files of heroes and pieces that was left out,
    /// such as a missing texture; pins that stand in a hero; passes of stones whose numbers leave a
    /// step where their sizes meet; ids in `remove` that name no piece.
    pub warnings: Vec<String>,
}

impl Layout {
    /// The pieces that a delivery lists, each with its index in [`Layout::pieces`]: all but those
    /// simpler versions that are not in use.
    pub fn listed_pieces(&self) -> impl Iterator<Item = (usize, &Piece)> {
        let used = self.used_pieces();
        let pieces = self.pieces.iter().enumerate();
        pieces.filter(move |(i, piece)| used[*i] || !piece.is_version())
    }

    /// For each of [`Layout::pieces`], whether the layout places it.
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
