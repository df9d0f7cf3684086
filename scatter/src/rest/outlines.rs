//! How the outlines of grown stones spread, compared with those of real ones.
//!
//! Real figures: label masks of stones in six photographs of river gravel, outlines as seen, of
//! stones at least 14 pixels wide, most of them 14 to 40. Over photographs: b/a 10th percentile .41
//! to .50, median .61 to .73, standard deviation .136 to .170; area over convex area, median .954
//! to .961; area of the difference from the ellipse of equal second moments over the area, median
//! .10 to .12, 90th percentile .17 to .28. Those outlines are partly hidden by other stones, which
//! makes them depart a little more than whole ones do.

use glam::{DQuat, DVec2};

use super::RigidBody;
use crate::kit::{Kind, Piece, grow_all};
use crate::plan::convex_hull;

/// Pixels covered, their middles.
fn mask(piece: &Piece, turn: DQuat, across: f64) -> Vec<DVec2> {
    let mesh = &piece.parts[0].mesh;
    let plan: Vec<DVec2> = mesh
        .positions
        .iter()
        .map(|p| {
            let p = turn * p.as_dvec3();
            DVec2::new(p.x, p.z)
        })
        .collect();
    let low = plan.iter().copied().fold(DVec2::INFINITY, DVec2::min);
    let high = plan.iter().copied().fold(DVec2::NEG_INFINITY, DVec2::max);
    let size = high - low;
    // As many pixels across as a square of the same bounds would have.
    let pixel = (size.x * size.y).sqrt() / across;
    let (wide, tall) = ((size.x / pixel) as usize + 1, (size.y / pixel) as usize + 1);
    let mut covered = vec![false; wide * tall];
    for t in mesh.indices.chunks_exact(3) {
        let [a, b, c] = [t[0], t[1], t[2]].map(|i| (plan[i as usize] - low) / pixel);
        let (from, to) = (a.min(b).min(c), a.max(b).max(c));
        for y in from.y as usize..(to.y as usize + 1).min(tall) {
            for x in from.x as usize..(to.x as usize + 1).min(wide) {
                let p = DVec2::new(x as f64 + 0.5, y as f64 + 0.5);
                let side = |a: DVec2, b: DVec2| (b - a).perp_dot(p - a);
                let sides = [side(a, b), side(b, c), side(c, a)];
                if sides.iter().all(|s| *s >= 0.0) || sides.iter().all(|s| *s <= 0.0) {
                    covered[y * wide + x] = true;
                }
            }
        }
    }
    (0..wide * tall)
        .filter(|i| covered[*i])
        .map(|i| DVec2::new((i % wide) as f64 + 0.5, (i / wide) as f64 + 0.5))
        .collect()
}

/// What is measured of an outline.
#[derive(Debug, Clone, Copy)]
struct OutlineMeasures {
    /// Minor over major axis of the ellipse of equal second moments.
    ratio: f64,
    /// Pixels over pixels whose middles lie in the hull of the pixels' edges.
    solidity: f64,
    /// Pixels in the outline or in the ellipse and not in both, over those of the outline.
    difference: f64,
}

impl OutlineMeasures {
    fn of(mask: &[DVec2]) -> Self {
        let n = mask.len() as f64;
        let middle = mask.iter().sum::<DVec2>() / n;
        // A pixel's own second moment is 1/12.
        let (mut xx, mut yy, mut xy) = (1.0 / 12.0, 1.0 / 12.0, 0.0);
        for p in mask {
            let d = *p - middle;
            xx += d.x * d.x / n;
            yy += d.y * d.y / n;
            xy += d.x * d.y / n;
        }
        let mean = 0.5 * (xx + yy);
        let spread = (0.25 * (xx - yy) * (xx - yy) + xy * xy).sqrt();
        let determinant = xx * yy - xy * xy;
        let in_ellipse = |p: DVec2| {
            let d = p - middle;
            yy * d.x * d.x - 2.0 * xy * d.x * d.y + xx * d.y * d.y <= 4.0 * determinant
        };
        let edges: Vec<[f64; 2]> = mask
            .iter()
            .flat_map(|p| {
                [(0.5, 0.0), (-0.5, 0.0), (0.0, 0.5), (0.0, -0.5)].map(|o| [p.x + o.0, p.y + o.1])
            })
            .collect();
        let hull = convex_hull(&edges);
        let in_hull = |p: DVec2| {
            (0..hull.len()).all(|i| {
                let (a, b) = (hull[i], hull[(i + 1) % hull.len()]);
                (b[0] - a[0]) * (p.y - a[1]) - (b[1] - a[1]) * (p.x - a[0]) >= -1e-9
            })
        };
        // The ellipse may leave the outline's bounds: by less than half its length.
        let reach = mask.iter().map(|p| p.max_element()).fold(0.0, f64::max) as i32;
        let (mut hulled, mut ellipse) = (0.0, 0.0);
        for y in -reach / 2..=reach * 3 / 2 {
            for x in -reach / 2..=reach * 3 / 2 {
                let p = DVec2::new(f64::from(x) + 0.5, f64::from(y) + 0.5);
                hulled += f64::from(u8::from(in_hull(p)));
                ellipse += f64::from(u8::from(in_ellipse(p)));
            }
        }
        let both = mask.iter().filter(|p| in_ellipse(**p)).count() as f64;
        Self {
            ratio: ((mean - spread) / (mean + spread)).sqrt(),
            solidity: n / hulled,
            difference: (n + ellipse - 2.0 * both) / n,
        }
    }
}

