//! Fields that refer to what lies already: near it, clear of it, between it, or in its lee.

use super::fade::falloff;
use super::lee;
use super::outlined::Outlined;
use crate::brief::{Fade, RelationKind, Smallest};
use crate::plan::{Buckets, NANO, Placed, Rectangle};

/// How a pass stands to something that lies already.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Relation {
    /// What it wants.
    pub manner: RelationKind,
    /// Distance in nanometres.
    pub within: f64,
    /// The smallest piece that counts.
    pub smallest: Smallest,
}

impl Relation {
    /// Distance from an outline, nanometres, within which the relation has an effect, for a thing
    /// of a diameter and height in metres.
    #[must_use]
    pub fn reach(&self, diameter: f64, height: f64) -> f64 {
        match self.manner {
            RelationKind::Near { diameters, .. } => self.within + diameters * diameter * NANO,
            RelationKind::LeeOf { heights, .. } => heights * height * NANO,
            RelationKind::ClearOf | RelationKind::Between => self.within,
        }
    }

    /// Strength where nothing is near enough to count.
    #[must_use]
    pub fn elsewhere(&self) -> f64 {
        match self.manner {
            RelationKind::Near { elsewhere, .. } | RelationKind::LeeOf { elsewhere, .. } => {
                elsewhere
            }
            RelationKind::ClearOf => 1.0,
            RelationKind::Between => 0.0,
        }
    }
}

/// A relation with all that it looks at from one window.
#[derive(Debug, Clone)]
pub struct Neighbours {
    relation: Relation,
    things: Vec<Neighbour>,
    /// A bounding disc for each thing, tested first.
    discs: Vec<BoundingDisc>,
    buckets: Buckets,
    /// Maximum extent of a piece of the window's octave from its middle, nanometres.
    own_reach: f64,
    /// Whether stones roll off the things. The field then ignores them, except where it is 0.
    rolled_off: bool,
}

/// A thing near enough to a window to count.
#[derive(Debug, Clone)]
struct Neighbour {
    outlined: Outlined,
    /// Distance from its outline within which the relation has an effect, nanometres.
    reach: f64,
    /// The rectangle outside which a place is too far away.
    holds: Rectangle,
}

/// The disc about a thing: it decides alone for the majority of places.
#[derive(Debug, Clone, Copy)]
struct BoundingDisc {
    /// Nanometres.
    middle: [f64; 2],
    radius: f64,
    /// Square of the distance from the middle beyond which the thing has no effect.
    limit: f64,
    /// Metres; infinite for what counts always.
    diameter: f64,
}

impl BoundingDisc {
    fn of(thing: &Neighbour) -> Self {
        let (middle, radius) = thing.outlined.disc();
        let limit = radius + thing.reach + SLACK;
        Self {
            middle,
            radius,
            limit: limit * limit,
            diameter: thing.outlined.counting_diameter(),
        }
    }

    /// Square of a place's distance from the middle.
    fn away(&self, x: i64, z: i64) -> f64 {
        let (dx, dz) = (x as f64 - self.middle[0], z as f64 - self.middle[1]);
        dx * dx + dz * dz
    }

    /// Lower bound of the distance from a place to the outline, nanometres; negative inside the
    /// disc.
    fn at_least(&self, x: i64, z: i64) -> f64 {
        libm::sqrt(self.away(x, z)) - self.radius
    }

    /// Whether a place is surely farther from the outline than a distance.
    fn is_beyond(&self, x: i64, z: i64, distance: f64) -> bool {
        let far = distance + self.radius + SLACK;
        self.away(x, z) > far * far
    }
}

impl Neighbours {
    /// Sorts what a window looks at. `things` must hold everything that can affect the window, in
    /// an order that is the same from every window. `own_reach` is the maximum extent of a piece
    /// from its middle, nanometres.
    #[must_use]
    pub fn new(
        relation: Relation,
        window: Rectangle,
        things: Vec<Outlined>,
        own_reach: f64,
    ) -> Self {
        let things: Vec<Neighbour> = things
            .into_iter()
            .map(|outlined| {
                let reach = relation.reach(outlined.diameter(), outlined.height());
                Neighbour {
                    holds: outlined.bounds().grown(reach as i64 + 1),
                    reach,
                    outlined,
                }
            })
            .collect();
        // Fields are evaluated at places, but what must stay clear is met by whole outlines
        let own = if relation.manner == RelationKind::ClearOf {
            own_reach as i64 + 1
        } else {
            0
        };
        let reaches: Vec<Rectangle> = things.iter().map(|t| t.holds.grown(own)).collect();
        let buckets = Buckets::new(window, &reaches);
        Self {
            relation,
            discs: things.iter().map(BoundingDisc::of).collect(),
            things,
            buckets,
            own_reach,
            rolled_off: false,
        }
    }

