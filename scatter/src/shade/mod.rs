//! Shade: casters outside the frame, between the sun and the framed ground.
//!
//! The sun is a disc, so the edge of a shadow is a 107th as wide as the distance to what casts it.
//! The softness that a shot asks for is therefore a distance along the rays, and there the canopy
//! hangs over the ground. It is a pattern on the world (`canopy`, in the plane square to the sun's
//! rays) and knows no camera; its scale and density are solved for (`solve`, `balance`). The frames
//! only choose which casters are made: those between the sun and ground that is seen, outside every
//! frame.
//!
//! The lit share is the share of the rays from the whole disc of the sun that come through,
//! averaged over the ground. It equals the share of a plane square to the rays that no silhouette
//! covers: softness spreads light, it takes none away.

mod balance;
mod beam;
mod canopy;
mod gaps;
mod raster;
mod silhouette;
mod solve;
mod spared;

pub use beam::{Beam, SUN};

use std::collections::BTreeSet;

use glam::{DQuat, DVec3};
use rayon::prelude::*;

use crate::brief::{self, HeroLight};
use crate::cancel::Cancel;
use crate::error::{Error, ErrorKind, Fault, Result};
use crate::kit::Piece;
use crate::place::block::{ID_CELL_BITS, piece_id};
use crate::plan::NANO;
use crate::random::Streams;
use crate::scene::Scene;
use crate::view::ConvexPolygon;
use canopy::{Canopy, CasterCandidate, Density};
use raster::MarkRaster;
use silhouette::SprayPoses;
use solve::{CanopyTarget, Solved};
use spared::SparedOutlines;

/// Height over the ground, metres, up to which what stands there is dappled too: grass, a stone.
const ABOVE: f64 = 0.2;
/// Maximum radius of a spray over the canopy's height: none hangs into the ground.
const DEEPEST: f64 = 0.4;
/// Number of pixels of framed ground from which its light is read, about.
const READ: f64 = 1e5;
/// Casters whose distance is measured.
const SOUNDED: usize = 200;

/// A spray in its place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Caster {
    /// Its place in the world's streams.
    pub id: u64,
    /// Index into the sprays that were given.
    pub piece: u16,
    /// World position of the piece's origin, metres, on a lattice of a nanometre.
    pub position: DVec3,
    /// World from piece.
    pub rotation: DQuat,
    /// Scale of the piece.
    pub scale: f64,
}

/// What a shot asks for and what it gets. Lengths in metres.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Figures {
    /// Share of the sun that comes through to the framed ground: as asked, and as the casters leave
    /// it.
    pub lit: [f64; 2],
    /// Mean width of the flecks square to the sun's azimuth: as asked, and as measured on a patch
    /// of the canopy (0 where there are none).
    pub fleck: [f64; 2],
    /// Width of a shadow's edge square to the rays: as asked, and as it follows from the casters'
    /// mean distance.
    pub softness: [f64; 2],
    /// Distance of the casters from the ground along the sun's rays.
    pub distance: f64,
    /// Height of the casters over level ground.
    pub height: f64,
    /// Area of one side of the leaves over that of the ground.
    pub leaf_area: f64,
    /// Distance between gaps among the leaves, square to the rays.
    pub gaps: f64,
    /// Length of a leaf over that of the kit's sprays.
    pub scale: f64,
}

/// The part of a canopy that the frames need.
#[derive(Debug)]
pub struct Hung {
    /// The casters, by cell and number.
    pub casters: Vec<Caster>,
    /// Casters left out since they would be seen in a frame.
    pub in_frame: u64,
    /// Casters left out since they would shade a hero.
    pub on_hero: u64,
    /// What the shot asks for and what it gets.
    pub figures: Figures,
}

