//! What names a piece: its place in the world's streams.

use crate::random::ID_TAG_BITS;

/// Bits of a cell coordinate in an id: cells that far apart share ids, so one layout's cells must
/// span less.
pub const ID_CELL_BITS: u32 = 20;
/// Bits of an ordinal in an id.
const ID_ORDINAL_BITS: u32 = 6;
/// Bits of an octave in an id: sizes span at most 12 octaves.
const ID_OCTAVE_BITS: u32 = 4;
const _: () = assert!(ID_TAG_BITS + ID_OCTAVE_BITS + 2 * ID_CELL_BITS + ID_ORDINAL_BITS == 64);

/// Pieces that one cell can name. Spaced pieces of one octave fit far fewer; a strewn cell holds
/// two on average, and more than 64 once in 1e70 cells.
pub(super) const MOST_PER_CELL: u32 = 1 << ID_ORDINAL_BITS;

/// The id of a piece: (pass, octave, cell, ordinal) side by side, so unique by construction.
#[must_use]
pub fn piece_id(tag: u16, octave: usize, ix: i64, iz: i64, ordinal: u32) -> u64 {
    let cell = |i: i64| (i as u64) & ((1 << ID_CELL_BITS) - 1);
    let mut id = u64::from(tag);
    id = id << ID_OCTAVE_BITS | octave as u64;
    id = id << ID_CELL_BITS | cell(ix);
    id = id << ID_CELL_BITS | cell(iz);
    id << ID_ORDINAL_BITS | u64::from(ordinal)
}
