//! What differs between two layouts, piece by piece.

use rustc_hash::FxHashMap;

use super::instance::Instance;
use super::result::Layout;

/// The ids of the pieces that differ between two layouts, each list in rising order.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Difference {
    /// Pieces that only the second layout has.
    pub added: Vec<u64>,
    /// Pieces that only the first layout has.
    pub removed: Vec<u64>,
    /// Pieces that lie or look otherwise in the second layout.
    pub changed: Vec<u64>,
}

impl Difference {
    /// Whether nothing differs.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.added.is_empty() && self.removed.is_empty() && self.changed.is_empty()
    }
}

impl Layout {
    /// What differs between this layout, the first, and `other`, the second. Instances are matched
    /// by id, their pieces and layers by name. In another take an id names another piece.
    #[must_use]
    pub fn diff(&self, other: &Self) -> Difference {
        let before: FxHashMap<u64, &Instance> = self.instances.iter().map(|i| (i.id, i)).collect();
        let mut found = Difference::default();
        let mut met = 0;
        for now in &other.instances {
            match before.get(&now.id) {
                None => found.added.push(now.id),
                Some(was) => {
                    met += 1;
                    if !self.shows_alike(was, other, now) {
                        found.changed.push(now.id);
                    }
                }
            }
        }
        if met < self.instances.len() {
            let after: FxHashMap<u64, ()> = other.instances.iter().map(|i| (i.id, ())).collect();
            let gone = self.instances.iter().filter(|i| !after.contains_key(&i.id));
            found.removed.extend(gone.map(|i| i.id));
        }
        for list in [&mut found.added, &mut found.removed, &mut found.changed] {
            list.sort_unstable();
        }
        found
    }

    /// Whether two instances with one id, of this layout and of another, lie alike and look alike.
    fn shows_alike(&self, was: &Instance, other: &Self, now: &Instance) -> bool {
        let place = |i: &Instance| (i.position, i.rotation, i.scale, i.diameter);
        let names = |layout: &Self, i: &Instance| {
            let piece = layout.pieces.get(usize::from(i.piece));
            let layer = layout.passes.get(usize::from(i.pass));
            (piece.map(|p| p.name.clone()), layer.map(|l| l.name.clone()))
        };
        place(was) == place(now)
            && self.tone_of(was) == other.tone_of(now)
            && ((was.piece, was.pass) == (now.piece, now.pass)
                && std::sync::Arc::ptr_eq(&self.pieces, &other.pieces)
                || names(self, was) == names(other, now))
    }
}
