//! A layout is the same in every window: pieces compared bit for bit.

#![expect(
    clippy::print_stdout,
    reason = "the figures, for who asks with --nocapture"
)]

use std::collections::{BTreeSet, HashMap};

use scatter::brief::Amount;
use scatter::field::Everywhere;
use scatter::place::block::{Cells, PassPlan, Window, evaluate};
use scatter::place::{Outline, Strata};
use scatter::plan::PassPiece;
use scatter::plan::Placed;
use scatter::random::stream;
use scatter::size::SizeLaw;
use scatter_tests::plain::{discs, pass, pebbles, rolled, square};

/// Passes of every manner of placing, each with the side of a reference square that holds enough of
/// it, metres.
fn passes(take: u64) -> Vec<(&'static str, PassPlan, f64)> {
    let long = |e: f64| Outline::ellipse(e, 0.75 * e);
    vec![
        (
            "power law of discs",
            discs(SizeLaw::power(2.5, 0.004, 0.25), 0.4, take),
            4.2,
        ),
        (
            "power law of ellipses",
            pass(
                SizeLaw::power(2.0, 0.004, 0.06),
                Amount::Cover(0.35),
                true,
                vec![long(1.2), long(1.6), long(2.2)],
                take,
            ),
            2.6,
        ),
        (
            "equal discs, nearly full",
            discs(SizeLaw::power(1.0, 0.006, 0.006), 0.5, take),
            1.6,
        ),
        (
            "equal discs, full",
            discs(SizeLaw::power(1.0, 0.006, 0.006), 0.6, take),
            0.9,
        ),
        (
            "strewn",
            pass(
                SizeLaw::lognormal(0.03, 0.3, 0.012, 0.08),
                Amount::PerSquareMetre(4000.0),
                false,
                vec![long(1.8)],
                take,
            ),
            3.0,
        ),
        (
            "discs, half of them rolling",
            rolled(SizeLaw::power(2.5, 0.004, 0.1), 0.65, 0.6, take),
            1.6,
        ),
        (
            "discs, all rolling",
            rolled(SizeLaw::power(2.5, 0.004, 0.1), 0.75, 1.0, take),
            1.6,
        ),
        (
            "equal discs, all rolling",
            rolled(SizeLaw::power(1.0, 0.006, 0.006), 0.58, 1.0, take),
            0.9,
        ),
        (
            "pebbles, half of them rolling",
            pebbles(SizeLaw::power(2.5, 0.005, 0.06), 0.6, 0.6, take),
            1.4,
        ),
        (
            "pebbles, none rolling",
            pebbles(SizeLaw::power(2.5, 0.005, 0.06), 0.5, 0.0, take),
            1.4,
        ),
    ]
}

type Bits = (i64, i64, u32, [u32; 2], PassPiece, [u8; 2]);

fn bits(p: &Placed) -> Bits {
    (
        p.x,
        p.z,
        p.diameter.to_bits(),
        p.along.map(f32::to_bits),
        p.piece,
        [p.stance, p.sunk],
    )
}

/// Evaluates a square whole and gives each octave's pieces by id.
fn reference(plan: PassPlan, x: f64, z: f64, side: f64) -> (Strata, Vec<HashMap<u64, Bits>>) {
    let mut strata = Strata::new(plan);
    let r = square(x, z, side);
    let octaves = strata.plan.schedule.octaves.len();
    let wanted: Vec<BTreeSet<_>> = (0..octaves)
        .map(|o| strata.blocks_of(o, r).collect())
        .collect();
    strata
        .ensure(&wanted, &Everywhere)
        .expect("a plain pass evaluates");
    let by_id = wanted
        .iter()
        .enumerate()
        .map(|(octave, blocks)| {
            let mut map = HashMap::new();
            for at in blocks {
                for p in strata.block(octave, *at) {
                    assert!(
                        map.insert(p.id, bits(p)).is_none(),
                        "id {:016x} twice",
                        p.id
                    );
                }
            }
            map
        })
        .collect();
    (strata, by_id)
}

/// Cuts random windows of random size and margin out of the reference and compares; gives the
/// number compared.
fn compare_windows(x: f64, z: f64, take: u64, windows: usize) -> usize {
    let mut compared = 0;
    for (name, plan, side) in passes(take) {
        let (strata, by_id) = reference(plan, x, z, side);
        let mut draws = stream(take ^ 77);
        for _ in 0..windows {
            let octave = (draws.unit() * by_id.len() as f64) as usize;
            let layer = &strata.plan.schedule.octaves[octave];
            // A core of random place and size inside the reference, off the blocks' lattice
            let cells = (side * 1e9) as i64 / layer.side;
            let size = 1 + (draws.unit() * 90.0) as i64;
            let inside = (cells - size).max(1) as f64;
            let first = |corner: f64| (corner * 1e9) as i64 / layer.side;
            let x0 = first(x) + (draws.unit() * inside) as i64;
            let z0 = first(z) + (draws.unit() * inside) as i64;
            let core = Cells {
                x0,
                z0,
                x1: x0 + size,
                z1: z0 + size,
            };
            // Any margin, too narrow ones too: they must say so, never answer wrongly
            let mut margin = (draws.unit() * 5.0) as i64;
            let placed = loop {
                let grown = core.grown(margin);
                let world = scatter::plan::Rectangle {
                    x0: grown.x0 * layer.side,
                    z0: grown.z0 * layer.side,
                    x1: grown.x1 * layer.side,
                    z1: grown.z1 * layer.side,
                };
                let mut elders = Vec::new();
                if strata.plan.schedule.spaced {
                    for larger in 0..octave {
                        strata.collect(larger, world.grown(strata.reach(larger)), &mut elders);
                    }
                }
                let window = Window {
                    octave,
                    parts: &[core],
                    margin,
                    elders: &elders,
                };
                let answer = evaluate(&strata.plan, &window, &Everywhere).pop();
                if let Some(Some(answer)) = answer {
                    break answer.placed;
                }
                margin = 2 * margin + 1;
            };
            // Near the reference's own border the reference may not reach
            let within = |p: &Placed| {
                let r = square(x, z, side);
                let cell = layer.side;
                r.grown(-cell).holds(p.x, p.z)
            };
            let mut found = 0;
            for p in placed.iter().filter(|p| within(p)) {
                assert_eq!(
                    by_id[octave].get(&p.id),
                    Some(&bits(p)),
                    "{name}, octave {octave}, {core:?}, margin {margin}: id {:016x} differs",
                    p.id
                );
                found += 1;
            }
            let expected = by_id[octave]
                .values()
                .filter(|b| {
                    let (cx, cz) = (b.0.div_euclid(layer.side), b.1.div_euclid(layer.side));
                    cx >= core.x0
                        && cx < core.x1
                        && cz >= core.z0
                        && cz < core.z1
                        && square(x, z, side).grown(-layer.side).holds(b.0, b.1)
                })
                .count();
            assert_eq!(
                found, expected,
                "{name}, octave {octave}, {core:?}: pieces missing"
            );
            compared += found;
        }
    }
    compared
}

