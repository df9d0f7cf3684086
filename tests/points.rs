//! Point patterns: no trace of the grid, and the closed forms of point processes.

#![expect(
    clippy::print_stdout,
    reason = "the figures, for who asks with --nocapture"
)]

use std::collections::HashMap;
use std::f64::consts::{PI, TAU};

use scatter::brief::Amount;
use scatter::field::clumps::Heaps;
use scatter::field::{Clumps, Here, Target};
use scatter::place::block::PassPlan;
use scatter::place::schedule::SINGLE_PRECISION;
use scatter::place::{Outline, Strata};
use scatter::plan::{Placed, Rectangle};
use scatter::size::SizeLaw;
use scatter_tests::plain::{discs, pass, pebbles, pieces, rolled, square};

/// Nearest other piece of each piece in `r`: distance and direction, nanometres. `all` must reach
/// beyond `r`.
fn nearest(all: &[Placed], r: Rectangle, cell: i64) -> Vec<(f64, f64)> {
    let at = |p: &Placed| (p.x.div_euclid(cell), p.z.div_euclid(cell));
    let mut grid: HashMap<(i64, i64), Vec<&Placed>> = HashMap::new();
    all.iter()
        .for_each(|p| grid.entry(at(p)).or_default().push(p));
    all.iter()
        .filter(|p| r.holds(p.x, p.z))
        .map(|p| {
            let (cx, cz) = at(p);
            let mut best = (f64::INFINITY, 0.0);
            for ring in 0_i64.. {
                // What is found within the rings looked through so far is nearest when no nearer
                // cell is left
                if best.0 <= (ring - 1) as f64 * cell as f64 {
                    break;
                }
                assert!(ring < 200, "a piece without any other in 200 cells");
                for i in -ring..=ring {
                    for j in -ring..=ring {
                        if i.abs().max(j.abs()) != ring {
                            continue;
                        }
                        for q in grid.get(&(cx + i, cz + j)).into_iter().flatten() {
                            let (dx, dz) = ((q.x - p.x) as f64, (q.z - p.z) as f64);
                            let d = (dx * dx + dz * dz).sqrt();
                            if q.id != p.id && d < best.0 {
                                best = (d, dz.atan2(dx));
                            }
                        }
                    }
                }
            }
            best
        })
        .collect()
}

/// Largest |t| that chance gives once in a thousand for `tests` two-sided tests together (normal
/// tail, Bonferroni).
fn critical(tests: usize) -> f64 {
    let level = 0.001 / tests as f64;
    let tail = |z: f64| libm::erfc(z / std::f64::consts::SQRT_2);
    let (mut low, mut high) = (0.0, 10.0);
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if tail(middle) > level {
            low = middle
        } else {
            high = middle
        }
    }
    high
}

/// Student's t of values against zero.
fn t_of(values: &[f64]) -> f64 {
    let n = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n;
    let variance = values.iter().map(|v| (v - mean) * (v - mean)).sum::<f64>() / (n - 1.0);
    mean / (variance / n).sqrt()
}

