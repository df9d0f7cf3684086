//! What a dressing would have to make, in closed form, before any of it is made.
//!
//! The ground that is wanted of each pass is found backwards, from the last pass to the first: what
//! the cameras want of it, what the relations of later passes look at, and what their pieces may
//! lie on. It is told by areas, so that a wish for a thousand square kilometres costs no more than
//! one for a square metre. Of several wishes for one octave the largest counts alone: what is told
//! is never more than about what would be made.

use super::needed::wish;
use super::relations::Referent;
use super::run::Run;
use crate::brief::RelationKind;
use crate::error::{Error, ErrorKind, Fault, Result};
use crate::place::Strata;
use crate::plan::NANO;
use crate::view::ConvexPolygon;

/// Most pieces that one dressing makes, seen or not: 40 bytes each as they are placed, so two
/// gigabytes.
const MOST_PIECES: f64 = 5e7;
/// Most cells and candidates that one dressing looks at: a tenth of a microsecond each, so some
/// three minutes of computing.
const MOST_LOOKS: f64 = 2e9;
/// Most parents of clumps that one block looks at: 64 bytes each with their buckets, so 64 MB a
/// thread.
const MOST_PARENTS: f64 = 1e6;
/// What is in view is forecast block by block up to so many times that much: the blocks of two
/// thousand million pieces fit in memory.
const FORECAST: f64 = 40.0;
/// Candidates for an equal piece where the ground is to be full; what is covered by then is not
/// looked at.
const FULL_TRIES: f64 = 64.0;

/// Why some ground is wanted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum DemandCause {
    /// A camera may need its pieces.
    View,
    /// A field of a later pass looks at its pieces: the pass's number, and the field's in its
    /// `gather`.
    Gather(usize, usize),
    /// Pieces of a later pass may lie on its pieces.
    Lying(usize),
}

/// Some ground, by its measures.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Extent {
    /// Square metres.
    area: f64,
    /// Metres; of parts that overlap no more than that of the rectangle that holds them.
    perimeter: f64,
    /// The rectangle `[x0, z0, x1, z1]` that holds it, metres.
    bounds: [f64; 4],
    cause: DemandCause,
}

impl Extent {
    /// What some polygons hold with their margins; None of none.
    fn of(polygons: &[ConvexPolygon], cause: DemandCause) -> Option<Self> {
        let bounds = polygons.iter().map(ConvexPolygon::bounds).reduce(|a, b| {
            [
                a[0].min(b[0]),
                a[1].min(b[1]),
                a[2].max(b[2]),
                a[3].max(b[3]),
            ]
        })?;
        let grown = polygons.iter().map(|p| {
            let m = p.margin();
            p.area() + p.perimeter() * m + std::f64::consts::PI * m * m
        });
        let round = polygons
            .iter()
            .map(|p| p.perimeter() + std::f64::consts::TAU * p.margin());
        let extent = Self {
            area: grown.sum(),
            perimeter: round.sum(),
            bounds,
            cause,
        };
        Some(extent.held())
    }

    /// No more than the rectangle that holds it.
    fn held(self) -> Self {
        let [w, h] = [
            (self.bounds[2] - self.bounds[0]).max(0.0),
            (self.bounds[3] - self.bounds[1]).max(0.0),
        ];
        Self {
            area: self.area.min(w * h),
            perimeter: self.perimeter.min(2.0 * (w + h)),
            ..self
        }
    }

    /// With all within so many metres of it.
    fn grown(&self, by: f64, cause: DemandCause) -> Self {
        let b = self.bounds;
        Self {
            area: self.area + self.perimeter * by + std::f64::consts::PI * by * by,
            perimeter: self.perimeter + std::f64::consts::TAU * by,
            bounds: [b[0] - by, b[1] - by, b[2] + by, b[3] + by],
            cause,
        }
        .held()
    }

    /// What of it a ground holds that reaches so far to each side of the origin.
    fn clipped(self, half: Option<[f64; 2]>) -> Self {
        let Some([hx, hz]) = half else { return self };
        let b = self.bounds;
        Self {
            bounds: [b[0].max(-hx), b[1].max(-hz), b[2].min(hx), b[3].min(hz)],
            ..self
        }
        .held()
    }
}

/// What is wanted of one octave of a pass.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct OctaveDemand {
    /// The largest ground that is wanted of it.
    pub(super) extent: Extent,
    /// Pieces asked for there.
    pub(super) pieces: f64,
    /// Cells and candidates looked at there.
    pub(super) looks: f64,
}

/// One figure of an octave's demand.
type DemandFigure = fn(&OctaveDemand) -> f64;

/// What a dressing would have to make: by pass and octave, None where nothing is wanted.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Demand {
    pub(super) passes: Vec<Vec<Option<OctaveDemand>>>,
}

impl Demand {
    /// The sum of a figure over all passes.
    fn sum(&self, of: DemandFigure) -> f64 {
        self.passes.iter().flatten().flatten().map(of).sum()
    }

