//! Which tiles are laid, and how: on the ground's best plane under each, wherever ground is seen.

use std::collections::BTreeSet;

use glam::{DQuat, DVec3};
use rayon::prelude::*;

use super::lattice::{Lattice, LatticeCell};
use super::{CarpetTiles, TileForm};
use crate::cancel::Cancel;
use crate::error::{Error, ErrorKind, Fault, Result};
use crate::ground::Ground;
use crate::place::block::{ID_CELL_BITS, piece_id};
use crate::plan::NANO;
use crate::random::Streams;
use crate::scene::Scene;
use crate::view::{Body, ConvexPolygon, View};

/// Places round a tile's middle at which the ground is sampled: two rings of six, in sides. The
/// outer one is where neighbours meet.
const RINGS: [f64; 2] = [0.3, 0.577_350_269_189_625_8];
/// Places on a ring.
const PLACES: usize = 6;
/// Radius, as a share of a tile's, of the discs in which it is tested whether a lens resolves its
/// grains: about its middle, and at six places round that.
const PART: f64 = 0.5;
/// Regions have margins, and not all cells are seen: only more than this many times the budget is
/// surely too much.
const SURELY_OVER: f64 = 4.0;
/// Steepest slope, as the cosine, on which a tile is scaled up to close the ground: 75 degrees.
const STEEPEST: f64 = 0.26;

/// An octave of a tile in its place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LaidTile {
    /// Its place in the world's streams.
    pub id: u64,
    /// Which tile.
    pub variant: usize,
    /// Which octave of its grains, 0 with the sheet.
    pub octave: usize,
    /// World position of its middle, metres, on a lattice of a nanometre.
    pub position: DVec3,
    /// World from tile.
    pub rotation: DQuat,
    /// Scale of its mesh, at least 1.
    pub scale: f64,
}

/// The tiles that the frames need, of `variants` different ones, by cell and octave. A tile of the
/// largest grains, with its sheet, lies wherever any ground is seen; a tile of finer grains lies
/// where they are resolved.
///
/// # Errors
/// There are surely more than `most`, or they span more cells than ids tell apart.
pub fn lay(
    tiles: &CarpetTiles,
    variants: usize,
    scene: &Scene,
    streams: Streams,
    most: u64,
    cancel: &Cancel,
) -> Result<Vec<LaidTile>> {
    let form = &tiles.form;
    let lattice = Lattice {
        side: form.side,
        key: streams.key,
        variants,
    };
    let reach = form.ends();
    let regions = scene.view.ground_regions(reach, &scene.ground);
    check(&regions, form, most)?;
    let mut places = BTreeSet::new();
    for region in &regions {
        let grown = |r: [f64; 4]| [r[0] - reach, r[1] - reach, r[2] + reach, r[3] + reach];
        let near = lattice.within(grown(region.bounds())).filter(|at| {
            let [x, z] = lattice.cell(*at).middle;
            region.touches(grown([x, z, x, z]))
        });
        places.extend(near);
    }
    let places: Vec<[i64; 2]> = places.into_iter().collect();
    let laid = |at: &[i64; 2]| {
        if cancel.is_cancelled() {
            return None;
        }
        let cell = lattice.cell(*at);
        let bed = bed(&cell, form, &scene.ground)?;
        let octaves = (0..tiles.octaves.len()).filter(move |octave| {
            let finer = *octave > 0;
            needed(
                &bed,
                form,
                finer.then(|| tiles.octaves[*octave]),
                &scene.view,
            )
        });
        Some(octaves.map(move |octave| LaidTile {
            id: piece_id(streams.tag, octave, cell.at[0], cell.at[1], 0),
            variant: cell.variant,
            octave,
            position: bed.middle,
            rotation: bed.rotation,
            scale: bed.scale,
        }))
    };
    let laid = places.par_iter().filter_map(laid).flatten_iter().collect();
    cancel.check()?;
    Ok(laid)
}

/// How a tile lies.
#[derive(Debug, Clone, Copy)]
struct Bed {
    middle: DVec3,
    rotation: DQuat,
    scale: f64,
}

