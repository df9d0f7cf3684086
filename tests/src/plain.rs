//! Plain passes to measure: discs on the endless plane, no fields.

use std::collections::BTreeSet;
use std::sync::Arc;

use scatter::brief::Amount;
use scatter::field::Everywhere;
use scatter::kit::{Kind, grow};
use scatter::place::block::{Headings, PassPlan};
use scatter::place::{Choice, Outline, Schedule, Strata, Wanted};
use scatter::plan::stones::StanceProfile;
use scatter::plan::{NANO, Placed, Rectangle, Stances, Stones};
use scatter::random::pass_key;
use scatter::rest::{self, RigidBody};
use scatter::shot::Pose;
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
    let asked = Wanted {
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

/// A packed pass of discs, of which a share rolls. Equal ones roll by the exact descent, others by
/// figures of sixteen sides.
#[must_use]
pub fn rolled(sizes: SizeLaw, cover: f64, roll: f64, take: u64) -> PassPlan {
    let stones = Stones::discs(roll);
    with_stones(sizes, cover, vec![Outline::DISC], stones, take)
}

/// A packed pass of grown pebbles, each in all stances that it stands in, sunk by up to a third.
///
/// # Panics
/// When a grown pebble has no surface to lie on.
#[must_use]
pub fn pebbles(sizes: SizeLaw, cover: f64, roll: f64, take: u64) -> PassPlan {
    let mut outlines = Vec::new();
    let mut of_piece = Vec::new();
    let mut forms = Vec::new();
    for variant in [0, 7, 13, 29] {
        let piece = grow(Kind::Pebble, variant);
        let body = RigidBody::of(&piece).expect("a pebble is a body");
        let b_axis = piece.measure.b_axis;
        let stances = rest::stances(&body, Pose::Any);
        let mean = |of: &dyn Fn(&rest::Stance) -> f64| -> f64 {
            let each = stances.iter();
            each.map(|(i, share)| share * of(&body.stances[usize::from(*i)]))
                .sum()
        };
        let area = mean(&|s| s.area) / (b_axis * b_axis);
        outlines.push(Outline {
            fill: area,
            area,
            perimeter: mean(&|s| s.profile.perimeter()) / b_axis,
            ..Outline::ellipse(piece.measure.elongation, piece.measure.plan_fill)
        });
        let form = |(s, taken): (&rest::Stance, &(u8, f64))| StanceProfile {
            profile: Arc::clone(&s.profile),
            per_metre: 1.0 / b_axis,
            share: taken.1,
        };
        forms.push(body.stances.iter().zip(&stances).map(form).collect());
        of_piece.push(stances);
    }
    let plan = with_stones(
        sizes,
        cover,
        outlines,
        Stones::new(forms, [0.1, 0.35], roll),
        take,
    );
    PassPlan {
        stances: Stances::new(&of_piece),
        ..plan
    }
}

fn with_stones(
    sizes: SizeLaw,
    cover: f64,
    outlines: Vec<Outline>,
    stones: Stones,
    take: u64,
) -> PassPlan {
    let plan = pass(sizes.clone(), Amount::Cover(cover), true, outlines, take);
    let asked = Wanted {
        sizes,
        amount: Amount::Cover(cover),
        pieces: plan.pieces.clone(),
        spaced: true,
        roll: Some(stones.roll),
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

/// One octave's pieces on a square of its own, large enough for about `count` of them: area in
/// square metres and pieces.
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

/// Exponent of a bounded power law from weighted diameters by maximum likelihood (Aban, Meerschaert
/// and Panorska, "Parameter estimation for the truncated Pareto distribution", 2006), the ends
/// being known: bisection of the score.
#[must_use]
pub fn bounded_pareto_exponent(sample: &[(f64, f64)], from: f64, to: f64) -> f64 {
    let weight: f64 = sample.iter().map(|(_, w)| w).sum();
    let mean_log = sample.iter().map(|(d, w)| w * (d / from).ln()).sum::<f64>() / weight;
    let log_ratio = (to / from).ln();
    // E[ln(d / from)] of the law falls with the exponent
    let expected = |a: f64| 1.0 / a - log_ratio / ((a * log_ratio).exp() - 1.0);
    let (mut low, mut high) = (0.01, 20.0);
    for _ in 0..100 {
        let middle = 0.5 * (low + high);
        if expected(middle) > mean_log {
            low = middle;
        } else {
            high = middle;
        }
    }
    0.5 * (low + high)
}
