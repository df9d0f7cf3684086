//! One pass in one take: what it asks, how its pieces lie, and what was made of it so far.

use std::sync::{PoisonError, RwLock};

use super::heeds::Heeds;
use super::pass_kit::PassKit;
use super::planning::{check_sizes, peak};
use super::prepared::Prepared;
use super::relations::{Relations, shapes};
use super::settled::Settled;
use super::spans::{OUTLINE, Spans};
use crate::brief::{Heading, Layer, Pass, Place, Toward};
use crate::error::Result;
use crate::field::{ClearShape, Clumps, Gathering, Mask, Outlined};
use crate::ground::Ground;
use crate::place::block::{Headings, PassPlan};
use crate::place::{Schedule, Strata, Wanted};
use crate::plan::profile::side;
use crate::plan::stones::nearest_turn;
use crate::plan::{NANO, Placed, Stone};
use crate::rest::Standing;

/// Sine of the steepest lean that is allowed for in shadows: 30 degrees, about where dry stones and
/// wood begin to slide on each other.
const LEANS: f64 = 0.5;

/// One pass in one take.
pub(super) struct PassRun<'a> {
    pub(super) name: &'a str,
    pub(super) pass: &'a Pass,
    /// The key of its random streams.
    pub(super) key: u64,
    /// Its pieces.
    pub(super) kit: PassKit<'a>,
    /// How far they extend.
    pub(super) spans: Spans,
    /// What they lie on, and what they must not cut into.
    pub(super) heeds: Heeds,
    /// Where it gathers.
    pub(super) asks: Asks<'a>,
    pub(super) strata: RwLock<Strata>,
    /// Its pieces at rest, as far as they were asked for.
    pub(super) settled: RwLock<Settled>,
}

/// Where a pass gathers, and what it keeps clear of.
pub(super) struct Asks<'a> {
    /// Its fields that depend on the place alone.
    pub(super) gathering: Gathering,
    /// Its images of strengths.
    pub(super) masks: &'a [Mask],
    /// Ground that the shot keeps clear by hand.
    pub(super) shapes: Vec<ClearShape>,
    pub(super) clumps: Option<Clumps>,
    pub(super) relations: Relations,
}

impl<'a> Asks<'a> {
    fn new(prepared: &'a Prepared, (index, pass): (usize, &Pass), key: u64, heeds: &Heeds) -> Self {
        let pins = !heeds.pins && !prepared.pins.all.is_empty();
        Self {
            gathering: Gathering::new(pass, key, &prepared.scene.ground),
            masks: &prepared.masks[index],
            shapes: shapes(pass),
            clumps: pass
                .clumps
                .map(|c| Clumps::new(key, c.parents_per_m2, c.spread, c.share))
                .filter(|c| !c.is_even()),
            relations: Relations::of(pass, &prepared.scene.heroes, pins),
        }
    }

    /// Product of the fields that depend on the place alone, 0..=1; the place in metres.
    pub(super) fn strength(&self, ground: &Ground, x: f64, z: f64) -> f64 {
        let strength = self.gathering.at(ground, x, z);
        let masks = self.masks.iter();
        masks.fold(strength, |strength, mask| {
            if strength > 0.0 {
                strength * mask.at(ground, x, z)
            } else {
                0.0
            }
        })
    }

    /// Whether strength varies from place to place, beyond ground that is kept clear.
    fn varies(&self) -> bool {
        !self.gathering.is_flat()
            || !self.masks.is_empty()
            || self.clumps.is_some()
            || self.relations.gather()
    }
}

/// What later passes have to know of the passes before them, in the brief's order.
#[derive(Default)]
pub(super) struct Passed {
    /// Whether all pieces of a pass grow: nothing lies on them.
    grown: Vec<bool>,
    /// Height of its tallest piece, metres.
    tallest: Vec<f64>,
}

impl<'a> PassRun<'a> {
    /// A pass of a brief in its take, after the passes `before` it.
    ///
    /// # Errors
    /// It asks for sizes that none of its pieces has.
    pub(super) fn new(
        prepared: &'a Prepared,
        (index, layer, pass): (usize, &'a Layer, &'a Pass),
        take: u64,
        before: &mut Passed,
    ) -> Result<Self> {
        // A pass with a take of its own keeps it, whatever the others do
        let streams = layer.streams(take);
        let forms = &prepared.forms[index];
        let servings = &prepared.kit.library.of_pass[index];
        let kit = PassKit::new(&prepared.kit, servings, forms, pass);
        let heeds = Heeds::of(index, pass, &kit, &before.grown);
        let spans = Spans::new(&kit, &heeds, (index, pass), &before.tallest);
        before.grown.push(heeds.grows);
        before.tallest.push(spans.stands * pass.sizes.to());
        let asks = Asks::new(prepared, (index, pass), streams.key, &heeds);
        let name = layer.name.as_str();
        check_sizes((index, name, pass), servings, &forms.choice)?;
        let spaced = pass.place != Place::Strewn;
        let asked = Wanted {
            peak: peak(
                asks.clumps.as_ref(),
                asks.gathering.most_crowd(),
                pass,
                &forms.choice,
                spaced,
            ),
            sizes: pass.sizes.clone(),
            amount: pass.amount,
            pieces: forms.choice.clone(),
            spaced,
            roll: forms.stones.as_ref().map(|s| s.roll),
            longest: forms.stones.as_ref().map(|s| 2.0 * s.outer),
            reach: pass.apart,
            varies: asks.varies(),
        };
        let headings = pass
            .rest
            .heading
            .map_or_else(Headings::random, |h| headings(h, &prepared.scene.ground));
        let plan = PassPlan {
            schedule: Schedule::new(&asked),
            pieces: forms.choice.clone(),
            headings,
            reach: pass.apart,
            stances: forms.stances.clone(),
            stones: forms.stones.clone(),
            key: streams.key,
            tag: streams.tag,
        };
        Ok(Self {
            name,
            pass,
            key: streams.key,
            kit,
            spans,
            heeds,
            asks,
            strata: RwLock::new(Strata::new(plan)),
            settled: RwLock::default(),
        })
    }

