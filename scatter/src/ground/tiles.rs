//! The lowest and highest ground of square tiles at ever coarser levels: the view needs them to
//! know where its rays can meet ground.

/// Tiles along a side at the finest level. Four thousand tiles take a hundred kilobytes, and a
/// close-up of a wide ground still looks at a few of them only.
const SIDE: usize = 64;
/// Levels from one tile to the finest.
const LEVELS: usize = 7;

/// Ranges of height of a bounded ground over square tiles.
#[derive(Debug, Clone)]
pub struct HeightTiles {
    /// `[x0, z0, x1, z1]`, metres.
    bounds: [f64; 4],
    /// Lowest and highest ground of each tile, metres, coarsest level first; empty tiles have the
    /// low above the high.
    levels: Vec<Vec<[f64; 2]>>,
    /// A height for each finest tile, of its own ground or of the nearest.
    fill: Vec<f64>,
}

/// No ground.
const EMPTY: [f64; 2] = [f64::INFINITY, f64::NEG_INFINITY];

impl HeightTiles {
    /// Tiles over `bounds`, empty yet.
    pub(super) fn new(bounds: [f64; 4]) -> Self {
        Self {
            bounds,
            levels: (0..LEVELS).map(|l| vec![EMPTY; 1 << (2 * l)]).collect(),
            fill: Vec::new(),
        }
    }

    /// The finest tiles, first and last column and row, that a plan rectangle touches.
    fn touched(&self, r: [f64; 4]) -> [usize; 4] {
        let index = |v: f64, axis: usize| {
            let size = (self.bounds[axis + 2] - self.bounds[axis]) / SIDE as f64;
            (((v - self.bounds[axis]) / size) as i64).clamp(0, SIDE as i64 - 1) as usize
        };
        [
            index(r[0], 0),
            index(r[1], 1),
            index(r[2], 0),
            index(r[3], 1),
        ]
    }

    /// Adds ground over a rectangle: `range` gives its lowest and highest height over a part of it.
    pub(super) fn add(&mut self, r: [f64; 4], range: impl Fn([f64; 4]) -> [f64; 2]) {
        let [x0, z0, x1, z1] = self.touched(r);
        for iz in z0..=z1 {
            for ix in x0..=x1 {
                let t = self.rectangle(LEVELS - 1, ix, iz);
                let part = [
                    t[0].max(r[0]),
                    t[1].max(r[1]),
                    t[2].min(r[2]),
                    t[3].min(r[3]),
                ];
                let [low, high] = range(part);
                let tile = &mut self.levels[LEVELS - 1][iz * SIDE + ix];
                *tile = [tile[0].min(low), tile[1].max(high)];
            }
        }
    }

    /// Widens each tile's heights by a share of their range at either end.
    pub(super) fn widen(&mut self, share: f64) {
        for tile in &mut self.levels[LEVELS - 1] {
            let more = share * (tile[1] - tile[0]);
            if more.is_finite() {
                *tile = [tile[0] - more, tile[1] + more];
            }
        }
    }

    /// Lowers the lowest ground of every tile by `depth` metres.
    pub(super) fn lower(&mut self, depth: f64) {
        for tile in self.levels.iter_mut().flatten() {
            tile[0] -= depth;
        }
    }

    /// How many finest tiles a rectangle touches.
    pub(super) fn count(&self, r: [f64; 4]) -> usize {
        let [x0, z0, x1, z1] = self.touched(r);
        (x1 - x0 + 1) * (z1 - z0 + 1)
    }

    /// Works out the coarser levels, and a height where there is none.
    pub(super) fn finish(&mut self) {
        for level in (0..LEVELS - 1).rev() {
            let side = 1 << level;
            for i in 0..side * side {
                let (ix, iz) = (2 * (i % side), 2 * (i / side));
                let finer = &self.levels[level + 1];
                let under = [(0, 0), (1, 0), (0, 1), (1, 1)]
                    .map(|(dx, dz)| finer[(iz + dz) * 2 * side + ix + dx]);
                self.levels[level][i] = under
                    .iter()
                    .fold(EMPTY, |a, b| [a[0].min(b[0]), a[1].max(b[1])]);
            }
        }
        self.fill = filled(&self.levels[LEVELS - 1]);
    }

    /// `[x0, z0, x1, z1]` of the whole ground, metres.
    #[must_use]
    pub fn bounds(&self) -> [f64; 4] {
        self.bounds
    }

    /// Levels: level 0 is one tile, each further one has four tiles for one.
    #[must_use]
    pub fn levels(&self) -> usize {
        LEVELS
    }

    /// `[x0, z0, x1, z1]` of a tile, metres; a level has 2^level columns and rows.
    #[must_use]
    pub fn rectangle(&self, level: usize, column: usize, row: usize) -> [f64; 4] {
        let b = self.bounds;
        let side = (1usize << level) as f64;
        let at = |i: usize, axis: usize| b[axis] + (b[axis + 2] - b[axis]) * (i as f64 / side);
        [at(column, 0), at(row, 1), at(column + 1, 0), at(row + 1, 1)]
    }

    /// Lowest and highest ground of a tile, metres; None where there is none.
    #[must_use]
    pub fn heights(&self, level: usize, column: usize, row: usize) -> Option<[f64; 2]> {
        let tile = self.levels[level][(row << level) + column];
        (tile[0] <= tile[1]).then_some(tile)
    }

    /// A height near that of the nearest ground.
    pub(super) fn near(&self, x: f64, z: f64) -> f64 {
        let [ix, iz, ..] = self.touched([x, z, x, z]);
        self.fill.get(iz * SIDE + ix).copied().unwrap_or(0.0)
    }

    /// Whether a rectangle surely has no ground in it.
    pub(super) fn is_void(&self, r: [f64; 4]) -> bool {
        let b = self.bounds;
        if r[0] > b[2] || r[2] < b[0] || r[1] > b[3] || r[3] < b[1] {
            return true;
        }
        let [x0, z0, x1, z1] = self.touched(r);
        (z0..=z1).all(|iz| (x0..=x1).all(|ix| self.heights(LEVELS - 1, ix, iz).is_none()))
    }
}

/// The middle height of each tile, empty ones taking the mean of their neighbours, ring by ring.
fn filled(tiles: &[[f64; 2]]) -> Vec<f64> {
    let mut fill: Vec<Option<f64>> = tiles
        .iter()
        .map(|t| (t[0] <= t[1]).then(|| 0.5 * (t[0] + t[1])))
        .collect();
    if fill.iter().all(Option::is_none) {
        return vec![0.0; tiles.len()];
    }
    while fill.iter().any(Option::is_none) {
        let last = fill.clone();
        for (i, value) in fill.iter_mut().enumerate().filter(|(_, v)| v.is_none()) {
            let (ix, iz) = (i % SIDE, i / SIDE);
            let near = [
                (ix > 0).then(|| i - 1),
                (ix + 1 < SIDE).then(|| i + 1),
                (iz > 0).then(|| i - SIDE),
                (iz + 1 < SIDE).then(|| i + SIDE),
            ];
            let (mut sum, mut count) = (0.0, 0.0);
            for v in near.iter().flatten().filter_map(|n| last[*n]) {
                sum += v;
                count += 1.0;
            }
            if count > 0.0 {
                *value = Some(sum / count);
            }
        }
    }
    fill.into_iter().flatten().collect()
}
