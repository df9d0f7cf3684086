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
    /// The exponent of a power law; None for other laws, and where fewer than two sizes lie there.
    pub exponent: Option<ExponentReading>,
}

/// The pieces of a mix in a class of diameters.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SizeClass {
    /// Smallest diameter, metres.
    pub from: f64,
    /// Largest diameter, metres.
    pub to: f64,
    /// Ground that such pieces were made on, square metres: mean over the class.
    pub ground: f64,
    /// Pieces asked there.
    pub asked: f64,
    /// Pieces in the layout.
    pub got: u64,
}

/// The exponent of a power law, asked and got.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ExponentReading {
    /// As the mix has it.
    pub asked: f64,
    /// The one under which the layout's pieces are likeliest, each octave being weighed by what was
    /// asked of it.
    pub got: f64,
    /// Its standard error.
    pub error: f64,
}
