//! Placing side by side, in one run: accepted discs per second. Run with `cargo bench -p scatter --bench placing`.

#![expect(clippy::print_stdout, reason = "a benchmark prints its figures")]

#[path = "samplers/bridson.rs"]
mod bridson;

use std::collections::BTreeSet;
use std::f64::consts::FRAC_PI_4;
use std::time::Instant;

use scatter::field::Everywhere;
use scatter::place::block::{Headings, PassPlan};
use scatter::place::{Amount, Asked, Choice, Outline, Schedule, Strata};
use scatter::random::pass_key;
use scatter::size::SizeLaw;

fn plan(sizes: SizeLaw, cover: f64) -> PassPlan {
    let asked = Asked {
        sizes,
        amount: Amount::Cover(cover),
        pieces: Choice::even(&[Outline::DISC]),
        spaced: true,
        reach: 1.0,
        peak: 1.0,
        varies: false,
    };
    PassPlan {
        schedule: Schedule::new(&asked),
        pieces: asked.pieces.clone(),
        headings: Headings::random(),
        reach: 1.0,
        key: pass_key(1, "bench"),
        tag: 1,
    }
}

/// Evaluates `blocks` x `blocks` blocks of the finest octave; gives pieces, cover of that square, seconds.
fn run(plan: PassPlan, blocks: i64) -> (usize, f64, f64) {
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
    println!(
        "      {} cells, {} candidates, {} blocks widened",
        total.cells, total.candidates, strata.widened
    );
    (
        pieces.len(),
        area / (side as f64 * side as f64 * 1e-18),
        seconds,
    )
}

fn with_threads<R: Send>(threads: usize, f: impl FnOnce() -> R + Send) -> R {
    rayon::ThreadPoolBuilder::new()
        .num_threads(threads)
        .build()
        .expect("a thread pool")
        .install(f)
}

fn main() {
    // `cargo bench ... -- NAME` runs only the named part, on one thread: for profiles and instruction counts
    let only = std::env::args().skip(1).find(|a| !a.starts_with('-'));
    let threads: &[usize] = if only.is_some() { &[1] } else { &[1, 2] };
    let wants = |name: &str| only.as_deref().is_none_or(|o| o == name);
    // About a million points; the plain sampler ends near cover 0.48
    let plain = only.is_none().then(|| {
        let apart = 1e-3 * (0.484_f64 / FRAC_PI_4).sqrt();
        let start = Instant::now();
        let points = bridson::bridson(apart, 1).len();
        let rate = points as f64 / start.elapsed().as_secs_f64();
        println!(
            "plain Bridson, 30 tries, 1 thread: {points} points, cover {:.4}, {:.2} M/s",
            points as f64 * FRAC_PI_4 * apart * apart,
            rate / 1e6
        );
        rate
    });
    for &threads in threads {
        if wants("power") {
            let (n, cover, s) = with_threads(threads, || {
                run(plan(SizeLaw::power(2.5, 0.002, 0.512), 0.4), 20)
            });
            println!(
                "power law, 8 octaves, cover 0.40, {threads} thread(s): {n} discs, cover {cover:.4}, {:.2} M/s",
                n as f64 / s / 1e6
            );
        }
        for (name, cover) in [("equal", 0.49), ("full", 0.60)] {
            if wants(name) {
                let (n, got, s) = with_threads(threads, || {
                    run(plan(SizeLaw::power(1.0, 0.01, 0.01), cover), 20)
                });
                println!(
                    "equal discs, cover {cover:.2} asked, {threads} thread(s): {n} discs, cover {got:.4}, {:.2} M/s",
                    n as f64 / s / 1e6
                );
                if let Some(plain) = plain {
                    println!("      {:.1} times the plain sampler", n as f64 / s / plain);
                }
            }
        }
    }
}
