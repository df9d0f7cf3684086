//! The story of a dressing: shot -> what the cameras resolve -> passes, one by one -> pieces at
//! rest -> layout.

use std::path::Path;
use std::sync::Arc;
use std::time::Instant;

use glam::{DVec3, Quat};
use rayon::prelude::*;
use rustc_hash::FxHashSet;

use super::carpeting::Carpet;
use super::detail::Details;
use super::earlier::{Earlier, KnownKit};
use super::mixing::{MixReader, MixReading};
use super::needed::reach;
use super::origins::Origins;
use super::pins::Pins;
use super::run::{PassRun, Run};
use super::seams;
use super::{Instance, Layout, PassRecord, Tally};
use crate::error::Result;
use crate::field::{Mask, mask};
use crate::ground::Ground;
use crate::hero::Hero;
use crate::kit::{self, Piece};
use crate::optics::Camera;
use crate::place::strata::Blocks;
use crate::rest::RigidBody;
use crate::shot::{self, CARPET, PINS, SHADE, Shot};
use crate::view::{self, ConvexPolygon, View, toward_sun, tracks};

/// How long one stage of the work took.
#[derive(Debug, Clone, PartialEq)]
pub struct Stage {
    /// What was done, such as `place`.
    pub name: String,
    /// Wall-clock seconds.
    pub seconds: f64,
}

/// A dressed shot with what it took.
#[derive(Debug)]
pub struct Dressed {
    /// The layout.
    pub layout: Layout,
    /// What the time went into.
    pub stages: Vec<Stage>,
    /// Cells that were looked at, in all passes: the work, whatever the machine.
    pub cells: u64,
    /// The size laws of the shot's mixes, asked and got.
    pub mixes: Vec<MixReading>,
    /// Ids of the pieces that were refused at rest, or taken away by hand, wherever they were
    /// looked for.
    pub refused: Vec<u64>,
    /// Places in the shot's `remove` whose pieces the take would not have either.
    pub removed_nothing: Vec<usize>,
}

/// A shot with its kit, heroes and ground at hand: dresses take after take.
#[derive(Debug)]
pub struct Dresser<'a> {
    pub(super) shot: &'a Shot,
    origins: Origins,
    pub(super) ground: Ground,
    heroes: Arc<Vec<Hero>>,
    pub(super) pieces: Arc<Vec<Piece>>,
    /// Simpler versions of the kit's pieces, if the shot asks for these; they stand behind the kit
    /// in the pieces.
    pub(super) details: Option<Arc<Details>>,
    /// The kit's pieces as resting sees them.
    pub(super) bodies: Arc<Vec<Arc<RigidBody>>>,
    /// What each pass may take of them.
    pub(super) kits: Vec<Vec<kit::Serving>>,
    /// What was put in its place by hand.
    pub(super) pins: Pins,
    warnings: Vec<String>,
    cameras: Vec<Camera>,
    pub(super) view: View,
    /// Each pass's images of strengths.
    masks: Vec<Vec<Mask>>,
    /// The pieces that the shade is made of.
    pub(super) sprays: Vec<u16>,
    pub(super) carpet: Option<Arc<Carpet>>,
    stages: Vec<Stage>,
}

/// Dresses a shot once, with its own take. Files that it names are looked for in `folder`.
///
/// # Errors
/// As [`Dresser::new`] and [`Dresser::dress`].
pub fn dress(shot: &Shot, folder: &Path, progress: &(dyn Fn(&str) + Sync)) -> Result<Dressed> {
    progress("kit");
    Dresser::new(shot, folder)?.dress(shot.take, progress)
}

impl<'a> Dresser<'a> {
    /// Grows the kit, reads the heroes and frames the view.
    ///
    /// # Errors
    /// A hero can't be read, or a camera can't dress this ground.
    pub fn new(shot: &'a Shot, folder: &Path) -> Result<Self> {
        Self::after(shot, folder, &mut Earlier::default())
    }

