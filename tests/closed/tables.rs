//! The table of real ranges, and how takes are set beside it.

use scatter::random::stream;
use scatter_tests::closed::figures::{quantile, sorting};
use scatter_tests::closed::{Figures, REAL, Row, compare, outside, table};

use crate::near;

#[test]
fn the_table_has_every_row_in_order() {
    assert_eq!(REAL.len(), Row::ALL.len());
    for (k, (real, row)) in REAL.iter().zip(Row::ALL).enumerate() {
        assert_eq!((real.row, row as usize), (row, k), "{}", real.name);
        assert!(real.least < real.most, "{}", real.name);
        assert!(
            (real.least..=real.most).contains(&real.median),
            "{}",
            real.name
        );
    }
}

/// Takes that lie at the real medians, but for one row.
fn takes(odd: Row, values: [f64; 3]) -> Vec<Figures> {
    let take = |value: f64| {
        let mut rows: Vec<f64> = REAL.iter().map(|r| r.median).collect();
        rows[odd as usize] = value;
        Figures { rows, stones: 10 }
    };
    values.map(take).to_vec()
}

#[test]
fn a_row_outside_is_named() {
    let all = Row::ALL;
    assert!(outside(&takes(Row::Cover, [0.52, 0.6, 0.7]), &all, 0.0).is_empty());
    let bad = takes(Row::Cover, [0.7, 0.8, 0.66]);
    let told = outside(&bad, &all, 0.0);
    assert_eq!(told, ["cover: 0.700, real 0.51 to 0.64"]);
    // Half of the range more at each end takes it in
    assert!(outside(&bad, &all, 0.5).is_empty());
    assert!(outside(&bad, &[Row::Solidity], 0.0).is_empty());
    let text = table(&bad);
    assert!(
        text.contains("24 of 25 rows inside; 30 whole stones in 3 takes"),
        "{text}"
    );
    // A figure that no take has is not inside
    let none = outside(&takes(Row::RingInner, [f64::NAN; 3]), &all, 0.0);
    assert_eq!(none.len(), 1, "{none:?}");
    // One that some takes have is judged by those
    assert!(outside(&takes(Row::RingInner, [f64::NAN, 0.4, 0.3]), &all, 0.0).is_empty());
    let row = compare(&bad)[0];
    assert_eq!([row.median, row.least, row.most], [0.7, 0.66, 0.8]);
}

#[test]
fn windows_without_a_figure_do_not_count_in_its_mean() {
    let windows = takes(Row::RingInner, [f64::NAN, 0.4, 0.2]);
    let mean = Figures::mean(&windows);
    near("mean", mean.get(Row::RingInner), 0.3, 1e-12);
    assert_eq!(mean.stones, 30);
}

#[test]
fn quantiles_are_linear_between_values() {
    near("median", quantile(&[3.0, 1.0, 2.0, 10.0], 0.5), 2.5, 1e-12);
    near("p10", quantile(&[0.0, 10.0], 0.1), 1.0, 1e-12);
    assert!(quantile(&[], 0.5).is_nan());
}

/// Of a normal distribution Folk and Ward's sorting is its deviation times (0.99446 / 2 + 1.64485 /
/// 3.3) = 0.9957. Seed 9, 40,000 draws: the standard error is near 0.6% of the deviation; four of
/// them.
#[test]
fn sorting_of_a_normal_distribution() {
    let mut random = stream(9);
    let sizes: Vec<(f64, f64)> = (0..40_000)
        .map(|_| (1.0 + 0.8 * random.normal(), 1.0))
        .collect();
    near("sorting", sorting(&sizes), 0.8 * 0.9957, 0.02);
    // Shares of 1, 3 and 1 have their middles at .1, .5 and .9: phi16 = .15, phi84 = 1.85
    let weighted = sorting(&[(1.0, 3.0), (2.0, 1.0), (0.0, 1.0)]);
    near("weighted", weighted, 1.7 / 4.0 + 2.0 / 6.6, 1e-12);
    assert_eq!(sorting(&[(1.0, 1.0)]), 0.0);
}