    /// The pass with the most of a figure, its sum there, and why most of that is wanted.
    fn largest(&self, of: DemandFigure) -> Option<(usize, f64, DemandCause)> {
        let sums = self.passes.iter().enumerate().filter_map(|(i, octaves)| {
            let known = || octaves.iter().flatten();
            let most = known().max_by(|a, b| of(a).total_cmp(&of(b)))?;
            Some((i, known().map(of).sum::<f64>(), most.extent.cause))
        });
        sums.max_by(|a, b| a.1.total_cmp(&b.1))
    }
}

impl Run<'_> {
    /// What a take would have to make.
    pub(super) fn demand(&self) -> Demand {
        let half = self.scene.ground.half_extent();
        let mut wanted: Vec<Vec<Option<Extent>>> = self
            .passes
            .iter()
            .enumerate()
            .map(|(index, pass)| {
                let octaves = &self.strata(index).plan.schedule.octaves;
                let of = |to: f64| {
                    let regions = self.scene.view.regions(wish(pass, to), &self.scene.ground);
                    Some(Extent::of(&regions, DemandCause::View)?.clipped(half))
                };
                octaves.iter().map(|layer| of(layer.to)).collect()
            })
            .collect();
        for index in (0..self.passes.len()).rev() {
            let strata = self.strata(index);
            for octave in (0..wanted[index].len()).rev() {
                let Some(extent) = wanted[index][octave] else {
                    continue;
                };
                rest_on_elders(&strata, octave, &extent, &mut wanted[index]);
                for (other, larger, by, cause) in self.looked_at(index, octave) {
                    let more = extent.grown(by, cause).clipped(half);
                    let known = &mut wanted[other][larger];
                    if known.is_none_or(|k| k.area < more.area) {
                        *known = Some(more);
                    }
                }
            }
        }
        let passes = wanted.into_iter().enumerate().map(|(index, octaves)| {
            let strata = self.strata(index);
            let octaves = octaves.into_iter().enumerate();
            octaves
                .map(|(octave, extent)| Some(cost(self, index, &strata, octave, extent?)))
                .collect()
        });
        Demand {
            passes: passes.collect(),
        }
    }

    /// What pieces of one octave of a pass look at of earlier passes: pass, octave, how far,
    /// metres, and why.
    fn looked_at(&self, index: usize, octave: usize) -> Vec<(usize, usize, f64, DemandCause)> {
        let pass = &self.passes[index];
        let own = &self.strata(index).plan.schedule.octaves[octave];
        let mut all = Vec::new();
        for (relation, other, field) in pass.asks.relations.to_passes() {
            let of = &self.passes[other];
            let highest = of.kit.most_shown();
            let smallest = relation.smallest.metres(own.from);
            for (larger, layer) in self.strata(other).plan.schedule.octaves.iter().enumerate() {
                if layer.to < smallest {
                    continue;
                }
                let by = relation.reach(layer.to, highest * layer.to) / NANO
                    + pass.spans.from_place * own.to
                    + of.spans.from_place * layer.to;
                all.push((other, larger, by, DemandCause::Gather(index, field)));
            }
        }
        for other in pass.heeds.beds.iter().filter(|j| **j != index) {
            for (larger, layer) in self.strata(*other).plan.schedule.octaves.iter().enumerate() {
                // Nothing lies on what is so much smaller than itself
                if layer.to >= own.to {
                    let by = pass.spans.from_place * own.to
                        + self.passes[*other].spans.from_place * layer.to;
                    all.push((*other, larger, by, DemandCause::Lying(index)));
                }
            }
        }
        all
    }

    /// Refuses a take that would make far more than it lays, before any of it is made.
    ///
    /// # Errors
    /// With the pass, and the key that asks for so much.
    pub(super) fn check_demand(&self) -> Result<()> {
        let over = |place: String, problem: String, hint: &str| {
            Err(Error::new(
                ErrorKind::OverBudget,
                Fault::new(place, problem, hint),
            ))
        };
        for (index, pass) in self.passes.iter().enumerate() {
            let Some(clumps) = &pass.asks.clumps else {
                continue;
            };
            let strata = self.strata(index);
            let sides = (0..strata.plan.schedule.octaves.len()).map(|o| strata.block_side(o));
            let side = sides.max().unwrap_or(0) as f64 / NANO;
            let parents = clumps.parents(side);
            if parents > MOST_PARENTS {
                return over(
                    format!("passes[{index}].asks.clumps.parents_per_m2"),
                    format!(
                        "about {parents:.0e} parents of clumps of pass `{}` reach each block of {side:.2} m; at most {MOST_PARENTS:.0e} are looked at",
                        pass.name
                    ),
                    "ask for fewer parents",
                );
            }
        }
        let demand = self.demand();
        let figures: [(&str, f64, DemandFigure); 2] = [
            ("pieces", MOST_PIECES, |o| o.pieces),
            ("cells and candidates", MOST_LOOKS, |o| o.looks),
        ];
        for (what, most, of) in figures {
            let sum = demand.sum(of);
            if sum <= most {
                continue;
            }
            let Some((index, number, cause)) = demand.largest(of) else {
                continue;
            };
            // What the cameras want is held against the shot's own budget next, in its words
            if cause == DemandCause::View && number <= FORECAST * most {
                continue;
            }
            let name = &self.passes[index].name;
            let needs = format!(
                "about {number:.0e} {what} of pass `{name}` would have to be made; one dressing makes at most {most:.0e} of all passes"
            );
            return match cause {
                DemandCause::View => over(
                    format!("passes[{index}].sizes"),
                    needs,
                    "less cover, larger pieces, a coarser `resolve.pixels`, or a nearer `far` of the cameras",
                ),
                DemandCause::Gather(asking, field) => over(
                    key(self, asking, field),
                    needs,
                    "look less far, or name a larger `smallest`",
                ),
                DemandCause::Lying(asking) => over(
                    format!("passes[{asking}].rest.on"),
                    needs,
                    "let it lie on the ground alone, or ask for less of the pass under it",
                ),
            };
        }
        Ok(())
    }
}

