//! Each label's largest connected part, and its form.
//!
//! Connected: pixels that share a side or a corner (8 neighbours). Of two largest parts of one
//! label, the one that begins first, row by row. Moments are those of the pixels' centres, as in
//! scikit-image (0.26): the moments of square pixels would be 1/12 pixel^2 more, which is 0.07
//! pixels of an axis of ten.

use std::collections::HashMap;
use std::f64::consts::PI;

use scatter::plan::convex_hull;

use super::LabelImage;

/// The largest connected part of one label.
#[derive(Debug, Clone, PartialEq)]
pub struct Region {
    /// The label.
    pub label: u32,
    /// Indices of its pixels, ascending.
    pub pixels: Vec<usize>,
    /// Mean column and row of its pixels' centres, pixel (0, 0) at (0, 0).
    pub centroid: [f64; 2],
    /// Axes of the ellipse of equal second moments, in full, pixels: 4 sqrt(eigenvalue), long then
    /// short.
    pub axes: [f64; 2],
    /// Unit direction (column, row) of the long axis.
    pub along: [f64; 2],
    /// Whether it has a pixel at the image's border.
    pub is_cut: bool,
}

/// All labels' largest parts, by label.
#[must_use]
pub fn regions(image: &LabelImage) -> Vec<Region> {
    let mut largest: HashMap<u32, Vec<usize>> = HashMap::new();
    let mut is_taken = vec![false; image.labels.len()];
    for start in 0..image.labels.len() {
        if image.labels[start] == 0 || is_taken[start] {
            continue;
        }
        let part = part(image, start, &mut is_taken);
        let kept = largest.entry(image.labels[start]).or_default();
        if part.len() > kept.len() {
            *kept = part;
        }
    }
    let mut regions: Vec<Region> = largest
        .into_iter()
        .map(|(label, pixels)| Region::of(label, pixels, image))
        .collect();
    regions.sort_by_key(|r| r.label);
    regions
}

/// The connected part that holds `start`.
fn part(image: &LabelImage, start: usize, is_taken: &mut [bool]) -> Vec<usize> {
    let mut part = vec![start];
    is_taken[start] = true;
    let mut next = 0;
    while next < part.len() {
        let here = part[next];
        next += 1;
        for k in around(here, image.width, image.height()) {
            if image.labels[k] == image.labels[start] && !is_taken[k] {
                is_taken[k] = true;
                part.push(k);
            }
        }
    }
    part.sort_unstable();
    part
}

/// The up to eight pixels about one.
pub(super) fn around(k: usize, width: usize, height: usize) -> impl Iterator<Item = usize> {
    let (column, row) = (k % width, k / width);
    let columns = column.saturating_sub(1)..=(column + 1).min(width - 1);
    let rows = row.saturating_sub(1)..=(row + 1).min(height - 1);
    rows.flat_map(move |r| columns.clone().map(move |c| r * width + c))
        .filter(move |other| *other != k)
}

impl Region {
    fn of(label: u32, pixels: Vec<usize>, image: &LabelImage) -> Self {
        let (width, height) = (image.width, image.height());
        let place = |k: usize| [(k % width) as f64, (k / width) as f64];
        let n = pixels.len() as f64;
        let mut centroid = [0.0; 2];
        for &k in &pixels {
            let p = place(k);
            centroid = [centroid[0] + p[0] / n, centroid[1] + p[1] / n];
        }
        let (mut xx, mut xz, mut zz) = (0.0, 0.0, 0.0);
        for &k in &pixels {
            let p = place(k);
            let [x, z] = [p[0] - centroid[0], p[1] - centroid[1]];
            xx += x * x / n;
            xz += x * z / n;
            zz += z * z / n;
        }
        let middle = 0.5 * (xx + zz);
        let half = (0.25 * (xx - zz) * (xx - zz) + xz * xz).sqrt();
        let angle = 0.5 * libm::atan2(2.0 * xz, xx - zz);
        let is_cut = pixels.iter().any(|k| {
            let (column, row) = (k % width, k / width);
            column == 0 || row == 0 || column == width - 1 || row == height - 1
        });
        Self {
            label,
            pixels,
            centroid,
            axes: [middle + half, (middle - half).max(0.0)].map(|v| 4.0 * v.sqrt()),
            along: [libm::cos(angle), libm::sin(angle)],
            is_cut,
        }
    }