/// How the tile of a cell lies on the ground: on the plane that is nearest to it at the middle and
/// at two rings of places; None where there is no ground.
fn bed(cell: &LatticeCell, form: &TileForm, ground: &Ground) -> Option<Bed> {
    let [x, z] = cell.middle;
    // Any ground in what the tile has to close: what surely has none is left bare
    let reach = form.needs();
    if ground.is_void([x - reach, z - reach, x + reach, z + reach]) {
        return None;
    }
    let mut height = ground.height(x, z);
    let (mut along, mut squares) = ([0.0; 2], 0.0);
    for ring in RINGS {
        for k in 0..PLACES {
            let turn = std::f64::consts::TAU * k as f64 / PLACES as f64;
            let (u, v) = (libm::cos(turn), libm::sin(turn));
            let (u, v) = (ring * form.side * u, ring * form.side * v);
            let here = ground.height(x + u, z + v);
            height += here;
            along = [along[0] + u * here, along[1] + v * here];
            squares += u * u;
        }
    }
    // The rings are even: sums of u, v and u v are 0
    let height = height / (1 + RINGS.len() * PLACES) as f64;
    let [gx, gz] = along.map(|sum| sum / squares);
    let normal = DVec3::new(-gx, 1.0, -gz).normalize();
    let half = 0.5 * cell.turn;
    let upright = DQuat::from_xyzw(0.0, libm::sin(half), 0.0, libm::cos(half));
    let lean = DQuat::from_rotation_arc(DVec3::Y, normal);
    // A tilted tile closes less of the plan
    let plan = form.covers() * normal.y.max(STEEPEST);
    let middle = [x, height, z].map(|v| libm::round(v * NANO) / NANO);
    Some(Bed {
        middle: DVec3::from_array(middle),
        rotation: (lean * upright).normalize(),
        scale: (form.needs() / plan).max(1.0),
    })
}

/// Whether a frame shows a tile, or its shadow; with a diameter, whether grains of that size are
/// resolved anywhere in it.
fn needed(bed: &Bed, form: &TileForm, diameter: Option<f64>, view: &View) -> bool {
    // Grains throw shadows as long as they are tall over the sun's slope
    let shadow = form.largest * bed.scale / view.sun().y;
    let radius = form.ends() * bed.scale;
    let shown = view.shows_along(bed.middle, bed.middle, radius + shadow.min(radius));
    let Some(diameter) = diameter.filter(|_| shown) else {
        return shown;
    };
    let part = PART * radius;
    let places = (0..PLACES).map(|k| {
        let turn = std::f64::consts::TAU * k as f64 / PLACES as f64;
        DVec3::new(libm::cos(turn), 0.0, libm::sin(turn)) * part
    });
    places.chain([DVec3::ZERO]).any(|place| {
        view.sees(&Body {
            middle: bed.middle + bed.rotation * place,
            radius: part,
            diameter: diameter * bed.scale,
        })
    })
}

/// Refuses what is surely over the budget, and what ids can't tell apart, before the work.
fn check(regions: &[ConvexPolygon], form: &TileForm, most: u64) -> Result<()> {
    let area: f64 = regions.iter().map(ConvexPolygon::area).sum();
    let forecast = area / (libm::sqrt(0.75) * form.side * form.side);
    let spans = regions.iter().map(ConvexPolygon::bounds);
    let span = spans
        .map(|b| (b[2] - b[0]) + (b[3] - b[1]))
        .fold(0.0, f64::max)
        / form.side;
    if forecast > SURELY_OVER * most as f64 || span > f64::from(1_u32 << (ID_CELL_BITS - 1)) {
        let problem = format!(
            "the ground that is seen needs up to {forecast:.2e} tiles; the budget is {most} pieces"
        );
        let hint = "set a nearer `far` for the cameras, lay larger tiles, or raise `budget.pieces`";
        return Err(Error::new(
            ErrorKind::OverBudget,
            Fault::new("carpet", problem, hint),
        ));
    }
    Ok(())
}
