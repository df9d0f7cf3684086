//! Which grain lies where in a tile: darts thrown from the largest grain to the smallest, each
//! where it meets no other.

use std::f64::consts::{PI, TAU};

use glam::{DQuat, DVec3};

use super::form::TileForm;
use super::grains::Stock;
use crate::random::{join, stream, text_key};
use crate::size::SizeLaw;

/// Sum of the plan areas of the grains to place, over that of the tile: more than there is room
/// for, so that gaps fill.
const ASKED: f64 = 1.1;
/// Places that are tried for a grain: with three times as many a hundredth more of the ground is
/// covered.
const TRIES: u32 = 40;
/// Share by which two grains may be nearer than their discs touch: half buried stones meet under
/// the surface.
const OVERLAP: f64 = 0.1;
/// Share of its height that a grain is sunk in the sheet, from and to.
const BURIED: [f64; 2] = [0.25, 0.55];
/// Maximum lean of a grain from lying flat, radians: wedged between others, it does not lie as on a
/// table.
const LEANS: f64 = 0.45;
/// Maximum change of a grain's brightness from that of its kind, either way.
const TINT: f64 = 0.2;

/// A grain in its place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct PackedGrain {
    /// Plan place in the tile, metres.
    pub(super) at: [f64; 2],
    /// Intermediate axis, metres.
    pub(super) diameter: f64,
    /// Which of the stock's grains.
    pub(super) grain: usize,
    /// Tile from grain.
    pub(super) rotation: DQuat,
    /// Share of its height that is under the sheet.
    pub(super) buried: f64,
    /// Factor on its colour.
    pub(super) tint: f64,
}

/// Largest diameters of the octaves that a size law spans, the largest first.
pub(super) fn octaves(law: &SizeLaw) -> Vec<f64> {
    let mut octaves = vec![law.to()];
    let mut next = 0.5 * law.to();
    // A sliver under a whole octave is not worth a mesh of its own
    while next > law.from() * 1.001 {
        octaves.push(next);
        next *= 0.5;
    }
    octaves
}

/// Packs a tile, octave by octave.
pub(super) fn pack(
    form: &TileForm,
    law: &SizeLaw,
    octaves: &[f64],
    stock: &Stock,
    variant: u32,
) -> Vec<Vec<PackedGrain>> {
    let mut draws = stream(join(text_key("carpet grains"), u64::from(variant)));
    let reach = form.holds_grains();
    let area = PI * reach * reach;
    let count = ASKED * area / (0.25 * PI * law.mean_square());
    let mut ground = DiscGrid::new(octaves[0], reach);
    let mut packed = Vec::with_capacity(octaves.len());
    for (octave, to) in octaves.iter().enumerate() {
        let from = octaves.get(octave + 1).copied().unwrap_or(law.from());
        let (low, high) = (law.finer_than(from), law.finer_than(*to));
        // Equal grains have no share between two sizes
        let share = if octaves.len() == 1 { 1.0 } else { high - low };
        let number = (count * share) as usize;
        let mut sizes: Vec<f64> = (0..number)
            .map(|_| law.quantile(low + (high - low) * draws.unit()))
            .collect();
        sizes.sort_unstable_by(|a, b| b.total_cmp(a));
        let grains = &stock.octaves[octave];
        let mut set = Vec::new();
        for diameter in sizes {
            let grain = ((draws.unit() * grains.len() as f64) as usize).min(grains.len() - 1);
            let radius = grains[grain].radius * diameter;
            for _ in 0..TRIES {
                let (turn, out) = (TAU * draws.unit(), reach * libm::sqrt(draws.unit()));
                let at = [out * libm::cos(turn), out * libm::sin(turn)];
                if ground.meets(at, radius) {
                    continue;
                }
                // Thinned before it takes room, so that finer grains fill what it leaves
                if draws.unit() < form.share(out) {
                    ground.add(at, radius);
                    let lean = LEANS * draws.unit() * draws.unit();
                    let way = TAU * draws.unit();
                    let axis = DVec3::new(libm::cos(way), 0.0, libm::sin(way));
                    let yaw = DQuat::from_rotation_y(TAU * draws.unit());
                    set.push(PackedGrain {
                        at,
                        diameter,
                        grain,
                        rotation: turned(axis, lean) * yaw,
                        buried: draws.between(BURIED[0], BURIED[1]),
                        tint: 1.0 + TINT * (draws.unit() + draws.unit() - 1.0),
                    });
                }
                break;
            }
        }
        packed.push(set);
    }
    packed
}

/// A turn about a unit axis, by the portable mathematics library.
fn turned(axis: DVec3, angle: f64) -> DQuat {
    let (s, c) = (libm::sin(0.5 * angle), libm::cos(0.5 * angle));
    DQuat::from_xyzw(axis.x * s, axis.y * s, axis.z * s, c)
}

/// Mean height of a tile's top over its sheet where its neighbours do not overlap it, metres.
/// Grains are taken as halves of ellipsoids.
pub(super) fn mean_top(form: &TileForm, packed: &[Vec<PackedGrain>], stock: &Stock) -> f64 {
    /// Radius of the part nearer than the nearest seam, in sides.
    const INNER: f64 = 0.32;
    let reach = INNER * form.side;
    let mut volume = 0.0;
    for (set, grains) in packed.iter().zip(&stock.octaves) {
        for s in set {
            if s.at[0] * s.at[0] + s.at[1] * s.at[1] < reach * reach {
                let grain = &grains[s.grain];
                let radius = grain.radius * s.diameter;
                let stands = grain.height * s.diameter * (1.0 - s.buried);
                volume += 2.0 / 3.0 * PI * radius * radius * stands;
            }
        }
    }
    volume / (PI * reach * reach)
}

/// Discs on the plan by squares of a grid.
struct DiscGrid {
    side: f64,
    across: i64,
    cells: Vec<Vec<([f64; 2], f64)>>,
    largest: f64,
}

impl DiscGrid {
    fn new(largest: f64, reach: f64) -> Self {
        let across = libm::ceil(2.0 * reach / largest) as i64 + 1;
        Self {
            side: largest,
            across,
            cells: vec![Vec::new(); (across * across) as usize],
            largest: 0.0,
        }
    }

    fn cell(&self, v: f64) -> i64 {
        libm::floor(v / self.side) as i64 + self.across / 2
    }

    fn add(&mut self, at: [f64; 2], radius: f64) {
        let [x, z] = at.map(|v| self.cell(v).clamp(0, self.across - 1));
        self.largest = self.largest.max(radius);
        self.cells[(z * self.across + x) as usize].push((at, radius));
    }

    fn meets(&self, at: [f64; 2], radius: f64) -> bool {
        let reach = radius + self.largest;
        let range = |v: f64| {
            let [low, high] = [v - reach, v + reach].map(|v| self.cell(v));
            low.clamp(0, self.across - 1)..=high.clamp(0, self.across - 1)
        };
        range(at[1]).any(|z| {
            range(at[0]).any(|x| {
                let near = &self.cells[(z * self.across + x) as usize];
                near.iter().any(|(other, r)| {
                    let (dx, dz) = (at[0] - other[0], at[1] - other[1]);
                    let apart = (radius + r) * (1.0 - OVERLAP);
                    dx * dx + dz * dz < apart * apart
                })
            })
        })
    }
}
