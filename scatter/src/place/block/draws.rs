//! What a stone's look says of it: a candidate's heading takes the leading bits, the other draws
//! are mixed from all.

use crate::plan::profile::DIRECTIONS;
use crate::plan::stones::STANCE_DRAWS;
use crate::random::mix;

/// Direction of a heading in plan.
pub(super) fn heading(turn: u8) -> [f32; 2] {
    DIRECTIONS[usize::from(turn)].map(|v| v as f32)
}

/// The draws of a candidate's look: its heading takes the leading bits, these are mixed from all.
fn own_draws(look: u32) -> u64 {
    mix(u64::from(look) ^ 0x57a2)
}

/// The draw of whether a candidate rolls.
pub(super) fn rolls_by(look: u32) -> u16 {
    own_draws(look) as u16
}

/// The draw of a candidate's stance, below [`STANCE_DRAWS`].
pub(super) fn stance_by(look: u32) -> u32 {
    (own_draws(look) >> 16) as u32 & (STANCE_DRAWS - 1)
}

/// How far a candidate is sunk, in 255ths.
pub(super) fn sunk_by(look: u32) -> u8 {
    (own_draws(look) >> 32) as u8
}
