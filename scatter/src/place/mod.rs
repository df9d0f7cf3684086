//! Placing: octave cells on an endless, world-anchored plane.
//!
//! # The construction
//! Every cell of an octave draws its candidates from its own stream; together they are a Poisson
//! process on the whole plane. Each candidate has a rank: larger before smaller, and at random
//! among equals. A candidate is kept when it meets no kept piece of earlier rank. That is random
//! sequential adsorption, or the third thinning of Matern, on the infinite plane (Moller, Huber and
//! Wolpert, "Perfect simulation and moment properties for the Matern type III process", 2010), so
//! no phase or order of visiting exists that could show: the process is stationary and isotropic by
//! construction.
//!
//! # Why a window is exact
//! Whether a candidate is kept depends on candidates of earlier rank near it, those on others, and
//! so on: a chain without a fixed bound. So every evaluation carries three states: *kept*, *lost*
//! and *unknown*. A candidate within reach of the window's border, or of an unknown, is unknown
//! unless a kept piece refuses it. If an unknown lies in the core that was asked for, the window is
//! evaluated again with twice the margin. What is delivered is therefore certified, whatever the
//! margin was; the margin only decides how often the second evaluation is needed.
//!
//! # Stones that roll
//! In a packed pass a candidate that meets something rolls off it, within its own diameter (see
//! [`block`]). It still looks only so far, so the same three states hold; a candidate in doubt may
//! then lie anywhere within its diameter.

pub mod block;
pub mod choice;
pub mod packing;
pub mod schedule;
pub mod strata;
mod tiling;

pub use choice::{Candidate, Choice};
pub use schedule::{Outline, Schedule, Wanted};
pub use strata::Strata;
