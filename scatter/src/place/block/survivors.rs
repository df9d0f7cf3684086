//! Survivors: candidates that nothing refused yet, and the order in which they are laid.

use crate::plan::PassPiece;

/// Survivors below which sorting in one go beats spreading them by their leading bits first.
const FEW: usize = 64;

/// A candidate, before it is known whether it lies: small, since most never do.
#[derive(Debug, Clone, Copy)]
pub(super) struct Draft {
    pub(super) x: f64,
    pub(super) z: f64,
    pub(super) cell: u32,
    pub(super) diameter: f32,
    /// Bits that pick its heading.
    pub(super) look: u32,
    pub(super) piece: PassPiece,
}

/// The survivors of a throw.
#[derive(Debug, Default)]
pub(super) struct Survivors {
    pub(super) drafts: Vec<Draft>,
    /// Rank and number of each, earliest first once sorted.
    pub(super) order: Vec<(u64, u32)>,
    spare: Vec<(u64, u32)>,
    starts: Vec<u32>,
}

impl Survivors {
    pub(super) fn clear(&mut self) {
        self.drafts.clear();
        self.order.clear();
    }

    #[inline]
    pub(super) fn add(&mut self, rank: u64, draft: &Draft) {
        self.order.push((rank, self.drafts.len() as u32));
        self.drafts.push(*draft);
    }

    /// Sorts by rank: ranks are spread evenly, so their leading bits nearly sort them (bucket sort:
    /// Knuth, The Art of Computer Programming, 5.2.5), about one to a bucket.
    pub(super) fn sort(&mut self) {
        let number = self.order.len();
        if number < FEW {
            self.order.sort_unstable_by_key(|(rank, _)| *rank);
            return;
        }
        let bits = number.ilog2();
        let bucket = |rank: u64| (rank >> (64 - bits)) as usize;
        self.starts.clear();
        self.starts.resize((1 << bits) + 1, 0);
        for (rank, _) in &self.order {
            self.starts[bucket(*rank) + 1] += 1;
        }
        let mut sum = 0;
        for start in &mut self.starts {
            sum += *start;
            *start = sum;
        }
        self.spare.clear();
        self.spare.resize(number, (0, 0));
        for item in &self.order {
            let at = &mut self.starts[bucket(item.0)];
            self.spare[*at as usize] = *item;
            *at += 1;
        }
        // Each start has moved to its bucket's end
        let mut first = 0;
        for end in &self.starts {
            let last = *end as usize;
            if last > first + 1 {
                self.spare[first..last].sort_unstable_by_key(|(rank, _)| *rank);
            }
            first = first.max(last);
        }
        std::mem::swap(&mut self.order, &mut self.spare);
    }
}