/// Hangs the canopy of a shot's shade, of some sprays.
///
/// # Errors
/// It would surely have more than `most` casters, or span more cells than ids tell apart.
pub fn hang(
    asked: &brief::Shade,
    sprays: &[&Piece],
    scene: &Scene,
    streams: Streams,
    most: u64,
    cancel: &Cancel,
) -> Result<Hung> {
    let poses = SprayPoses::new(sprays);
    let beam = Beam::new(scene.view.sun());
    let softness = asked.softness;
    let distance = softness / SUN;
    let height = distance * beam.sun.y;
    let solved = solve::solve(
        &poses,
        streams.key,
        CanopyTarget {
            lit: asked.lit,
            fleck: asked.fleck,
            softness,
            most_scale: DEEPEST * height / poses.radius,
        },
        cancel,
    )?;
    let spared = match asked.hero {
        HeroLight::Lit => SparedOutlines::of(&scene.heroes, &beam),
        HeroLight::Any => SparedOutlines::default(),
    };
    let mut builder = CanopyBuilder {
        scene,
        tag: streams.tag,
        most,
        cancel,
        beam,
        distance,
        // Half the sun's image, and a pixel of the silhouettes' raster
        margin: 0.5 * softness + solved.canopy.pixel,
        canopy: &solved.canopy,
        density: Density {
            mean: solved.density,
            side: balance::side(&solved.canopy, asked.fleck),
            corrections: Default::default(),
        },
        spared,
    };
    let wide = builder.regions(0.5 * ABOVE, builder.reach());
    builder.check(&wide)?;
    let tiles = builder.tiles(&wide);
    builder.density = balance::balance(
        builder.canopy,
        &tiles,
        (builder.density.mean, builder.density.side),
        asked.lit,
        (&builder.spared, builder.margin),
        cancel,
    )?;
    let (made, in_frame, on_hero) = builder.made(&wide);
    cancel.check()?;
    let lit = builder.lit(&made);
    cancel.check()?;
    let casters: Vec<Caster> = made.iter().map(|c| builder.caster(c)).collect();
    let sounded = builder.sound(&made).unwrap_or(distance);
    Ok(Hung {
        in_frame,
        on_hero,
        figures: Figures {
            lit: [asked.lit, lit],
            fleck: [asked.fleck, solved.fleck],
            softness: [softness, sounded * SUN],
            distance: sounded,
            height: sounded * beam.sun.y,
            leaf_area: leaf_area(&solved, &beam),
            gaps: solved.canopy.gaps.spacing,
            scale: solved.canopy.scale,
        },
        casters,
    })
}

/// Area of one side of a canopy's leaves over that of level ground.
fn leaf_area(solved: &Solved<'_>, beam: &Beam) -> f64 {
    let canopy = &solved.canopy;
    let each = canopy.poses.leaf_area * canopy.scale * canopy.scale;
    solved.hanging() * canopy.candidates_per_m2() * each * beam.sun.y
}

/// A canopy on its way.
struct CanopyBuilder<'a> {
    scene: &'a Scene,
    tag: u16,
    /// Maximum number of casters.
    most: u64,
    cancel: &'a Cancel,
    beam: Beam,
    /// Distance of the casters from the ground along the beam, metres.
    distance: f64,
    /// Distance kept from what must stay lit, in the sun's plane, metres.
    margin: f64,
    canopy: &'a Canopy<'a>,
    density: Density,
    spared: SparedOutlines,
}