    /// Leaves it to stones to keep clear of the things: they roll off them.
    pub fn roll_off(&mut self) {
        self.rolled_off = self.relation.manner == RelationKind::ClearOf;
    }

    /// Whether stones roll off the things.
    #[must_use]
    pub fn is_rolled_off(&self) -> bool {
        self.rolled_off
    }

    /// Maximum extent of a piece from its middle, nanometres.
    #[must_use]
    pub fn own_reach(&self) -> f64 {
        self.own_reach
    }

    /// The field at a place, 0..=1.
    #[must_use]
    pub fn at(&self, x: i64, z: i64, diameter: f64) -> f64 {
        let smallest = self.relation.smallest.metres(diameter);
        let listed = self.buckets.at(x, z).iter().map(|i| *i as usize);
        let mut around = listed.filter(|i| {
            let disc = &self.discs[*i];
            disc.diameter >= smallest && disc.away(x, z) < disc.limit
        });
        match self.relation.manner {
            RelationKind::ClearOf => {
                let inside = |i: usize| self.things[i].outlined.holds(x, z);
                f64::from(!around.any(inside))
            }
            RelationKind::Near {
                fade, elsewhere, ..
            } => {
                let mut strongest: f64 = 0.0;
                for i in around {
                    let thing = &self.things[i];
                    let least = self.discs[i].at_least(x, z) - SLACK;
                    if least > 0.0 && falloff(fade, least, thing.reach) <= strongest {
                        continue;
                    }
                    let edge = thing.outlined.edge_distance(x, z);
                    if edge <= 0.0 {
                        return 0.0;
                    }
                    strongest = strongest.max(falloff(fade, edge, thing.reach));
                }
                elsewhere + (1.0 - elsewhere) * strongest
            }
            RelationKind::Between => {
                let second = self.second_edge(around, x, z);
                falloff(Fade::Smooth, second, self.relation.within)
            }
            RelationKind::LeeOf {
                downwind,
                elsewhere,
                ..
            } => {
                let strongest = around
                    .map(|i| &self.things[i])
                    .map(|t| lee::shelter(&t.outlined, downwind, t.reach, x, z))
                    .fold(0.0, f64::max);
                elsewhere + (1.0 - elsewhere) * strongest
            }
        }
    }

    /// Distance from a place to the second nearest of some outlines, nanometres; infinite within
    /// one, or where there is only one. The nearest discs are tested first, so that few of the
    /// others can matter.
    fn second_edge(&self, around: impl Iterator<Item = usize> + Clone, x: i64, z: i64) -> f64 {
        let mut nearest = [(f64::INFINITY, usize::MAX); 2];
        for i in around.clone() {
            let least = self.discs[i].at_least(x, z);
            if least < nearest[0].0 {
                nearest = [(least, i), nearest[0]];
            } else if least < nearest[1].0 {
                nearest[1] = (least, i);
            }
        }
        let asked = nearest.map(|(_, i)| i);
        let others = around.filter(|i| !asked.contains(i));
        let (mut first, mut second) = (f64::INFINITY, f64::INFINITY);
        for i in asked.into_iter().filter(|i| *i != usize::MAX).chain(others) {
            if self.discs[i].is_beyond(x, z, second) {
                continue;
            }
            let edge = self.things[i].outlined.edge_distance(x, z);
            if edge <= 0.0 {
                return f64::INFINITY;
            }
            if edge < first {
                (first, second) = (edge, first);
            } else if edge < second {
                second = edge;
            }
        }
        second
    }

    /// Whether a piece's outline comes nearer than [`RelationKind::ClearOf`] allows.
    #[must_use]
    pub fn refuses(&self, piece: &Placed, elongation: f64) -> bool {
        if self.relation.manner != RelationKind::ClearOf {
            return false;
        }
        let smallest = self.relation.smallest.metres(f64::from(piece.diameter));
        self.buckets.at(piece.x, piece.z).iter().any(|i| {
            let thing = &self.things[*i as usize].outlined;
            thing.counts(smallest) && thing.meets(piece, elongation, self.relation.within)
        })
    }

    /// Upper bound of the field in a rectangle of the window, for pieces up to a diameter (metres):
    /// 0 where the rectangle lies wholly under one thing that must stay clear, and at most the
    /// strength elsewhere where nothing is near.
    #[must_use]
    pub fn most(&self, r: Rectangle, largest: f64) -> f64 {
        if self.is_field() {
            return if self.reaches(r) {
                1.0
            } else {
                self.relation.elsewhere()
            };
        }
        let smallest = self.relation.smallest.metres(largest);
        // Outlines are convex: one that holds the corners holds the rectangle, and is listed at any
        // of them
        let hidden = self.buckets.at(r.x0, r.z0).iter().any(|i| {
            let thing = &self.things[*i as usize].outlined;
            thing.counts(smallest) && thing.hides(r)
        });
        f64::from(!hidden)
    }

