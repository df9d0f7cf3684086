//! Size laws: their figures, and ranges that hold together.

use super::faults::Faults;
use super::scene::said;
use crate::shot::Sizes;
use crate::shot::bounds::{DIAMETER_M, EXPONENT, MAX_RATIO, SPREAD, UNIFORMITY};
use crate::units::Length;

pub(super) fn sizes(sizes: &Sizes, at: &str, faults: &mut Faults) {
    match *sizes {
        Sizes::Power { exponent, from, to } => {
            faults.within(
                format!("{at}.exponent"),
                exponent,
                EXPONENT,
                "broken rock has 1.5 to 3",
            );
            range(from, to, at, faults);
        }
        Sizes::Lognormal {
            median,
            spread,
            from,
            to,
        } => {
            diameter(median, format!("{at}.median"), faults);
            faults.within(
                format!("{at}.spread"),
                spread,
                SPREAD,
                "the standard deviation of ln(diameter)",
            );
            lognormal_range(median, [from, to], at, faults);
            if SPREAD.holds(spread) {
                ratio(sizes.range(), at, faults);
            }
        }
        Sizes::RosinRammler {
            d63,
            uniformity,
            from,
            to,
        } => {
            diameter(d63, format!("{at}.d63"), faults);
            faults.within(
                format!("{at}.uniformity"),
                uniformity,
                UNIFORMITY,
                "crushed rock has 0.7 to 1.5",
            );
            range(from, to, at, faults);
        }
    }
}

pub(super) fn diameter(value: Length, place: String, faults: &mut Faults) {
    faults.length(place, value, DIAMETER_M);
}

fn range(from: Length, to: Length, at: &str, faults: &mut Faults) {
    diameter(from, format!("{at}.from"), faults);
    diameter(to, format!("{at}.to"), faults);
    if from > to {
        inverted(from, to, at, faults);
    } else {
        ratio([from.metres(), to.metres()], at, faults);
    }
}

pub(super) fn inverted(from: Length, to: Length, at: &str, faults: &mut Faults) {
    faults.add(
        format!("{at}.from"),
        format!("`from`, {from}, is above `to`, {to}"),
        "`from` at most `to`; equal for pieces of one size",
    );
}

fn ratio([from, to]: [f64; 2], at: &str, faults: &mut Faults) {
    // A hair over the limit is rounding, not a wider range.
    if from > 0.0 && to / from > MAX_RATIO * (1.0 + 1e-9) {
        faults.add(
            at,
            format!(
                "sizes from {} to {} span a ratio of {:.0}",
                said(from),
                said(to),
                to / from
            ),
            format!("at most {MAX_RATIO}; split the pass in two"),
        );
    }
}

fn lognormal_range(median: Length, limits: [Option<Length>; 2], at: &str, faults: &mut Faults) {
    for (value, key) in limits.into_iter().zip(["from", "to"]) {
        if let Some(value) = value {
            diameter(value, format!("{at}.{key}"), faults);
        }
    }
    match limits {
        [Some(from), Some(to)] if from > to => inverted(from, to, at, faults),
        [Some(from), _] if from > median => faults.add(
            format!("{at}.from"),
            format!("`from`, {from}, is above the median {median}"),
            "`from` at most the median",
        ),
        [_, Some(to)] if to < median => faults.add(
            format!("{at}.to"),
            format!("`to`, {to}, is below the median {median}"),
            "`to` at least the median",
        ),
        _ => {}
    }
}
