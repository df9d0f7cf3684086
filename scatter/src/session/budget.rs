//! The budget of a layout, checked as early as it can be known.
//!
//! Before anything is placed each pass is forecast where the cameras need it (`forecast`), and a
//! shot that is surely over its budget stops there. What the forecast can't tell (other passes and
//! what slides thin a pass) is checked on the pieces themselves: their number layer by layer,
//! meshes and memory at the end.

use rustc_hash::FxHashSet;

use super::prepared::Prepared;
use crate::brief::{Brief, Layer, LayerKind};
use crate::error::{Error, ErrorKind, Fault, Result};
use crate::kit::{Piece, PieceIndex};
use crate::layout::{BYTES_PER_INSTANCE, Held, Instance, Layout};

/// One figure of a cost.
type CostFigure = fn(&Cost<'_>) -> f64;

/// What a pass needs.
pub(super) struct Cost<'a> {
    name: &'a str,
    pieces: f64,
    /// Triangles of its meshes that no earlier pass needs.
    triangles: u64,
    /// Render memory of these meshes and of its pieces, bytes.
    bytes: f64,
}

impl<'a> Cost<'a> {
    /// Of a layer's pieces and of the meshes that no earlier layer needs.
    pub(super) fn new(name: &'a str, pieces: f64, meshes: impl Iterator<Item = &'a Piece>) -> Self {
        let mut held = Held::default();
        meshes.for_each(|piece| held.add_piece(piece));
        Self {
            name,
            pieces,
            triangles: held.triangles,
            bytes: held.bytes() as f64 + pieces * BYTES_PER_INSTANCE as f64,
        }
    }
}

impl Prepared {
    /// Stops a layout whose number of pieces is over the budget with a layer.
    pub(super) fn check_count(
        &self,
        (number, layer): (usize, &Layer),
        pieces: usize,
    ) -> Result<()> {
        let most = self.brief.budget.pieces;
        if pieces as u64 <= most {
            return Ok(());
        }
        let (what, help) = match layer.kind {
            LayerKind::Pass(_) => ("pass", THIN),
            LayerKind::Pins(_) => ("layer", "leave some out"),
            LayerKind::Carpet(_) => ("layer", "lay larger tiles, ask for a nearer `far`"),
            LayerKind::Shade(_) => ("layer", "ask for larger flecks or a nearer `far`"),
        };
        let problem = format!(
            "with {what} `{}` the layout has {pieces} pieces; the budget is {most}",
            layer.name
        );
        let hint = format!("{help}, or raise `budget.pieces`");
        let fault = Fault::new(part(&self.brief, number), problem, hint);
        Err(Error::new(ErrorKind::OverBudget, fault))
    }

    /// Stops a layout whose meshes or memory are over the budget.
    pub(super) fn check_layout(&self, layout: &Layout) -> Result<()> {
        let mut known: FxHashSet<PieceIndex> = FxHashSet::default();
        // Instances are sorted by layer
        let by_layer = layout.instances.chunk_by(|a, b| a.pass == b.pass);
        let costs = by_layer.map(|own: &[Instance]| {
            let pass = &layout.passes[usize::from(own[0].pass)];
            let new: Vec<&Piece> = own
                .iter()
                .filter(|i| known.insert(i.piece))
                .map(|i| &layout.pieces[usize::from(i.piece)])
                .collect();
            Cost::new(&pass.name, pass.tally.placed as f64, new.into_iter())
        });
        judge(&self.brief, &costs.collect::<Vec<_>>(), "")
    }
}

/// The part of the document that asks for a layer: a pass by its number, or the pins, the carpet or
/// the shade, which are named as they are.
fn part(brief: &Brief, number: usize) -> String {
    match brief.layers.get(number) {
        Some(Layer { name, kind, .. }) => match kind {
            LayerKind::Pass(_) => format!("passes[{number}]"),
            LayerKind::Pins(_) | LayerKind::Carpet(_) | LayerKind::Shade(_) => name.clone(),
        },
        None => String::new(),
    }
}

/// Is all within the budget? `about` goes before figures.
pub(super) fn judge(brief: &Brief, costs: &[Cost<'_>], about: &str) -> Result<()> {
    let budget = &brief.budget;
    let count = |n: f64| format!("{n:.0}");
    let limits: [(&str, &str, CostFigure, f64, String); 3] = [
        (
            "pieces",
            "pieces",
            |c| c.pieces,
            budget.pieces as f64,
            budget.pieces.to_string(),
        ),
        (
            "triangles",
            "triangles of meshes",
            |c| c.triangles as f64,
            budget.triangles as f64,
            budget.triangles.to_string(),
        ),
        (
            "memory",
            "of render memory",
            |c| c.bytes,
            budget.memory.bytes() as f64,
            budget.memory.to_string(),
        ),
    ];
    for (key, what, of, most, said) in limits {
        let sum: f64 = costs.iter().map(of).sum();
        if sum <= most {
            continue;
        }
        let say = |n: f64| {
            if key == "memory" { memory(n) } else { count(n) }
        };
        let mut by_cost: Vec<(usize, &Cost<'_>)> = costs.iter().enumerate().collect();
        by_cost.sort_by(|a, b| of(b.1).total_cmp(&of(a.1)));
        let Some((_, largest)) = by_cost.first() else {
            return Ok(());
        };
        let layers = &mut brief.layers.iter();
        let number = layers.position(|l| l.name == largest.name).unwrap_or(0);
        let listed = by_cost.iter().take(LISTED).map(|(_, c)| {
            format!(
                "\n    `{}` {} pieces, {} triangles of meshes, {}",
                c.name,
                count(c.pieces),
                c.triangles,
                memory(c.bytes)
            )
        });
        let problem = format!(
            "the layout needs {about}{} {what}, {} of it for pass `{}`; the budget is {said}",
            say(sum),
            say(of(largest)),
            largest.name
        );
        let hint = format!(
            "thin pass `{}` ({THIN}), or raise `budget.{key}`; what each pass costs{}{}",
            largest.name,
            if about.is_empty() { ":" } else { ", at least:" },
            listed.collect::<String>()
        );
        let fault = Fault::new(part(brief, number), problem, hint);
        return Err(Error::new(ErrorKind::OverBudget, fault));
    }
    Ok(())
}

/// Bytes as a person reads them.
fn memory(bytes: f64) -> String {
    // Less than this would be 0.00 GB
    if bytes < 5e6 {
        format!("{:.2} MB", bytes * 1e-6)
    } else {
        format!("{:.2} GB", bytes * 1e-9)
    }
}

/// How a pass is thinned.
const THIN: &str = "less cover, larger pieces or a coarser `resolve.pixels`";

/// Passes that a message lists, the dearest first.
const LISTED: usize = 5;
