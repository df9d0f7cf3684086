//! Pieces put in their places by hand, laid before all passes: the same in every take and from
//! every camera.

use glam::DAffine3;
use rayon::prelude::*;
use rustc_hash::{FxHashMap, FxHashSet};

use super::kit::Kit;
use crate::brief::{Brief, Lies, PINS, Pin};
use crate::error::{Error, Result};
use crate::ground::Ground;
use crate::hero::{Hero, Outlines};
use crate::kit::PieceIndex;
use crate::plan::{NANO, PassPiece, Placed, Rectangle};
use crate::random::{ID_TAG_BITS, join, tag, text_key};
use crate::rest::{self, Lying, SettledSurface, Standing};

/// A pin where it came to lie.
#[derive(Debug)]
pub(super) struct Pinned {
    pub(super) placed: Placed,
    pub(super) standing: Standing,
    /// What it takes of the ground; none for what is wholly sunk.
    pub(super) outlines: Option<Outlines>,
    /// Whether it grows: nothing lies on it.
    pub(super) grows: bool,
    /// Its piece in the layout's list.
    pub(super) piece: PieceIndex,
    /// Its number in the shot.
    number: usize,
}

impl Pinned {
    /// Its height over the ground, metres.
    pub(super) fn height(&self) -> f64 {
        self.outlines.as_ref().map_or(0.0, Outlines::height)
    }
}

/// All pins of a shot, in its order.
#[derive(Debug, Default)]
pub(super) struct Pins {
    pub(super) all: Vec<Pinned>,
    /// Numbers of the pins and the plan rectangles that hold them, by rising lower x.
    by_x: Vec<(Rectangle, u32)>,
    /// Widest of the rectangles along x, nanometres.
    widest: i64,
    /// Ids of the pins that were taken away.
    pub(super) removed: Vec<u64>,
}

impl Pins {
    /// Lays the pins that are not taken away.
    ///
    /// # Errors
    /// Two pins stand in one place, or one where there is no ground.
    pub(super) fn lay(brief: &Brief, ground: &Ground, kit: &Kit) -> Result<Self> {
        let removed: FxHashSet<u64> = brief.removed.iter().copied().collect();
        let mut seen: FxHashMap<u64, usize> = FxHashMap::default();
        let mut pins = Self::default();
        let numbers = kit.library.of_pin.iter().copied();
        for (i, (pin, number)) in brief.pins().iter().zip(numbers).enumerate() {
            let id = id_of(pin);
            if let Some(first) = seen.insert(id, i) {
                return Err(Error::input(
                    format!("pins[{i}].at"),
                    format!("pins[{first}] puts {:?} in the same place", pin.piece),
                    "leave one of them out, or move it",
                ));
            }
            let [x, z] = pin.at;
            if !ground.holds(x, z) {
                return Err(Error::input(
                    format!("pins[{i}].at"),
                    format!("there is no ground at {x}, {z}"),
                    "a place on the ground",
                ));
            }
            if removed.contains(&id) {
                pins.removed.push(id);
                continue;
            }
            pins.add((i, pin), (id, number), kit, ground);
        }
        let outlines: Vec<Option<Outlines>> = pins
            .all
            .par_iter()
            .map(|p| {
                let s = p.standing;
                let world_from_mesh = DAffine3::from_scale_rotation_translation(
                    glam::DVec3::splat(s.scale),
                    s.rotation,
                    s.position,
                );
                Outlines::of(
                    &kit.pieces[usize::from(p.piece)].parts,
                    &world_from_mesh,
                    ground,
                )
            })
            .collect();
        for (pin, outlines) in pins.all.iter_mut().zip(outlines) {
            pin.outlines = outlines;
        }
        Ok(pins)
    }

    /// Lays one more pin, on those before it.
    fn add(
        &mut self,
        (at, pin): (usize, &Pin),
        (id, number): (u64, PieceIndex),
        kit: &Kit,
        ground: &Ground,
    ) {
        let piece = &kit.pieces[usize::from(number)];
        let body = &*kit.bodies[usize::from(number)];
        let [x, z] = pin.at.map(|v| libm::rint(v * NANO) as i64);
        let azimuth = pin.heading;
        let placed = Placed {
            x,
            z,
            id,
            diameter: pin.diameter as f32,
            along: [libm::sin(azimuth) as f32, -libm::cos(azimuth) as f32],
            piece: PassPiece::default(),
            stance: 0,
            sunk: 0,
        };
        let b_axis = piece.measure.b_axis;
        let reach = body.reach * f64::from(placed.diameter) / b_axis;
        let place = Rectangle::at(x, z);
        let lying: Vec<Lying<'_>> = self
            .near(place.grown((reach * NANO) as i64 + 1))
            .map(|i| &self.all[i as usize])
            .filter(|p| !p.grows)
            .map(|p| Lying::new(&kit.bodies[usize::from(p.piece)], p.standing))
            .filter(|l| {
                let (dx, dz) = (l.middle[0] - x as f64 / NANO, l.middle[1] - z as f64 / NANO);
                libm::sqrt(dx * dx + dz * dz) < l.reach + reach
            })
            .collect();
        let lying = if body.lies == Lies::Rooted {
            Vec::new()
        } else {
            lying
        };
        let surface = SettledSurface::new(ground, lying);
        let standing = rest::pin(&placed, body, b_axis, pin.bury, &surface);
        let laid = Lying::new(body, standing);
        let [mx, mz] = laid.middle.map(|v| (v * NANO) as i64);
        let bounds = Rectangle::at(mx, mz).grown((laid.reach * NANO) as i64 + 1);
        self.widest = self.widest.max(bounds.x1 - bounds.x0);
        let place = self.by_x.partition_point(|(b, _)| b.x0 <= bounds.x0);
        self.by_x.insert(place, (bounds, self.all.len() as u32));
        self.all.push(Pinned {
            placed,
            standing,
            outlines: None,
            grows: body.lies == Lies::Rooted,
            piece: number,
            number: at,
        });
    }

    /// A line for each pin that stands in a hero: it lies where it was put, but an artist would
    /// rarely mean it.
    pub(super) fn in_heroes(&self, heroes: &[Hero]) -> Vec<String> {
        let told = |pin: &Pinned| {
            let at = [pin.placed.x, pin.placed.z];
            let hero = heroes.iter().position(|h| h.holds(at, pin.height()))?;
            Some(format!(
                "pins[{}].at: in the outline of hero[{hero}], which may hide it: a pin lies on the ground, not on a hero",
                pin.number
            ))
        };
        self.all.iter().filter_map(told).collect()
    }

    /// Numbers of the pins that may reach into a plan rectangle.
    pub(super) fn near(&self, r: Rectangle) -> impl Iterator<Item = u32> {
        let first = self
            .by_x
            .partition_point(|(b, _)| b.x0 < r.x0 - self.widest);
        let open = self.by_x[first..]
            .iter()
            .take_while(move |(b, _)| b.x0 <= r.x1);
        let meets = move |b: &Rectangle| b.x1 >= r.x0 && b.z0 <= r.z1 && b.z1 >= r.z0;
        open.filter(move |(b, _)| meets(b)).map(|(_, i)| *i)
    }
}

/// The id of a pin: it hangs on what is pinned and where, not on the pin's number, heading or size.
fn id_of(pin: &Pin) -> u64 {
    let place = pin.at.map(|v| libm::rint(v * NANO) as i64 as u64);
    let key = join(join(text_key(&pin.piece), place[0]), place[1]);
    u64::from(tag(PINS)) << (64 - ID_TAG_BITS) | key >> ID_TAG_BITS
}