impl CanopyBuilder<'_> {
    /// Largest radius of a caster with the edge of its shadow, metres.
    fn reach(&self) -> f64 {
        self.canopy.poses.reach as f64 * self.canopy.pixel + self.margin
    }

    /// Convex polygons of the sun's plane that together hold the rays to all framed ground, and to
    /// all framed places as much above it as twice `radius`; each with a margin, metres.
    fn regions(&self, radius: f64, margin: f64) -> Vec<ConvexPolygon> {
        let ground = &self.scene.ground;
        let [low, high] = ground.slab();
        let in_plane = |region: ConvexPolygon| {
            let points: Vec<[f64; 2]> = region
                .corners()
                .iter()
                .flat_map(|[x, z]| {
                    let base = ground.base(*x, *z);
                    [low, high + 2.0 * radius]
                        .map(|h| self.beam.place(DVec3::new(*x, base + h, *z)))
                })
                .collect();
            ConvexPolygon::hull(&points, margin + region.margin())
        };
        let regions = self.scene.view.ground_regions(radius, ground);
        regions.into_iter().filter_map(in_plane).collect()
    }

    /// Squares of a side that touch regions, metres.
    fn squares(regions: &[ConvexPolygon], side: f64) -> BTreeSet<[i64; 2]> {
        let mut squares = BTreeSet::new();
        for region in regions {
            let [x0, y0, x1, y1] = region.bounds().map(|v| libm::floor(v / side) as i64);
            for y in y0..=y1 {
                squares.extend((x0..=x1).map(|x| [x, y]).filter(|[x, y]| {
                    region.touches([*x, *y, *x + 1, *y + 1].map(|v| v as f64 * side))
                }));
            }
        }
        squares
    }

    fn tiles(&self, regions: &[ConvexPolygon]) -> BTreeSet<[i64; 2]> {
        Self::squares(regions, self.density.side as f64 * self.canopy.pixel)
    }

    /// Refuses what is surely over the budget, and what ids can't tell apart, before the work.
    fn check(&self, regions: &[ConvexPolygon]) -> Result<()> {
        /// Not all candidates hang, and regions have margins: only more than this many times the
        /// budget is surely too much.
        const SURELY_OVER: f64 = 4.0;
        let area: f64 = regions.iter().map(ConvexPolygon::area).sum();
        let forecast = area * self.canopy.candidates_per_m2();
        let span = regions
            .iter()
            .map(ConvexPolygon::bounds)
            .map(|b| (b[2] - b[0]).max(b[3] - b[1]) / self.canopy.cell)
            .fold(0.0, f64::max);
        if forecast > SURELY_OVER * self.most as f64
            || span > f64::from(1_u32 << (ID_CELL_BITS - 1))
        {
            return Err(Error::new(
                ErrorKind::OverBudget,
                Fault::new(
                    "shade",
                    format!(
                        "the framed ground needs up to {forecast:.2e} casters; the budget is {} pieces",
                        self.most
                    ),
                    "set a nearer `far` for the cameras, ask for larger flecks, or raise `budget.pieces`",
                ),
            ));
        }
        Ok(())
    }

    /// The candidates that are made, by cell and number, and how many were left out since a frame
    /// would see them, and since they would shade a hero.
    fn made(&self, regions: &[ConvexPolygon]) -> (Vec<CasterCandidate>, u64, u64) {
        let cells: Vec<[i64; 2]> = Self::squares(regions, self.canopy.cell)
            .into_iter()
            .collect();
        let found: Vec<(CasterCandidate, CasterFate)> = cells
            .par_iter()
            .filter(|_| !self.cancel.is_cancelled())
            .flat_map_iter(|cell| {
                let hanging = self.canopy.candidates(*cell);
                hanging
                    .filter(|c| self.density.hangs(c))
                    .filter_map(|c| Some((c, self.fate(&c)?)))
            })
            .collect();
        let count = |fate: CasterFate| found.iter().filter(|(_, f)| *f == fate).count() as u64;
        let (in_frame, on_hero) = (count(CasterFate::InFrame), count(CasterFate::OnHero));
        let made = found.into_iter().filter(|(_, f)| *f == CasterFate::Made);
        (made.map(|(c, _)| c).collect(), in_frame, on_hero)
    }

    /// What becomes of a candidate that hangs; None if no framed ground needs it.
    fn fate(&self, candidate: &CasterCandidate) -> Option<CasterFate> {
        let pose = &self.canopy.poses.all[candidate.pose];
        let radius = pose.radius * pose.size * self.canopy.scale;
        let foot = self.beam.ground(&self.scene.ground, candidate.at);
        let sun = self.beam.sun;
        // The shadow's column is cut askew by the ground
        let askew = (radius + self.margin) * libm::sqrt(1.0 - sun.y * sun.y) / sun.y;
        let up = foot + sun * (askew + ABOVE / sun.y);
        let down = foot - sun * askew;
        let view = &self.scene.view;
        let needed = view.shows(foot)
            || (view.shows_along(up, down, radius + self.margin)
                && self.falls_in_frame(candidate.at, radius + self.margin));
        if !needed {
            return None;
        }
        if self.spared.meet(self.canopy, candidate, self.margin) {
            return Some(CasterFate::OnHero);
        }
        let middle = foot + sun * self.distance;
        Some(if view.in_frame(middle, radius) {
            CasterFate::InFrame
        } else {
            CasterFate::Made
        })
    }

    /// Whether any part of a round shadow falls into a frame, on the ground or on what stands on
    /// it. Tested at places of the shadow that lie less than half its radius apart.
    fn falls_in_frame(&self, middle: [f64; 2], radius: f64) -> bool {
        /// Rings, and places on each.
        const RINGS: u32 = 3;
        const PLACES: u32 = 12;
        (1..=RINGS).any(|ring| {
            let radius = radius * f64::from(ring) / f64::from(RINGS);
            (0..PLACES).any(|k| {
                let turn = std::f64::consts::TAU * f64::from(k) / f64::from(PLACES);
                let (dx, dy) = (radius * libm::cos(turn), radius * libm::sin(turn));
                let place = [middle[0] + dx, middle[1] + dy];
                let foot = self.beam.ground(&self.scene.ground, place);
                let above = self.beam.sun * (ABOVE / self.beam.sun.y);
                let view = &self.scene.view;
                view.shows(foot) || view.shows(foot + above)
            })
        })
    }

    /// A candidate in its place.
    fn caster(&self, candidate: &CasterCandidate) -> Caster {
        let pose = &self.canopy.poses.all[candidate.pose];
        let scale = pose.size * self.canopy.scale;
        let rotation = (self.beam.world_from_plane() * pose.plane_from_piece).normalize();
        let middle =
            self.beam.ground(&self.scene.ground, candidate.at) + self.beam.sun * self.distance;
        let origin = middle - rotation * (pose.middle * scale);
        Caster {
            id: piece_id(
                self.tag,
                0,
                candidate.cell[0],
                candidate.cell[1],
                candidate.ordinal,
            ),
            piece: pose.piece,
            position: DVec3::from_array(origin.to_array().map(|v| libm::round(v * NANO) / NANO)),
            rotation,
            scale,
        }
    }

    /// Share of the light that the casters leave on the framed ground; ground that a hero hides
    /// from the sun does not count. 1 where no ground is framed.
    fn lit(&self, made: &[CasterCandidate]) -> f64 {
        let names: Vec<([i64; 2], u32)> = {
            let mut names: Vec<_> = made.iter().map(|c| (c.cell, c.ordinal)).collect();
            names.sort_unstable();
            names
        };
        let tiles: Vec<[i64; 2]> = self.tiles(&self.regions(0.0, 0.0)).into_iter().collect();
        let side = self.density.side;
        let pixels = tiles.len() as f64 * (side * side) as f64;
        let step = (libm::sqrt(pixels / READ) as usize).max(1);
        let heroes = SparedOutlines::of(&self.scene.heroes, &self.beam);
        let counts: Vec<[u64; 2]> = tiles
            .par_iter()
            .filter(|_| !self.cancel.is_cancelled())
            .map(|tile| {
                let low = tile.map(|v| v * side);
                let high = low.map(|v| v + side);
                let mut raster = MarkRaster::new(low, side as usize, side as usize);
                for c in self.canopy.touching(low, high) {
                    if names.binary_search(&(c.cell, c.ordinal)).is_ok() {
                        raster.shade(self.canopy, &c, 0.0);
                    }
                }
                let (mut lit, mut all) = (0, 0);
                for y in (0..side).step_by(step) {
                    for x in (0..side).step_by(step) {
                        let place = [low[0] + x, low[1] + y].map(|v| v as f64 * self.canopy.pixel);
                        let p = self.beam.ground(&self.scene.ground, place);
                        if self.scene.view.shows(p)
                            && self.scene.ground.holds(p.x, p.z)
                            && !heroes.hold(place, 0.0)
                        {
                            all += 1;
                            lit += u64::from(raster.marks[(y * side + x) as usize].is_infinite());
                        }
                    }
                }
                [lit, all]
            })
            .collect();
        let sum = |k: usize| counts.iter().map(|c| c[k]).sum::<u64>();
        match sum(1) {
            0 => 1.0,
            all => sum(0) as f64 / all as f64,
        }
    }

    /// Mean distance down the beam from casters to the ground, measured; None where there are no
    /// casters.
    fn sound(&self, made: &[CasterCandidate]) -> Option<f64> {
        let every = made.len() / SOUNDED + 1;
        let found: Vec<f64> = made
            .iter()
            .step_by(every)
            .filter_map(|c| {
                let foot = self.beam.ground(&self.scene.ground, c.at);
                let middle = foot + self.beam.sun * self.distance;
                self.beam.descent(&self.scene.ground, middle, self.distance)
            })
            .collect();
        let count = found.len() as f64;
        (count > 0.0).then(|| found.iter().sum::<f64>() / count)
    }
}

/// What becomes of a candidate that hangs over framed ground.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum CasterFate {
    Made,
    InFrame,
    OnHero,
}
