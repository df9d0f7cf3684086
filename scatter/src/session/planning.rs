//! What a pass asks, as the placing understands it.

use rustc_hash::FxHashMap;

use crate::brief::{Amount, Brief, Pass};
use crate::error::{Error, Result};
use crate::field::Clumps;
use crate::kit::Serving;
use crate::place::Choice;
use crate::random::tag;
use crate::units::Length;

/// A clump's middle is taken to be at most this many times a lone clump: heaps that overlap add up.
const CROWDED_CLUMPS: f64 = 3.0;
/// Local cover that a spaced pass can follow at most, over which clumps are full whatever is asked.
const FULL_COVER: f64 = 0.9;

/// Sizes that no piece of a pass has by nature are an error, unless the pass may stretch.
pub(super) fn check_sizes(
    (index, name, pass): (usize, &str, &Pass),
    kit: &[Serving],
    choice: &Choice,
) -> Result<()> {
    let gaps = choice.gaps(pass.sizes.from(), pass.sizes.to());
    if pass.stretch || gaps.is_empty() {
        return Ok(());
    }
    // Three digits say enough; natural sizes are told a little narrower, so that what is told is
    // served
    let length = |metres: f64, round: fn(f64) -> f64| {
        let step = libm::pow(10.0, libm::floor(libm::log10(metres)) - 2.0);
        let steps = metres / step;
        let whole = libm::round(steps);
        let near = (steps - whole).abs() < 1e-6;
        let told = if near { whole } else { round(steps) } * step;
        // Without the product's last digit
        Length::from_metres(libm::round(told * 1e9) / 1e9).to_string()
    };
    let range = |[from, to]: &[f64; 2]| {
        format!(
            "{} to {}",
            length(*from, libm::ceil),
            length(*to, libm::floor)
        )
    };
    let missing: Vec<String> = gaps.iter().map(range).collect();
    let natural = kit.iter().filter_map(|s| s.sizes);
    let (low, high) = natural.fold((f64::INFINITY, 0.0_f64), |(l, h), [from, to]| {
        (l.min(from), h.max(to))
    });
    Err(Error::input(
        format!("passes[{index}].sizes"),
        format!(
            "no piece of {:?} has a natural size of {}",
            name,
            missing.join(", ")
        ),
        format!(
            "its pieces go from {}: narrow `sizes`, name more pieces, widen the kit's `sizes`, or set `stretch`",
            range(&[low, high])
        ),
    ))
}

/// Largest local target over the one asked that a schedule is worked out for.
pub(super) fn peak(
    clumps: Option<&Clumps>,
    most_crowd: f64,
    pass: &Pass,
    pieces: &Choice,
    spaced: bool,
) -> f64 {
    let sizes = &pass.sizes;
    let crest = most_crowd * clumps.map_or(1.0, |c| (CROWDED_CLUMPS * c.crest()).max(1.0));
    if !spaced {
        return crest;
    }
    let fill = pieces.fill(sizes);
    let cover = match pass.amount {
        Amount::Cover(c) => c,
        Amount::PerSquareMetre(n) => n * fill * sizes.mean_square(),
    };
    crest.min((FULL_COVER / cover).max(1.0))
}

/// No two layers may share a mark in ids: these would not be unique by construction.
///
/// # Errors
/// Two do; the error is said of a pass.
pub(super) fn check_tags(brief: &Brief) -> Result<()> {
    let mut known: FxHashMap<u16, usize> = FxHashMap::default();
    for (at, layer) in brief.layers.iter().enumerate() {
        let Some(other) = known.insert(tag(&layer.name), at) else {
            continue;
        };
        // Passes come first: the earlier of the two is one, if any is
        let passes = brief.passes().count();
        let pass = if at < passes { at } else { other };
        return Err(Error::input(
            format!("passes[{pass}].name"),
            format!(
                "`{}` and `{}` fold to the same mark in piece ids, by chance",
                layer.name, brief.layers[other].name
            ),
            "change a letter of one of the two names",
        ));
    }
    Ok(())
}