/// Outlines of all variants of kinds, in each of their stances, with how often each is taken.
fn outlines(kinds: &[Kind], across: f64) -> Vec<(OutlineMeasures, f64)> {
    let pieces = kinds.iter().flat_map(|kind| grow_all(*kind));
    // Real ones lie at any angle to the pixels: the golden angle spreads headings evenly.
    let mut heading = 0.0;
    let mut turned = move || {
        heading += 2.399_963;
        DQuat::from_rotation_y(heading)
    };
    pieces
        .flat_map(|piece| {
            let body = RigidBody::of(&piece).unwrap();
            let seen = |turn| OutlineMeasures::of(&mask(&piece, turn, across));
            body.stances
                .iter()
                .map(|s| (seen(turned() * s.turn), s.probability))
                .collect::<Vec<_>>()
        })
        .collect()
}

/// The value that a share of the weight is at or below.
fn quantile(
    outlines: &[(OutlineMeasures, f64)],
    of: impl Fn(&OutlineMeasures) -> f64,
    share: f64,
) -> f64 {
    let mut values: Vec<(f64, f64)> = outlines.iter().map(|(o, w)| (of(o), *w)).collect();
    values.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut left = share * values.iter().map(|v| v.1).sum::<f64>();
    for (value, weight) in &values {
        left -= weight;
        if left <= 0.0 {
            return *value;
        }
    }
    values.last().map_or(f64::NAN, |v| v.0)
}

fn deviation(outlines: &[(OutlineMeasures, f64)]) -> f64 {
    let all: f64 = outlines.iter().map(|o| o.1).sum();
    let mean = outlines.iter().map(|(o, w)| o.ratio * w).sum::<f64>() / all;
    let square = |x: f64| x * x;
    let variance = outlines.iter().map(|(o, w)| square(o.ratio - mean) * w);
    (variance.sum::<f64>() / all).sqrt()
}

#[test]
fn a_disc_and_a_square_measure_as_they_are() {
    let grid = |inside: &dyn Fn(f64, f64) -> bool| -> Vec<DVec2> {
        (0..40 * 40)
            .map(|i| DVec2::new(f64::from(i % 40) + 0.5, f64::from(i / 40) + 0.5))
            .filter(|p| inside(p.x - 20.0, p.y - 20.0))
            .collect()
    };
    let disc = OutlineMeasures::of(&grid(&|x, y| x * x + y * y < 400.0));
    assert!((disc.ratio - 1.0).abs() < 1e-6 && disc.difference < 0.02);
    assert!(disc.solidity > 0.97, "{disc:?}");
    // The disc of equal area leaves the square by 2 (pi / 4 + ...) = 0.181 of its area.
    let square = OutlineMeasures::of(&grid(&|_, _| true));
    assert!((square.difference - 0.181).abs() < 0.02, "{square:?}");
    // An L of three quarters of a square: its hull is seven eighths.
    let corner = OutlineMeasures::of(&grid(&|x, y| x < 0.0 || y < 0.0));
    assert!((corner.solidity - 6.0 / 7.0).abs() < 0.015, "{corner:?}");
}

/// Seen at the pixels that the real ones were measured at; all variants, so no sampling error.
#[test]
fn outlines_of_stones_spread_as_real_ones() {
    let told = |name: &str, of: &[(OutlineMeasures, f64)]| {
        let ratio = |share| quantile(of, |o| o.ratio, share);
        let figures = [
            ratio(0.1),
            ratio(0.5),
            deviation(of),
            quantile(of, |o| o.solidity, 0.5),
            quantile(of, |o| o.difference, 0.5),
            quantile(of, |o| o.difference, 0.9),
        ];
        (format!("{name} {figures:.3?}"), figures)
    };
    let worn = [Kind::Cobble, Kind::Pebble];
    let (text, [p10, median, deviation, solidity, difference, tail]) =
        told("worn", &outlines(&worn, 25.0));
    assert!((0.41..0.50).contains(&p10), "{text}");
    assert!((0.61..0.73).contains(&median), "{text}");
    assert!((0.136..0.170).contains(&deviation), "{text}");
    assert!((0.950..0.962).contains(&solidity), "{text}");
    assert!((0.095..0.12).contains(&difference), "{text}");
    // Whole outlines: the tail of those that others hide in part is longer.
    assert!((0.15..0.28).contains(&tail), "{text}");
    // Broken rock is at least as varied.
    let (text, rock) = told("rock", &outlines(&[Kind::Rock], 25.0));
    assert!(
        rock[2] > 0.136 && rock[3] < 0.96 && rock[4] > 0.10,
        "{text}"
    );
}
