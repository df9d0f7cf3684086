//! Cover as it is seen from above, beside the cover that passes report.

use scatter::brief::LayerIndex;
use scatter::layout::Layout;

use super::{Seen, Window};

/// A pass's cover, reported and seen.
#[derive(Debug, Clone, PartialEq)]
pub struct PassCover {
    /// The pass.
    pub name: String,
    /// What its tally reports for the ground that it was made on.
    pub reported: f64,
    /// Share of the windows' pixels that show it if it lies on the ground alone.
    pub alone: f64,
    /// Share of the windows' pixels that show it with all passes laid.
    pub seen: f64,
}

/// Cover of each pass for which `is_asked` is true, then the share of the windows' pixels that show
/// any of them where they alone are laid.
pub fn covers(
    layout: &Layout,
    windows: &[Window],
    height: impl Fn(f64, f64) -> f64 + Sync,
    is_asked: impl Fn(LayerIndex) -> bool + Sync,
) -> (Vec<PassCover>, f64) {
    let mean =
        |of: &dyn Fn(&Window) -> f64| windows.iter().map(of).sum::<f64>() / windows.len() as f64;
    let whole: Vec<Seen> = windows
        .iter()
        .map(|w| Seen::draw(layout, *w, &height, |_| true))
        .collect();
    let of_pass = |pass: LayerIndex| {
        let record = &layout.passes[usize::from(pass)];
        let shown = whole.iter().map(|seen| {
            let is_shown =
                |top: &&u32| **top > 0 && layout.instances[**top as usize - 1].pass == pass;
            seen.top.iter().filter(is_shown).count() as f64 / seen.top.len() as f64
        });
        PassCover {
            name: record.name.clone(),
            reported: record.tally.cover,
            alone: mean(&|w| Seen::draw(layout, *w, &height, |i| i.pass == pass).cover()),
            seen: shown.sum::<f64>() / windows.len() as f64,
        }
    };
    let passes = (0..layout.passes.len())
        .map(LayerIndex::of)
        .filter(|pass| is_asked(*pass));
    let union = mean(&|w| Seen::draw(layout, *w, &height, |i| is_asked(i.pass)).cover());
    (passes.map(of_pass).collect(), union)
}
