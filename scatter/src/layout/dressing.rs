//! The story of a dressing: shot -> what the cameras resolve -> passes, one by one -> pieces at rest -> layout.

use std::collections::{BTreeSet, HashMap};
use std::path::Path;
use std::sync::{Arc, RwLock};
use std::time::Instant;

use glam::DQuat;
use rayon::prelude::*;

use super::run::{PassRun, Run};
use super::settling::{Laid, Settling};
use super::{Instance, Layout, PassRecord, RenderMemory, Tally};
use crate::error::{Error, Fault, Kind, Result};
use crate::ground::Ground;
use crate::hero::Hero;
use crate::kit::{self, Piece};
use crate::optics::Camera;
use crate::place::block::Count;
use crate::place::strata::BlockAt;
use crate::plan::{NANO, Placed};
use crate::rest::{Body, Standing};
use crate::shot::Shot;
use crate::view::{self, Polygon, Reach, View, toward_sun};

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
}

/// A shot with its kit, heroes and ground at hand: dresses take after take.
#[derive(Debug)]
pub struct Dresser<'a> {
    shot: &'a Shot,
    ground: Ground,
    heroes: Vec<Hero>,
    pieces: Arc<Vec<Piece>>,
    /// The pieces as resting sees them.
    bodies: Vec<Body>,
    /// Indices of each pass's pieces.
    kits: Vec<Vec<u16>>,
    cameras: Vec<Camera>,
    view: View,
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
        let mut clock = Clock::default();
        let ground = Ground::new(&shot.ground);
        let cameras: Vec<Camera> = shot
            .cameras
            .iter()
            .map(crate::shot::Camera::optics)
            .collect();
        let [azimuth, elevation] = shot.light.direction();
        let view = View::new(&cameras, shot.resolve, toward_sun(azimuth, elevation));
        view.check(&ground)?;
        let heroes = shot
            .hero
            .iter()
            .enumerate()
            .map(|(i, h)| Hero::read(h, folder, &format!("hero[{i}]"), &ground))
            .collect::<Result<Vec<_>>>()?;
        clock.stage("hero");
        let (pieces, kits) = grow_kit(shot)?;
        let bodies = pieces
            .par_iter()
            .map(Body::of)
            .collect::<Result<Vec<_>>>()?;
        clock.stage("kit");
        Ok(Self {
            shot,
            ground,
            heroes,
            pieces: Arc::new(pieces),
            bodies,
            kits,
            cameras,
            view,
            stages: clock.stages,
        })
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

    /// The kit: the pieces that the passes name.
    #[must_use]
    pub fn pieces(&self) -> &[Piece] {
        &self.pieces
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

    fn run(&self, take: u64) -> Result<Run<'_>> {
        Run::new(
            self.shot,
            take,
            &self.ground,
            &self.heroes,
            &self.pieces,
            &self.bodies,
            &self.kits,
        )
    }

    /// The view.
    #[must_use]
    pub fn view(&self) -> &View {
        &self.view
    }

    /// Dresses one take. `progress` is told the name of each pass as it begins.
    ///
    /// # Errors
    /// The shot asks for more than its budget, or spans more ground than one layout can name.
    pub fn dress(&self, take: u64, progress: &(dyn Fn(&str) + Sync)) -> Result<Dressed> {
        let mut clock = Clock {
            stages: self.stages.clone(),
            ..Clock::default()
        };
        let run = self.run(take)?;
        clock.stage("plan");
        let mut wanted = Vec::new();
        for (index, pass) in run.passes.iter().enumerate() {
            progress(&pass.pass.name);
            let blocks = self.wanted(&run, index);
            self.forecast(&run, index, &blocks)?;
            run.ensure(index, &blocks)?;
            wanted.push(blocks);
            clock.stage(&format!("place {}", pass.pass.name));
        }
        let settling = Settling {
            run: &run,
            ground: &self.ground,
            view: &self.view,
            pieces: &self.pieces,
            bodies: &self.bodies,
            heights: RwLock::new(vec![HashMap::new(); run.passes.len()]),
        };
        let asked = settling.asked(&wanted)?;
        clock.stage("find what lies under what");
        let mut instances = Vec::new();
        let mut passes = Vec::new();
        let mut laid: Vec<Laid> = Vec::new();
        for (index, (asked, wanted)) in asked.into_iter().zip(&wanted).enumerate() {
            let name = &run.passes[index].pass.name;
            progress(name);
            let pass = settling.lay(index, asked, &laid);
            let mut rested = self.instances(&run, index, &pass);
            let tally = self.tally(&run, index, wanted, &rested);
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
            // Only what others lie on is needed further
            laid.push(if run.is_bed(index) {
                pass
            } else {
                Laid::default()
            });
            clock.stage(&format!("rest {name}"));
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
        self.check_memory(&layout)?;
        Ok(Dressed {
            layout,
            stages: clock.stages,
            cells,
        })
    }

    /// The blocks of each octave of a pass in which a camera may need pieces.
    fn wanted(&self, run: &Run<'_>, index: usize) -> Vec<BTreeSet<BlockAt>> {
        let strata = run.strata(index);
        let pass = &run.passes[index];
        let octaves = &strata.plan.schedule.octaves;
        octaves
            .iter()
            .enumerate()
            .map(|(octave, layer)| {
                let regions = self.view.regions(reach(pass, layer.to), &self.ground);
                let mut blocks = BTreeSet::new();
                for region in &regions {
                    blocks.extend(self.blocks_of(region, strata.block_side(octave)));
                }
                blocks
            })
            .collect()
    }

    /// The blocks that a region touches, where there is ground.
    fn blocks_of<'b>(
        &self,
        region: &'b Polygon,
        side: i64,
    ) -> impl Iterator<Item = BlockAt> + use<'b> {
        let mut b = region.bounds();
        if let Some([hx, hz]) = self.ground.half_extent() {
            b = [b[0].max(-hx), b[1].max(-hz), b[2].min(hx), b[3].min(hz)];
        }
        let metres = side as f64 / NANO;
        let [x0, z0, x1, z1] = b.map(|v| libm::floor(v / metres) as i64);
        (z0..=z1)
            .flat_map(move |bz| (x0..=x1).map(move |bx| (bz, bx)))
            .filter(move |(bz, bx)| {
                let r = [*bx, *bz, *bx + 1, *bz + 1].map(|i| i as f64 * metres);
                region.touches(r)
            })
    }

    /// Stops a pass that is far over the budget before it is made.
    fn forecast(&self, run: &Run<'_>, index: usize, wanted: &[BTreeSet<BlockAt>]) -> Result<()> {
        /// A forecast counts relations to other passes and the frame's ragged edge as full: only twice the budget is surely over it.
        const SURELY_OVER: f64 = 2.0;
        /// Blocks that the fields are sampled in.
        const SAMPLED: usize = 64;
        let strata = run.strata(index);
        let mut forecast = 0.0;
        for (octave, blocks) in wanted.iter().enumerate() {
            let side = strata.block_side(octave) as f64 / NANO;
            let every = blocks.len() / SAMPLED + 1;
            let sampled: Vec<_> = blocks
                .iter()
                .step_by(every)
                .map(|b| strata.block_rectangle(octave, *b))
                .collect();
            forecast += strata.plan.schedule.octaves[octave].asked
                * side
                * side
                * blocks.len() as f64
                * run.mean_strength(index, &sampled);
        }
        if forecast > SURELY_OVER * self.shot.budget.pieces as f64 {
            return Err(self.over_pieces(
                &run.passes[index].pass.name,
                index,
                &format!("about {forecast:.3e}"),
            ));
        }
        Ok(())
    }

    fn check_pieces(&self, name: &str, index: usize, pieces: usize) -> Result<()> {
        if pieces as u64 > self.shot.budget.pieces {
            return Err(self.over_pieces(name, index, &pieces.to_string()));
        }
        Ok(())
    }

    fn over_pieces(&self, name: &str, index: usize, pieces: &str) -> Error {
        Error::new(
            Kind::OverBudget,
            Fault::new(
                format!("passes[{index}]"),
                format!(
                    "with pass `{name}` the layout has {pieces} pieces; the budget is {}",
                    self.shot.budget.pieces
                ),
                "ask for less cover, larger pieces or a coarser `resolve.pixels`, or raise `budget.pieces`",
            ),
        )
    }

    fn check_memory(&self, layout: &Layout) -> Result<()> {
        let budget = &self.shot.budget;
        let memory = RenderMemory::of(layout).bytes;
        let triangles: u64 = layout
            .pieces
            .iter()
            .zip(layout.used_pieces())
            .filter(|(_, used)| *used)
            .map(|(p, _)| p.triangles())
            .sum();
        let over = |what: &str, got: String, most: String, key: &str| {
            let largest = layout
                .passes
                .iter()
                .max_by_key(|p| p.tally.placed)
                .map_or("", |p| p.name.as_str());
            Error::new(
                Kind::OverBudget,
                Fault::new(
                    format!("budget.{key}"),
                    format!("the layout needs {got} {what}; the budget is {most}"),
                    format!(
                        "thin pass `{largest}`, which has the most pieces, or raise `budget.{key}`"
                    ),
                ),
            )
        };
        if triangles > budget.triangles {
            return Err(over(
                "triangles of meshes",
                triangles.to_string(),
                budget.triangles.to_string(),
                "triangles",
            ));
        }
        if memory > budget.memory.bytes() {
            let got = format!("about {:.2} GB", memory as f64 * 1e-9);
            return Err(over(
                "of render memory",
                got,
                budget.memory.to_string(),
                "memory",
            ));
        }
        Ok(())
    }

    /// The pieces of a pass that a camera needs, where they came to lie.
    fn instances(&self, run: &Run<'_>, index: usize, laid: &Laid) -> Rested {
        let pass = &run.passes[index];
        let kept: Vec<(u8, Option<Instance>)> = laid
            .asked
            .par_iter()
            .zip(&laid.standing)
            .filter(|(asked, _)| asked.in_view)
            .filter_map(|(asked, standing)| match standing {
                Some(standing) => self
                    .instance(pass, index, &asked.placed, standing)
                    .map(|i| (asked.octave, Some(i))),
                None => Some((asked.octave, None)),
            })
            .collect();
        let octaves = run.strata(index).plan.schedule.octaves.len();
        let mut rested = Rested {
            instances: Vec::with_capacity(kept.len()),
            by_octave: vec![0; octaves],
            slid: 0,
        };
        for (octave, instance) in kept {
            match instance {
                Some(instance) => {
                    rested.by_octave[usize::from(octave)] += 1;
                    rested.instances.push(instance);
                }
                None => rested.slid += 1,
            }
        }
        rested
    }

    fn instance(
        &self,
        pass: &PassRun<'_>,
        index: usize,
        placed: &Placed,
        standing: &Standing,
    ) -> Option<Instance> {
        let number = pass.pieces[usize::from(placed.piece)];
        let shape = &self.bodies[usize::from(number)];
        let body = view::Body {
            middle: standing.position + standing.rotation * (shape.centre * standing.scale),
            radius: shape.radius * standing.scale,
            diameter: f64::from(placed.diameter),
        };
        self.view.reason(&body, &self.ground)?;
        Some(Instance {
            id: placed.id,
            position: standing.position,
            rotation: single(standing.rotation),
            scale: standing.scale as f32,
            diameter: placed.diameter,
            pass: index as u16,
            piece: number,
        })
    }

    /// Asked and got. Blocks are coarser than what the cameras need: what is asked and refused on an octave's blocks is counted in
    /// the share of the octave's pieces that the layout holds.
    fn tally(
        &self,
        run: &Run<'_>,
        index: usize,
        wanted: &[BTreeSet<BlockAt>],
        rested: &Rested,
    ) -> Tally {
        let strata = run.strata(index);
        let schedule = &strata.plan.schedule;
        let mut needed = Count::default();
        let (mut cover, mut cover_asked) = (0.0, 0.0);
        for (octave, blocks) in wanted.iter().enumerate() {
            let side = strata.block_side(octave) as f64 / NANO;
            let area = side * side * blocks.len() as f64;
            let mut count = Count::default();
            let (mut made, mut covered) = (0u64, 0.0);
            for at in blocks {
                count.add(&strata.count(octave, *at));
                for p in strata.block(octave, *at) {
                    made += 1;
                    covered += strata.plan.outlines[usize::from(p.piece)].fill
                        * f64::from(p.diameter)
                        * f64::from(p.diameter);
                }
            }
            if made == 0 {
                continue;
            }
            cover += covered / area;
            cover_asked +=
                count.asked * schedule.octaves[octave].mean_square * schedule.fill / area;
            let share = rested.by_octave[octave] as f64 / made as f64;
            needed.asked += count.asked * share;
            needed.full += count.full * share;
            needed.clear += count.clear * share;
        }
        // Strewn pieces hide each other: the covered share of the Boolean model
        let union = |sum: f64| {
            if schedule.spaced {
                sum
            } else {
                1.0 - libm::exp(-sum)
            }
        };
        let triangles = rested
            .instances
            .iter()
            .map(|i| self.pieces[usize::from(i.piece)].triangles())
            .sum();
        let refused = [
            ("full", needed.full),
            ("clear", needed.clear),
            ("slides", rested.slid as f64),
        ]
        .map(|(reason, count)| (reason.to_string(), count.max(0.0).round() as u64));
        Tally {
            asked: needed.asked.round() as u64,
            placed: rested.instances.len() as u64,
            cover_asked: union(cover_asked),
            cover: union(cover),
            triangles,
            refused: refused
                .into_iter()
                .filter(|(_, count)| *count > 0)
                .collect(),
        }
    }
}