    /// As [`Dresser::new`], with what an earlier dressing left taken over where the shot and its
    /// files say the same.
    ///
    /// # Errors
    /// As [`Dresser::new`].
    pub fn after(shot: &'a Shot, folder: &Path, earlier: &mut Earlier) -> Result<Self> {
        let mut clock = Clock::default();
        let origins = Origins::of(shot, folder);
        let ground = match &earlier.ground {
            Some((key, ground)) if *key == origins.ground => ground.clone(),
            _ => Ground::read(&shot.ground, folder)?,
        };
        let tracks = tracks(&shot.cameras, folder)?;
        // What is delivered and shown of a moving camera is its first frame
        let cameras: Vec<Camera> = tracks.iter().map(|t| t.frames[0].clone()).collect();
        let [azimuth, elevation] = shot.light.direction();
        let view = View::of(
            &tracks,
            shot.resolve,
            toward_sun(azimuth, elevation),
            ground.floor(),
        );
        view.check(&ground)?;
        let masks = mask::read_all(shot, folder, &cameras)?;
        let heroes = match &earlier.heroes {
            Some((key, heroes)) if *key == origins.heroes => Arc::clone(heroes),
            _ => Arc::new(read_heroes(shot, folder, &ground)?),
        };
        clock.stage("hero");
        let KnownKit {
            library,
            pieces,
            details,
            bodies,
            carpet,
        } = match &earlier.kit {
            Some((key, kit)) if *key == origins.kit => kit.clone(),
            _ => known_kit(shot, folder, earlier)?,
        };
        let pins = Pins::lay(shot, &ground, (&pieces, &bodies), &library.of_pin)?;
        let warnings = [
            library.warnings.clone(),
            pins.in_heroes(&heroes),
            seams::warnings(shot, &library.of_pass, &pieces, &bodies),
        ]
        .concat();
        clock.stage("kit");
        if earlier.keeps {
            earlier.ground = Some((origins.ground, ground.clone()));
            earlier.heroes = Some((origins.heroes, Arc::clone(&heroes)));
            let kit = KnownKit {
                library: library.clone(),
                pieces: Arc::clone(&pieces),
                details: details.clone(),
                bodies: Arc::clone(&bodies),
                carpet: carpet.clone(),
            };
            earlier.kit = Some((origins.kit, kit));
        }
        Ok(Self {
            shot,
            origins,
            ground,
            heroes,
            pieces,
            details,
            bodies,
            kits: library.of_pass,
            pins,
            warnings,
            cameras,
            view,
            masks,
            sprays: library.shade,
            carpet,
            stages: clock.stages,
        })
    }

    /// The same for small pictures, whose pixel is the finest footprint that the shot's `resolve`
    /// asks for: what is smaller is not made as something to lie on either. Pieces are placed as in
    /// the full layout. What would lie on something so small lies lower by a part of a footprint,
    /// or rolls and slides otherwise, by a few footprints; of leaves on fine gravel one in forty,
    /// of chips of rock on fines one in eight stays in one and slides off in the other.
    #[must_use]
    pub fn sketching(mut self) -> Self {
        self.origins.sketch = true;
        self
    }

    /// The ground.
    #[must_use]
    pub fn ground(&self) -> &Ground {
        &self.ground
    }

    /// The heroes.
    #[must_use]
    pub fn heroes(&self) -> &[Hero] {
        &self.heroes
    }

    /// The kit, the pieces that the passes name; then simpler versions of them, if the shot asks
    /// for these; then the carpet's tiles.
    #[must_use]
    pub fn pieces(&self) -> &[Piece] {
        &self.pieces
    }

    /// What is done otherwise than may be meant: what the files of heroes and pieces hold that was
    /// left out, such as a texture that is missing, pins that stand in a hero, and passes of stones
    /// whose numbers leave a step where their sizes meet.
    pub fn warnings(&self) -> impl Iterator<Item = &str> {
        let of_heroes = self.heroes.iter().flat_map(|h| &h.warnings);
        of_heroes.chain(&self.warnings).map(String::as_str)
    }

    /// The cameras.
    #[must_use]
    pub fn cameras(&self) -> &[Camera] {
        &self.cameras
    }

    /// Where each pass's octaves of a take are made, pass by pass and largest first.
    ///
    /// # Errors
    /// Two passes fold to the same mark in piece ids.
    pub fn octave_regions(&self, take: u64) -> Result<Vec<Vec<OctaveRegion>>> {
        let run = self.run(take)?;
        let of_pass = |(index, pass): (usize, &PassRun<'_>)| {
            let strata = run.strata(index);
            let octaves = strata.plan.schedule.octaves.iter();
            octaves
                .map(|layer| OctaveRegion {
                    sizes: [layer.from, layer.to],
                    regions: self.view.regions(reach(pass, layer.to), &self.ground),
                })
                .collect()
        };
        Ok(run.passes.iter().enumerate().map(of_pass).collect())
    }

