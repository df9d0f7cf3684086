//! What real gravel gives, and how ours compares.

use std::fmt::Write;

use super::figures::{Figures, quantile};

/// A row of the table.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Row {
    /// Cover by stones.
    Cover,
    /// Cover by those of b axis 4 to 8 mm.
    Cover4,
    /// Cover by those of 8 to 16 mm.
    Cover8,
    /// Cover by those of 16 to 32 mm.
    Cover16,
    /// Cover by those of 32 to 64 mm.
    Cover32,
    /// Axis ratio b/a, 10th percentile.
    RatioP10,
    /// Axis ratio b/a, median.
    RatioMedian,
    /// Axis ratio b/a, standard deviation.
    RatioDeviation,
    /// Area over convex area, median.
    Solidity,
    /// Area of the difference from the fitted ellipse over the area, median.
    OffEllipse,
    /// The same, 90th percentile.
    OffEllipseP90,
    /// Clark and Evans' index of all stones, those at the border with their visible centres.
    ClarkEvans,
    /// The other reading: whole stones to the nearest of all, over what points of the same density
    /// thrown at random give.
    ClarkEvansInner,
    /// Other stones within 2.9 pixels, mean.
    Contacts,
    /// The same of stones over twice the median diameter.
    ContactsOfLarge,
    /// Share of outline pixels within 1.5 pixels of another stone.
    OutlineTouching,
    /// Share of outline pixels within 2.9 pixels of another stone.
    OutlineNear,
    /// Share of stones with another within 1.5 pixels.
    Touching,
    /// Gap to the nearest stone over own equivalent diameter, median.
    Gap,
    /// The same, 90th percentile.
    GapP90,
    /// Cover of smaller stones within 2 mm of large ones over their cover elsewhere.
    RingInner,
    /// The same, 2 to 5 mm from large ones.
    RingOuter,
    /// A bare pixel's distance to the nearest stone, 99th percentile, mm.
    BareP99,
    /// Sorting in phi, each stone counted once.
    SortingByNumber,
    /// Sorting in phi, each stone counted by its area.
    SortingByArea,
}

impl Row {
    /// Every row, in the table's order.
    pub const ALL: [Self; 25] = [
        Self::Cover,
        Self::Cover4,
        Self::Cover8,
        Self::Cover16,
        Self::Cover32,
        Self::RatioP10,
        Self::RatioMedian,
        Self::RatioDeviation,
        Self::Solidity,
        Self::OffEllipse,
        Self::OffEllipseP90,
        Self::ClarkEvans,
        Self::ClarkEvansInner,
        Self::Contacts,
        Self::ContactsOfLarge,
        Self::OutlineTouching,
        Self::OutlineNear,
        Self::Touching,
        Self::Gap,
        Self::GapP90,
        Self::RingInner,
        Self::RingOuter,
        Self::BareP99,
        Self::SortingByNumber,
        Self::SortingByArea,
    ];
}

/// Where the ranges of [`REAL`] are from.
pub const SOURCE: &str = "six photographs of bank faces of river gravel with hand-checked label masks, 512 x 512 pixels of 0.39 mm \
    (ImageGrains demo data, set FH, BSD-3); measured by us";

/// What real gravel gives for a row: least, most and median over the images.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Real {
    /// The row.
    pub row: Row,
    /// The row in words.
    pub name: &'static str,
    /// Least over the images.
    pub least: f64,
    /// Most over the images.
    pub most: f64,
    /// Median over the images.
    pub median: f64,
}

const fn real(row: Row, name: &'static str, [least, most, median]: [f64; 3]) -> Real {
    Real {
        row,
        name,
        least,
        most,
        median,
    }
}

