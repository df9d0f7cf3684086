//! One figure a row of the table, of one label image.
//!
//! Stones have a visible short axis of at least ten pixels; smaller labels are ground. Stones cut
//! by the image's border count in cover, as neighbours, as large stones that others lie beside, and
//! as points of Clark and Evans' index (a pattern cut by its window, which Donnelly's correction is
//! for); nothing else is measured of them.

use super::LabelImage;
use super::neighbours::{Offsets, Ownership, TOUCH, clark_evans, mean_nearest};
use super::real::Row;
use super::regions::{Region, regions};
use super::rings::{bare, beside_large};

/// Least visible short axis of a stone, pixels: of a smaller one the outline is mostly steps.
pub const LEAST_MINOR: f64 = 10.0;
/// Least short axis of a stone whose axis ratio is told, pixels: below, stones long enough to be
/// told from round ones are left out for their width.
pub const LEAST_FOR_RATIO: f64 = 14.0;
/// Limits of the size classes by b axis, metres.
pub const CLASSES_M: [f64; 5] = [4e-3, 8e-3, 16e-3, 32e-3, 64e-3];

/// A figure for each [`Row`], NaN where the image has none.
#[derive(Debug, Clone, PartialEq)]
pub struct Figures {
    /// In the order of [`Row::ALL`].
    pub rows: Vec<f64>,
    /// Stones that are not cut by the border.
    pub stones: usize,
}

impl Figures {
    /// The figure of a row.
    #[must_use]
    pub fn get(&self, row: Row) -> f64 {
        self.rows[row as usize]
    }

    /// Row by row the mean over windows of those that have the figure; stones are added up. NaN
    /// where none has it.
    #[must_use]
    pub fn mean(windows: &[Self]) -> Self {
        let mean = |row: &Row| {
            let known: Vec<f64> = windows
                .iter()
                .map(|w| w.get(*row))
                .filter(|v| !v.is_nan())
                .collect();
            known.iter().sum::<f64>() / known.len() as f64
        };
        Self {
            rows: Row::ALL.iter().map(mean).collect(),
            stones: windows.iter().map(|w| w.stones).sum(),
        }
    }
}

/// The share-`p` quantile, linear between the sorted values as in NumPy; NaN for none.
#[must_use]
pub fn quantile(values: &[f64], p: f64) -> f64 {
    if values.is_empty() {
        return f64::NAN;
    }
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let at = p * (sorted.len() - 1) as f64;
    let below = at.floor() as usize;
    let above = (below + 1).min(sorted.len() - 1);
    sorted[below] + (at - at.floor()) * (sorted[above] - sorted[below])
}

/// Size at which the share `p` of the weight is finer: linear between the middles of the sorted
/// stones' shares; sizes in phi, weights any.
fn weighted_quantile(sizes: &[(f64, f64)], p: f64) -> f64 {
    let mut sorted = sizes.to_vec();
    sorted.sort_by(|a, b| a.0.total_cmp(&b.0));
    let total: f64 = sorted.iter().map(|s| s.1).sum();
    let mut before: Option<(f64, f64)> = None;
    let mut sum = 0.0;
    for (size, weight) in sorted {
        let at = (sum + 0.5 * weight) / total;
        sum += weight;
        if at >= p {
            return match before {
                Some((last, from)) if at > from => last + (p - from) / (at - from) * (size - last),
                _ => size,
            };
        }
        before = Some((size, at));
    }
    before.map_or(f64::NAN, |b| b.0)
}

/// Sorting in phi of sizes with weights: (phi84 - phi16) / 4 + (phi95 - phi5) / 6.6. Folk and Ward,
/// "Brazos River bar: a study in the significance of grain size parameters", 1957.
#[must_use]
pub fn sorting(sizes: &[(f64, f64)]) -> f64 {
    let q = |p| weighted_quantile(sizes, p);
    (q(0.84) - q(0.16)) / 4.0 + (q(0.95) - q(0.05)) / 6.6
}

/// Standard deviation of a sample (n - 1); NaN below two.
fn deviation(values: &[f64]) -> f64 {
    let n = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n;
    let squares: f64 = values.iter().map(|v| (v - mean) * (v - mean)).sum();
    (squares / (n - 1.0)).sqrt()
}

fn mean(values: impl Iterator<Item = f64>) -> f64 {
    let (sum, n) = values.fold((0.0, 0.0), |(sum, n), v| (sum + v, n + 1.0));
    sum / n
}

