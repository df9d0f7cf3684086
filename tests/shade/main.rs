//! Dappled light, measured by rays to the sun's disc against the casters as they are delivered
//! (parry3d, Dimforge, 2025, as the judge of what a ray meets). Nothing here uses the library's own
//! picture of the canopy.

#![expect(
    clippy::print_stdout,
    reason = "the figures, for who asks with --nocapture"
)]

mod casters;
mod judge;
mod light;
