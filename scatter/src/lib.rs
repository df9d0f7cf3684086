//! Scatter dresses the ground in front of a lens.
//!
//! A layout is a pure function of (passes, take, place in the world); the cameras only decide where
//! it is evaluated. World frame everywhere: right-handed, +y up, metres, radians.
//!
//! The rooms, in the order of who may use whom (each uses only rooms above it):
//! [`error`], [`units`], [`random`], `rays`, [`optics`], [`sun`], [`plan`], [`size`], [`shot`], [`brief`], [`kit`], [`noise`], [`raster`], [`ground`], [`hero`],
//! [`field`], [`view`], [`place`], [`rest`], [`carpet`], [`shade`], [`layout`], [`deliver`] and [`picture`].

#![cfg_attr(
    test,
    allow(
        clippy::disallowed_methods,
        reason = "tests may ask the platform's mathematics library"
    )
)]

pub mod brief;
pub mod cancel;
pub mod carpet;
pub mod deliver;
pub mod error;
pub mod field;
pub mod ground;
pub mod hero;
pub mod kit;
pub mod layout;
pub mod noise;
pub mod optics;
pub mod picture;
pub mod place;
pub mod plan;
pub mod random;
pub mod raster;
mod rays;
pub mod rest;
pub mod scene;
pub mod session;
pub mod shade;
pub mod shot;
pub mod size;
pub mod sun;
pub mod units;
pub mod view;