/// The ranges, in the order of [`Row::ALL`]; from [`SOURCE`].
pub const REAL: [Real; 25] = [
    real(Row::Cover, "cover", [0.51, 0.64, 0.55]),
    real(Row::Cover4, "cover, b 4-8 mm", [0.05, 0.09, 0.063]),
    real(Row::Cover8, "cover, b 8-16 mm", [0.09, 0.20, 0.158]),
    real(Row::Cover16, "cover, b 16-32 mm", [0.12, 0.28, 0.185]),
    real(Row::Cover32, "cover, b 32-64 mm", [0.0, 0.30, 0.087]),
    real(Row::RatioP10, "b/a, p10", [0.41, 0.50, 0.48]),
    real(Row::RatioMedian, "b/a, median", [0.61, 0.73, 0.69]),
    real(Row::RatioDeviation, "b/a, deviation", [0.136, 0.170, 0.153]),
    real(Row::Solidity, "solidity, median", [0.954, 0.961, 0.955]),
    real(
        Row::OffEllipse,
        "off the ellipse, median",
        [0.10, 0.12, 0.108],
    ),
    real(
        Row::OffEllipseP90,
        "off the ellipse, p90",
        [0.17, 0.28, 0.23],
    ),
    real(Row::ClarkEvans, "Clark-Evans, Donnelly", [1.14, 1.29, 1.24]),
    real(
        Row::ClarkEvansInner,
        "Clark-Evans, whole stones",
        [1.14, 1.29, 1.24],
    ),
    real(Row::Contacts, "contacts", [1.0, 1.7, 1.41]),
    real(Row::ContactsOfLarge, "contacts of large", [0.9, 2.8, 2.1]),
    real(
        Row::OutlineTouching,
        "outline within 1.5 px",
        [0.08, 0.21, 0.19],
    ),
    real(
        Row::OutlineNear,
        "outline within 2.9 px",
        [0.13, 0.27, 0.255],
    ),
    real(Row::Touching, "stones touching", [0.54, 0.78, 0.65]),
    real(Row::Gap, "gap/diameter, median", [0.0, 0.01, 0.0]),
    real(Row::GapP90, "gap/diameter, p90", [0.19, 0.31, 0.27]),
    real(Row::RingInner, "small by large, 0-2 mm", [0.23, 0.51, 0.38]),
    real(Row::RingOuter, "small by large, 2-5 mm", [0.54, 0.79, 0.73]),
    real(Row::BareP99, "bare, p99, mm", [9.0, 14.0, 12.7]),
    real(
        Row::SortingByNumber,
        "sorting by number, phi",
        [0.67, 0.82, 0.78],
    ),
    real(
        Row::SortingByArea,
        "sorting by area, phi",
        [0.74, 1.17, 0.79],
    ),
];

/// A row of ours beside the real one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Compared {
    /// What real gravel gives.
    pub real: Real,
    /// Median over our takes; NaN if no take has the figure.
    pub median: f64,
    /// Least over our takes.
    pub least: f64,
    /// Most over our takes.
    pub most: f64,
}

impl Compared {
    /// Whether our median is from the least to the most that real gravel gives, each widened by
    /// `slack` of their difference; never for NaN.
    #[must_use]
    pub fn is_inside(&self, slack: f64) -> bool {
        let more = slack * (self.real.most - self.real.least);
        (self.real.least - more..=self.real.most + more).contains(&self.median)
    }
}

/// Sets takes beside real gravel, row by row.
#[must_use]
pub fn compare(takes: &[Figures]) -> Vec<Compared> {
    let of_row = |real: &Real| {
        let known: Vec<f64> = takes
            .iter()
            .map(|t| t.get(real.row))
            .filter(|v| !v.is_nan())
            .collect();
        Compared {
            real: *real,
            median: quantile(&known, 0.5),
            least: quantile(&known, 0.0),
            most: quantile(&known, 1.0),
        }
    };
    REAL.iter().map(of_row).collect()
}

/// Rows of `asked` whose median is outside the real range, in words; empty if all are inside. For
/// tests to assert on.
#[must_use]
pub fn outside(takes: &[Figures], asked: &[Row], slack: f64) -> Vec<String> {
    compare(takes)
        .iter()
        .filter(|c| asked.contains(&c.real.row) && !c.is_inside(slack))
        .map(|c| {
            let Real {
                name, least, most, ..
            } = c.real;
            format!("{name}: {:.3}, real {least} to {most}", c.median)
        })
        .collect()
}

/// The comparison as text.
#[must_use]
pub fn table(takes: &[Figures]) -> String {
    let mut text = format!(
        "{:<26}{:>9}{:>9}{:>9}   {:<22}\n",
        "", "median", "least", "most", "real: least-most (median)"
    );
    let compared = compare(takes);
    for c in &compared {
        let r = c.real;
        let range = format!("{}-{} ({})", r.least, r.most, r.median);
        let said = if c.is_inside(0.0) {
            "inside"
        } else if c.median < r.least {
            "below"
        } else if c.median > r.most {
            "above"
        } else {
            "no figure"
        };
        let _ = writeln!(
            text,
            "{:<26}{:>9.3}{:>9.3}{:>9.3}   {range:<26}{said}",
            r.name, c.median, c.least, c.most
        );
    }
    let inside = compared.iter().filter(|c| c.is_inside(0.0)).count();
    let stones: usize = takes.iter().map(|t| t.stones).sum();
    let _ = writeln!(
        text,
        "{inside} of {} rows inside; {stones} whole stones in {} takes",
        compared.len(),
        takes.len()
    );
    text
}
