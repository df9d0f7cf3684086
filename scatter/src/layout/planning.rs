//! What a pass asks, as the placing understands it.

use super::pins::{self, Pins};
use crate::error::{Error, Fault, Kind, Result};
use crate::field::Clumps;
use crate::kit::Serving;
use crate::place::block::ID_TAG_BITS;
use crate::place::{Amount, Choice};
use crate::random::text_key;
use crate::shot::{CARPET, Pass, SHADE, Shot};
use crate::size::SizeLaw;
use crate::units::Length;

/// A clump's middle is taken to be at most this many times a lone clump: heaps that overlap add up.
const CROWDED_CLUMPS: f64 = 3.0;
/// Local cover that a spaced pass can follow at most, over which clumps are full whatever is asked.
const FULL_COVER: f64 = 0.9;

/// Sizes that no piece of a pass has by nature are an error, unless the pass may stretch.
pub(super) fn check_sizes(
    pass: &Pass,
    index: usize,
    sizes: &SizeLaw,
    kit: &[Serving],
    choice: &Choice,
) -> Result<()> {
    let gaps = choice.gaps(sizes.from(), sizes.to());
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
            pass.name,
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
    amount: Amount,
    sizes: &SizeLaw,
    pieces: &Choice,
    spaced: bool,
) -> f64 {
    let crest = most_crowd * clumps.map_or(1.0, |c| (CROWDED_CLUMPS * c.crest()).max(1.0));
    if !spaced {
        return crest;
    }
    let fill = pieces.fill(sizes);
    let cover = match amount {
        Amount::Cover(c) => c,
        Amount::PerSquareMetre(n) => n * fill * sizes.mean_square(),
    };
    crest.min((FULL_COVER / cover).max(1.0))
}

/// The bits of an id that mark the pass: from its name alone, so that neither order nor other
/// passes matter.
pub(super) fn tag(name: &str) -> u16 {
    (text_key(name) >> (64 - ID_TAG_BITS)) as u16
}

/// Two passes of one shot must not share a tag, nor a pass and the carpet, the shade or the pins:
/// ids would not be unique by construction.
pub(super) fn check_tags(shot: &Shot, pins: &Pins) -> Result<()> {
    for (i, pass) in shot.passes.iter().enumerate() {
        if !pins.all.is_empty() && u64::from(tag(&pass.name)) == pins::tag() {
            return Err(Error::input(
                format!("passes[{i}].name"),
                format!(
                    "`{}` and the pins fold to the same mark in piece ids, by chance",
                    pass.name
                ),
                "change a letter of the name",
            ));
        }
        let carpet = shot.carpet.as_ref().map(|_| CARPET);
        let shade = shot.shade.map(|_| SHADE);
        let mut before = shot.passes[..i]
            .iter()
            .map(|p| p.name.as_str())
            .chain(carpet)
            .chain(shade);
        if let Some(other) = before.find(|name| tag(name) == tag(&pass.name)) {
            return Err(Error::new(
                Kind::Input,
                Fault::new(
                    format!("passes[{i}].name"),
                    format!(
                        "`{}` and `{}` fold to the same mark in piece ids, by chance",
                        pass.name, other
                    ),
                    "change a letter of one of the two names",
                ),
            ));
        }
    }
    Ok(())
}