    /// Its name with its evaluated ground and its pieces at rest.
    pub(super) fn into_made(self) -> (String, Strata, Settled) {
        let strata = self.strata.into_inner();
        let settled = self.settled.into_inner();
        (
            self.name.to_owned(),
            strata.unwrap_or_else(PoisonError::into_inner),
            settled.unwrap_or_else(PoisonError::into_inner),
        )
    }

    /// Whether its pieces keep apart.
    pub(super) fn is_spaced(&self) -> bool {
        self.pass.place != Place::Strewn
    }

    /// Maximum height over the ground, metres, from which a piece of this diameter can throw its
    /// shadow: lying as high as it can, in its tallest stance, leaning. Pins under it don't count.
    pub(super) fn tall(&self, diameter: f64) -> f64 {
        self.spans.lift + (self.spans.stands + LEANS * self.spans.from_middle) * diameter
    }

    /// A laid piece as fields see it: its outline as it lies.
    pub(super) fn outlined(&self, placed: &Placed, standing: &Standing) -> Outlined {
        let piece = usize::from(placed.piece);
        let (body, _) = self.kit.bodies[piece];
        let diameter = f64::from(placed.diameter);
        let corners = body
            .outline(standing)
            .unwrap_or_else(|| placed.polygon(self.kit.elongations[piece]));
        Outlined::piece(corners, self.kit.shown[piece] * diameter, diameter)
    }

    /// A laid piece as stones of other passes meet it: the middle of its plan (x, z, nanometres),
    /// and the outline that it keeps free around that.
    pub(super) fn as_stone(&self, placed: &Placed, standing: &Standing) -> (i64, i64, Stone) {
        let nano = |v: f64| libm::rint(v * NANO) as i64;
        let (body, _) = self.kit.bodies[usize::from(placed.piece)];
        if let Some(stones) = self.kit.stones {
            let last = body.stances.len() - 1;
            let stance = &body.stances[usize::from(placed.stance).min(last)];
            let middle = standing.position + standing.rotation * (stance.middle * standing.scale);
            let turn = nearest_turn(placed.along);
            let stone = Stone::of(placed, (0.0, 0.0), turn, stones, 1.0);
            return (nano(middle.x), nano(middle.z), stone);
        }
        let outlined = self.outlined(placed, standing);
        let ([mx, mz], _) = outlined.disc();
        let (x, z) = (mx as i64, mz as i64);
        let figure = std::array::from_fn(|k| {
            let [u, v] = side(k);
            let far = outlined.corners().iter().map(|c| {
                let (dx, dz) = ((c[0] - x) as f64, (c[1] - z) as f64);
                dx * u + dz * v
            });
            far.fold(0.0, f64::max) as f32
        });
        let diameter = NANO * f64::from(placed.diameter);
        let stone = Stone::wall((0.0, 0.0), diameter, NANO * outlined.height(), figure);
        (x, z, stone)
    }

    /// Plan area of a placed piece in the stance that it takes, square metres.
    pub(super) fn plan_area(&self, placed: &Placed) -> f64 {
        let piece = usize::from(placed.piece);
        let (body, b_axis) = self.kit.bodies[piece];
        let square = f64::from(placed.diameter) * f64::from(placed.diameter);
        let stance = body.stances.get(usize::from(placed.stance));
        let fill = stance.map_or(self.kit.fills[piece], |s| s.area / (b_axis * b_axis));
        fill * square
    }

    /// Size of the ellipse that holds a placed piece in plan however it lies, as a multiple of the
    /// ellipse that it was placed by.
    pub(super) fn outline(&self, placed: &Placed) -> f64 {
        OUTLINE * self.kit.bulges[usize::from(placed.piece)]
    }

    /// Long axis over diameter of a placed piece.
    pub(super) fn elongation(&self, placed: &Placed) -> f64 {
        self.kit.elongations[usize::from(placed.piece)]
    }
}

/// The headings that a pass asks for.
fn headings(heading: Heading, ground: &Ground) -> Headings {
    match heading.toward {
        Toward::Azimuth(azimuth) => Headings::toward(azimuth, heading.spread),
        Toward::Line(line, turn) => ground.line(line).map_or_else(Headings::random, |line| {
            Headings::along(line.clone(), turn, heading.spread)
        }),
    }
}
