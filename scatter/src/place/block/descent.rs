//! Where a disc comes to rest among equal ones: steepest descent of a sphere over equal spheres.
//!
//! Jullien and Meakin, "Random sequential adsorption with restructuring in two dimensions", J.
//! Phys. A 25, L189, 1992: a sphere that falls on others rolls down them; it stays where it reaches
//! the plane, and is removed where it stops on three. Seen from above, descent is the ascent of the
//! distance to the nearest centre: straight away from that, then along the bisector of two.

/// Legs of a descent; 12 were the most ever needed.
const MOST_LEGS: usize = 32;
/// Two distances this near, nanometres, are taken for equal.
const EQUAL: f64 = 1e-3;

/// Where a disc of a diameter that starts at a place comes to rest among discs of the same diameter
/// with middles at `near`, on whole nanometres; None where it is trapped, or would go farther than
/// `moves`. All nanometres; `near` holds all within `moves` and twice the diameter.
#[must_use]
pub(super) fn descend(
    near: &[[f64; 2]],
    start: [f64; 2],
    diameter: f64,
    moves: f64,
) -> Option<[f64; 2]> {
    let distance = |c: &[f64; 2], p: [f64; 2]| libm::hypot(p[0] - c[0], p[1] - c[1]);
    let nearest = |p: [f64; 2]| {
        let all = near.iter().map(|c| distance(c, p)).enumerate();
        all.fold(None, |best: Option<(usize, f64)>, (i, d)| match best {
            Some((_, least)) if least <= d => best,
            _ => Some((i, d)),
        })
    };
    let is_free = |p: [f64; 2]| nearest(p).is_none_or(|(_, d)| d >= diameter - 2.0);
    if is_free(start) {
        return Some(start);
    }
    let mut place = start;
    let (mut a, mut far) = nearest(place)?;
    let mut along: Option<usize> = None;
    for _ in 0..MOST_LEGS {
        let end = match along {
            None => radial(near, place, a, far, diameter),
            Some(b) => bisector(near, place, a, b, diameter),
        };
        match end {
            Leg::Free(p) => {
                let p = p.map(libm::rint);
                let far = distance(&start, p);
                return (far <= moves && is_free(p)).then_some(p);
            }
            Leg::Meets(p, c) => {
                match along {
                    None => along = Some(c),
                    Some(b) => {
                        let [p, q] = onward(near, [a, b, c])?;
                        (a, along) = (p, Some(q));
                    }
                }
                place = p;
                far = distance(&near[a], place);
            }
            Leg::Nowhere => return None,
        }
    }
    None
}

/// How a leg ends.
enum Leg {
    /// It is free of all.
    Free([f64; 2]),
    /// It comes as near to another one.
    Meets([f64; 2], usize),
    Nowhere,
}

/// Straight away from the nearest.
fn radial(near: &[[f64; 2]], p: [f64; 2], a: usize, far: f64, diameter: f64) -> Leg {
    if far == 0.0 {
        return Leg::Nowhere;
    }
    let u = [(p[0] - near[a][0]) / far, (p[1] - near[a][1]) / far];
    let mut first = (diameter - far, None);
    for (i, c) in near.iter().enumerate().filter(|(i, _)| *i != a) {
        let w = [c[0] - near[a][0], c[1] - near[a][1]];
        let closes = 2.0 * (u[0] * w[0] + u[1] * w[1]);
        if closes <= 0.0 {
            continue;
        }
        let (dx, dz) = (p[0] - c[0], p[1] - c[1]);
        let t = ((dx * dx + dz * dz - far * far) / closes).max(0.0);
        if t < first.0 {
            first = (t, Some(i));
        }
    }
    let end = [p[0] + first.0 * u[0], p[1] + first.0 * u[1]];
    first.1.map_or(Leg::Free(end), |c| Leg::Meets(end, c))
}

/// Along the bisector of two, away from the middle between them.
fn bisector(near: &[[f64; 2]], p: [f64; 2], a: usize, b: usize, diameter: f64) -> Leg {
    let (ca, cb) = (near[a], near[b]);
    let m = [0.5 * (ca[0] + cb[0]), 0.5 * (ca[1] + cb[1])];
    let (wx, wz) = (cb[0] - ca[0], cb[1] - ca[1]);
    let apart = libm::hypot(wx, wz);
    let half = 0.5 * apart;
    if apart == 0.0 || half >= diameter {
        return Leg::Nowhere;
    }
    let across = [-wz / apart, wx / apart];
    let at = (p[0] - m[0]) * across[0] + (p[1] - m[1]) * across[1];
    let sign = if at < 0.0 { -1.0 } else { 1.0 };
    let v = across.map(|c| sign * c);
    let from = at.abs();
    let mut first = (libm::sqrt(diameter * diameter - half * half), None);
    for (i, c) in near.iter().enumerate().filter(|(i, _)| *i != a && *i != b) {
        let w = [c[0] - m[0], c[1] - m[1]];
        let closes = 2.0 * (v[0] * w[0] + v[1] * w[1]);
        if closes <= 0.0 {
            continue;
        }
        let s = (w[0] * w[0] + w[1] * w[1] - half * half) / closes;
        if s > from + EQUAL && s < first.0 {
            first = (s, Some(i));
        }
    }
    let end = [m[0] + first.0 * v[0], m[1] + first.0 * v[1]];
    first.1.map_or(Leg::Free(end), |c| Leg::Meets(end, c))
}

