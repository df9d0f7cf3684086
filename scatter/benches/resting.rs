//! What a piece costs as the frame widens: gravel and litter, from some 12,000 pieces to 100,000,
//! by stage. Run with
//! `cargo bench -p scatter --bench resting`.

#![expect(clippy::print_stdout, reason = "a benchmark prints its figures")]

mod bed;
#[path = "../../tests/src/dresser.rs"]
#[allow(dead_code, unreachable_pub, reason = "a bench uses a part of it")]
mod dresser;

use std::path::Path;
use std::time::Instant;

use dresser::{Dressed, Dresser};
use scatter::shot::Shot;

/// Pieces asked for, about.
const PIECES: [f64; 4] = [12_500.0, 25_000.0, 50_000.0, 100_000.0];
/// Rounds of each: the quickest counts, since what else the machine does only adds.
const ROUNDS: usize = 3;

/// Stones, gravel among them, twigs and leaves on uneven ground, seen from `height` metres above.
fn shot(height: f64) -> Shot {
    let passes = [
        bed::stones(0.12),
        bed::gravel(0.3, "5 mm"),
        bed::twigs(60.0, "30 mm", 0.3),
        bed::leaves(500.0),
    ];
    bed::parse(&bed::document(height, Some(bed::uneven()), &passes))
}

/// The quickest of some dressings, and the whole of it in seconds; the kit is at hand.
fn quickest(height: f64) -> (f64, Dressed) {
    let shot = shot(height);
    let dresser = Dresser::new(&shot, Path::new(".")).expect("the bench's kit grows");
    (0..ROUNDS)
        .map(|_| {
            let begun = Instant::now();
            let dressed = dresser.dress(1).expect("the bench's shot dresses");
            (begun.elapsed().as_secs_f64(), dressed)
        })
        .min_by(|a, b| a.0.total_cmp(&b.0))
        .expect("a round")
}

fn main() {
    let count = |d: &Dressed| d.layout.instances.len() as f64;
    // Framed ground, and so the pieces, grow with the square of the height
    let each = count(&quickest(1.0).1);
    let mut first = None;
    for pieces in PIECES {
        let (seconds, dressed) = quickest((pieces / each).sqrt());
        let made = count(&dressed);
        let per_piece = |seconds: f64| 1e6 * seconds / made;
        let whole = per_piece(seconds);
        let first = *first.get_or_insert(whole);
        println!(
            "{made} pieces in {seconds:.2} s: {whole:.1} us a piece, {:.2} times the first",
            whole / first
        );
        let kit = |name: &str| name == "kit" || name == "hero";
        for stage in dressed.stages.iter().filter(|s| !kit(&s.name)) {
            println!(
                "  {:28} {:6.3} s {:6.1} us a piece",
                stage.name,
                stage.seconds,
                per_piece(stage.seconds)
            );
        }
    }
}
