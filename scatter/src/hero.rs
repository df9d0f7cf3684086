//! What the shot is about: its meshes, where they stand, and the ground they take.

use std::collections::HashMap;
use std::path::Path;
use std::sync::Arc;

use glam::{DAffine3, DQuat, DVec3};
use rayon::prelude::*;

use crate::brief::{self, MAX_COORDINATE_M};
use crate::error::{Error, Result};
use crate::ground::Ground;
use crate::kit::{Part, Shelf};
use crate::plan::{NANO, Rectangle, convex_hull};

/// A hero in its place.
#[derive(Debug, Clone)]
pub struct Hero {
    /// What it is called: its file without the ending.
    pub name: String,
    /// Its meshes, in the file's frame.
    pub parts: Arc<Vec<Part>>,
    /// What its file holds that was left out, such as a texture that is missing.
    pub warnings: Vec<String>,
    /// Transform from its file's frame to the world, metres.
    pub world_from_hero: DAffine3,
    /// Ground kept clear round its outline, metres.
    pub clear: f64,
    outlines: Outlines,
    bounds: Rectangle,
}

/// The ground that a placed thing takes, by the height up to which it is met.
#[derive(Debug, Clone)]
pub struct Outlines {
    /// Height of a level over the ground, metres, and the convex outline in plan of what is between
    /// the ground and that level; by rising height, at least one.
    levels: Vec<(f64, Vec<[i64; 2]>)>,
}

impl Outlines {
    /// The outlines of meshes in their place; none where nothing is over the ground.
    #[must_use]
    pub fn of(parts: &[Part], world_from_mesh: &DAffine3, ground: &Ground) -> Option<Self> {
        let levels = outlines(parts, world_from_mesh, ground);
        (!levels.is_empty()).then_some(Self { levels })
    }

    /// Height over the ground, metres.
    #[must_use]
    pub fn height(&self) -> f64 {
        self.levels[self.levels.len() - 1].0
    }

    /// The convex outline in plan, nanometres, of the part that pieces of the given height (metres)
    /// could meet. Counter-clockwise with +x right and +z up, at least three corners.
    #[must_use]
    pub fn below(&self, height: f64) -> &[[i64; 2]] {
        let last = self.levels.len() - 1;
        let level = self.levels.iter().position(|(h, _)| *h >= height);
        &self.levels[level.unwrap_or(last)].1
    }

    /// Whether a plan place, nanometres, is in [`Outlines::below`] for the given height, metres.
    #[must_use]
    pub fn holds(&self, [x, z]: [i64; 2], height: f64) -> bool {
        let corners = self.below(height);
        corners.iter().enumerate().all(|(i, a)| {
            let b = corners[(i + 1) % corners.len()];
            let (ex, ez) = (i128::from(b[0] - a[0]), i128::from(b[1] - a[1]));
            let (px, pz) = (i128::from(x - a[0]), i128::from(z - a[1]));
            ex * pz >= ez * px
        })
    }
}

/// The lowest level that has an outline of its own, metres: lower pieces are dust.
const LOWEST_LEVEL: f64 = 0.002;

impl Hero {
    /// Reads a hero of a brief from the shelf. `place` is where the document has it.
    ///
    /// # Errors
    /// The file is missing, no glTF, or holds nothing that stands on the ground.
    pub fn read(hero: &brief::Hero, shelf: &Shelf, place: &str, ground: &Ground) -> Result<Self> {
        let (parts, warnings) = shelf.meshes(&hero.file, &format!("{place}.file"))?;
        Self::standing(hero, (Arc::new(parts), warnings), place, ground)
    }

    /// Reads the heroes of a brief, each file once, however many heroes it stands for.
    ///
    /// # Errors
    /// As [`Hero::read`], of the first hero that fails.
    pub fn read_all(heroes: &[brief::Hero], shelf: &Shelf, ground: &Ground) -> Result<Vec<Self>> {
        let mut known: HashMap<&str, Arc<Vec<Part>>> = HashMap::new();
        let mut meshes = Vec::with_capacity(heroes.len());
        for (i, hero) in heroes.iter().enumerate() {
            meshes.push(match known.get(hero.file.as_str()) {
                // What was left out of the file has been told
                Some(parts) => (Arc::clone(parts), Vec::new()),
                None => {
                    let (parts, warnings) = shelf.meshes(&hero.file, &format!("hero[{i}].file"))?;
                    let parts = Arc::new(parts);
                    known.insert(&hero.file, Arc::clone(&parts));
                    (parts, warnings)
                }
            });
        }
        let all = heroes.par_iter().zip(meshes).enumerate();
        let stand = all
            .map(|(i, (hero, meshes))| Self::standing(hero, meshes, &format!("hero[{i}]"), ground));
        stand.collect()
    }

