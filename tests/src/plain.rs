//! Plain passes to measure: discs on the endless plane, no fields.

use std::collections::BTreeSet;

use scatter::field::Everywhere;
use scatter::place::block::{Headings, PassPlan};
use scatter::place::{Amount, Asked, Choice, Outline, Schedule, Strata};
use scatter::plan::{NANO, Placed, Rectangle, Stances, Stones};
use scatter::random::pass_key;
use scatter::size::SizeLaw;

/// A pass of one outline without fields.
#[must_use]
pub fn pass(
    sizes: SizeLaw,
    amount: Amount,
    spaced: bool,
    outlines: Vec<Outline>,
    take: u64,
) -> PassPlan {
    let pieces = Choice::even(&outlines);
    let asked = Asked {
        sizes,
        amount,
        pieces: pieces.clone(),
        spaced,
        roll: None,
        longest: None,
        reach: 1.0,
        peak: 1.0,
        varies: false,
    };
    PassPlan {
        schedule: Schedule::new(&asked),
        pieces,
        headings: Headings::random(),
        reach: 1.0,
        stances: Stances::default(),
        stones: None,
        key: pass_key(take, "measured"),
        tag: 5,
    }
}

/// A packed pass of discs, of which a share rolls. Equal ones roll by the exact descent, others by figures of sixteen sides.
#[must_use]
pub fn rolled(sizes: SizeLaw, cover: f64, roll: f64, take: u64) -> PassPlan {
    let plan = discs(sizes.clone(), cover, take);
    let stones = Stones::discs(roll);
    let asked = Asked {
        sizes,
        amount: Amount::Cover(cover),
        pieces: plan.pieces.clone(),
        spaced: true,
        roll: Some(roll),
        longest: Some(2.0 * stones.outer),
        reach: 1.0,
        peak: 1.0,
        varies: false,
    };
    PassPlan {
        schedule: Schedule::new(&asked),
        stones: Some(stones),
        ..plan
    }
}

/// A spaced pass of discs.
#[must_use]
pub fn discs(sizes: SizeLaw, cover: f64, take: u64) -> PassPlan {
    pass(sizes, Amount::Cover(cover), true, vec![Outline::DISC], take)
}

/// A square of the given side (metres) with its corner at a place (metres).
#[must_use]
pub fn square(x: f64, z: f64, side: f64) -> Rectangle {
    let nano = |v: f64| (v * NANO) as i64;
    Rectangle {
        x0: nano(x),
        z0: nano(z),
        x1: nano(x + side),
        z1: nano(z + side),
    }
}

/// All pieces whose middles lie in a rectangle, in the order of octaves and cells.
#[must_use]
pub fn pieces(plan: PassPlan, r: Rectangle) -> Vec<Placed> {
    let mut strata = Strata::new(plan);
    let octaves = strata.plan.schedule.octaves.len();
    let wanted: Vec<BTreeSet<_>> = (0..octaves)
        .map(|o| strata.blocks_of(o, r).collect())
        .collect();
    strata
        .ensure(&wanted, &Everywhere)
        .expect("a plain pass evaluates");
    let mut all = Vec::new();
    for octave in 0..octaves {
        strata.collect(octave, r, &mut all);
    }
    all.retain(|p| r.holds(p.x, p.z));
    all
}

/// One octave's pieces on a square of its own, large enough for about `count` of them: area in square metres and pieces.
///
/// Cover and size law add up octave by octave, so each may be measured where it has enough pieces.
#[must_use]
pub fn by_octave(plan: PassPlan, count: f64) -> Vec<(f64, Vec<Placed>)> {
    let mut strata = Strata::new(plan);
    let octaves = strata.plan.schedule.octaves.len();
    (0..octaves)
        .map(|octave| {
            let side = (count / strata.plan.schedule.octaves[octave].asked).sqrt();
            let r = square(0.0, 0.0, side);
            let mut wanted = vec![BTreeSet::new(); octaves];
            wanted[octave] = strata.blocks_of(octave, r).collect();
            strata
                .ensure(&wanted, &Everywhere)
                .expect("a plain pass evaluates");
            let mut pieces = Vec::new();
            strata.collect(octave, r, &mut pieces);
            pieces.retain(|p| r.holds(p.x, p.z));
            (side * side, pieces)
        })
        .collect()
}
