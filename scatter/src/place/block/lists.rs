//! Lists by cell, chained through one array: no list allocates.

/// No index: the end of a chain.
pub(super) const NONE: u32 = u32::MAX;

/// By cell, numbers of what reaches it; the last one added comes first.
#[derive(Debug, Default)]
pub(super) struct CellLists {
    heads: Vec<u32>,
    /// A number, and the link before it in its cell.
    links: Vec<(u32, u32)>,
}

impl CellLists {
    /// Empty lists of so many cells.
    pub(super) fn clear(&mut self, cells: usize) {
        self.heads.clear();
        self.heads.resize(cells, NONE);
        self.links.clear();
    }

    #[inline]
    pub(super) fn add(&mut self, cell: usize, number: u32) {
        self.links.push((number, self.heads[cell]));
        self.heads[cell] = self.links.len() as u32 - 1;
    }

    #[inline]
    pub(super) fn is_empty(&self, cell: usize) -> bool {
        self.heads[cell] == NONE
    }

    /// The numbers in a cell's list.
    #[inline]
    pub(super) fn of(&self, cell: usize) -> impl Iterator<Item = u32> + use<'_> {
        let mut link = self.heads[cell];
        std::iter::from_fn(move || {
            let (number, before) = *self.links.get(link as usize)?;
            link = before;
            Some(number)
        })
    }
}