/// All rows of one label image whose pixel is `pixel` metres.
#[must_use]
#[expect(
    clippy::too_many_lines,
    reason = "a list of figures, one after the other"
)]
pub fn measure(image: &LabelImage, pixel: f64) -> Figures {
    let width = image.width;
    let area = image.labels.len() as f64;
    let all = regions(image);
    let stones: Vec<&Region> = all.iter().filter(|r| r.axes[1] >= LEAST_MINOR).collect();
    let whole: Vec<usize> = (0..stones.len()).filter(|k| !stones[*k].is_cut).collect();
    let mut rows = vec![f64::NAN; Row::ALL.len()];
    let mut set = |row: Row, value: f64| rows[row as usize] = value;

    // How much ground they cover, by size
    let b_axis = |stone: &Region| stone.axes[1] * pixel;
    set(
        Row::Cover,
        stones.iter().map(|s| s.area()).sum::<f64>() / area,
    );
    let classes = [Row::Cover4, Row::Cover8, Row::Cover16, Row::Cover32];
    for (row, limits) in classes.into_iter().zip(CLASSES_M.windows(2)) {
        let of_class = stones
            .iter()
            .filter(|s| (limits[0]..limits[1]).contains(&b_axis(s)));
        set(row, of_class.map(|s| s.area()).sum::<f64>() / area);
    }

    // Their forms
    let inner = || whole.iter().map(|k| stones[*k]);
    let ratios: Vec<f64> = inner()
        .filter(|s| s.axes[1] >= LEAST_FOR_RATIO)
        .map(Region::elongation)
        .collect();
    set(Row::RatioP10, quantile(&ratios, 0.1));
    set(Row::RatioMedian, quantile(&ratios, 0.5));
    set(Row::RatioDeviation, deviation(&ratios));
    let solidity: Vec<f64> = inner().map(|s| s.solidity(width)).collect();
    set(Row::Solidity, quantile(&solidity, 0.5));
    let off: Vec<f64> = inner().map(|s| s.off_ellipse(width)).collect();
    set(Row::OffEllipse, quantile(&off, 0.5));
    set(Row::OffEllipseP90, quantile(&off, 0.9));
    let phi = |s: &Region| -libm::log2(b_axis(s) * 1e3);
    let by_number: Vec<(f64, f64)> = inner().map(|s| (phi(s), 1.0)).collect();
    let by_area: Vec<(f64, f64)> = inner().map(|s| (phi(s), s.area())).collect();
    set(Row::SortingByNumber, sorting(&by_number));
    set(Row::SortingByArea, sorting(&by_area));

    // Their distances
    let sides = [width, image.height()].map(|n| n as f64);
    let centres: Vec<[f64; 2]> = stones.iter().map(|s| s.centroid).collect();
    set(Row::ClarkEvans, clark_evans(&centres, sides));
    let inner_centres: Vec<[f64; 2]> = inner().map(|s| s.centroid).collect();
    let at_random = 0.5 * (area / stones.len() as f64).sqrt();
    set(
        Row::ClarkEvansInner,
        mean_nearest(&inner_centres, &centres) / at_random,
    );
    let owned = Ownership::of(&stones, width, image.labels.len());
    let offsets = Offsets::default();
    let arounds: Vec<_> = whole
        .iter()
        .map(|k| owned.around(&stones, *k, &offsets))
        .collect();
    let diameters: Vec<f64> = inner().map(Region::diameter).collect();
    let contacts = || arounds.iter().map(|a| a.contacts as f64);
    set(Row::Contacts, mean(contacts()));
    let twice = 2.0 * quantile(&diameters, 0.5);
    let of_large = contacts()
        .zip(&diameters)
        .filter(|(_, d)| **d > twice)
        .map(|(c, _)| c);
    set(Row::ContactsOfLarge, mean(of_large));
    let outline: usize = arounds.iter().map(|a| a.outline).sum();
    let near = |k: usize| arounds.iter().map(|a| a.near[k]).sum::<usize>() as f64;
    set(Row::OutlineTouching, near(0) / outline as f64);
    set(Row::OutlineNear, near(1) / outline as f64);
    let touching = arounds
        .iter()
        .map(|a| f64::from(u8::from(a.nearest <= TOUCH)));
    set(Row::Touching, mean(touching));
    let gaps: Vec<f64> = arounds
        .iter()
        .zip(&diameters)
        .map(|(a, d)| (a.nearest - 1.0).max(0.0) / d)
        .collect();
    set(Row::Gap, quantile(&gaps, 0.5));
    set(Row::GapP90, quantile(&gaps, 0.9));

    // The ground between them
    let [inner_ring, outer_ring] = beside_large(&owned, &stones, pixel);
    set(Row::RingInner, inner_ring);
    set(Row::RingOuter, outer_ring);
    let bare: Vec<f64> = bare(&owned).into_iter().filter(|d| *d > 0.0).collect();
    set(Row::BareP99, quantile(&bare, 0.99) * pixel * 1e3);
    // One stone alone is infinitely far from others: no figure
    for value in rows.iter_mut().filter(|v| v.is_infinite()) {
        *value = f64::NAN;
    }
    Figures {
        rows,
        stones: whole.len(),
    }
}
