//! Strew's own placing as a sampler: one pass without fields over a square.

use std::collections::BTreeSet;
use std::f64::consts::FRAC_PI_4;
use std::time::Instant;

use scatter::brief::Amount;
use scatter::field::Everywhere;
use scatter::place::block::{Headings, PassPlan};
use scatter::place::{Choice, Outline, Schedule, Strata, Wanted};
use scatter::random::pass_key;
use scatter::size::SizeLaw;

/// What placing gave, and what it took.
pub(crate) struct Placed {
    /// Discs whose middle lies in the square.
    pub(crate) discs: usize,
    /// Their share of the square.
    pub(crate) cover: f64,
    pub(crate) seconds: f64,
    pub(crate) cells: u64,
    pub(crate) candidates: u64,
}

impl Placed {
    /// Discs a second.
    pub(crate) fn rate(&self) -> f64 {
        self.discs as f64 / self.seconds
    }
}

/// A spaced pass of discs.
pub(crate) fn plan(sizes: SizeLaw, cover: f64) -> PassPlan {
    let asked = Wanted {
        sizes,
        amount: Amount::Cover(cover),
        pieces: Choice::even(&[Outline::DISC]),
        spaced: true,
        roll: None,
        longest: None,
        reach: 1.0,
        peak: 1.0,
        varies: false,
    };
    PassPlan {
        schedule: Schedule::new(&asked),
        pieces: asked.pieces.clone(),
        headings: Headings::random(),
        reach: 1.0,
        stances: scatter::plan::Stances::default(),
        stones: None,
        key: pass_key(1, "bench"),
        tag: 1,
    }
}

/// Evaluates `blocks` x `blocks` blocks of the finest octave.
pub(crate) fn run(plan: PassPlan, blocks: i64) -> Placed {
    let octaves = plan.schedule.octaves.len();
    let mut strata = Strata::new(plan);
    let mut wanted = vec![BTreeSet::new(); octaves];
    let side = strata.block_side(octaves - 1) * blocks;
    let square = scatter::plan::Rectangle {
        x0: 0,
        z0: 0,
        x1: side - 1,
        z1: side - 1,
    };
    for (octave, set) in wanted.iter_mut().enumerate() {
        set.extend(strata.blocks_of(octave, square));
    }
    let start = Instant::now();
    strata
        .ensure(&wanted, &Everywhere)
        .expect("a plain pass evaluates");
    let seconds = start.elapsed().as_secs_f64();
    let mut pieces = Vec::new();
    for octave in 0..octaves {
        strata.collect(octave, square, &mut pieces);
    }
    pieces.retain(|p| square.holds(p.x, p.z));
    let area: f64 = pieces
        .iter()
        .map(|p| FRAC_PI_4 * f64::from(p.diameter) * f64::from(p.diameter))
        .sum();
    let total = strata.total();
    Placed {
        discs: pieces.len(),
        cover: area / (side as f64 * side as f64 * 1e-18),
        seconds,
        cells: total.cells,
        candidates: total.candidates,
    }
}

/// Runs on so many threads.
pub(crate) fn with_threads<R: Send>(threads: usize, f: impl FnOnce() -> R + Send) -> R {
    rayon::ThreadPoolBuilder::new()
        .num_threads(threads)
        .build()
        .expect("a thread pool")
        .install(f)
}
