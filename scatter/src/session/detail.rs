//! How many triangles each placed piece is worth: the fewest that the picture does not show.

use rayon::prelude::*;

use crate::cancel::Cancel;
use crate::error::{Error, Result};
use crate::kit::simpler::{self, Fineness};
use crate::kit::{Piece, PieceIndex};

/// How far a version's surface may be from the full one's, over the side of a triangle that was
/// asked for: a silhouette moves by less than half of what its own corners are apart.
const STRAYS: f64 = 0.5;

/// The versions that a kit's pieces have.
#[derive(Debug, Clone)]
pub(super) struct Details {
    /// Side of a triangle on screen that was asked for, pixels.
    pixels: f64,
    /// For each piece of the kit its versions from the full one on, ever coarser: where each stands
    /// in the list of pieces.
    of_piece: Vec<Vec<(PieceIndex, Fineness)>>,
}

impl Details {
    /// Makes the versions of a kit's pieces and puts them behind these.
    ///
    /// # Errors
    /// There are more than 65,535 pieces with them, it was cancelled, or this build makes none.
    pub(super) fn new(pixels: f64, pieces: &mut Vec<Piece>, cancel: &Cancel) -> Result<Self> {
        simpler::check_made("resolve.triangle_pixels")?;
        let made = pieces.par_iter().map(|piece| {
            cancel.check()?;
            Ok(simpler::versions(piece))
        });
        let made: Vec<_> = made.collect::<Result<_>>()?;
        let too_many = || {
            Error::input(
                "resolve.triangle_pixels",
                "with their simpler versions the shot passes 65,535 pieces",
                "leave it out, or name fewer pieces",
            )
        };
        let mut of_piece = Vec::with_capacity(made.len());
        for (i, versions) in made.into_iter().enumerate() {
            let full = PieceIndex::of(i).ok_or_else(too_many)?;
            let mut list = vec![(full, Fineness::of(&pieces[i]))];
            for version in versions {
                let at = PieceIndex::of(pieces.len()).ok_or_else(too_many)?;
                list.push((at, version.fineness));
                pieces.push(version.piece);
            }
            of_piece.push(list);
        }
        Ok(Self { pixels, of_piece })
    }

    /// The coarsest version of a piece of the kit.
    pub(super) fn coarsest(&self, piece: PieceIndex) -> PieceIndex {
        let versions = &self.of_piece[usize::from(piece)];
        versions.last().map_or(piece, |(version, _)| *version)
    }

    /// The coarsest version of a piece of the kit whose triangles are no larger on screen than
    /// asked for and whose surface strays by no more than a share of that; the full one if none is.
    /// `pixels_per_metre` is where the piece is nearest to a camera.
    pub(super) fn choose(
        &self,
        piece: PieceIndex,
        scale: f64,
        pixels_per_metre: f64,
    ) -> PieceIndex {
        let versions = &self.of_piece[usize::from(piece)];
        let on_screen = |metres: f64| metres * scale * pixels_per_metre;
        let fits = |f: &Fineness| {
            on_screen(f.triangle) <= self.pixels && on_screen(f.deviation) <= STRAYS * self.pixels
        };
        let coarsest = versions.iter().rev().find(|(_, f)| fits(f));
        coarsest.map_or(piece, |(version, _)| *version)
    }
}
