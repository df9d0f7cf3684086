//! A pass: one kind of pieces that lie on the ground.

use serde::Serialize;

use super::field::{Field, Mask, RelationKind, RelationTarget};
use super::hand::Clearing;
use super::layer::LayerIndex;
use super::rest::Rest;
use crate::shot::{KINDS, Lies};
use crate::size::SizeLaw;

/// What a pass asks for.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Pass {
    /// What it lays, each as likely as the others: kinds that are grown, glTF files, kit lists, or
    /// names of meshes given in code.
    pub pieces: Vec<String>,
    /// How pieces that are not grown lie; None to go by the kit list, or else by the mesh.
    pub lies: Option<Lies>,
    /// How its pieces are spaced.
    pub place: Place,
    /// Distance kept between packed or spaced pieces, as a multiple of the distance at which they
    /// touch, 0.1..=4.
    pub apart: f64,
    /// The sizes.
    pub sizes: SizeLaw,
    /// Whether pieces are scaled beyond their natural sizes.
    pub stretch: bool,
    /// How much there is where the pass is at full strength and nothing is kept clear.
    pub amount: Amount,
    /// Name of the mix of which its sizes are a part; None if they are its own.
    pub mix: Option<String>,
    /// Gathers pieces round random parents.
    pub clumps: Option<Clumps>,
    /// Where it gathers: its strength is the product of these.
    pub fields: Vec<Field>,
    /// Ground that it keeps clear of.
    pub clear: Vec<Clearing>,
    /// How the pieces lie.
    pub rest: Rest,
}

/// How the pieces of a pass are spaced.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub enum Place {
    /// Stones close up: they touch, and small ones tuck in at the foot of large ones.
    Packed {
        /// Share of the stones that roll off what they fall on, 0..=1; the others are refused
        /// there.
        roll: f64,
    },
    /// Pieces keep apart.
    Spaced,
    /// Pieces may cross.
    Strewn,
}

impl Place {
    /// Share of the stones that roll, 0..=1.
    #[must_use]
    pub fn rolls(self) -> f64 {
        match self {
            Self::Packed { roll } => roll,
            Self::Spaced | Self::Strewn => 0.0,
        }
    }
}

/// How much is asked for.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub enum Amount {
    /// Share of the ground's plan area under the pieces, 0..=1.
    Cover(f64),
    /// Pieces per square metre.
    PerSquareMetre(f64),
}

/// A cluster process: parents at random, offspring round them with a Gaussian spread (Thomas 1949).
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Clumps {
    /// Parents per square metre.
    pub parents_per_m2: f64,
    /// Standard deviation of the distance from the parent along each axis, metres.
    pub spread: f64,
    /// Share of the pieces that belong to clumps, 0..=1.
    pub share: f64,
}

impl Pass {
    /// Pieces of these names and sizes, as many as `amount` says, placed as `place` says.
    #[must_use]
    pub fn new<S: Into<String>>(
        pieces: impl IntoIterator<Item = S>,
        place: Place,
        sizes: SizeLaw,
        amount: Amount,
    ) -> Self {
        Self {
            pieces: pieces.into_iter().map(Into::into).collect(),
            lies: None,
            place,
            apart: 1.0,
            sizes,
            stretch: false,
            amount,
            mix: None,
            clumps: None,
            fields: Vec::new(),
            clear: Vec::new(),
            rest: Rest::default(),
        }
    }

    /// The same with a field more.
    #[must_use]
    pub fn gather(mut self, field: Field) -> Self {
        self.fields.push(field);
        self
    }

    /// The same, with pieces scaled to any size that is asked for.
    #[must_use]
    pub fn stretched(self) -> Self {
        Self {
            stretch: true,
            ..self
        }
    }

    /// How pieces of this name lie, if the pass says so; always None for kinds that are grown.
    #[must_use]
    pub fn lies_of(&self, name: &str) -> Option<Lies> {
        self.lies.filter(|_| !KINDS.contains(&name))
    }

    /// Whether it keeps clear of an earlier pass.
    #[must_use]
    pub fn clears(&self, other: LayerIndex) -> bool {
        self.relations()
            .any(|(_, r)| r.manner == RelationKind::ClearOf && r.to == RelationTarget::Pass(other))
    }

    /// Its relations, each with its index in `fields`.
    pub fn relations(&self) -> impl Iterator<Item = (usize, &super::Related)> {
        let fields = self.fields.iter().enumerate();
        fields.filter_map(|(i, field)| Some((i, field.relation()?)))
    }

    /// Its images of strengths, each with its index in `fields`.
    pub fn masks(&self) -> impl Iterator<Item = (usize, &Mask)> {
        let fields = self.fields.iter().enumerate();
        fields.filter_map(|(i, field)| Some((i, field.mask()?)))
    }
}
