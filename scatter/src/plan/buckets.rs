//! A spatial index of a window's things: which of them overlap a given place.

use super::Rectangle;

/// Buckets along a window's side: a window of 70 cells then has about four cells a bucket.
const SIDE: i64 = 16;

/// For each bucket of a window, the things that overlap it, in the order in which they were given.
#[derive(Debug, Clone)]
pub struct Buckets {
    window: Rectangle,
    size: [i64; 2],
    starts: Vec<u32>,
    items: Vec<u32>,
}

impl Buckets {
    /// Sorts things by their bounding rectangles. Things beyond the window are dropped.
    #[must_use]
    pub fn new(window: Rectangle, reaches: &[Rectangle]) -> Self {
        let size = [
            (window.x1 - window.x0) / SIDE + 1,
            (window.z1 - window.z0) / SIDE + 1,
        ];
        let span = |low: i64, high: i64, start: i64, size: i64| {
            (
                (low - start).div_euclid(size).max(0),
                (high - start).div_euclid(size).min(SIDE - 1),
            )
        };
        let touched = |r: &Rectangle| {
            let (x0, x1) = span(r.x0, r.x1, window.x0, size[0]);
            let (z0, z1) = span(r.z0, r.z1, window.z0, size[1]);
            (z0..=z1).flat_map(move |z| (x0..=x1).map(move |x| (z * SIDE + x) as usize))
        };
        let mut starts = vec![0u32; (SIDE * SIDE) as usize + 1];
        reaches
            .iter()
            .flat_map(touched)
            .for_each(|b| starts[b + 1] += 1);
        for b in 1..starts.len() {
            starts[b] += starts[b - 1];
        }
        let mut next = starts.clone();
        let mut items = vec![0u32; *starts.last().unwrap_or(&0) as usize];
        for (i, r) in reaches.iter().enumerate() {
            for b in touched(r) {
                items[next[b] as usize] = i as u32;
                next[b] += 1;
            }
        }
        Self {
            window,
            size,
            starts,
            items,
        }
    }

    /// Indices of the things that may overlap a place of the window, in the order in which they
    /// were given.
    #[must_use]
    pub fn at(&self, x: i64, z: i64) -> &[u32] {
        let bx = ((x - self.window.x0).div_euclid(self.size[0])).clamp(0, SIDE - 1);
        let bz = ((z - self.window.z0).div_euclid(self.size[1])).clamp(0, SIDE - 1);
        let b = (bz * SIDE + bx) as usize;
        &self.items[self.starts[b] as usize..self.starts[b + 1] as usize]
    }

    /// Whether nothing overlaps the window.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.items.is_empty()
    }
}
