//! A stone among others: the ground it keeps free, and how deep two stones overlap.
//!
//! Seen from above two stones may overlap: a pebble tucks in at the foot of a cobble, under its
//! shoulder. So the smaller of two keeps off by its outline from the widest section of the larger
//! one up to half the height to which the lower of the two stands out of the ground.

use super::profile::{SIDES, SideSupports, side};
use super::stones::Stones;
use super::{NANO, Placed};

/// Sections by which a stone is met: at an eighth, a quarter, three eighths and half of its height
/// over the ground.
const LEVELS: usize = 4;

/// A stone. Lengths in nanometres, places relative to the window's corner.
#[derive(Debug, Clone, Copy)]
pub struct Stone {
    /// Middle of its plan.
    pub x: f64,
    /// Middle of its plan.
    pub z: f64,
    /// Intermediate diameter.
    pub diameter: f64,
    /// Height over the ground.
    exposed: f64,
    /// Largest support.
    pub outer: f64,
    /// Smallest support at any height.
    least: f64,
    outline: SideSupports,
    sections: [SideSupports; LEVELS],
}

/// How two figures overlap.
#[derive(Debug, Clone, Copy)]
pub struct Overlap {
    /// How far the second has to go to come free, nanometres.
    pub depth: f64,
    /// The side toward which that is.
    pub toward: usize,
}

impl Stone {
    /// A placed piece whose heading is `turn` sixty-fourth turns. `reach`: size of the ground kept
    /// free over the size of the piece.
    #[must_use]
    pub fn of(
        placed: &Placed,
        (x, z): (f64, f64),
        turn: usize,
        stones: &Stones,
        reach: f64,
    ) -> Self {
        Self::thrown(placed, (x, z), turn, stones, reach).lying(placed, turn, stones, reach)
    }

    /// As [`Stone::of`], for a dart: its outline alone, which is all that is needed before it lies.
    #[must_use]
    #[inline]
    pub fn thrown(
        placed: &Placed,
        (x, z): (f64, f64),
        turn: usize,
        stones: &Stones,
        reach: f64,
    ) -> Self {
        let form = stones.form(placed.piece, placed.stance);
        let diameter = NANO * f64::from(placed.diameter);
        let scale = diameter * form.per_metre;
        let outline = form.profile.outline(turn, scale * reach);
        let exposed = (1.0 - stones.sunk(placed.sunk)) * form.profile.stands * scale;
        Self::from_figures((x, z), diameter, exposed, outline, [outline; LEVELS])
    }

    /// A thrown stone where it lies, with its sections.
    #[must_use]
    pub fn lying(self, placed: &Placed, turn: usize, stones: &Stones, reach: f64) -> Self {
        let form = stones.form(placed.piece, placed.stance);
        let scale = NANO * f64::from(placed.diameter) * form.per_metre * reach;
        let sunk = stones.sunk(placed.sunk);
        let sections = std::array::from_fn(|j| {
            let share = (j + 1) as f64 / (2 * LEVELS) as f64;
            form.profile
                .section(sunk + share * (1.0 - sunk), turn, scale)
        });
        Self::from_figures(
            (self.x, self.z),
            self.diameter,
            self.exposed,
            self.outline,
            sections,
        )
    }

    /// Something of one outline at all heights, such as a hero. `exposed`: its height over the
    /// ground.
    #[must_use]
    pub fn wall((x, z): (f64, f64), diameter: f64, exposed: f64, outline: SideSupports) -> Self {
        Self::from_figures((x, z), diameter, exposed, outline, [outline; LEVELS])
    }

    fn from_figures(
        (x, z): (f64, f64),
        diameter: f64,
        exposed: f64,
        outline: SideSupports,
        sections: [SideSupports; LEVELS],
    ) -> Self {
        let low = |f: &SideSupports| f64::from(f.iter().copied().fold(f32::INFINITY, f32::min));
        let high = |f: &SideSupports| f64::from(f.iter().copied().fold(0.0, f32::max));
        Self {
            x,
            z,
            diameter,
            exposed,
            // A figure exceeds its supports at its corners
            outer: high(&outline) * CORNER,
            least: sections.iter().map(low).fold(low(&outline), f64::min),
            outline,
            sections,
        }
    }

    /// The same stone with its middle elsewhere.
    #[must_use]
    pub fn at(self, x: f64, z: f64) -> Self {
        Self { x, z, ..self }
    }

    /// Lower bound of the distance from a place to the section that a stone of a height over the
    /// ground meets; negative inside. At most `up_to`: the smaller that is, the less it costs. A
    /// distance within 2 % of `up_to` (a figure's corners) may be given as `up_to`.
    #[must_use]
    pub fn away(&self, (x, z): (f64, f64), exposed: f64, up_to: f64) -> f64 {
        let (dx, dz) = (x - self.x, z - self.z);
        let far = self.outer + up_to;
        if far <= 0.0 || dx * dx + dz * dz >= far * far {
            return up_to;
        }
        let section = self.met_by(exposed);
        let mut away = f64::NEG_INFINITY;
        for (k, h) in section.iter().enumerate() {
            let [u, v] = side(k);
            away = f64::max(away, u * dx + v * dz - f64::from(*h));
            if away >= up_to {
                return up_to;
            }
        }
        away
    }

