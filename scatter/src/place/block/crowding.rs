//! How many more darts a place needs than open ground of the pass's own crowd: beside other passes'
//! stones, and for wide forms.

use super::draws::stance_by;
use super::evaluation::Evaluation;
use super::survivors::Draft;
use crate::field::Here;
use crate::plan::NANO;
use crate::plan::PassPiece;
use crate::plan::Stones;
use crate::plan::stones::StanceProfile;

/// What other passes' stones leave of a cell.
#[derive(Debug, Clone, Copy)]
pub(super) struct Crowding {
    /// Share of it that they leave open.
    pub(super) open: f64,
    /// Darts that it needs over those of open ground, so that as many come to lie on what is left
    /// of it as would there: of the octave's smallest sizes, and of its largest in their widest
    /// form.
    small: f64,
    large: f64,
}

impl Crowding {
    pub(super) const NONE: Self = Self {
        open: 1.0,
        small: 1.0,
        large: 1.0,
    };

    /// Darts needed over those of open ground, for a size at a share of the way from the octave's
    /// smallest to its largest.
    #[inline]
    pub(super) fn needs(&self, size: f64) -> f64 {
        self.small + (self.large - self.small) * size
    }

    /// The most of it over all sizes.
    pub(super) fn most(&self) -> f64 {
        self.small.max(self.large)
    }
}

/// How many more darts wide forms need, so that they come to lie as often as narrow ones.
pub(super) struct Widths {
    /// By piece and stance: width over the mean, and the darts that it needs over those of a mean
    /// one.
    forms: Vec<Vec<(f64, f64)>>,
    /// The most of these.
    pub(super) most: f64,
    /// The widest form over the mean.
    pub(super) widest: f64,
}

impl Widths {
    /// Of an octave's `steepness`; none where pieces are no stones.
    pub(super) fn new(stones: Option<&Stones>, steepness: f64) -> Self {
        /// More darts for one form are thrown in vain.
        const MOST: f64 = 4.0;
        let of = |stones: &Stones| -> Vec<Vec<(f64, f64)>> {
            let form = |form: &StanceProfile| {
                if form.share == 0.0 {
                    return (1.0, 1.0);
                }
                let width = form.mean() / stones.mean;
                (width, libm::pow(width, steepness).min(MOST))
            };
            let piece = |stances: &Vec<StanceProfile>| stances.iter().map(form).collect();
            stones.forms().iter().map(piece).collect()
        };
        let forms = stones.map(of).unwrap_or_default();
        let all = || forms.iter().flatten();
        Self {
            most: all().map(|f| f.1).fold(1.0, f64::max),
            widest: all().map(|f| f.0).fold(1.0, f64::max),
            forms,
        }
    }

    /// A form's width over the mean, and the darts that it needs over those of a mean one.
    #[inline]
    pub(super) fn of(&self, piece: PassPiece, stance: u8) -> (f64, f64) {
        let Some(stances) = self.forms.get(usize::from(piece)) else {
            return (1.0, 1.0);
        };
        stances[usize::from(stance).min(stances.len() - 1)]
    }
}

/// Darts needed over those of open ground for stones of a radius and diameter, by how far some
/// places are from other stones.
fn needs(away: &[f64], radius: f64, diameter: f64, roll: f64) -> f64 {
    /// How fewer come free in tight gaps: fitted to the grit of the river-gravel preset and of the
    /// kettle.
    const TIGHT: f64 = 0.22;
    /// Share that comes free where no place is open, as beside the tightest gaps.
    const LEAST_FREE_SHARE: f64 = 0.3;
    /// More darts than this are thrown in vain.
    const MOST: f64 = 8.0;
    let (mut open, mut free, mut edge) = (0.0, 0.0, 0.0);
    for away in away {
        open += f64::from(*away >= 0.0);
        if *away >= radius {
            free += 1.0;
        } else if radius - away < diameter {
            edge += 1.0;
        }
    }
    // The wider the gaps, the more of those that roll off an edge come free of the next one
    let comes_free = if open > 0.0 {
        libm::pow((free + 0.5) / (open + 0.5), TIGHT)
    } else {
        LEAST_FREE_SHARE
    };
    let stays = free + roll * comes_free * edge;
    if open == 0.0 {
        f64::from(stays > 0.0)
    } else {
        (open / f64::max(stays, open / MOST)).min(MOST)
    }
}

impl<T: Here> Evaluation<'_, T> {
    /// What other passes' stones leave of a cell, by sixteen places of it.
    pub(super) fn crowding(&self, cx: usize, cz: usize) -> Crowding {
        /// Places along a cell's side.
        const ACROSS: usize = 4;
        /// Height of a stone over the ground, over its diameter: flat by a third, and sunk by a
        /// quarter.
        const EXPOSED: f64 = 0.5;
        let Some(stones) = &self.plan.stones else {
            return Crowding::NONE;
        };
        let scratch = &*self.scratch;
        let all = scratch.elders.by_cell.of(self.grid.cell(cx, cz));
        let foreign = all
            .map(|i| &scratch.elders.stones[i as usize])
            .filter(|elder| elder.foreign);
        let at = |cell: usize, k: usize| {
            (cell as f64 + (k as f64 + 0.5) / ACROSS as f64) * self.grid.side
        };
        let exposed = EXPOSED * NANO * self.layer.diameter(0.5);
        let radius = |diameter: f64| self.plan.reach * stones.mean * diameter;
        let small = NANO * self.layer.from;
        let large = NANO * self.layer.to * self.darts.widths.widest;
        // As far as the widest stone of the octave is free
        let mut away = [radius(large); ACROSS * ACROSS];
        let mut any = false;
        for elder in foreign {
            any = true;
            for (i, away) in away.iter_mut().enumerate() {
                let (x, z) = (at(cx, i % ACROSS), at(cz, i / ACROSS));
                *away = elder.stone.away((x, z), exposed, *away);
            }
        }
        if !any {
            return Crowding::NONE;
        }
        let open = away.iter().filter(|away| **away >= 0.0).count();
        let open = open as f64 / away.len() as f64;
        Crowding {
            open,
            small: needs(&away, radius(small), small, stones.roll),
            large: needs(&away, radius(large), large, stones.roll),
        }
    }

    /// Darts that were drawn over those that a stone of its size and form needs.
    pub(super) fn drawn_over(&self, draft: &Draft, crowding: Crowding) -> f64 {
        if self.plan.stones.is_none() {
            return 1.0;
        }
        let stance = self.plan.stances.pick(draft.piece, stance_by(draft.look));
        let (width, needs) = self.darts.widths.of(draft.piece, stance);
        let (from, to) = (self.layer.from, self.layer.to * self.darts.widths.widest);
        let size = (f64::from(draft.diameter) * width - from) / (to - from).max(f64::MIN_POSITIVE);
        crowding.most() * self.darts.widths.most / (crowding.needs(size.max(0.0)) * needs)
    }
}
