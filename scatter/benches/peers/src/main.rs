//! Equal discs by Strew, by a Poisson-disk crate and by the plain sampler, in one run:
//! `cargo run --release --manifest-path scatter/benches/peers/Cargo.toml`.

#[path = "../../samplers/bridson.rs"]
mod bridson;
#[path = "../../samplers/own.rs"]
mod own;

use std::f64::consts::FRAC_PI_4;
use std::time::Instant;

use nalgebra::Vector2;
use own::{plan, run, with_threads};
use poisson::{Builder, Type, algorithm};
use rand::SeedableRng;
use rand::rngs::SmallRng;
use scatter::size::SizeLaw;

/// Both advancing-front samplers end near this cover.
const FRONT: f64 = 0.484;

/// Centre distance at which a million points cover `FRONT` of the unit square.
fn apart() -> f64 {
    1e-3 * (FRONT / FRAC_PI_4).sqrt()
}

fn rate(name: &str, points: impl FnOnce() -> usize) -> f64 {
    let start = Instant::now();
    let points = points();
    let rate = points as f64 / start.elapsed().as_secs_f64();
    let cover = points as f64 * FRAC_PI_4 * apart() * apart();
    println!("{name}: {points} points, cover {cover:.4}, {:.3} M/s", rate / 1e6);
    rate
}

fn main() {
    let of_the_crate = rate("crate poisson 0.10.1, Bridson, 1 thread", || {
        Builder::<f64, Vector2<f64>>::with_radius(0.5 * apart(), Type::Normal)
            .build(SmallRng::seed_from_u64(1), algorithm::Bridson)
            .generate()
            .len()
    });
    let plain = rate("plain Bridson, 1 thread", || bridson::bridson(apart(), 1).len());
    for threads in [1, 2] {
        for (name, cover) in [("cover 0.49", 0.49), ("full", 0.60)] {
            let placed = with_threads(threads, || run(plan(SizeLaw::power(1.0, 0.01, 0.01), cover), 20));
            println!(
                "strew, {name}, {threads} thread(s): {} discs, cover {:.4}, {:.3} M/s: {:.1} times the crate, {:.1} times the plain sampler",
                placed.discs,
                placed.cover,
                placed.rate() / 1e6,
                placed.rate() / of_the_crate,
                placed.rate() / plain
            );
        }
    }
}