    /// Whether anything may be near enough to a rectangle. Things too small to count are included:
    /// which count depends on the piece.
    fn reaches(&self, r: Rectangle) -> bool {
        // A cell is smaller than a bucket: what meets it is listed at one of its corners
        [(r.x0, r.z0), (r.x1, r.z0), (r.x0, r.z1), (r.x1, r.z1)]
            .into_iter()
            .any(|(x, z)| {
                let listed = self.buckets.at(x, z).iter();
                listed
                    .map(|i| &self.things[*i as usize].holds)
                    .any(|t| t.x0 <= r.x1 && t.x1 >= r.x0 && t.z0 <= r.z1 && t.z1 >= r.z0)
            })
    }

    /// Whether it is a field at all: what must stay clear is refused piece by piece instead.
    #[must_use]
    pub fn is_field(&self) -> bool {
        self.relation.manner != RelationKind::ClearOf
    }

    /// Whether nothing near the window counts at all.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.buckets.is_empty()
    }
}

/// Rounding of distances that decides nothing, nanometres.
const SLACK: f64 = 1.0;
#[cfg(test)]
mod tests {
    use super::*;
    use crate::random::stream;

    /// Squares of 10 to 70 mm in a window of 1 m, apart and over each other, stream 5.
    fn squares(window: Rectangle) -> Vec<Outlined> {
        let mut draws = stream(5);
        (0..120)
            .map(|_| {
                let (x, z) = (
                    draws.between(window.x0 as f64, window.x1 as f64) as i64,
                    draws.between(window.z0 as f64, window.z1 as f64) as i64,
                );
                let side = draws.between(0.01, 0.07);
                let s = (side * NANO) as i64;
                let corners = vec![[x, z], [x + s, z], [x + s, z + s], [x, z + s]];
                Outlined::piece(corners, 0.02, side)
            })
            .collect()
    }

    /// At 4,000 places, stream 6, for pieces that heed all and pieces that heed the larger ones: a
    /// search by the nearest finds what a search of all finds.
    #[test]
    fn asking_the_nearest_first_finds_what_asking_all_finds() {
        let window = Rectangle {
            x0: 0,
            z0: 0,
            x1: 1_000_000_000,
            z1: 1_000_000_000,
        };
        let things = squares(window);
        let near = |fade| RelationKind::Near {
            diameters: 0.8,
            fade,
            elsewhere: 0.1,
        };
        let fades = [Fade::Smooth, Fade::Even, Fade::Steep];
        for manner in fades.map(near).into_iter().chain([RelationKind::Between]) {
            let relation = Relation {
                manner,
                within: 0.15 * NANO,
                smallest: Smallest::Share(2.0),
            };
            let asked = Neighbours::new(relation, window, things.clone(), 0.0);
            let mut draws = stream(6);
            let (mut within, mut nothing) = (0, 0);
            for _ in 0..4_000 {
                let (x, z) = ((draws.unit() * NANO) as i64, (draws.unit() * NANO) as i64);
                let diameter = draws.between(0.001, 0.03);
                let smallest = relation.smallest.metres(diameter);
                let counts = things.iter().filter(|t| t.counts(smallest));
                let mut edges: Vec<(f64, f64)> = counts
                    .map(|t| {
                        (
                            t.edge_distance(x, z),
                            relation.reach(t.diameter(), t.height()),
                        )
                    })
                    .collect();
                edges.sort_by(|a, b| a.0.total_cmp(&b.0));
                let inside = edges.first().is_some_and(|e| e.0 <= 0.0);
                let expected = match manner {
                    _ if inside => 0.0,
                    RelationKind::Near { fade, .. } => {
                        let all = edges
                            .iter()
                            .map(|(edge, reach)| falloff(fade, *edge, *reach));
                        0.1 + 0.9 * all.fold(0.0, f64::max)
                    }
                    _ => edges
                        .get(1)
                        .map_or(0.0, |e| falloff(Fade::Smooth, e.0, relation.within)),
                };
                assert_eq!(asked.at(x, z, diameter), expected, "{manner:?} at {x} {z}");
                within += usize::from(inside);
                nothing += usize::from(expected == 0.0 || expected == 0.1);
            }
            assert!(within > 200 && nothing < 3_000, "{within} {nothing}");
        }
    }
}