    /// A hero of some meshes in its place.
    fn standing(
        hero: &brief::Hero,
        (parts, warnings): (Arc<Vec<Part>>, Vec<String>),
        place: &str,
        ground: &Ground,
    ) -> Result<Self> {
        let [x, y, z] = hero.at;
        let foot = DVec3::new(x, ground.height(x, z) + y - hero.sink, z);
        // Clockwise seen from above is negative about +y
        let half = 0.5 * hero.turn;
        let rotation = DQuat::from_xyzw(0.0, -libm::sin(half), 0.0, libm::cos(half));
        let world_from_hero =
            DAffine3::from_scale_rotation_translation(DVec3::splat(hero.scale), rotation, foot);
        check_place(&parts, &world_from_hero, (&hero.file, place))?;
        let outlines = Outlines::of(&parts, &world_from_hero, ground).ok_or_else(|| {
            Error::input(
                format!("{place}.at"),
                "nothing of the hero is over the ground",
                "lift `at`, or lessen `sink`",
            )
        })?;
        let stem = Path::new(&hero.file).file_stem().unwrap_or_default();
        Ok(Self {
            name: stem.to_string_lossy().into_owned(),
            parts,
            warnings: warnings
                .into_iter()
                .map(|w| format!("{}: {w}", hero.file))
                .collect(),
            world_from_hero,
            clear: hero.clear,
            bounds: Rectangle::about(outlines.below(f64::INFINITY)),
            outlines,
        })
    }

    /// The plan rectangle that holds all of it over the ground, nanometres.
    #[must_use]
    pub fn bounds(&self) -> Rectangle {
        self.bounds
    }

    /// Its height over the ground, metres.
    #[must_use]
    pub fn height(&self) -> f64 {
        self.outlines.height()
    }

    /// Its outline in plan for pieces of a height, metres; see [`Outlines::below`].
    #[must_use]
    pub fn outline(&self, height: f64) -> &[[i64; 2]] {
        self.outlines.below(height)
    }

    /// Whether a plan place is in its outline; see [`Outlines::holds`].
    #[must_use]
    pub fn holds(&self, at: [i64; 2], height: f64) -> bool {
        self.outlines.holds(at, height)
    }
}

/// Refuses a hero that reaches beyond where ground can be; `place` is where the document has it.
fn check_place(
    parts: &[Part],
    world_from_hero: &DAffine3,
    (file, place): (&str, &str),
) -> Result<()> {
    let corners = parts.iter().flat_map(|part| &part.mesh.positions);
    let reach = corners.fold(0.0_f64, |reach, p| {
        let p = world_from_hero.transform_point3(p.as_dvec3());
        // Not a number is not near either
        let [x, y, z] = p
            .to_array()
            .map(|c| if c.is_nan() { f64::INFINITY } else { c.abs() });
        reach.max(x).max(y).max(z)
    });
    if reach <= MAX_COORDINATE_M {
        return Ok(());
    }
    Err(Error::input(
        format!("{place}.at"),
        format!(
            "{file} reaches {:.0} km from the origin along an axis",
            reach / 1e3
        ),
        format!(
            "at most {} km, as far as ground may reach; is the file in metres? `scale` makes it life size",
            MAX_COORDINATE_M / 1e3
        ),
    ))
}

/// Outlines below levels that double from [`LOWEST_LEVEL`] to the hero's height. What is under the
/// ground does not count.
fn outlines(
    parts: &[Part],
    world_from_hero: &DAffine3,
    ground: &Ground,
) -> Vec<(f64, Vec<[i64; 2]>)> {
    // Each vertex once: its place and its height over the ground
    let vertices = |part: &Part| -> Vec<(DVec3, f64)> {
        let place = |p: &glam::Vec3| world_from_hero.transform_point3(p.as_dvec3());
        part.mesh
            .positions
            .iter()
            .map(place)
            .map(|p| (p, p.y - ground.height(p.x, p.z)))
            .collect()
    };
    let triangles: Vec<[(DVec3, f64); 3]> = parts
        .iter()
        .flat_map(|part| {
            let vertices = vertices(part);
            let corners = |t: &[u32]| {
                [
                    vertices[t[0] as usize],
                    vertices[t[1] as usize],
                    vertices[t[2] as usize],
                ]
            };
            part.mesh
                .indices
                .chunks_exact(3)
                .map(corners)
                .collect::<Vec<_>>()
        })
        .collect();
    let top = triangles
        .iter()
        .flatten()
        .map(|(_, height)| *height)
        .fold(f64::NEG_INFINITY, f64::max);
    let mut levels = Vec::new();
    let mut level = LOWEST_LEVEL;
    loop {
        let mut points = Vec::new();
        for corners in &triangles {
            for i in 0..3 {
                let ((a, ha), (b, hb)) = (corners[i], corners[(i + 1) % 3]);
                if (0.0..=level).contains(&ha) {
                    points.push([a.x, a.z]);
                }
                for cut in [0.0, level] {
                    if (ha < cut) != (hb < cut) {
                        let p = a + (b - a) * ((cut - ha) / (hb - ha));
                        points.push([p.x, p.z]);
                    }
                }
            }
        }
        let hull: Vec<[i64; 2]> = convex_hull(&points)
            .into_iter()
            .map(|[x, z]| [(x * NANO) as i64, (z * NANO) as i64])
            .collect();
        if hull.len() >= 3 {
            levels.push((level.min(top), hull));
        }
        if level >= top {
            return levels;
        }
        level *= 2.0;
    }
}
