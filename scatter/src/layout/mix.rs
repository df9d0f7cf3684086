//! The size law of a whole mix, asked and got.

use crate::brief::Mix;

/// The size law of a mix, asked and got.
#[derive(Debug, Clone, PartialEq)]
pub struct MixReading {
    /// The mix's name.
    pub name: String,
    /// The mix as asked.
    pub mix: Mix,
    /// Half-octave classes from the mix's largest diameter down; the last one ends at its smallest.
    pub classes: Vec<SizeClass>,
    /// The exponent of a power law; None for other laws, for a mix of a single size, and where no
    /// piece was laid or no exponent fits.
    pub exponent: Option<ExponentReading>,
}

/// The pieces of a mix in a class of diameters.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SizeClass {
    /// Smallest diameter, metres.
    pub from: f64,
    /// Largest diameter, metres.
    pub to: f64,
    /// Shown ground on which such pieces were made, square metres: mean over the class, weighted by
    /// the pieces asked for.
    pub ground: f64,
    /// Pieces asked for on that ground.
    pub asked: f64,
    /// Pieces laid on that ground.
    pub got: u64,
}

/// The exponent of a power law, asked and got.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ExponentReading {
    /// As the mix has it.
    pub asked: f64,
    /// Maximum-likelihood estimate from the pieces laid, each octave weighted by what was asked of
    /// it.
    pub got: f64,
    /// Its standard error.
    pub error: f64,
}
