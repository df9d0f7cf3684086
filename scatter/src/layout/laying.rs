//! Laying what settling asks for, pass by pass, what lies below before what lies on it.

use rayon::prelude::*;
use rustc_hash::FxHashMap;

use super::earlier::Before;
use super::settling::{Asked, AskedPass, PIN, Settling};
use crate::plan::NANO;
use crate::rest::{self, Laying, Lying, Standing, Surface};

/// Why a piece is not laid.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Refusal {
    /// It was taken away by hand.
    Removed,
    /// It would not stay.
    Slides,
    /// It would cut into what lies beside it.
    Meets,
    /// No camera can see it where it would lie, and nothing lies on it.
    Unseen,
}

/// A pass's pieces, in the order in which they are laid, with where they came to lie.
#[derive(Debug, Default)]
pub(super) struct Laid {
    pub(super) asked: AskedPass,
    pub(super) standing: Vec<Result<Standing, Refusal>>,
    /// Where a piece is in the lists, if others may lie on it.
    numbers: FxHashMap<u64, u32>,
    /// Whether it lies as it did in an earlier dressing.
    same: Vec<bool>,
}

impl Laid {
    /// The number of a piece in the lists, if others may lie on it or it is kept.
    pub(super) fn number(&self, id: u64) -> Option<usize> {
        self.numbers.get(&id).map(|i| *i as usize)
    }

    /// Ids of the pieces that were taken away by hand.
    pub(super) fn removed(&self) -> impl Iterator<Item = u64> {
        let all = self.asked.pieces.iter().zip(&self.standing);
        all.filter(|(_, standing)| **standing == Err(Refusal::Removed))
            .map(|(asked, _)| asked.placed.id)
    }

    /// Whether a piece lies as it did.
    fn is_same(&self, id: u64) -> bool {
        self.number(id).is_some_and(|i| self.same[i])
    }
}

