//! What became of a pass's pieces, as far as they were asked for: where each came to lie, or why it
//! does not.

use rustc_hash::FxHashMap;

use crate::plan::Placed;
use crate::rest::Standing;

/// Stands for the pins where a pass is named: more passes than a shot may have.
pub(super) const PIN: u16 = u16::MAX;

/// Why a placed piece does not lie. It is there for no other piece then.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Refusal {
    /// It was taken away by hand.
    Removed,
    /// It would not stay.
    Slides,
    /// It would cut into what lies beside it.
    Meets,
}

/// A piece that was laid, or refused.
#[derive(Debug, Clone)]
pub(super) struct SettledPiece {
    pub(super) placed: Placed,
    pub(super) standing: Result<Standing, Refusal>,
    /// Whether it lies as it did in an earlier dressing.
    pub(super) same: bool,
    /// Where in its pass's list begins what it heeds: first what may be under it, pins last, then
    /// what may be beside it. Kept for a dressing to come, else empty.
    heeds: usize,
    under: u32,
    beside: u32,
}

/// The laid pieces of a pass.
#[derive(Debug, Default)]
pub(super) struct Settled {
    pieces: Vec<SettledPiece>,
    numbers: FxHashMap<u64, u32>,
    /// What pieces heed: pass and id, or [`PIN`] and number.
    heeded: Vec<(u16, u64)>,
}

impl Settled {
    /// A piece by its id, if it was asked for.
    pub(super) fn find(&self, id: u64) -> Option<&SettledPiece> {
        self.numbers.get(&id).map(|i| &self.pieces[*i as usize])
    }

    /// Whether a piece was asked for.
    pub(super) fn holds(&self, id: u64) -> bool {
        self.numbers.contains_key(&id)
    }

    /// How many pieces were asked for.
    pub(super) fn len(&self) -> usize {
        self.pieces.len()
    }

    /// Ids of the pieces that were taken away by hand.
    pub(super) fn removed(&self) -> impl Iterator<Item = u64> {
        let gone = |l: &&SettledPiece| l.standing == Err(Refusal::Removed);
        self.pieces.iter().filter(gone).map(|l| l.placed.id)
    }

    /// Ids of all pieces that do not lie.
    pub(super) fn refused(&self) -> impl Iterator<Item = u64> {
        let not = |l: &&SettledPiece| l.standing.is_err();
        self.pieces.iter().filter(not).map(|l| l.placed.id)
    }

    /// How many pieces were laid or refused anew, and how many as in an earlier dressing.
    pub(super) fn counts(&self) -> [u64; 2] {
        let same = self.pieces.iter().filter(|l| l.same).count();
        [(self.pieces.len() - same) as u64, same as u64]
    }

    /// Makes room for more pieces.
    pub(super) fn reserve(&mut self, more: usize) {
        self.pieces.reserve(more);
        self.numbers.reserve(more);
    }

    /// Adds a piece that was laid on `under` and beside `beside`.
    pub(super) fn add(
        &mut self,
        placed: Placed,
        (standing, same): (Result<Standing, Refusal>, bool),
        under: &[(u16, u64)],
        beside: &[(u16, u64)],
    ) {
        self.numbers.insert(placed.id, self.pieces.len() as u32);
        self.pieces.push(SettledPiece {
            placed,
            standing,
            same,
            heeds: self.heeded.len(),
            under: under.len() as u32,
            beside: beside.len() as u32,
        });
        self.heeded.extend(under.iter().chain(beside));
    }

    /// What may be under a piece, and all that it heeds, as they were kept.
    pub(super) fn heeded(&self, lies: &SettledPiece) -> (usize, &[(u16, u64)]) {
        let all = &self.heeded[lies.heeds..][..(lies.under + lies.beside) as usize];
        (lies.under as usize, all)
    }
}