    pub(super) fn run(&self, take: u64) -> Result<Run<'_>> {
        Run::new(
            self.shot,
            take,
            (&self.ground, &self.view),
            (&self.heroes, &self.pins),
            (&self.pieces, &self.bodies),
            &self.kits,
            &self.masks,
        )
    }

    /// The view.
    #[must_use]
    pub fn view(&self) -> &View {
        &self.view
    }

    /// Numbers of the first and the last frame in which a moving camera sees each of a layout's
    /// instances, in the layout's order; None for what none sees, such as what only throws its
    /// shadow into the frame. The layout is one of this shot.
    #[must_use]
    pub fn first_last_seen(&self, layout: &Layout) -> Vec<Option<[i64; 2]>> {
        let balls: Vec<(DVec3, f64)> = self.pieces.par_iter().map(ball).collect();
        let seen = |i: &Instance| {
            let (centre, radius) = balls[usize::from(i.piece)];
            let scale = f64::from(i.scale);
            let rotation = Quat::from_array(i.rotation).as_dquat();
            self.view.first_last_seen(&view::Body {
                middle: i.position + rotation * (centre * scale),
                radius: radius * scale,
                diameter: f64::from(i.diameter),
            })
        };
        layout.instances.par_iter().map(seen).collect()
    }

    /// Dresses one take. `progress` is told the name of each pass as it begins.
    ///
    /// # Errors
    /// The shot asks for more than its budget, or spans more ground than one layout can name.
    pub fn dress(&self, take: u64, progress: &(dyn Fn(&str) + Sync)) -> Result<Dressed> {
        self.dress_after(take, &mut Earlier::default(), progress)
    }

    /// As [`Dresser::dress`], to the same bytes, with what an earlier dressing left taken over
    /// where it would come out again. What this one leaves takes its place.
    ///
    /// # Errors
    /// As [`Dresser::dress`].
    pub fn dress_after(
        &self,
        take: u64,
        earlier: &mut Earlier,
        progress: &(dyn Fn(&str) + Sync),
    ) -> Result<Dressed> {
        let mut clock = Clock {
            stages: self.stages.clone(),
            ..Clock::default()
        };
        let mut run = self.run(take)?;
        run.keeps = earlier.keeps;
        run.sketches = self.origins.sketch;
        let keys = self.origins.passes(self.shot, take, &run);
        earlier.give_strata(&run, &keys);
        run.before = earlier.before(&run, &keys, &self.origins);
        self.check_demand(&run)?;
        clock.stage("plan");
        let wanted: Vec<Blocks> = (0..run.passes.len())
            .map(|index| self.wanted(&run, index))
            .collect();
        self.check_forecast(&run, &wanted)?;
        clock.stage("forecast");
        let mut instances = Vec::new();
        let mut passes = Vec::new();
        let mut mixes = MixReader::new(self.shot);
        let mut removed: FxHashSet<u64> = self.pins.removed.iter().copied().collect();
        let asked = run.ask_ahead(&wanted);
        clock.stage("ask ahead");
        for (index, blocks) in wanted.iter().enumerate() {
            let name = &run.passes[index].pass.name;
            progress(name);
            run.ensure(index, &asked[index])?;
            clock.stage(&format!("place {name}"));
            let candidates = self.candidates(&run, index, blocks);
            run.settle_seen(index, candidates.clone())?;
            let mut rested = self.instances(&run, index, &candidates);
            let triangles = rested.instances.iter();
            let triangles = triangles.map(|i| self.pieces[usize::from(i.piece)].triangles());
            let (ledger, octaves) = self.ledger(&run, index, blocks);
            let tally = Tally {
                placed: rested.instances.len() as u64,
                triangles: triangles.sum(),
                full_triangles: rested.full_triangles,
                ..ledger
            };
            mixes.add(&run, index, &octaves);
            self.check_pieces(name, index, instances.len() + rested.instances.len())?;
            rested
                .instances
                .par_sort_unstable_by_key(|i| (i.piece, i.id));
            if instances.is_empty() {
                instances = rested.instances;
            } else {
                instances.append(&mut rested.instances);
            }
            passes.push(PassRecord {
                name: name.clone(),
                tally,
            });
            clock.stage(&format!("rest {name}"));
        }
        let mut refused = Vec::new();
        for index in 0..run.passes.len() {
            let settled = run.settled(index);
            removed.extend(settled.removed());
            refused.extend(settled.refused());
        }
        if let Some((record, pinned)) = self.pins.deliver(run.passes.len() as u16, &self.pieces) {
            self.check_pieces(PINS, run.passes.len(), instances.len() + pinned.len())?;
            instances.extend(pinned);
            passes.push(record);
        }
        if let Some((record, mut tiles)) = self.carpet(take, passes.len(), &mut removed)? {
            progress(&record.name);
            self.check_made(CARPET, instances.len() + tiles.len())?;
            instances.append(&mut tiles);
            passes.push(record);
            clock.stage(CARPET);
        }
        if let Some((record, mut casters)) = self.shade(take, passes.len(), &mut removed)? {
            progress(&record.name);
            self.check_made(SHADE, instances.len() + casters.len())?;
            instances.append(&mut casters);
            passes.push(record);
            clock.stage("shade");
        }
        let cells = (0..run.passes.len())
            .map(|i| run.strata(i).total().cells)
            .sum();
        let layout = Layout {
            shot: self.shot.name.clone(),
            take,
            cameras: self.cameras.clone(),
            pieces: Arc::clone(&self.pieces),
            passes,
            instances,
        };
        self.check_layout(&layout)?;
        if earlier.keeps {
            let removed = std::mem::take(&mut run.removed);
            earlier.keep(run.into_passes(), keys, removed, &self.origins);
        }
        let nothing = |text: &String| shot::piece_id(text).is_none_or(|id| !removed.contains(&id));
        let all = self.shot.remove.iter().enumerate();
        Ok(Dressed {
            layout,
            stages: clock.stages,
            cells,
            refused,
            mixes: mixes.finish(self),
            removed_nothing: all.filter(|(_, t)| nothing(t)).map(|(i, _)| i).collect(),
        })
    }
}

