//! Carpet: ground texture of small dense tiles of grains, laid over all ground that is seen.
//!
//! A tile is a round patch: a sheet without holes, thousands of grains in and on it. Sheet and
//! grains sink from the middle outwards, and grains thin out where neighbours overlap, so that
//! tiles merge by height: of two that overlap the higher one shows, stones stay whole, and there
//! are as many of them at the seams as elsewhere. Tiles stand on a triangular lattice of the world,
//! whose cells are the nearest to round that there are, each turned by any angle and shifted
//! (`lattice`). Free turns leave nothing for a lattice to repeat: a plan picture of equal tiles in
//! four quarter turns has peaks at every step of the lattice, this one has none.
//!
//! Grains come in octaves of size. The largest are of one mesh with the sheet; each finer octave of
//! a tile is a mesh of its own that fills the gaps of the coarser ones, and stands in the same
//! place in the same turn. So what is added where the lens comes near moves nothing.
//!
//! In a tile's frame y = 0 is the mean height of its top: laid on the ground's best plane under it,
//! its grains stand in the ground. The ground itself is drawn lower by [`TileForm::sunk`], where no
//! sheet lets it through.

mod form;
mod grains;
mod lattice;
mod lay;
mod mesh;
mod pack;
mod patch;

pub use form::TileForm;
pub use lattice::{Lattice, LatticeCell, TURN_APART};
pub use lay::{LaidTile, lay};
pub use patch::read;

use rayon::prelude::*;

use crate::cancel::Cancel;
use crate::error::Result;
use crate::kit::{Kind, Piece};
use crate::size::SizeLaw;

/// The source that grown tiles name.
pub const GROWN: &str = "carpet";

/// Tiles ready to be laid.
#[derive(Debug, Clone, PartialEq)]
pub struct CarpetTiles {
    /// Their form.
    pub form: TileForm,
    /// Largest diameter of each octave's grains, metres, the largest first.
    pub octaves: Vec<f64>,
    /// Grains of each octave of each tile; 0 where that is not known.
    pub grains: Vec<Vec<u64>>,
    /// For each tile, a piece for each octave.
    pub pieces: Vec<Vec<Piece>>,
}

/// What came of a carpet.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Figures {
    /// Distance between the middles of neighbouring tiles, metres.
    pub tile: f64,
    /// How much lower the ground is drawn under it, metres.
    pub sunk: f64,
    /// Tiles laid.
    pub tiles: u64,
    /// Grains in them and in their finer octaves; 0 for tiles from a file.
    pub grains: u64,
}

/// Grows `variants` tiles of form `form` from grains of some kinds and sizes: a pure function, the
/// same in every take.
///
/// # Errors
/// It was cancelled.
pub fn grow(
    form: TileForm,
    kinds: &[Kind],
    law: &SizeLaw,
    variants: u32,
    cancel: &Cancel,
) -> Result<CarpetTiles> {
    let octaves = pack::octaves(law);
    let stock = grains::stock(kinds, octaves.len());
    let packed: Vec<_> = (0..variants)
        .into_par_iter()
        .map(|variant| {
            cancel.check()?;
            Ok(pack::pack(&form, law, &octaves, &stock, variant))
        })
        .collect::<Result<_>>()?;
    let lift = packed
        .iter()
        .map(|p| pack::mean_top(&form, p, &stock))
        .sum::<f64>()
        / f64::from(variants.max(1));
    let pieces = packed
        .par_iter()
        .zip(0..variants)
        .map(|(packed, variant)| {
            cancel.check()?;
            Ok(mesh::pieces(&form, packed, &stock, variant, lift))
        })
        .collect::<Result<_>>()?;
    let counts = |p: &Vec<Vec<pack::PackedGrain>>| p.iter().map(|o| o.len() as u64).collect();
    Ok(CarpetTiles {
        form,
        grains: packed.iter().map(counts).collect(),
        octaves,
        pieces,
    })
}