#[test]
#[expect(clippy::too_many_lines, reason = "one measurement of several figures")]
fn the_grid_leaves_no_trace() {
    // H0: density depends neither on the parity of the cell nor on the place in it, and the
    // direction to the nearest neighbour is uniform. Statistics: in each of 256 squares, the mean
    // over pieces of three parity contrasts, of the first two harmonics of the place in the cell,
    // and of cos and sin of 2 and 4 times the direction; Student's t over the squares, 15 tests
    // together at level 0.001. Take 12. A million pieces each: equal discs at cover 0.5, and the
    // finest octave of a power law at cover 0.4. Rolled stones, 400,000 each: equal discs, a power
    // law of discs at cover 0.75, and pebbles of which six in ten roll.
    let cases: [(&str, PassPlan, f64); 5] = [
        (
            "equal discs",
            discs(SizeLaw::power(1.0, 0.006, 0.006), 0.5, 12),
            7.6,
        ),
        (
            "power law",
            discs(SizeLaw::power(2.5, 0.004, 0.032), 0.4, 12),
            11.4,
        ),
        (
            "equal discs that roll",
            rolled(SizeLaw::power(1.0, 0.006, 0.006), 0.58, 1.0, 12),
            4.8,
        ),
        (
            "power law of discs that roll",
            rolled(SizeLaw::power(2.5, 0.004, 0.032), 0.75, 1.0, 12),
            5.0,
        ),
        (
            "pebbles that roll",
            pebbles(SizeLaw::power(2.5, 0.004, 0.032), 0.6, 0.6, 12),
            5.6,
        ),
    ];
    for (name, plan, side) in cases {
        let least = if plan.stones.is_some() {
            150_000
        } else {
            1_000_000
        };
        let octave = plan.schedule.octaves.len() - 1;
        let cell = plan.schedule.octaves[octave].side;
        let finest = plan.schedule.octaves[octave].to;
        let r = square(0.0, 0.0, side);
        let mut all = pieces(plan, r.grown(40_000_000));
        all.retain(|p| f64::from(p.diameter) <= finest * SINGLE_PRECISION);
        let inside: Vec<&Placed> = all.iter().filter(|p| r.holds(p.x, p.z)).collect();
        let directions = nearest(&all, r, cell);
        const SQUARES: i64 = 16;
        let width = (r.x1 - r.x0) / SQUARES + 1;
        let mut sums = vec![[0.0; 16]; (SQUARES * SQUARES) as usize];
        for (p, (_, direction)) in inside.iter().zip(&directions) {
            let sum = &mut sums[((p.z / width) * SQUARES + p.x / width) as usize];
            let sign = |i: i64| if i.rem_euclid(2) == 0 { 1.0 } else { -1.0 };
            let (sx, sz) = (sign(p.x.div_euclid(cell)), sign(p.z.div_euclid(cell)));
            let phase = |v: i64| TAU * v.rem_euclid(cell) as f64 / cell as f64;
            let (u, v) = (phase(p.x), phase(p.z));
            let terms = [
                sx,
                sz,
                sx * sz,
                u.cos(),
                u.sin(),
                v.cos(),
                v.sin(),
                (2.0 * u).cos(),
                (2.0 * u).sin(),
                (2.0 * v).cos(),
                (2.0 * v).sin(),
                (2.0 * direction).cos(),
                (2.0 * direction).sin(),
                (4.0 * direction).cos(),
                (4.0 * direction).sin(),
            ];
            sum.iter_mut().zip(terms).for_each(|(s, t)| *s += t);
            sum[15] += 1.0;
        }
        // The squares' sides are no whole number of cells: a square's own edge adds nothing on
        // average
        let worst = (0..15)
            .map(|k| t_of(&sums.iter().map(|s| s[k] / s[15]).collect::<Vec<_>>()).abs())
            .fold(0.0, f64::max);
        println!(
            "{name}: {} pieces, largest |t| {worst:.2} of {:.2}",
            inside.len(),
            critical(15)
        );
        assert!(inside.len() >= least, "{name}: {} pieces", inside.len());
        assert!(worst < critical(15), "{name}: t {worst}");
    }
}

#[test]
fn plain_strewn_pieces_are_random() {
    // Clark and Evans, "Distance to nearest neighbor as a measure of spatial relationships", 1954:
    // mean nearest distance over 0.5 / sqrt(density) is 1, standard error of the mean distance
    // 0.26136 / sqrt(n density). Level 0.001, take 3.
    let plan = pass(
        SizeLaw::power(1.0, 0.01, 0.01),
        Amount::PerSquareMetre(40_000.0),
        false,
        vec![Outline::DISC],
        3,
    );
    let r = square(0.0, 0.0, 2.0);
    let all = pieces(plan, r.grown(100_000_000));
    let distances = nearest(&all, r, 5_000_000);
    let n = distances.len() as f64;
    let density = n / 4.0;
    let mean = distances.iter().map(|(d, _)| d * 1e-9).sum::<f64>() / n;
    let index = mean / (0.5 / density.sqrt());
    let error = 0.261_36 / (n * density).sqrt() / (0.5 / density.sqrt());
    println!("Clark-Evans index {index:.5}, standard error {error:.5}, n {n}");
    assert!(
        (index - 1.0).abs() < 3.29 * error,
        "index {index}, standard error {error}"
    );
}

/// Clumps and nothing else.
struct Clumped(Clumps);

impl Target for Clumped {
    type Here<'a> = ClumpedHere;

    fn prepare(&self, _: &[Rectangle], _: [f64; 2]) -> scatter::error::Result<()> {
        Ok(())
    }

