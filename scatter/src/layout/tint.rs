//! The tints of instances: factors on the colours of their pieces.

use super::instance::Instance;
use super::result::Layout;
use crate::color::{self, LayerTone, RockFabric};

/// How an instance differs from its piece in colour.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tinted {
    /// Factor on the piece's own linear red, green and blue. It may be above 1: a pale stone of a
    /// dark mesh.
    pub tint: [f32; 3],
    /// The fabric of its rock; None where the whole layer has one colour.
    pub fabric: Option<RockFabric>,
}

/// The tints of a layout's instances: what its layers' tones make of its pieces' colours. A tint is
/// a pure function of the layer's family of rock, the piece and the instance's id.
#[derive(Debug, Clone, Default)]
pub struct Tints {
    /// By layer.
    tones: Vec<Option<LayerTone>>,
    /// By piece: whether it is a grown stone, and its mean colour. Empty where no layer has a tone.
    pieces: Vec<(bool, [f32; 3])>,
}

/// Darkest mean of a piece that a tint is reckoned from: below it the factor would be of no use.
const DARKEST: f32 = 0.005;

/// Four decimals tell a thousandth of a dark mesh's colour.
const DECIMALS: f32 = 1e4;

impl Tints {
    /// Those of a layout.
    #[must_use]
    pub fn of(layout: &Layout) -> Self {
        let tones: Vec<_> = layout.passes.iter().map(|p| p.tone).collect();
        if tones.iter().all(Option::is_none) {
            return Self::default();
        }
        let pieces = layout.pieces.iter().map(|piece| {
            let stone = piece.kind().is_some_and(crate::kit::Kind::is_stone);
            (stone, piece.mean_color())
        });
        Self {
            tones,
            pieces: pieces.collect(),
        }
    }

    /// Whether no instance has one.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.pieces.is_empty()
    }

    /// The tint of an instance, to four decimals, as deliveries have it; None where it keeps its
    /// piece's colours.
    #[must_use]
    pub fn tint(&self, instance: &Instance) -> Option<[f32; 3]> {
        if self.is_empty() {
            return None;
        }
        let at = [usize::from(instance.pass), usize::from(instance.piece)];
        let tinted = self.at(at, color::own(instance.id))?;
        Some(tinted.tint.map(|c| (c * DECIMALS).round() / DECIMALS))
    }

    /// What the piece with a number is like in the layer with a number, where an instance's id has
    /// the hash `own`.
    #[must_use]
    #[inline]
    pub fn at(&self, [layer, piece]: [usize; 2], own: u32) -> Option<Tinted> {
        let tone = self.tones.get(layer).copied().flatten()?;
        let &(stone, mean) = self.pieces.get(piece)?;
        let over = |color: [f32; 3]| [0, 1, 2].map(|k| color[k] / mean[k].max(DARKEST));
        match tone {
            LayerTone::Stone(family) => stone.then(|| {
                let rock = color::rock(family, own);
                Tinted {
                    tint: over(rock.color),
                    fabric: Some(rock.fabric),
                }
            }),
            LayerTone::Even(color) => Some(Tinted {
                tint: over(color),
                fabric: None,
            }),
        }
    }
}

impl Layout {
    /// What decides the colour of an instance besides its piece and its id; None where its piece's
    /// own colours show.
    #[must_use]
    pub fn tone_of(&self, instance: &Instance) -> Option<LayerTone> {
        let tone = self.passes.get(usize::from(instance.pass))?.tone?;
        let piece = self.pieces.get(usize::from(instance.piece))?;
        match tone {
            LayerTone::Stone(_) => {
                let kind = piece.kind().filter(|kind| kind.is_stone());
                kind.map(|_| tone)
            }
            LayerTone::Even(_) => Some(tone),
        }
    }
}
