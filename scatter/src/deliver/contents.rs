//! What one file of a delivery holds.

use glam::DVec3;

use super::included::Included;
use crate::kit::{Part, Piece};
use crate::layout::{Instance, Layout};

/// A share of a layout's instances, and what stands about them.
#[derive(Debug, Clone, Copy)]
pub struct Contents<'a> {
    /// The layout.
    pub layout: &'a Layout,
    /// Those of its instances that the file holds: sorted by pass, then piece.
    pub instances: &'a [Instance],
    /// What stands about them, if it is in this file.
    pub included: Option<&'a Included<'a>>,
    /// The digest of the delivery that the file belongs to, 32 hexadecimal digits; empty for none.
    pub delivery: &'a str,
    /// Where the root stands: see [`root_translation`](super::glb::root_translation). The same in
    /// all files of a delivery.
    pub root: DVec3,
}

impl<'a> Contents<'a> {
    /// The whole layout.
    #[must_use]
    pub fn whole(layout: &'a Layout, included: &'a Included<'a>) -> Self {
        Self {
            layout,
            instances: &layout.instances,
            included: Some(included),
            delivery: "",
            root: super::glb::root_translation(layout),
        }
    }

    /// All meshes that the file holds: of the pieces in use, then of the included.
    pub(super) fn parts(&self) -> impl Iterator<Item = &'a Part> {
        let pieces = self.used_pieces().into_iter();
        pieces
            .flat_map(|(_, piece)| &piece.parts)
            .chain(self.included.into_iter().flat_map(Included::parts))
    }

    /// The pieces that the file's instances are copies of, in the order of the layout's list, with
    /// their indices.
    pub(super) fn used_pieces(&self) -> Vec<(usize, &'a Piece)> {
        let mut used = vec![false; self.layout.pieces.len()];
        for instance in self.instances {
            used[usize::from(instance.piece)] = true;
        }
        let pieces = self.layout.pieces.iter().enumerate();
        pieces.filter(|(i, _)| used[*i]).collect()
    }
}
