//! Stones that roll: published limits of packing, and what a bed asked for gets.
#![expect(
    clippy::print_stdout,
    reason = "the figures, for who asks with --nocapture"
)]

use scatter::plan::Placed;
use scatter::size::SizeLaw;
use scatter_tests::plain::{pieces, rolled, square};

/// Mean contacts of discs: others whose gap is under a share of the smaller radius.
fn contacts(all: &[Placed], share: f64, side: f64) -> f64 {
    let largest = all
        .iter()
        .map(|p| f64::from(p.diameter))
        .fold(0.0, f64::max)
        * 1e9;
    let mut by_x: Vec<&Placed> = all.iter().collect();
    by_x.sort_by_key(|p| p.x);
    let inner = square(0.0, 0.0, side).grown(-(2.0 * largest) as i64);
    let mut count = vec![0u32; by_x.len()];
    for (i, a) in by_x.iter().enumerate() {
        let ra = 0.5e9 * f64::from(a.diameter);
        // Each pair once: with the larger one at the middle
        let reach = 2.0 * ra * (1.0 + share);
        let first = by_x.partition_point(|b| (b.x as f64) < a.x as f64 - reach);
        for (k, b) in by_x.iter().enumerate().skip(first) {
            if (b.x - a.x) as f64 > reach {
                break;
            }
            if k == i || (b.diameter, b.id) > (a.diameter, a.id) {
                continue;
            }
            let (dx, dz) = ((b.x - a.x) as f64, (b.z - a.z) as f64);
            let rb = 0.5e9 * f64::from(b.diameter);
            let gap = dx.hypot(dz) - ra - rb;
            if gap < share * rb {
                count[i] += 1;
                count[k] += 1;
            }
        }
    }
    let inside: Vec<u32> = by_x
        .iter()
        .zip(&count)
        .filter(|(p, _)| inner.holds(p.x, p.z))
        .map(|(_, c)| *c)
        .collect();
    inside.iter().map(|c| f64::from(*c)).sum::<f64>() / inside.len() as f64
}

fn cover(all: &[Placed], side: f64) -> f64 {
    let area: f64 = all
        .iter()
        .map(|p| std::f64::consts::FRAC_PI_4 * f64::from(p.diameter).powi(2))
        .sum();
    area / (side * side)
}

#[test]
fn trial() {
    use std::collections::BTreeSet;
    let args = std::env::var("TRIAL").unwrap_or_default();
    let v: Vec<f64> = args.split(',').filter_map(|t| t.parse().ok()).collect();
    let (from, to, asked, roll, side) = (v[0], v[1], v[2], v[3], v[4]);
    let plan = rolled(SizeLaw::power(2.5, from, to), asked, roll, 3);
    let start = std::time::Instant::now();
    let r = square(0.0, 0.0, side);
    let mut strata = scatter::place::Strata::new(plan);
    let octaves = strata.plan.schedule.octaves.len();
    let wanted: Vec<BTreeSet<_>> = (0..octaves)
        .map(|o| strata.blocks_of(o, r).collect())
        .collect();
    let blocks: usize = wanted.iter().map(BTreeSet::len).sum();
    strata.ensure(&wanted, &scatter::field::Everywhere).unwrap();
    let t = start.elapsed().as_secs_f64();
    let mut all = Vec::new();
    for octave in 0..octaves {
        let mut of = Vec::new();
        strata.collect(octave, r, &mut of);
        of.retain(|p| r.holds(p.x, p.z));
        let layer = &strata.plan.schedule.octaves[octave];
        let area: f64 = of
            .iter()
            .map(|p| std::f64::consts::FRAC_PI_4 * f64::from(p.diameter).powi(2))
            .sum();
        let asked = layer.asked * layer.mean_square * std::f64::consts::FRAC_PI_4;
        println!(
            "octave {octave}: {} of {:.0}, cover {:.4} of {:.4}, most tries {:.2}",
            of.len(),
            layer.asked * side * side,
            area / side / side,
            asked,
            strata.plan.schedule.most_tries(octave, 1.0)
        );
        all.extend(of);
    }
    let total = strata.total();
    println!(
        "roll {roll} asked {asked}: {} pieces, evaluated {}, cover {:.4}, contacts {:.3}, {t:.2} s, {} blocks, widened {}, candidates {}, lost {}",
        all.len(),
        strata.pieces(),
        cover(&all, side),
        contacts(&all, 0.01, side),
        blocks,
        strata.widened,
        total.candidates,
        total.no_room
    );
}