    /// The section by which a smaller stone of a height over the ground meets this one.
    #[inline]
    fn met_by(&self, exposed: f64) -> &SideSupports {
        let lower = self.exposed.min(exposed);
        let share = lower / self.exposed.max(1.0) * LEVELS as f64;
        &self.sections[((share + 0.5) as usize).clamp(1, LEVELS) - 1]
    }

    /// Keeps `within` nanometres more free all round.
    #[must_use]
    pub fn grown(mut self, within: f64) -> Self {
        let grow = |figure: &mut SideSupports| figure.iter_mut().for_each(|h| *h += within as f32);
        grow(&mut self.outline);
        self.sections.iter_mut().for_each(grow);
        self.outer += within * CORNER;
        self.least += within;
        self
    }

    /// Supports of the places in which a later stone meets this one: the no-fit polygon about this
    /// one's middle.
    #[inline]
    pub fn no_fit(&self, later: &Self) -> [f64; SIDES] {
        let own = if self.diameter >= later.diameter {
            self.met_by(later.exposed)
        } else {
            &self.outline
        };
        let its = &later.outline;
        std::array::from_fn(|k| f64::from(own[k]) + f64::from(its[(k + SIDES / 2) % SIDES]))
    }

    /// How a later stone with its middle at a place overlaps this one, if it does.
    #[inline]
    pub fn overlap(&self, later: &Self, x: f64, z: f64) -> Option<Overlap> {
        let (dx, dz) = (x - self.x, z - self.z);
        let square = dx * dx + dz * dz;
        let far = self.outer + later.outer;
        if square >= far * far {
            return None;
        }
        overlap(&self.no_fit(later), dx, dz)
    }

    /// Smallest support at any height.
    pub fn least(&self) -> f64 {
        self.least
    }

    /// Whether a later stone with its middle at a place surely overlaps this one.
    #[inline]
    pub fn surely_meets(&self, later: &Self, x: f64, z: f64) -> bool {
        let (dx, dz) = (x - self.x, z - self.z);
        let near = self.least + later.least;
        dx * dx + dz * dz < near * near
    }

    /// Whether a stone with its middle at a place would lie wholly under this one's outline.
    pub fn hides(&self, other: &Self, x: f64, z: f64) -> bool {
        let (dx, dz) = (x - self.x, z - self.z);
        (0..SIDES).all(|k| {
            let [u, v] = side(k);
            u * dx + v * dz + f64::from(other.outline[k]) <= f64::from(self.outline[k])
        })
    }
}

/// Maximum distance of a figure's corner over its largest support: for a figure of sixteen sides at
/// most 1 / cos(pi / 16).
const CORNER: f64 = 1.019_591_158_208_318_4;

/// How far a place is inside a no-fit polygon, if it is by more than what rounding places to whole
/// nanometres moves.
#[inline]
fn overlap(no_fit: &[f64; SIDES], dx: f64, dz: f64) -> Option<Overlap> {
    const ROUNDING: f64 = 1.5;
    let mut least = Overlap {
        depth: f64::INFINITY,
        toward: 0,
    };
    for (k, h) in no_fit.iter().enumerate() {
        let [u, v] = side(k);
        let depth = h - (u * dx + v * dz);
        if depth <= ROUNDING {
            return None;
        }
        if depth < least.depth {
            least = Overlap { depth, toward: k };
        }
    }
    Some(least)
}

/// The places on the borders of both of two no-fit polygons about two middles: at most a few.
pub fn crossings(
    (first, (ax, az)): (&[f64; SIDES], (f64, f64)),
    (second, (bx, bz)): (&[f64; SIDES], (f64, f64)),
    mut found: impl FnMut(f64, f64),
) {
    // Corners of the first: where neighbouring sides meet
    let corner = |k: usize| {
        let next = (k + 1) % SIDES;
        let ([u, v], [p, q]) = (side(k), side(next));
        let (h, g) = (first[k], first[next]);
        let cross = u * q - v * p;
        [(h * q - g * v) / cross, (g * u - h * p) / cross]
    };
    let (ox, oz) = (ax - bx, az - bz);
    let mut from = corner(SIDES - 1);
    for k in 0..SIDES {
        let to = corner(k);
        let (sx, sz) = (to[0] - from[0], to[1] - from[1]);
        // The part of the side that is inside the second
        let (mut enters, mut leaves) = (0.0_f64, 1.0_f64);
        for (m, h) in second.iter().enumerate() {
            let [u, v] = side(m);
            let room = h - (u * (ox + from[0]) + v * (oz + from[1]));
            let along = u * sx + v * sz;
            if along > 0.0 {
                leaves = leaves.min(room / along);
            } else if along < 0.0 {
                enters = enters.max(room / along);
            } else if room < 0.0 {
                leaves = -1.0;
            }
            if enters > leaves {
                break;
            }
        }
        if enters <= leaves {
            if enters > 0.0 {
                found(ax + from[0] + enters * sx, az + from[1] + enters * sz);
            }
            if leaves < 1.0 {
                found(ax + from[0] + leaves * sx, az + from[1] + leaves * sz);
            }
        }
        from = to;
    }
}
