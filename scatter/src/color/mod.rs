//! Colours of the place: of stones by their family of rock, of soil, and of what is wet.
//!
//! One place for pictures and deliveries. All colours are linear red, green and blue of the sRGB
//! primaries, as diffuse albedos, 0..1. Only +, -, * and / make them, so they are the same on every
//! machine.

mod family;
mod lab;
mod rock;
mod soil;
mod water;

pub use family::Family;
pub use lab::{lab_of_linear, linear_of_lab};
pub use rock::{Rock, RockFabric, mean, own, rock};
pub use soil::{HexColor, SoilColor, SoilTone};
pub use water::{WATER_F0, wet};

use serde::Serialize;

/// What colours the pieces of a layer take.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub enum LayerTone {
    /// Each stone its own, of a family of rock.
    Stone(Family),
    /// All pieces one: linear red, green and blue, the mean over a piece.
    Even([f32; 3]),
}
