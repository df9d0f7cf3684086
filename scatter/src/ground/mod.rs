//! The ground: height and normal at a place. World-anchored and the same in every take.
//!
//! A ground is a plane, a relief of fractal noise on one, a height image, or a mesh. All are pure
//! functions of the place: nothing in them depends on what is in view.

mod image;
mod mesh;
mod plane;
mod pressed;
mod relief;
mod tiles;
mod triangulated;

use std::sync::{Arc, LazyLock};

use glam::DVec3;

pub use image::check_square;
pub use tiles::HeightTiles;
pub use triangulated::{TOLERANCE, Triangulated, WantedGround};

use crate::brief::{self, GroundMesh, GroundShape, LineIndex};
use crate::error::{Error, Result};
use crate::kit::{Part, Shelf};
use crate::plan::PlanLine;
use crate::random::stream;
use image::HeightGrid;
use mesh::TerrainMesh;
use plane::InclinedPlane;
use pressed::GroundLines;
use relief::ReliefNoise;

/// A ground of one height over each plan place. Metres.
#[derive(Debug, Clone)]
pub struct Ground {
    form: GroundForm,
    /// Half the extent along x and z, metres, where the document ends the ground.
    extent: Option<[f64; 2]>,
    lines: Arc<GroundLines>,
}

/// How far the floor is under the lowest ground, metres: what lies right on that counts as over the
/// floor, whatever the rounding.
const UNDER: f64 = 1e-6;

/// A plane under all ground.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Floor {
    /// Height gained per metre along x and z.
    pub slope: [f64; 2],
    /// Height at the origin, metres.
    pub low: f64,
}

#[derive(Debug, Clone)]
enum GroundForm {
    Plane(InclinedPlane),
    Relief(InclinedPlane, ReliefNoise),
    Image(Arc<HeightGrid>),
    Mesh(Arc<TerrainMesh>),
}

/// Places at which the mean of an image's or a mesh's heights round a place is taken: enough to
/// tell a hollow from a crest.
const AROUND: usize = 16;

/// Places in the unit circle, each with the same share of its area about it: the sunflower's spiral
/// (Vogel, "A better way to construct the sunflower head", 1979).
static SUNFLOWER: LazyLock<[[f64; 2]; AROUND]> = LazyLock::new(|| {
    std::array::from_fn(|i| {
        // The golden angle
        let turn = i as f64 * std::f64::consts::PI * (3.0 - libm::sqrt(5.0));
        let radius = libm::sqrt((i as f64 + 0.5) / AROUND as f64);
        [radius * libm::cos(turn), radius * libm::sin(turn)]
    })
});

/// Samples that find how far the ground rises over its mean.
const CREST_SAMPLES: usize = 512;
/// Share of them that counts as full hollow or full crest at either end.
const CREST_END: f64 = 0.1;

impl Ground {
    /// The ground that a brief asks for; files that it names are looked for on the shelf.
    ///
    /// # Errors
    /// A height image or a mesh can't be read, does not fit its extent, or has no ground in it.
    pub fn read(ground: &brief::Ground, shelf: &Shelf) -> Result<Self> {
        let lines = GroundLines::new(&ground.lines);
        let form = match &ground.terrain {
            GroundShape::Image(image) => {
                let mut heights = HeightGrid::read(image, shelf.folder(), "ground.image")?;
                heights.lower(lines.deepest());
                GroundForm::Image(Arc::new(heights))
            }
            GroundShape::Mesh(mesh) => {
                GroundForm::Mesh(Arc::new(TerrainMesh::read(mesh, shelf, "ground.mesh")?))
            }
            GroundShape::Plane { tilt, toward } => plane(*tilt, *toward),
            GroundShape::Relief {
                height,
                feature,
                roughness,
                tilt,
                toward,
            } => GroundForm::Relief(
                InclinedPlane::falling(*tilt, *toward),
                ReliefNoise::new(*height, *feature, *roughness),
            ),
        };
        let made = Self {
            form,
            extent: ground.extent.map(|e| e.map(|l| 0.5 * l)),
            lines: Arc::new(lines),
        };
        if let Some([x0, z0, x1, z1]) = made.bounds()
            && (x0 >= x1 || z0 >= z1)
        {
            return Err(Error::input(
                "ground.extent",
                "nothing of the file's ground lies within the extent, which is centred on the origin",
                "leave `extent` out, or move the ground",
            ));
        }
        Ok(made)
    }

