//! How near the stones of a label image lie to one another.
//!
//! Distances are from pixel centre to pixel centre, in pixels. A gap is that less 1: stones whose
//! pixels share a side have none.

use std::collections::BTreeSet;

use super::regions::Region;

/// Pixels of two stones this near share a side or a corner.
pub const TOUCH: f64 = 1.5;
/// Two stones this near are in contact: a pixel may lie between them, along rows, columns and
/// diagonals.
pub const CONTACT: f64 = 2.9;
/// Offsets are searched nearest first out to here, pixels; a stone with none so near asks every
/// other.
const SEARCH: i64 = 96;

/// Which stone each pixel belongs to, and what that says of their distances.
#[derive(Debug)]
pub struct Ownership {
    /// Pixels in a row.
    pub width: usize,
    /// Index of the stone, if there is one.
    pub owner: Vec<Option<u32>>,
}

/// What lies about one stone.
#[derive(Debug, Clone, PartialEq)]
pub struct Around {
    /// Pixels with a side to what is not this stone.
    pub outline: usize,
    /// Of them, those within [`TOUCH`] and [`CONTACT`] of another stone.
    pub near: [usize; 2],
    /// Other stones within [`CONTACT`].
    pub contacts: usize,
    /// Distance to the nearest other stone, pixels; infinite if there is none.
    pub nearest: f64,
}

/// Columns, rows and distances of the pixels within the search, nearest first.
#[derive(Debug)]
pub struct Offsets(Vec<(i64, i64, f64)>);

impl Default for Offsets {
    fn default() -> Self {
        let span = -SEARCH..=SEARCH;
        let mut offsets: Vec<(i64, i64, f64)> = span
            .clone()
            .flat_map(|z| span.clone().map(move |x| (x, z)))
            .map(|(x, z)| (x, z, ((x * x + z * z) as f64).sqrt()))
            .filter(|o| o.2 > 0.0 && o.2 <= SEARCH as f64)
            .collect();
        offsets.sort_by(|a, b| a.2.total_cmp(&b.2));
        Self(offsets)
    }
}

impl Ownership {
    /// Of the pixels of `stones`, in an image of `pixels` pixels in rows of `width`.
    #[must_use]
    pub fn of(stones: &[&Region], width: usize, pixels: usize) -> Self {
        let mut owner = vec![None; pixels];
        for (index, stone) in stones.iter().enumerate() {
            for &k in &stone.pixels {
                owner[k] = Some(index as u32);
            }
        }
        Self { width, owner }
    }

    /// Pixels of a stone with a side to what is not this stone; the image's border is one.
    pub fn outline<'a>(&'a self, stone: &'a Region) -> impl Iterator<Item = usize> + 'a {
        stone.pixels.iter().copied().filter(|k| {
            let sides = [(1, 0), (-1, 0), (0, 1), (0, -1)];
            sides
                .iter()
                .any(|side| self.at(*k, *side) != self.owner[*k])
        })
    }

    fn at(&self, k: usize, (x, z): (i64, i64)) -> Option<u32> {
        let column = (k % self.width) as i64 + x;
        let row = (k / self.width) as i64 + z;
        let inside = column >= 0 && row >= 0 && column < self.width as i64;
        let index = row * self.width as i64 + column;
        inside
            .then(|| self.owner.get(index as usize).copied().flatten())
            .flatten()
    }

    /// What lies about the stone `index` of `stones`, those that this was made of.
    #[must_use]
    pub fn around(&self, stones: &[&Region], index: usize, offsets: &Offsets) -> Around {
        let own = Some(index as u32);
        let mut around = Around {
            outline: 0,
            near: [0; 2],
            contacts: 0,
            nearest: f64::INFINITY,
        };
        let mut touched = BTreeSet::new();
        for k in self.outline(stones[index]) {
            around.outline += 1;
            let mut nearest = f64::INFINITY;
            for (x, z, distance) in &offsets.0 {
                if *distance > CONTACT.max(around.nearest) {
                    break;
                }
                let other = self.at(k, (*x, *z));
                if other.is_none() || other == own {
                    continue;
                }
                nearest = nearest.min(*distance);
                if *distance > CONTACT {
                    break;
                }
                touched.extend(other);
            }
            around.nearest = around.nearest.min(nearest);
            around.near[0] += usize::from(nearest <= TOUCH);
            around.near[1] += usize::from(nearest <= CONTACT);
        }
        around.contacts = touched.len();
        if around.nearest.is_infinite() {
            around.nearest = self.far(stones, index);
        }
        around
    }

    /// Distance to the nearest pixel of another stone, each asked.
    fn far(&self, stones: &[&Region], index: usize) -> f64 {
        let place = |k: usize| [k % self.width, k / self.width].map(|v| v as f64);
        let own: Vec<[f64; 2]> = self.outline(stones[index]).map(place).collect();
        let mut least = f64::INFINITY;
        for (other, stone) in stones.iter().enumerate() {
            if other == index {
                continue;
            }
            for q in self.outline(stone).map(place) {
                for p in &own {
                    let [x, z] = [p[0] - q[0], p[1] - q[1]];
                    least = least.min(x * x + z * z);
                }
            }
        }
        least.sqrt()
    }
}

/// Clark and Evans' index of points in a rectangle, with Donnelly's expectation for its border:
/// mean distance to the nearest other point over 0.5 sqrt(A/n) + (0.0514 + 0.0412/sqrt n) P/n. 1
/// for points thrown at random, 2.149 for a triangular lattice; NaN below two points.
///
/// Clark and Evans, "Distance to nearest neighbor as a measure of spatial relationships in
/// populations", 1954; Donnelly, "Simulations to determine the variance and edge effect of total
/// nearest neighbour distance", 1978.
#[must_use]
pub fn clark_evans(points: &[[f64; 2]], [width, height]: [f64; 2]) -> f64 {
    if points.len() < 2 {
        return f64::NAN;
    }
    let n = points.len() as f64;
    let mean = mean_nearest(points, points);
    let root = n.sqrt();
    let perimeter = 2.0 * (width + height);
    let expected = 0.5 * (width * height / n).sqrt() + (0.0514 + 0.0412 / root) * perimeter / n;
    mean / expected
}

/// Mean distance from each of `from` to the nearest of `to` that is not at the same place;
/// infinite if there is none, NaN for none in `from`.
#[must_use]
pub fn mean_nearest(from: &[[f64; 2]], to: &[[f64; 2]]) -> f64 {
    let mut sorted = to.to_vec();
    sorted.sort_by(|a, b| a[0].total_cmp(&b[0]));
    let nearest = |p: &[f64; 2]| {
        let start = sorted.partition_point(|q| q[0] < p[0]);
        let mut least = f64::INFINITY;
        // Outward along x, each way until x alone is farther than the nearest yet
        let mut look = |q: &[f64; 2]| {
            let [x, z] = [q[0] - p[0], q[1] - p[1]];
            let square = x * x + z * z;
            if square > 0.0 {
                least = least.min(square);
            }
            x * x <= least
        };
        let _ = sorted[start..].iter().all(&mut look);
        let _ = sorted[..start].iter().rev().all(&mut look);
        least.sqrt()
    };
    from.iter().map(nearest).sum::<f64>() / from.len() as f64
}