fn read_heroes(shot: &Shot, folder: &Path, ground: &Ground) -> Result<Vec<Hero>> {
    let heroes = shot.hero.iter().enumerate();
    heroes
        .map(|(i, h)| Hero::read(h, folder, &format!("hero[{i}]"), ground))
        .collect()
}

/// Grows and reads the kit, measures what was not measured, and makes the simpler versions that are
/// asked for.
fn known_kit(shot: &Shot, folder: &Path, earlier: &Earlier) -> Result<KnownKit> {
    let mut library = kit::Library::for_shot(shot, folder)?;
    let mut pieces = std::mem::take(&mut library.pieces);
    let body = |piece: &Piece| match earlier.body(piece) {
        Some(body) => Ok(body),
        None => RigidBody::of(piece).map(Arc::new),
    };
    let bodies = pieces.par_iter().map(body).collect::<Result<Vec<_>>>()?;
    let details = shot.resolve.triangle_pixels;
    let details = details
        .map(|pixels| Details::new(pixels, &mut pieces).map(Arc::new))
        .transpose()?;
    let carpet = Carpet::new(shot, folder, &mut pieces)?.map(|(carpet, warnings)| {
        library.warnings.extend(warnings);
        Arc::new(carpet)
    });
    Ok(KnownKit {
        library,
        pieces: Arc::new(pieces),
        details,
        bodies: Arc::new(bodies),
        carpet,
    })
}

/// Middle of a piece's bounds, and the largest distance of a vertex from it, metres in the piece's
/// frame.
fn ball(piece: &Piece) -> (DVec3, f64) {
    let places = || piece.parts.iter().flat_map(|p| &p.mesh.positions);
    let (low, high) = places().fold((DVec3::INFINITY, DVec3::NEG_INFINITY), |(l, h), p| {
        (l.min(p.as_dvec3()), h.max(p.as_dvec3()))
    });
    let middle = 0.5 * (low + high);
    let far = places().map(|p| (p.as_dvec3() - middle).length());
    (middle, far.fold(0.0, f64::max))
}

/// The sizes of one octave of a pass, and the plan polygons, one a camera that resolves any of it,
/// in which it is made.
#[derive(Debug, Clone)]
pub struct OctaveRegion {
    /// Smallest and largest diameter, metres.
    pub sizes: [f64; 2],
    /// Where it is made.
    pub regions: Vec<ConvexPolygon>,
}

/// Splits the time into stages.
struct Clock {
    last: Instant,
    stages: Vec<Stage>,
}

impl Default for Clock {
    fn default() -> Self {
        Self {
            last: Instant::now(),
            stages: Vec::new(),
        }
    }
}

impl Clock {
    fn stage(&mut self, name: &str) {
        let now = Instant::now();
        self.stages.push(Stage {
            name: name.to_string(),
            seconds: (now - self.last).as_secs_f64(),
        });
        self.last = now;
    }
}