    /// Level ground through the origin, without end.
    #[must_use]
    pub fn level() -> Self {
        Self {
            form: plane(0.0, 0.0),
            extent: None,
            lines: Arc::default(),
        }
    }

    /// A ground of the parts of a mesh, in the file's frame, without any file.
    ///
    /// # Errors
    /// No face looks up, or it is not where ground can be.
    pub fn of_mesh(parts: Vec<Part>, mesh: &GroundMesh) -> Result<Self> {
        Ok(Self {
            form: GroundForm::Mesh(Arc::new(TerrainMesh::new(parts, mesh, "ground.mesh")?)),
            extent: None,
            lines: Arc::default(),
        })
    }

    /// Height of the sloping plane that a relief is added to, metres; 0 for a ground from a file.
    #[must_use]
    pub fn base(&self, x: f64, z: f64) -> f64 {
        match &self.form {
            GroundForm::Plane(plane) | GroundForm::Relief(plane, _) => plane.height(x, z),
            GroundForm::Image(_) | GroundForm::Mesh(_) => 0.0,
        }
    }

    /// Height at a plan place, metres. Where there is no ground, a height that it could have there:
    /// an image's border goes on, a hole of a mesh takes a level near that of the ground about it.
    #[must_use]
    pub fn height(&self, x: f64, z: f64) -> f64 {
        let own = self.own_height(x, z);
        if self.lines.press_nothing() {
            return own;
        }
        own + self.lines.at(x, z)[0]
    }

    /// A line of the ground, by its number in the brief.
    #[must_use]
    pub fn line(&self, index: LineIndex) -> Option<&PlanLine> {
        self.lines.line(index.into())
    }

    /// The height without what lines press down.
    fn own_height(&self, x: f64, z: f64) -> f64 {
        match &self.form {
            GroundForm::Plane(plane) => plane.height(x, z),
            GroundForm::Relief(plane, relief) => plane.height(x, z) + relief.height(x, z),
            GroundForm::Image(image) => image.at(x, z)[0],
            GroundForm::Mesh(mesh) => mesh
                .hit(x, z)
                .map_or_else(|| mesh.tiles().near(x, z), |h| h.height),
        }
    }

    /// Unit normal at a plan place, upwards.
    #[must_use]
    pub fn normal(&self, x: f64, z: f64) -> DVec3 {
        self.at(x, z).1
    }

    /// Height and unit normal at a plan place, in one look. The normal is upright in a hole.
    #[must_use]
    pub fn at(&self, x: f64, z: f64) -> (f64, DVec3) {
        let [height, gx, gz] = match &self.form {
            GroundForm::Plane(plane) => {
                let [gx, gz] = plane.slope;
                [plane.height(x, z), gx, gz]
            }
            GroundForm::Relief(plane, relief) => {
                let [height, dx, dz] = relief.at(x, z);
                let [gx, gz] = plane.slope;
                [plane.height(x, z) + height, gx + dx, gz + dz]
            }
            GroundForm::Image(image) => image.at(x, z),
            // Lines press no mesh: it has its own ruts
            GroundForm::Mesh(mesh) => {
                return mesh.hit(x, z).map_or_else(
                    || (mesh.tiles().near(x, z), DVec3::Y),
                    |h| (h.height, h.normal),
                );
            }
        };
        if self.lines.press_nothing() {
            return (height, plane::normal(gx, gz));
        }
        let [pressed, px, pz] = self.lines.at(x, z);
        (height + pressed, plane::normal(gx + px, gz + pz))
    }

