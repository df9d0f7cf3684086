//! Right triangles halved again and again on one lattice that is fixed to the world.
//!
//! Squares of any power of two metres are each cut along one diagonal; a triangle is halved from its
//! apex to the middle of its long side. Both triangles at a long side are halved together, so there
//! are no gaps where fine meets coarse. Based on: Evans, Kirkpatrick and Townsend, "Right-triangulated
//! irregular networks", 2001. A vertex stands for the halving of the two triangles whose long side it
//! is the middle of. They exist once the vertices at their apexes are there: these are the vertex's
//! two parents.

/// A place on the lattice, in steps of [`STEP`] along x and z.
pub(super) type Place = [i64; 2];

/// Side of the finest square, metres: 2^-20, about a micrometre. A power of two, so that places are
/// exact.
pub(super) const STEP: f64 = 1.0 / 1_048_576.0;

/// Widest square: 2^40 steps, about a thousand kilometres.
pub(super) const WIDEST: u32 = 40;

/// The power of two, in steps, of the coarsest square that has a place as a corner, its middle or
/// the middle of a side, and whether it is a middle of a square.
fn rank(place: Place) -> usize {
    let [x, z] = place;
    let power = (x | z).trailing_zeros().min(WIDEST);
    let middle = (x >> power) & (z >> power) & 1 == 1;
    2 * power as usize + usize::from(middle)
}

/// The vertices at the apexes of the triangles that a vertex halves.
fn parents(place: Place) -> [Place; 2] {
    let [x, z] = place;
    let power = (x | z).trailing_zeros();
    let arm = 1_i64 << power;
    let odd = |v: i64| (v >> power) & 1 == 1;
    match (odd(x), odd(z)) {
        (true, true) => {
            // The middle of a square: apexes are the two corners that are middles of sides one
            // step coarser
            let odd_corner = |dx: i64, dz: i64| {
                let (i, j) = ((x + dx * arm) >> (power + 1), (z + dz * arm) >> (power + 1));
                (i + j) & 1 == 1
            };
            if odd_corner(-1, -1) {
                [[x - arm, z - arm], [x + arm, z + arm]]
            } else {
                [[x - arm, z + arm], [x + arm, z - arm]]
            }
        }
        // The middle of a side along x: apexes are the middles of the squares at either hand
        (true, false) => [[x, z - arm], [x, z + arm]],
        _ => [[x - arm, z], [x + arm, z]],
    }
}

/// A triangle: the ends of its long side and its apex, counter-clockwise seen from above.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Right {
    pub(super) ends: [Place; 2],
    pub(super) apex: Place,
}

impl Right {
    /// The two triangles of a square of 2^power steps whose low corner is given in squares.
    pub(super) fn of_square(power: u32, [i, j]: Place) -> [Self; 2] {
        let corner = |dx: i64, dz: i64| [(i + dx) << power, (j + dz) << power];
        let [a, b, c, d] = [corner(0, 0), corner(0, 1), corner(1, 1), corner(1, 0)];
        // The long side joins the corners whose sum is even in squares: see `parents`
        if (i + j) & 1 == 0 {
            [
                Self {
                    ends: [a, c],
                    apex: d,
                },
                Self {
                    ends: [c, a],
                    apex: b,
                },
            ]
        } else {
            [
                Self {
                    ends: [b, d],
                    apex: a,
                },
                Self {
                    ends: [d, b],
                    apex: c,
                },
            ]
        }
    }

    /// The middle of its long side; None where that is finer than the lattice.
    pub(super) fn middle(&self) -> Option<Place> {
        let [a, b] = self.ends;
        let [x, z] = [a[0] + b[0], a[1] + b[1]];
        ((x | z) & 1 == 0).then_some([x / 2, z / 2])
    }

    /// Its halves about the middle of its long side.
    pub(super) fn halves(&self, middle: Place) -> [Self; 2] {
        let [a, b] = self.ends;
        [
            Self {
                ends: [self.apex, a],
                apex: middle,
            },
            Self {
                ends: [b, self.apex],
                apex: middle,
            },
        ]
    }

