//! How closed a dressed ground is: statistics of the stones that are seen straight down, as they
//! are measured on label masks of real gravel.
//!
//! A [`LabelImage`] holds the topmost stone at each pixel of a plan window. [`measure`] gives one
//! figure a [`Row`]; [`REAL`] holds what real gravel gives, and [`compare`] sets the two side by
//! side.
//!
//! Frame: pixel (column, row) is at x = west + (column + 1/2) pixel, z = north + (row + 1/2) pixel,
//! so rows go toward +z. Distances between pixels are between their centres: two stones whose
//! pixels share a side are 1 pixel apart, those that share a corner 1.41.

pub mod cover;
pub mod distance;
pub mod figures;
pub mod holes;
pub mod label;
pub mod lying;
pub mod neighbours;
pub mod real;
pub mod regions;
pub mod rings;
pub mod show;
pub mod take;

pub use figures::{Figures, measure};
pub use label::{LabelImage, Seen, Window};
pub use real::{Compared, REAL, Real, Row, compare, outside, table};