    /// Number of pixels.
    #[must_use]
    pub fn area(&self) -> f64 {
        self.pixels.len() as f64
    }

    /// Diameter of the disc of the same area, pixels.
    #[must_use]
    pub fn diameter(&self) -> f64 {
        2.0 * (self.area() / PI).sqrt()
    }

    /// Short over long axis.
    #[must_use]
    pub fn elongation(&self) -> f64 {
        self.axes[1] / self.axes[0]
    }

    /// Area over the number of pixels whose centres the convex hull holds; the hull is about the
    /// middles of the pixels' sides, as in scikit-image. `width` is the image's.
    #[must_use]
    pub fn solidity(&self, width: usize) -> f64 {
        /// A centre this near outside the hull is on it: rounding of coordinates below a thousand
        /// is smaller.
        const ON_EDGE: f64 = 1e-9;
        // Only the ends of each row can be corners
        let mut rows: HashMap<usize, [usize; 2]> = HashMap::new();
        for k in &self.pixels {
            let (column, row) = (k % width, k / width);
            let ends = rows.entry(row).or_insert([column; 2]);
            *ends = [ends[0].min(column), ends[1].max(column)];
        }
        let mut sides = Vec::new();
        for (row, ends) in &rows {
            for column in ends {
                let (x, z) = (*column as f64, *row as f64);
                sides.extend([[x - 0.5, z], [x + 0.5, z], [x, z - 0.5], [x, z + 0.5]]);
            }
        }
        let hull = convex_hull(&sides);
        let mut convex = 0;
        for row in rows.keys() {
            let z = *row as f64;
            let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
            for (k, p) in hull.iter().enumerate() {
                let q = hull[(k + 1) % hull.len()];
                if (p[1] - z) * (q[1] - z) > 0.0 {
                    continue;
                }
                let crossings = if p[1] == q[1] {
                    [p[0], q[0]]
                } else {
                    [p[0] + (q[0] - p[0]) * (z - p[1]) / (q[1] - p[1]); 2]
                };
                low = low.min(crossings[0]).min(crossings[1]);
                high = high.max(crossings[0]).max(crossings[1]);
            }
            let (first, last) = ((low - ON_EDGE).ceil(), (high + ON_EDGE).floor());
            convex += (last - first) as i64 + 1;
        }
        self.area() / convex as f64
    }

    /// Area of the difference (of what only one of them has) between it and its ellipse of equal
    /// second moments about the centroid, over its own area; the ellipse has the pixels whose
    /// centres it holds, also beyond the image.
    #[must_use]
    pub fn off_ellipse(&self, width: usize) -> f64 {
        let [x0, z0] = self.centroid;
        let [a, b] = self.axes.map(|axis| 0.5 * axis);
        let holds = |x: f64, z: f64| {
            let [x, z] = [x - x0, z - z0];
            let u = (x * self.along[0] + z * self.along[1]) / a;
            let v = (z * self.along[0] - x * self.along[1]) / b;
            u * u + v * v <= 1.0
        };
        let shared = self
            .pixels
            .iter()
            .filter(|k| holds((*k % width) as f64, (*k / width) as f64))
            .count() as f64;
        let mut of_ellipse = 0.0;
        let whole = |v: f64| v as i64;
        for z in whole((z0 - a).floor())..=whole((z0 + a).ceil()) {
            for x in whole((x0 - a).floor())..=whole((x0 + a).ceil()) {
                of_ellipse += f64::from(u8::from(holds(x as f64, z as f64)));
            }
        }
        (self.area() + of_ellipse - 2.0 * shared) / self.area()
    }
}
