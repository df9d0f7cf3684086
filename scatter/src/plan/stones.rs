//! A pass's pieces as bodies: which stances each takes, how often, and its profile in each.

use std::sync::Arc;

use super::PassPiece;
use super::Profile;
use super::profile::TURNS;

/// Number of different draws of a stance: shares are met to a four-thousandth.
pub const STANCE_DRAWS: u32 = 1 << 12;

/// The stances of a pass's pieces, with how often each is taken.
#[derive(Debug, Clone, Default)]
pub struct Stances {
    /// For each piece, its stances, each with the first draw past those that take it.
    of_piece: Vec<Vec<(u32, u8)>>,
}

impl Stances {
    /// From the stances of each piece and their shares, which add up to 1; none where nothing is
    /// known of the piece.
    #[must_use]
    pub fn new(of_piece: &[Vec<(u8, f64)>]) -> Self {
        let past = |stances: &Vec<(u8, f64)>| {
            let mut sum = 0.0;
            let each = stances.iter().map(|(stance, share)| {
                sum += share;
                (libm::round(sum * f64::from(STANCE_DRAWS)) as u32, *stance)
            });
            each.collect()
        };
        Self {
            of_piece: of_piece.iter().map(past).collect(),
        }
    }

    /// The stance that a piece takes by a draw below [`STANCE_DRAWS`].
    #[must_use]
    #[inline]
    pub fn pick(&self, piece: PassPiece, draw: u32) -> u8 {
        let Some(stances) = self.of_piece.get(usize::from(piece)) else {
            return 0;
        };
        let taken = stances.iter().find(|(past, _)| draw < *past);
        taken.or(stances.last()).map_or(0, |(_, stance)| *stance)
    }
}

/// The profiles of a pass of stones: its pieces meet by these, not by ellipses.
#[derive(Debug, Clone)]
pub struct Stones {
    /// The profiles by piece and stance, at a diameter of 1 m.
    forms: Vec<Vec<StanceProfile>>,
    /// Smallest and largest share of the height that is sunk.
    pub bury: [f64; 2],
    /// Share of the darts that roll off what they meet, 0..=1.
    pub roll: f64,
    /// Largest support of any outline over the diameter.
    pub outer: f64,
    /// Support over the diameter, averaged over sides and over the pieces as often as they are
    /// taken.
    pub mean: f64,
}

/// A piece in one of its stances.
#[derive(Debug, Clone)]
pub struct StanceProfile {
    /// Its profile at scale 1.
    pub profile: Arc<Profile>,
    /// Scale of the piece at a diameter of 1 m.
    pub per_metre: f64,
    /// How often the pass has the piece in this stance: a share of any whole.
    pub share: f64,
}

impl StanceProfile {
    /// Support of the outline over the diameter, averaged over sides.
    #[must_use]
    pub fn mean(&self) -> f64 {
        self.profile.perimeter() * self.per_metre / std::f64::consts::TAU
    }
}

impl Stones {
    /// From the profiles of each piece in each of its stances; no piece is without any.
    #[must_use]
    pub fn new(forms: Vec<Vec<StanceProfile>>, bury: [f64; 2], roll: f64) -> Self {
        let all = || forms.iter().flatten();
        let outer = all().map(|f| f.profile.outer() * f.per_metre);
        let shares: f64 = all().map(|f| f.share).sum();
        let mean: f64 = all().map(|f| f.share * f.mean()).sum();
        Self {
            outer: outer.fold(0.0, f64::max),
            mean: mean / shares,
            forms,
            bury,
            roll,
        }
    }

    /// Upright cylinders: discs that meet by figures of sixteen sides.
    #[must_use]
    pub fn discs(roll: f64) -> Self {
        let form = StanceProfile {
            profile: Arc::new(Profile::disc()),
            per_metre: 1.0,
            share: 1.0,
        };
        Self::new(vec![vec![form]], [0.0, 0.0], roll)
    }

    /// All forms, by piece and stance.
    #[must_use]
    pub fn forms(&self) -> &[Vec<StanceProfile>] {
        &self.forms
    }

    /// A piece in a stance.
    #[must_use]
    #[inline]
    pub fn form(&self, piece: PassPiece, stance: u8) -> &StanceProfile {
        let stances = &self.forms[usize::from(piece)];
        &stances[usize::from(stance).min(stances.len() - 1)]
    }

    /// The share of the height that is sunk, by [`crate::plan::Placed::sunk`].
    #[must_use]
    #[inline]
    pub fn sunk(&self, sunk: u8) -> f64 {
        self.bury[0] + (self.bury[1] - self.bury[0]) * f64::from(sunk) / 255.0
    }
}

/// The heading nearest to a direction in plan (x, z), in sixty-fourth turns from +x toward +z.
#[must_use]
pub fn nearest_turn([x, z]: [f32; 2]) -> usize {
    let turns = libm::atan2(f64::from(z), f64::from(x)) / std::f64::consts::TAU * TURNS as f64;
    (libm::rint(turns) as i64).rem_euclid(TURNS as i64) as usize
}