    /// Height and unit normal where there is ground that holds pieces; None elsewhere.
    #[must_use]
    pub fn on(&self, x: f64, z: f64) -> Option<(f64, DVec3)> {
        if !self.bounds().is_none_or(|b| within(b, x, z)) {
            return None;
        }
        match &self.form {
            GroundForm::Mesh(mesh) => mesh
                .hit(x, z)
                .filter(|h| mesh.holds(h.normal))
                .map(|h| (h.height, h.normal)),
            _ => Some(self.at(x, z)),
        }
    }

    /// Whether there is ground at a plan place that holds pieces: neither beyond its end, nor a
    /// hole, nor too steep a wall.
    #[must_use]
    pub fn holds(&self, x: f64, z: f64) -> bool {
        self.bounds().is_none_or(|b| within(b, x, z))
            && match &self.form {
                GroundForm::Mesh(mesh) => mesh.hit(x, z).is_some_and(|h| mesh.holds(h.normal)),
                _ => true,
            }
    }

    /// Height over the mean of the ground within `radius`, over the ground's own height scale:
    /// about -0.5 in hollows to 0.5 on crests; 0 on a plane.
    #[must_use]
    pub fn above_mean(&self, x: f64, z: f64, radius: f64) -> f64 {
        let (height, tiles) = match &self.form {
            GroundForm::Plane(_) => return 0.0,
            GroundForm::Relief(_, relief) => return relief.above_mean(x, z, radius),
            GroundForm::Image(image) => (Some(image.at(x, z)[0]), image.tiles()),
            GroundForm::Mesh(mesh) => (mesh.hit(x, z).map(|h| h.height), mesh.tiles()),
        };
        let (Some(height), Some([low, high])) = (height, tiles.heights(0, 0, 0)) else {
            return 0.0;
        };
        let (mut sum, mut count) = (0.0, 0.0);
        for [u, v] in SUNFLOWER.iter() {
            let (x, z) = (x + radius * u, z + radius * v);
            let near = match &self.form {
                GroundForm::Mesh(mesh) => mesh.hit(x, z).map(|h| h.height),
                _ => Some(self.height(x, z)),
            };
            if let Some(near) = near {
                sum += near;
                count += 1.0;
            }
        }
        if count == 0.0 || high <= low {
            return 0.0;
        }
        (height - sum / count) / (high - low)
    }

    /// What [`Ground::above_mean`] gives for a full hollow and a full crest: one place in ten is
    /// lower, one higher.
    #[must_use]
    pub fn crest_range(&self, radius: f64) -> [f64; 2] {
        let mut s = stream(0xc4e5);
        // Kilometres apart: independent places of any relief worth a close-up
        let [x0, z0, x1, z1] = match &self.form {
            GroundForm::Plane(_) | GroundForm::Relief(..) => [0.0, 0.0, 1e5, 1e5],
            GroundForm::Image(_) | GroundForm::Mesh(_) => {
                self.bounds().unwrap_or([0.0, 0.0, 1e5, 1e5])
            }
        };
        let mut values: Vec<f64> = (0..CREST_SAMPLES)
            .map(|_| {
                let x = x0 + (x1 - x0) * s.unit();
                let z = z0 + (z1 - z0) * s.unit();
                self.above_mean(x, z, radius)
            })
            .collect();
        values.sort_unstable_by(f64::total_cmp);
        let end = (CREST_SAMPLES as f64 * CREST_END) as usize;
        [values[end], values[CREST_SAMPLES - 1 - end]]
    }

    /// Upper bound of the slope at any place, height over distance; infinite where it is not known.
    #[must_use]
    pub fn steepest(&self) -> f64 {
        let tilt = |plane: &InclinedPlane| libm::hypot(plane.slope[0], plane.slope[1]);
        match &self.form {
            GroundForm::Plane(plane) => tilt(plane) + self.lines.steepest(),
            GroundForm::Relief(plane, relief) => {
                tilt(plane) + relief.steepest() + self.lines.steepest()
            }
            GroundForm::Image(_) | GroundForm::Mesh(_) => f64::INFINITY,
        }
    }

    /// Whether there is any relief: a plane has neither hollows nor crests.
    #[must_use]
    pub fn has_relief(&self) -> bool {
        let [low, high] = self.slab();
        low < high
    }

