//! Placing side by side, in one run: accepted discs per second. Run with `cargo bench -p scatter
//! --bench placing`.
//!
//! The comparison with a Poisson-disk crate is a package of its own, `benches/peers`.

#![expect(
    clippy::disallowed_methods,
    reason = "the figures of a benchmark differ by machine anyway"
)]
#![expect(clippy::print_stdout, reason = "a benchmark prints its figures")]

#[path = "samplers/bridson.rs"]
mod bridson;
#[path = "samplers/own.rs"]
mod own;

use std::f64::consts::FRAC_PI_4;
use std::time::Instant;

use own::{Placed, plan, run, with_threads};
use scatter::size::SizeLaw;

fn say(name: &str, asked: f64, threads: usize, placed: &Placed) {
    println!(
        "{name}, cover {asked:.2} asked, {threads} thread(s): {} discs, cover {:.4}, {:.2} M/s ({} cells, {} candidates)",
        placed.discs,
        placed.cover,
        placed.rate() / 1e6,
        placed.cells,
        placed.candidates
    );
}

fn main() {
    // `cargo bench ... -- NAME` runs only the named part, on one thread: for profiles and
    // instruction counts
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
            let placed = with_threads(threads, || {
                run(plan(SizeLaw::power(2.5, 0.002, 0.512), 0.4), 20)
            });
            say("power law, 8 octaves", 0.4, threads, &placed);
        }
        for (name, cover) in [("equal", 0.49), ("full", 0.60)] {
            if wants(name) {
                let placed = with_threads(threads, || {
                    run(plan(SizeLaw::power(1.0, 0.01, 0.01), cover), 20)
                });
                say("equal discs", cover, threads, &placed);
                if let Some(plain) = plain {
                    println!("      {:.1} times the plain sampler", placed.rate() / plain);
                }
            }
        }
    }
}