    fn here(&self, window: Rectangle, _: [f64; 2]) -> ClumpedHere {
        ClumpedHere(self.0.here(window), self.0.spread())
    }
}

struct ClumpedHere(Heaps, f64);

impl Here for ClumpedHere {
    fn is_flat(&self) -> bool {
        false
    }

    fn most(&self, rectangle: Rectangle) -> f64 {
        self.0.most(rectangle)
    }

    fn at(&self, x: i64, z: i64, _: f64) -> f64 {
        self.0.at(x, z)
    }

    fn grain(&self) -> f64 {
        self.1
    }

    fn refuses(&self, _: &Placed) -> bool {
        false
    }
}

#[test]
fn clumps_are_a_thomas_process() {
    // K(r) = pi r^2 + (1 - exp(-r^2 / 4 s^2)) / kappa (spatstat.random, clusterinfo); kappa 25, s
    // 0.05: 0.01670195, 0.05670075, 0.16493108 at r = 0.05, 0.1, 0.2. Estimator: pairs from an
    // inner square of 4 m, 24 takes; level 0.001 by the takes' own spread.
    let radii = [0.05, 0.1, 0.2];
    let closed = [0.016_701_95, 0.056_700_75, 0.164_931_08];
    let mean_offspring = 8.0;
    let mut estimates: Vec<[f64; 3]> = Vec::new();
    for take in 0..24 {
        let plan = pass(
            SizeLaw::power(1.0, 0.01, 0.01),
            Amount::PerSquareMetre(25.0 * mean_offspring),
            false,
            vec![Outline::DISC],
            take,
        );
        let clumps = Clumps::new(plan.key, 25.0, 0.05, 1.0);
        let mut strata = Strata::new(plan);
        let r = square(0.0, 0.0, 4.0);
        let around = r.grown(250_000_000);
        strata
            .ensure(&[strata.blocks_of(0, around).collect()], &Clumped(clumps))
            .expect("clumps evaluate");
        let mut all = Vec::new();
        strata.collect(0, around, &mut all);
        let cell = 200_000_000;
        let mut grid: HashMap<(i64, i64), Vec<&Placed>> = HashMap::new();
        for p in &all {
            grid.entry((p.x.div_euclid(cell), p.z.div_euclid(cell)))
                .or_default()
                .push(p);
        }
        let mut pairs = [0.0; 3];
        let inside: Vec<&Placed> = all.iter().filter(|p| r.holds(p.x, p.z)).collect();
        for p in &inside {
            let (cx, cz) = (p.x.div_euclid(cell), p.z.div_euclid(cell));
            for q in (-1..=1)
                .flat_map(|i| (-1..=1).map(move |j| (i, j)))
                .filter_map(|(i, j)| grid.get(&(cx + i, cz + j)))
                .flatten()
            {
                let d = (((q.x - p.x) as f64).powi(2) + ((q.z - p.z) as f64).powi(2)).sqrt() * 1e-9;
                if q.id != p.id {
                    pairs
                        .iter_mut()
                        .zip(radii)
                        .for_each(|(n, r)| *n += f64::from(u8::from(d <= r)));
                }
            }
        }
        // By the known density, so that pairs / (n density) is unbiased
        let density = 25.0 * mean_offspring;
        estimates.push(pairs.map(|n| n / (16.0 * density * density)));
    }
    for (k, exact) in closed.iter().enumerate() {
        let own = PI * radii[k] * radii[k] + (1.0 - (-radii[k] * radii[k] / 0.01).exp()) / 25.0;
        assert!(
            (own - exact).abs() < 1e-7,
            "the closed form as read: {own} {exact}"
        );
        let differences: Vec<f64> = estimates.iter().map(|e| e[k] - exact).collect();
        let mean = differences.iter().sum::<f64>() / differences.len() as f64;
        println!(
            "K({}) = {:.6} ({:+.2} %), t {:.2}",
            radii[k],
            mean + exact,
            100.0 * mean / exact,
            t_of(&differences)
        );
        // Student's t, 23 degrees of freedom, two-sided 0.001: 3.768
        assert!(
            t_of(&differences).abs() < 3.768,
            "K({}) off by {mean}",
            radii[k]
        );
        assert!((mean / exact).abs() < 0.05, "K({}) off by {mean}", radii[k]);
    }
}
