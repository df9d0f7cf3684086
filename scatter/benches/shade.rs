//! Shade solved for shares of light and heights of the sun: seconds and what came of them. Run with
//! `cargo bench -p scatter --bench shade`.

#![expect(clippy::print_stdout, reason = "a benchmark prints its figures")]

#[path = "../../tests/src/dresser.rs"]
#[allow(dead_code, unreachable_pub, reason = "a bench uses a part of it")]
mod dresser;

use std::path::Path;
use std::time::Instant;

use dresser::Dresser;
use scatter::shot::Shot;

/// Rounds of each: the quickest counts, since what else the machine does only adds.
const ROUNDS: usize = 3;

fn shot(lit: f64, elevation: f64) -> Shot {
    let text = serde_json::json!({
        "shot": "bench",
        "cameras": [{ "name": "close", "at": [0, 0.45, 1.15], "toward": [0, 0.05, 0], "lens": "50 mm",
            "frame": [1920, 1080], "far": "40 m" }],
        "light": { "sun": { "azimuth": "150 deg", "elevation": elevation } },
        "shade": { "lit": lit, "fleck": "60 mm", "softness": "20 mm" }
    });
    Shot::parse(&text.to_string(), Path::new("bench.json")).expect("the bench's shot is sound")
}

fn main() {
    for elevation in [24.0, 50.0] {
        for lit in [0.1, 0.3, 0.6] {
            let shot = shot(lit, elevation);
            let dresser = Dresser::new(&shot, Path::new(".")).expect("the bench's kit grows");
            let (seconds, dressed) = (0..ROUNDS)
                .map(|_| {
                    let begun = Instant::now();
                    let dressed = dresser.dress(1).expect("the bench's shot dresses");
                    (begun.elapsed().as_secs_f64(), dressed)
                })
                .min_by(|a, b| a.0.total_cmp(&b.0))
                .expect("a round");
            let figures = dressed.layout.passes.iter().find_map(|p| p.tally.shade);
            let figures = figures.expect("a shade");
            println!(
                "lit {lit}, sun {elevation} degrees high: {seconds:.2} s; {} casters, lit {:.3}, flecks {:.1} mm",
                dressed.layout.instances.len(),
                figures.lit[1],
                1e3 * figures.fleck[1]
            );
        }
    }
}
