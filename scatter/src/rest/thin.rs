//! Fewer vertices of heavy meshes: a scan of a million triangles touches no better than one of some
//! ten thousand.

use std::cmp::Ordering;

use glam::DVec3;

/// A mesh of this many vertices or more is thinned: fifty times as many as a grown stone has.
pub(super) const MANY: usize = 1 << 15;

/// Cells along each side of the plan: those of an underside are then a tenth as wide apart as its
/// feelers.
const COLUMNS: u32 = 128;

/// Cells along each side of the bounds, a third as wide as the skin's vertices are apart.
const CELLS: u32 = 32;

/// Each place once; sorted if there are many.
pub(super) fn distinct(mut points: Vec<DVec3>) -> Vec<DVec3> {
    if points.len() > MANY {
        points.sort_unstable_by(order);
        points.dedup();
    }
    points
}

/// The lowest of the points over each cell of the plan if there are many, else all.
pub(super) fn lowest(points: &[DVec3]) -> Vec<DVec3> {
    best(points, [COLUMNS, 1, COLUMNS], |p, _| -p.y)
}

/// The outermost of the points in each cell of their bounds if there are many, else all.
pub(super) fn outermost(points: &[DVec3]) -> Vec<DVec3> {
    best(points, [CELLS; 3], |p, middle| {
        (p - middle).length_squared()
    })
}

/// The point of the greatest `worth` in each cell, `cells` along the sides of the points' bounds.
fn best(points: &[DVec3], cells: [u32; 3], worth: impl Fn(DVec3, DVec3) -> f64) -> Vec<DVec3> {
    if points.len() <= MANY {
        return points.to_vec();
    }
    let low = points.iter().copied().fold(DVec3::INFINITY, DVec3::min);
    let high = points.iter().copied().fold(DVec3::NEG_INFINITY, DVec3::max);
    let middle = 0.5 * (low + high);
    let cell = |p: DVec3| {
        let along = |k: usize| {
            let share = (p[k] - low[k]) / (high[k] - low[k]).max(f64::MIN_POSITIVE);
            ((share * f64::from(cells[k])) as usize).min(cells[k] as usize - 1)
        };
        (along(0) * cells[1] as usize + along(1)) * cells[2] as usize + along(2)
    };
    let mut kept: Vec<Option<DVec3>> = vec![None; cells.iter().product::<u32>() as usize];
    for p in points {
        let place = &mut kept[cell(*p)];
        let better = |q: DVec3| {
            let by_worth = worth(*p, middle).total_cmp(&worth(q, middle));
            by_worth.then_with(|| order(p, &q)) == Ordering::Greater
        };
        if place.is_none_or(better) {
            *place = Some(*p);
        }
    }
    kept.into_iter().flatten().collect()
}

fn order(a: &DVec3, b: &DVec3) -> Ordering {
    let by = |k: usize| a[k].total_cmp(&b[k]);
    by(1).then(by(0)).then(by(2))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::random::stream;

    #[test]
    fn the_ends_of_many_points_stay_and_few_are_left_alone() {
        let mut draws = stream(2);
        let mut any = || DVec3::from_array([0; 3].map(|_| draws.normal()));
        let many: Vec<DVec3> = (0..100_000).map(|_| any()).collect();
        let extreme = |points: &[DVec3], of: &dyn Fn(&DVec3) -> f64| {
            points.iter().map(of).fold(f64::NEG_INFINITY, f64::max)
        };
        let below = lowest(&many);
        assert!(below.len() < MANY);
        let depth: &dyn Fn(&DVec3) -> f64 = &|p| -p.y;
        assert_eq!(extreme(&below, depth), extreme(&many, depth));
        let skin = outermost(&many);
        assert!(skin.len() < MANY);
        let low = many.iter().copied().fold(DVec3::INFINITY, DVec3::min);
        let high = many.iter().copied().fold(DVec3::NEG_INFINITY, DVec3::max);
        let out: &dyn Fn(&DVec3) -> f64 = &|p| p.distance(0.5 * (low + high));
        assert_eq!(extreme(&skin, out), extreme(&many, out));
        assert_eq!(lowest(&many[..MANY]), many[..MANY]);
        let twice = [&many[..], &many[..]].concat();
        assert_eq!(distinct(twice).len(), many.len());
    }
}