#[test]
fn threads_and_the_order_of_asking_change_nothing() {
    // Blocks are evaluated side by side: in pools of 1, 2 and 4 threads, whole at once and block by
    // block from the far end. Take 40.
    let mut compared = 0;
    for (number, (name, _, side)) in passes(40).into_iter().enumerate() {
        let make = |threads: usize, at_once: bool| {
            let (_, plan, _) = passes(40).swap_remove(number);
            let mut strata = Strata::new(plan);
            let r = square(0.0, 0.0, 0.6 * side);
            let octaves = strata.plan.schedule.octaves.len();
            let wanted: Vec<BTreeSet<_>> = (0..octaves)
                .map(|o| strata.blocks_of(o, r).collect())
                .collect();
            let pool = rayon::ThreadPoolBuilder::new()
                .num_threads(threads)
                .build()
                .expect("a pool of threads");
            pool.install(|| {
                if at_once {
                    strata
                        .ensure(&wanted, &Everywhere)
                        .expect("a plain pass evaluates");
                    return;
                }
                for octave in (0..octaves).rev() {
                    for at in wanted[octave].iter().rev() {
                        let mut one = vec![BTreeSet::new(); octaves];
                        one[octave].insert(*at);
                        strata
                            .ensure(&one, &Everywhere)
                            .expect("a plain pass evaluates");
                    }
                }
            });
            let of_block = |octave: usize, at: &_| {
                let block = strata.block(octave, *at);
                block.iter().map(|p| (p.id, bits(p))).collect::<Vec<_>>()
            };
            let all = wanted.iter().enumerate();
            all.map(|(octave, blocks)| {
                let blocks = blocks.iter().map(|at| of_block(octave, at));
                blocks.collect::<Vec<_>>()
            })
            .collect::<Vec<_>>()
        };
        let one = make(1, true);
        for (threads, at_once) in [(2, true), (4, true), (4, false)] {
            assert_eq!(
                make(threads, at_once),
                one,
                "{name}: {threads} threads, at once: {at_once}"
            );
        }
        compared += 3 * one.iter().flatten().map(Vec::len).sum::<usize>();
    }
    println!("{compared} pieces compared, 0 differ");
    assert!(compared > 300_000, "{compared}");
}

#[test]
fn every_window_gives_the_same_pieces() {
    // Seeds 1 to 3; random cores, margins from 0. Zero pieces may differ.
    let mut compared = 0;
    let mut take = 0;
    while compared < 800_000 {
        take += 1;
        compared += compare_windows(0.0, 0.0, take, 160);
        assert!(take < 30, "only {compared} pieces compared");
    }
    println!("{compared} pieces compared, 0 differ");
}

#[test]
fn a_hundred_kilometres_out_is_the_same() {
    let mut compared = 0;
    let mut take = 100;
    while compared < 250_000 {
        take += 1;
        compared += compare_windows(100_000.0, -70_000.0, take, 160);
        assert!(take < 130, "only {compared} pieces compared");
    }
    println!("{compared} pieces compared, 0 differ");
}

#[test]
fn spacing_is_kept_a_hundred_kilometres_out() {
    // Equal discs of 6 mm: no two middles nearer than the sum of the radii, exactly, on the
    // nanometre lattice.
    let plan = discs(SizeLaw::power(1.0, 0.006, 0.006), 0.54, 9);
    let r = square(100_000.0, 100_000.0, 0.8);
    let pieces = scatter_tests::plain::pieces(plan, r);
    assert!(pieces.len() > 10_000, "{}", pieces.len());
    let mut by_x: Vec<&Placed> = pieces.iter().collect();
    by_x.sort_by_key(|p| p.x);
    let mut closest = f64::INFINITY;
    for (i, a) in by_x.iter().enumerate() {
        for b in by_x[i + 1..].iter().take_while(|b| b.x - a.x < 7_000_000) {
            let (dx, dz) = ((b.x - a.x) as f64, (b.z - a.z) as f64);
            let sum = 0.5e9 * (f64::from(a.diameter) + f64::from(b.diameter));
            closest = closest.min((dx * dx + dz * dz).sqrt() / sum);
        }
    }
    assert!(closest >= 1.0, "two discs at {closest} of their distance");
    assert!(closest < 1.001, "nothing is near: {closest}");
}
