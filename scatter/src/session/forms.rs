//! A pass's pieces as placing sees them: outlines, stances, and profiles where they are stones.

use std::sync::Arc;

use super::kit::Kit;
use crate::brief::{Lies, Pass, Place};
use crate::error::{Error, Result};
use crate::kit::Serving;
use crate::place::{Candidate, Choice, Outline};
use crate::plan::stones::StanceProfile;
use crate::plan::{Stances, Stones};
use crate::rest;

/// Bodies longer than this many times their width keep apart by their ellipses: a cell as long as a
/// twig holds too many of them.
const LONGEST: f64 = 8.0;

/// What placing knows of a pass's pieces.
#[derive(Debug)]
pub(super) struct Forms {
    pub(super) choice: Choice,
    pub(super) stances: Stances,
    /// None where they keep apart by their ellipses.
    pub(super) stones: Option<Stones>,
}

impl Forms {
    /// Of what a pass may take.
    ///
    /// # Errors
    /// A packed pass names pieces that are no stones.
    pub(super) fn of(
        (index, pass): (usize, &Pass),
        servings: &[Serving],
        kit: &Kit,
    ) -> Result<Self> {
        let pieces = &kit.pieces;
        let body = |s: &Serving| &*kit.bodies[usize::from(s.piece)];
        let of_piece: Vec<Vec<(u8, f64)>> = servings
            .iter()
            .map(|s| rest::stances(body(s), pass.rest.pose))
            .collect();
        let is_stone = |s: &Serving| {
            let all = || body(s).stances.iter().map(|s| &s.profile);
            let outer = all().map(|p| p.outer()).fold(0.0, f64::max);
            let inner = all().map(|p| p.inner()).fold(f64::INFINITY, f64::min);
            body(s).lies == Lies::Rigid && outer <= LONGEST * inner
        };
        let packs = match pass.place {
            Place::Packed { .. } | Place::Spaced => servings.iter().all(is_stone),
            Place::Strewn => false,
        };
        if matches!(pass.place, Place::Packed { .. }) && !packs {
            let odd = servings.iter().find(|s| !is_stone(s));
            let name = odd.map_or("", |s| &pieces[usize::from(s.piece)].name);
            let reason = match odd.map(|s| body(s).lies) {
                Some(Lies::Sheet) => "a sheet does not roll",
                Some(Lies::Rooted) => "what is rooted does not roll",
                _ => "it can lie so that it is over eight times as long as wide, too slim to roll",
            };
            return Err(Error::input(
                format!("passes[{index}].place"),
                format!("`{name}` can't be packed: {reason}"),
                "set `place` to `spaced` or `strewn`, or name stones alone in `pieces`",
            ));
        }
        let candidates = servings.iter().zip(&of_piece).map(|(serving, stances)| {
            let measure = &pieces[usize::from(serving.piece)].measure;
            let mut outline = Outline::ellipse(measure.elongation, measure.plan_fill);
            let all = &body(serving).stances;
            let mean = |of: &dyn Fn(&rest::Stance) -> f64| -> f64 {
                stances
                    .iter()
                    .map(|(i, share)| share * of(&all[usize::from(*i)]))
                    .sum()
            };
            if !stances.is_empty() {
                let b = measure.b_axis;
                outline.fill = mean(&|s| s.area) / (b * b);
                if packs {
                    outline.perimeter = mean(&|s| s.profile.perimeter()) / b;
                    outline.area = outline.fill;
                }
            }
            Candidate {
                outline,
                share: serving.share,
                sizes: serving.sizes,
            }
        });
        let choice = Choice::new(&candidates.collect::<Vec<_>>());
        let forms = |(serving, taken): (&Serving, &Vec<(u8, f64)>)| {
            let b_axis = pieces[usize::from(serving.piece)].measure.b_axis;
            let share = |number| taken.iter().find(|t| t.0 == number).map_or(0.0, |t| t.1);
            let form = |(stance, number): (&rest::Stance, u8)| StanceProfile {
                profile: Arc::clone(&stance.profile),
                per_metre: 1.0 / b_axis,
                share: serving.share * share(number),
            };
            body(serving).stances.iter().zip(0..).map(form).collect()
        };
        let stones = packs.then(|| {
            Stones::new(
                servings.iter().zip(&of_piece).map(forms).collect(),
                pass.rest.bury,
                pass.place.rolls(),
            )
        });
        Ok(Self {
            choice,
            stances: Stances::new(&of_piece),
            stones,
        })
    }
}