/// The two of three between which it goes on, from where it is as near to all: those at the ends of
/// the longest side of an obtuse triangle. In an acute one it is held.
fn onward(near: &[[f64; 2]], three: [usize; 3]) -> Option<[usize; 2]> {
    let square = |i: usize, k: usize| {
        let (dx, dz) = (near[i][0] - near[k][0], near[i][1] - near[k][1]);
        dx * dx + dz * dz
    };
    let [a, b, c] = three;
    let mut sides = [
        (square(a, b), a, b),
        (square(b, c), b, c),
        (square(c, a), c, a),
    ];
    sides.sort_by(|x, y| y.0.total_cmp(&x.0));
    (sides[0].0 > sides[1].0 + sides[2].0).then_some([sides[0].1, sides[0].2])
}

/// Whether some place within `moves` of a start is outside of all discs, given by middle and
/// radius. All nanometres.
#[must_use]
pub(super) fn is_room(discs: &[([f64; 2], f64)], start: [f64; 2], moves: f64) -> bool {
    /// A place is taken to be outside a disc from so far inside on, nanometres: rounding hides no
    /// room.
    const SLACK: f64 = 4.0;
    let is_free = |p: [f64; 2]| {
        discs.iter().all(|(c, radius)| {
            let (dx, dz) = (p[0] - c[0], p[1] - c[1]);
            let least = radius - SLACK;
            dx * dx + dz * dz >= least * least
        })
    };
    let in_reach = |p: [f64; 2]| {
        let (dx, dz) = (p[0] - start[0], p[1] - start[1]);
        dx * dx + dz * dz <= (moves + SLACK) * (moves + SLACK)
    };
    if is_free(start) {
        return true;
    }
    for (i, (a, ra)) in discs.iter().enumerate() {
        let (dx, dz) = (start[0] - a[0], start[1] - a[1]);
        let far = libm::sqrt(dx * dx + dz * dz);
        // A middle right at the start has no straight way off: take it for room
        if far == 0.0 {
            return true;
        }
        let off = [a[0] + dx / far * ra, a[1] + dz / far * ra];
        if far < *ra && in_reach(off) && is_free(off) {
            return true;
        }
        for (b, rb) in &discs[i + 1..] {
            let (wx, wz) = (b[0] - a[0], b[1] - a[1]);
            let apart = wx * wx + wz * wz;
            if apart == 0.0 {
                continue;
            }
            // Where both circles cross: along from a, and to either side
            let along = 0.5 * (1.0 + (ra * ra - rb * rb) / apart);
            let square = ra * ra / apart - along * along;
            if square < 0.0 {
                continue;
            }
            let across = libm::sqrt(square);
            for sign in [-1.0, 1.0] {
                let q = [
                    a[0] + along * wx - sign * across * wz,
                    a[1] + along * wz + sign * across * wx,
                ];
                if in_reach(q) && is_free(q) {
                    return true;
                }
            }
        }
    }
    false
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_disc_rolls_off_one_off_two_and_stays_on_three() {
        let d = 1000.0;
        // Off one: straight away from it
        let one = descend(&[[0.0, 0.0]], [300.0, 400.0], d, d).unwrap();
        assert_eq!(one, [600.0, 800.0]);
        // Off two that are 1200 apart: to 800 beside the middle between them
        let two = descend(&[[-600.0, 0.0], [600.0, 0.0]], [10.0, 5.0], d, d).unwrap();
        assert_eq!(two, [0.0, 800.0]);
        // Three in an even triangle hold it
        let three = [
            [0.0, 1100.0 / 3.0_f64.sqrt()],
            [-550.0, -317.5],
            [550.0, -317.5],
        ];
        assert_eq!(descend(&three, [20.0, 30.0], d, d), None);
        // No farther than it may
        assert_eq!(descend(&[[0.0, 0.0]], [300.0, 400.0], d, 400.0), None);
        assert_eq!(
            descend(&[[0.0, 0.0]], [1300.0, 0.0], d, 0.0),
            Some([1300.0, 0.0])
        );
    }
}
