//! Scatter dresses the ground in front of a lens.
//!
//! A layout is a pure function of (passes, take, place in the world); the cameras only decide where it is evaluated.
//! World frame everywhere: right-handed, +y up, metres, radians.
//!
//! The rooms, in the order of who may use whom (each uses only rooms above it):
//! [`error`], [`units`], [`optics`], [`shot`], [`kit`], [`layout`], [`deliver`] and [`picture`].

pub mod deliver;
pub mod error;
pub mod kit;
pub mod layout;
pub mod optics;
pub mod picture;
pub mod shot;
pub mod units;
