//! The kit of a shot: its pieces, measured, in all their versions.

use std::sync::Arc;

use rayon::prelude::*;

use super::detail::Details;
use super::kit_carpet::KitCarpet;
use crate::brief::Brief;
use crate::cancel::Cancel;
use crate::error::Result;
use crate::kit::{Library, Piece, Shelf};
use crate::rest::RigidBody;

/// A kit with its bodies.
#[derive(Debug, Clone)]
pub(super) struct Kit {
    /// Which pieces each layer may take; its own list of pieces is empty.
    pub(super) library: Library,
    /// The pieces that the layers name; then simpler versions of them, if the shot asks for these;
    /// then the carpet's tiles.
    pub(super) pieces: Arc<Vec<Piece>>,
    /// What versions there are.
    pub(super) details: Option<Details>,
    /// The named pieces as resting sees them.
    pub(super) bodies: Vec<Arc<RigidBody>>,
    /// The tiles.
    pub(super) carpet: Option<KitCarpet>,
}

impl Kit {
    /// Grows and reads the kit, measures what is not `known`, and makes the simpler
    /// versions that are asked for.
    ///
    /// # Errors
    /// A piece can't be read or used, there are too many pieces, or it was cancelled.
    pub(super) fn new(
        brief: &Brief,
        shelf: &Shelf,
        known: &dyn Fn(&Piece) -> Option<Arc<RigidBody>>,
        cancel: &Cancel,
    ) -> Result<Self> {
        let mut library = Library::for_brief(brief, shelf, cancel)?;
        let mut pieces = std::mem::take(&mut library.pieces);
        let found: Vec<_> = pieces.iter().map(known).collect();
        let body = |(piece, known): (&Piece, Option<Arc<RigidBody>>)| match known {
            Some(body) => Ok(body),
            None => {
                cancel.check()?;
                RigidBody::of(piece).map(Arc::new)
            }
        };
        let bodies = pieces.par_iter().zip(found).map(body);
        let bodies = bodies.collect::<Result<Vec<_>>>()?;
        let details = brief.resolve.triangle_pixels;
        let details = details
            .map(|pixels| Details::new(pixels, &mut pieces, cancel))
            .transpose()?;
        cancel.check()?;
        let carpet = KitCarpet::new(brief, shelf.folder(), &mut pieces, cancel)?;
        let carpet = carpet.map(|(carpet, warnings)| {
            library.warnings.extend(warnings);
            carpet
        });
        Ok(Self {
            library,
            pieces: Arc::new(pieces),
            details,
            bodies,
            carpet,
        })
    }
}