impl Settling<'_> {
    /// Lays what a pass was asked for. `laid` are the passes before it, `before` is the pass as it was laid earlier.
    pub(super) fn lay(
        &self,
        pass: usize,
        asked: AskedPass,
        laid: &[Laid],
        before: Option<&Before<'_>>,
    ) -> Laid {
        let mut done = Laid {
            standing: vec![Err(Refusal::Unseen); asked.pieces.len()],
            same: vec![false; asked.pieces.len()],
            asked,
            numbers: FxHashMap::default(),
        };
        if self.keeps || self.run.is_heeded(pass) {
            let ids = done.asked.pieces.iter().zip(0u32..);
            done.numbers = ids.map(|(a, i)| (a.placed.id, i)).collect();
        }
        let wanted = self.wanted(pass, &done, laid);
        for layer in layers(pass, &done, &wanted) {
            let standing: Vec<_> = layer
                .into_par_iter()
                .map(|i| {
                    let asked = &done.asked.pieces[i as usize];
                    let same = |other: u16, id: u64| {
                        let other = usize::from(other);
                        let of = if other == pass { &done } else { &laid[other] };
                        of.is_same(id)
                    };
                    let heeded = done.asked.heeded(asked);
                    let is_there = !self.removed.contains(&asked.placed.id);
                    let known = before
                        .filter(|_| is_there)
                        .and_then(|b| b.lies(asked, heeded, same));
                    if let Some(standing) = known {
                        return (i, standing, true);
                    }
                    let standing = self.lay_piece(pass, asked, &done, laid);
                    let was = before.and_then(|b| b.standing(&asked.placed));
                    (i, standing, was == Some(standing))
                })
                .collect();
            for (i, standing, same) in standing {
                done.standing[i as usize] = standing;
                done.same[i as usize] = same;
            }
        }
        done
    }

    /// Which pieces have to be laid, now that what is below their pass lies: how high a piece can lie was a guess when it was asked for.
    fn wanted(&self, pass: usize, own: &Laid, laid: &[Laid]) -> Vec<bool> {
        let asked = &own.asked;
        let mut wanted: Vec<bool> = asked
            .pieces
            .par_iter()
            .map(|a| a.needed || a.in_view && self.is_in_reach(pass, a, own, laid))
            .collect();
        // What is below a piece of its own pass comes before it in the list
        for i in (0..wanted.len()).rev() {
            if wanted[i] {
                for n in own_heeded(pass, own, &asked.pieces[i]) {
                    wanted[n as usize] = true;
                }
            }
        }
        wanted
    }

    /// Whether a camera may need a piece as high as it can lie on what is below it.
    fn is_in_reach(&self, pass: usize, asked: &Asked, own: &Laid, laid: &[Laid]) -> bool {
        let run = &self.run.passes[pass];
        let under = own.asked.under(asked);
        let tops = under
            .iter()
            .filter_map(|heeded| self.lying(pass, heeded, own, laid))
            .map(|lying| lying.probe.top);
        let placed = &asked.placed;
        let here = self
            .ground
            .height(placed.x as f64 / NANO, placed.z as f64 / NANO);
        let top = tops.fold(here, f64::max);
        let piles = under.iter().any(|(other, _)| usize::from(*other) == pass);
        let pile = if piles { self.pile(pass, placed) } else { 0.0 };
        let lift = (top - here + pile).min(asked.most);
        self.may_be_seen(run, placed, 0.0, false)
            || !under.is_empty() && self.may_be_seen(run, placed, lift, true)
    }

    /// A piece that another one heeds, if it lies.
    fn lying<'b>(
        &'b self,
        pass: usize,
        (other, id): &(u16, u64),
        own: &Laid,
        laid: &[Laid],
    ) -> Option<Lying<'b>> {
        if *other == PIN {
            let pin = &self.run.pins.all[*id as usize];
            let body = &self.bodies[usize::from(pin.piece)];
            return Some(Lying::new(body, pin.standing));
        }
        let other = usize::from(*other);
        let of = if other == pass { own } else { &laid[other] };
        let number = of.number(*id)?;
        let standing = of.standing[number].ok()?;
        let (body, _) = self.body(&self.run.passes[other], &of.asked.pieces[number].placed);
        Some(Lying::new(body, standing))
    }

    fn lay_piece(
        &self,
        pass: usize,
        asked: &Asked,
        own: &Laid,
        laid: &[Laid],
    ) -> Result<Standing, Refusal> {
        if self.removed.contains(&asked.placed.id) {
            return Err(Refusal::Removed);
        }
        let run = &self.run.passes[pass];
        let (body, b_axis) = self.body(run, &asked.placed);
        let lying = |heeded: &(u16, u64)| self.lying(pass, heeded, own, laid);
        let under: Vec<Lying<'_>> = own.asked.under(asked).iter().filter_map(lying).collect();
        let alone = under.is_empty();
        let surface = Surface::new(self.ground, under);
        let laying = Laying {
            rest: &run.pass.rest,
            key: run.key,
            slides: run.slides,
        };
        let standing =
            rest::lay(&asked.placed, body, b_axis, laying, &surface).ok_or(Refusal::Slides)?;
        // What would lie higher than a pile can slides off
        let low =
            body.lowest(&standing) - self.ground.height(standing.position.x, standing.position.z);
        if !alone && low > asked.most {
            return Err(Refusal::Slides);
        }
        let mut beside = own.asked.beside(asked).iter().filter_map(lying);
        if beside.any(|other| body.meets(&standing, &other)) {
            return Err(Refusal::Meets);
        }
        Ok(standing)
    }
}

/// The numbers of the pieces of its own pass that a piece heeds.
fn own_heeded<'a>(
    pass: usize,
    laid: &'a Laid,
    asked: &'a Asked,
) -> impl Iterator<Item = u32> + use<'a> {
    let heeded = laid
        .asked
        .under(asked)
        .iter()
        .chain(laid.asked.beside(asked));
    heeded
        .filter(move |(other, _)| usize::from(*other) == pass)
        .filter_map(|(_, id)| laid.numbers.get(id).copied())
}

/// The wanted pieces of a pass in layers: each heeds earlier layers only.
fn layers(pass: usize, laid: &Laid, wanted: &[bool]) -> Vec<Vec<u32>> {
    let mut layer_of = vec![0u32; laid.asked.pieces.len()];
    let mut layers: Vec<Vec<u32>> = Vec::new();
    for (i, asked) in laid.asked.pieces.iter().enumerate() {
        if !wanted[i] {
            continue;
        }
        let heeded = own_heeded(pass, laid, asked);
        let layer = heeded.map(|n| layer_of[n as usize] + 1).max().unwrap_or(0);
        layer_of[i] = layer;
        if layers.len() <= layer as usize {
            layers.resize(layer as usize + 1, Vec::new());
        }
        layers[layer as usize].push(i as u32);
    }
    layers
}