    /// Its corners, counter-clockwise seen from above.
    pub(super) fn corners(&self) -> [Place; 3] {
        [self.ends[0], self.ends[1], self.apex]
    }
}

/// The vertices at which triangles are halved, with all that have to be for them to be.
pub(super) struct Halved {
    /// By rank, each sorted.
    ranks: Vec<Vec<Place>>,
    /// Vertices of this rank and over are always there.
    top: usize,
}

impl Halved {
    /// With the parents of `asked`, up to squares of 2^power steps, whose corners are all there.
    pub(super) fn new(asked: impl IntoIterator<Item = Place>, power: u32) -> Self {
        let top = 2 * power as usize;
        let mut ranks = vec![Vec::new(); top];
        for place in asked {
            if let Some(same) = ranks.get_mut(rank(place)) {
                same.push(place);
            }
        }
        for rank_now in 0..top {
            let mut same = std::mem::take(&mut ranks[rank_now]);
            same.sort_unstable();
            same.dedup();
            for place in &same {
                for parent in parents(*place) {
                    if let Some(coarser) = ranks.get_mut(rank(parent)) {
                        coarser.push(parent);
                    }
                }
            }
            ranks[rank_now] = same;
        }
        Self { ranks, top }
    }

    /// Whether the triangles whose long side has its middle here are halved.
    pub(super) fn has(&self, middle: Place) -> bool {
        let rank = rank(middle);
        rank >= self.top || self.ranks[rank].binary_search(&middle).is_ok()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeMap;

    fn triangles(halved: &Halved, power: u32, side: i64) -> Vec<Right> {
        let mut work: Vec<Right> = (0..side)
            .flat_map(|i| (0..side).map(move |j| [i, j]))
            .flat_map(|square| Right::of_square(power, square))
            .collect();
        let mut leaves = Vec::new();
        while let Some(t) = work.pop() {
            match t.middle().filter(|m| halved.has(*m)) {
                Some(middle) => work.extend(t.halves(middle)),
                None => leaves.push(t),
            }
        }
        leaves
    }

    fn twice_area(t: &Right) -> i64 {
        let [a, b, c] = t.corners();
        (b[1] - a[1]) * (c[0] - a[0]) - (b[0] - a[0]) * (c[1] - a[1])
    }

    #[test]
    fn whatever_is_asked_the_triangles_meet_edge_to_edge() {
        let mut s = crate::random::stream(7);
        for round in 0..40 {
            let places = (0..=round).map(|_| [0, 1].map(|_| (s.unit() * 256.0) as i64));
            let halved = Halved::new(places, 6);
            let leaves = triangles(&halved, 6, 4);
            let area: i64 = leaves.iter().map(twice_area).sum();
            assert_eq!(area, 2 * 256 * 256, "they tile the plan");
            assert!(leaves.iter().all(|t| twice_area(t) > 0), "they look up");
            let mut edges: BTreeMap<[Place; 2], u32> = BTreeMap::new();
            for t in &leaves {
                let [a, b, c] = t.corners();
                for edge in [[a, b], [b, c], [c, a]] {
                    *edges.entry(edge).or_default() += 1;
                }
            }
            for ([a, b], count) in &edges {
                let rim = (0..2).any(|k| a[k] == b[k] && (a[k] == 0 || a[k] == 256));
                assert_eq!(*count, 1);
                assert!(rim || edges.contains_key(&[*b, *a]), "{a:?} {b:?}");
            }
        }
    }

    #[test]
    fn what_is_asked_is_a_corner() {
        let asked = [[5, 3], [64, 0], [17, 250]];
        let halved = Halved::new(asked, 6);
        let corners: Vec<Place> = triangles(&halved, 6, 4)
            .iter()
            .flat_map(Right::corners)
            .collect();
        assert!(asked.iter().all(|place| corners.contains(place)));
    }
}