    /// How far the ground goes below and above [`Ground::base`], metres.
    #[must_use]
    pub fn slab(&self) -> [f64; 2] {
        match &self.form {
            GroundForm::Plane(_) => [-self.lines.deepest(), 0.0],
            GroundForm::Relief(_, relief) => {
                [-relief.bound() - self.lines.deepest(), relief.bound()]
            }
            GroundForm::Image(_) | GroundForm::Mesh(_) => self
                .tiles()
                .and_then(|t| t.heights(0, 0, 0))
                .unwrap_or_default(),
        }
    }

    /// Height of the highest place over the lowest, metres; None where the ground is endless and
    /// slopes.
    #[must_use]
    pub fn range(&self) -> Option<f64> {
        let [low, high] = self.slab();
        (self.floor().slope == [0.0; 2]).then_some(high - low)
    }

    /// A plane under all ground.
    #[must_use]
    pub fn floor(&self) -> Floor {
        let slope = match &self.form {
            GroundForm::Plane(plane) | GroundForm::Relief(plane, _) => plane.slope,
            GroundForm::Image(_) | GroundForm::Mesh(_) => [0.0; 2],
        };
        Floor {
            slope,
            low: self.slab()[0] - UNDER,
        }
    }

    /// The heights tile by tile of a ground that is bounded by its file; None for a plane or a
    /// relief.
    #[must_use]
    pub fn tiles(&self) -> Option<&HeightTiles> {
        match &self.form {
            GroundForm::Plane(_) | GroundForm::Relief(..) => None,
            GroundForm::Image(image) => Some(image.tiles()),
            GroundForm::Mesh(mesh) => Some(mesh.tiles()),
        }
    }

    /// The plan rectangle `[x0, z0, x1, z1]` beyond which there is no ground, metres; None where it
    /// never ends.
    #[must_use]
    pub fn bounds(&self) -> Option<[f64; 4]> {
        let own = self.tiles().map(HeightTiles::bounds);
        let given = self.extent.map(|[hx, hz]| [-hx, -hz, hx, hz]);
        match (own, given) {
            (Some(a), Some(b)) => Some([
                a[0].max(b[0]),
                a[1].max(b[1]),
                a[2].min(b[2]),
                a[3].min(b[3]),
            ]),
            (a, b) => a.or(b),
        }
    }

    /// Half the sides of the rectangle about the origin that holds all ground, metres; None where
    /// it never ends.
    #[must_use]
    pub fn half_extent(&self) -> Option<[f64; 2]> {
        self.bounds()
            .map(|b| [b[0].abs().max(b[2].abs()), b[1].abs().max(b[3].abs())])
    }

    /// Whether a plan rectangle `[x0, z0, x1, z1]`, metres, surely has no ground in it. Never wrong
    /// when it says yes.
    #[must_use]
    pub fn is_void(&self, r: [f64; 4]) -> bool {
        self.bounds()
            .is_some_and(|b| r[0] > b[2] || r[2] < b[0] || r[1] > b[3] || r[3] < b[1])
            || self.tiles().is_some_and(|t| t.is_void(r))
    }

    /// What the file of a ground from a mesh holds that was left out, such as a texture that is
    /// missing.
    #[must_use]
    pub fn warnings(&self) -> &[String] {
        match &self.form {
            GroundForm::Mesh(mesh) => mesh.warnings(),
            _ => &[],
        }
    }
}

fn within(b: [f64; 4], x: f64, z: f64) -> bool {
    x >= b[0] && x <= b[2] && z >= b[1] && z <= b[3]
}

/// A plane through the origin.
fn plane(tilt: f64, toward: f64) -> GroundForm {
    GroundForm::Plane(InclinedPlane::falling(tilt, toward))
}

#[cfg(test)]
impl Ground {
    /// A ground of a document, for tests.
    pub(crate) fn of_document(json: &str) -> Self {
        let ground: crate::shot::Ground = serde_json::from_str(json).expect("a ground");
        Self::read(&(&ground).into(), &Shelf::default()).expect("it needs no file")
    }
}

#[cfg(test)]
mod tests;