/// The key of a document that says how far a field looks.
fn key(run: &Run<'_>, pass: usize, field: usize) -> String {
    let at = format!("passes[{pass}].gather[{field}]");
    match run.passes[pass].pass.relations().find(|(i, _)| *i == field) {
        Some((_, relation)) => {
            let [name, far] = relation.manner.keys();
            format!("{at}.{name}.{far}")
        }
        None => at,
    }
}

/// Adds what one octave of a pass that keeps apart needs of the larger ones.
fn rest_on_elders(strata: &Strata, octave: usize, extent: &Extent, wanted: &mut [Option<Extent>]) {
    if !strata.plan.schedule.spaced {
        return;
    }
    for (larger, known) in wanted.iter_mut().enumerate().take(octave) {
        let by = strata.reach(larger) as f64 / NANO;
        let more = extent.grown(by, extent.cause);
        if known.is_none_or(|k| k.area < more.area) {
            *known = Some(more);
        }
    }
}

/// What some ground of an octave costs.
fn cost(
    run: &Run<'_>,
    index: usize,
    strata: &Strata,
    octave: usize,
    extent: Extent,
) -> OctaveDemand {
    let pass = &run.passes[index];
    let schedule = &strata.plan.schedule;
    let layer = &schedule.octaves[octave];
    let side = layer.side as f64 / NANO;
    // Blocks far from all that a field wants are not worked out at all
    let may_be_void = pass.asks.relations.iter().any(|(r, what)| {
        matches!(what, Referent::Hero(_) | Referent::Heroes) && r.elsewhere() <= 0.0
    });
    let least = |(r, _): &(crate::field::Relation, Referent)| {
        if r.manner == RelationKind::ClearOf {
            1.0
        } else {
            r.elsewhere()
        }
    };
    let strength = pass.asks.relations.iter().map(least).product::<f64>();
    let pieces = layer.asked * extent.area * strength;
    let tries = if schedule.spaced {
        let equal = schedule.candidates(octave, 1.0) / layer.asked.max(f64::MIN_POSITIVE);
        schedule.most_tries(octave, 1.0).max(equal.min(FULL_TRIES))
    } else {
        1.0
    };
    let cells = if may_be_void {
        0.0
    } else {
        extent.area / (side * side)
    };
    OctaveDemand {
        extent,
        pieces,
        looks: cells + pieces * tries,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn near(a: f64, b: f64) -> bool {
        (a - b).abs() < 1e-9
    }

    #[test]
    fn a_triangle_grows_by_its_edge_and_its_corners() {
        let triangle = ConvexPolygon::hull(&[[0.0, 0.0], [3.0, 0.0], [0.0, 4.0]], 0.0).unwrap();
        let extent = Extent::of(&[triangle], DemandCause::View).unwrap();
        assert!(near(extent.area, 6.0) && near(extent.perimeter, 12.0));
        let grown = extent.grown(1.0, DemandCause::Lying(3));
        assert!(near(grown.area, 18.0 + std::f64::consts::PI));
        assert_eq!(grown.bounds, [-1.0, -1.0, 4.0, 5.0]);
        assert_eq!(grown.cause, DemandCause::Lying(3));
    }

    #[test]
    fn what_overlaps_is_no_larger_than_what_holds_it_and_no_larger_than_the_ground() {
        let square = [[0.0, 0.0], [2.0, 0.0], [2.0, 2.0], [0.0, 2.0]];
        let square = ConvexPolygon::hull(&square, 0.0).unwrap();
        let extent = Extent::of(&[square.clone(), square], DemandCause::View).unwrap();
        assert!(near(extent.area, 4.0) && near(extent.perimeter, 8.0));
        let clipped = extent.clipped(Some([1.0, 0.5]));
        assert!(near(clipped.area, 0.5) && near(clipped.perimeter, 3.0));
        assert!(Extent::of(&[], DemandCause::View).is_none());
    }
}