/// The sizes of one octave of a pass, and the plan polygons, one a camera that resolves any of it, in which it is made.
#[derive(Debug, Clone)]
pub struct OctaveRegion {
    /// Smallest and largest diameter, metres.
    pub sizes: [f64; 2],
    /// Where it is made.
    pub regions: Vec<Polygon>,
}

/// What the view asks of a pass's pieces up to a diameter.
fn reach(pass: &PassRun<'_>, diameter: f64) -> Reach {
    Reach {
        diameter,
        radius: pass.reach * diameter + pass.lift,
    }
}

/// A pass's pieces at rest.
struct Rested {
    instances: Vec<Instance>,
    /// How many of them are of each octave.
    by_octave: Vec<u64>,
    /// How many more would not stay where they were placed.
    slid: u64,
}

/// A rotation in single precision, of unit length in it, with w at least 0.
fn single(q: DQuat) -> [f32; 4] {
    let sign = if q.w < 0.0 { -1.0 } else { 1.0 };
    [q.x, q.y, q.z, q.w].map(|v| (sign * v) as f32)
}

/// The pieces that the shot's passes name, each kind once, and each pass's share of them.
fn grow_kit(shot: &Shot) -> Result<(Vec<Piece>, Vec<Vec<u16>>)> {
    let mut names: Vec<&str> = Vec::new();
    for (i, pass) in shot.passes.iter().enumerate() {
        for (j, name) in pass.pieces.iter().enumerate() {
            if kit::Kind::named(name).is_none() {
                let known = kit::Kind::ALL.map(kit::Kind::name).join(", ");
                return Err(Error::input(
                    format!("passes[{i}].pieces[{j}]"),
                    format!("there is no kind of piece called `{name}`"),
                    format!("name one of {known}"),
                ));
            }
            if !names.contains(&name.as_str()) {
                names.push(name);
            }
        }
    }
    let grown: Vec<Vec<Piece>> = names
        .par_iter()
        .filter_map(|name| kit::Kind::named(name))
        .map(kit::grow_all)
        .collect();
    let mut starts = Vec::new();
    let mut pieces = Vec::new();
    for kind in grown {
        starts.push(pieces.len()..pieces.len() + kind.len());
        pieces.extend(kind);
    }
    let of = |name: &String| {
        names
            .iter()
            .position(|n| *n == name)
            .map_or(0..0, |i| starts[i].clone())
            .map(|i| i as u16)
    };
    let kits = shot
        .passes
        .iter()
        .map(|p| p.pieces.iter().flat_map(of).collect())
        .collect();
    Ok((pieces, kits))
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
