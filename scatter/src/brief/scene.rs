//! Ground, heroes and light.

use serde::Serialize;

use super::place::SoilLook;
use crate::shot::{Look, Mood};

/// The ground. Metres, radians.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct Ground {
    /// Its shape.
    pub terrain: GroundShape,
    /// Size along x and z, centred on the origin, beyond which there is no ground. None: endless,
    /// or as far as its file goes.
    pub extent: Option<[f64; 2]>,
    /// Lines on it.
    pub lines: Vec<Line>,
    /// What it looks like where it is bare.
    pub look: Look,
    /// Its soil, where it is not the look's own.
    pub soil: Option<SoilLook>,
}

/// Index of a line in `Ground::lines`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct LineIndex(u16);

impl LineIndex {
    /// The line at a position in the list; positions beyond 65,535 count as 65,535.
    #[must_use]
    pub fn of(position: usize) -> Self {
        Self(u16::try_from(position).unwrap_or(u16::MAX))
    }
}

impl From<LineIndex> for usize {
    fn from(index: LineIndex) -> Self {
        Self::from(index.0)
    }
}

/// A line on the plan. Metres.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Line {
    /// What it is called.
    pub name: String,
    /// Places that it goes through, x and z: at least two that differ.
    pub points: Vec<[f64; 2]>,
    /// Whether it bends smoothly through them.
    pub smooth: bool,
    /// Whether it goes on from its last point to its first.
    pub closed: bool,
    /// How it presses the ground down; None where it does not.
    pub press: Option<Press>,
}

/// Ground pressed down along a line. Metres.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Press {
    /// How far its bed lies under the ground, 0..=1000.
    pub depth: f64,
    /// From edge to edge, above 0, to 100,000.
    pub width: f64,
}

/// The shape of a ground. Metres, radians; azimuths are clockwise from -z seen from above.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub enum GroundShape {
    /// A plane through the origin.
    Plane {
        /// Slope angle.
        tilt: f64,
        /// Azimuth of the way down.
        toward: f64,
    },
    /// Hills and hollows of fractal noise on a plane through the origin.
    Relief {
        /// Height from the low ground to the high.
        height: f64,
        /// Length of the largest hills and hollows.
        feature: f64,
        /// Strength of each finer octave over the one before, 0..=1.
        roughness: f64,
        /// Slope angle of the plane.
        tilt: f64,
        /// Azimuth of the way down the plane.
        toward: f64,
    },
    /// An image of heights.
    Image(HeightImage),
    /// The upper side of a mesh.
    Mesh(GroundMesh),
}

/// An image of heights. Metres.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct HeightImage {
    /// PNG or OpenEXR, relative to the shot's folder.
    pub file: String,
    /// Where its middle lies: x, z.
    pub at: [f64; 2],
    /// Its size along x and z.
    pub extent: [f64; 2],
    /// Heights of black and of white; None where the image holds metres.
    pub heights: Option<[f64; 2]>,
}

/// The upper side of a mesh. Metres, radians.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct GroundMesh {
    /// glTF file, relative to the shot's folder, or the name of a mesh given in code.
    pub file: String,
    /// Where its origin lies in the world: x, y, z.
    pub at: [f64; 3],
    /// Turn about the vertical, clockwise seen from above.
    pub turn: f64,
    /// Uniform scale.
    pub scale: f64,
    /// Steepest slope that holds pieces, above 0, to pi / 2.
    pub steepest: f64,
    /// The world height below which the ground is looked for, such as under a roof; None for the
    /// highest ground.
    pub under: Option<f64>,
}

impl GroundMesh {
    /// A mesh as it stands in its file.
    #[must_use]
    pub fn new(file: impl Into<String>) -> Self {
        Self {
            file: file.into(),
            at: [0.0; 3],
            turn: 0.0,
            scale: 1.0,
            steepest: crate::shot::default_steepest().radians(),
            under: None,
        }
    }
}

impl Default for GroundShape {
    fn default() -> Self {
        Self::Plane {
            tilt: 0.0,
            toward: 0.0,
        }
    }
}

impl GroundShape {
    /// The file that it is read from, if there is one.
    #[must_use]
    pub fn file(&self) -> Option<&str> {
        match self {
            Self::Plane { .. } | Self::Relief { .. } => None,
            Self::Image(image) => Some(&image.file),
            Self::Mesh(mesh) => Some(&mesh.file),
        }
    }
}

/// Something that the shot is about. Metres, radians.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Hero {
    /// glTF file, relative to the shot's folder, or the name of a mesh given in code.
    pub file: String,
    /// Where its origin stands in the world: x, y, z, with y measured from the ground under it.
    pub at: [f64; 3],
    /// Turn about the vertical, clockwise seen from above.
    pub turn: f64,
    /// Uniform scale.
    pub scale: f64,
    /// Width of the ground kept clear round its outline in plan.
    pub clear: f64,
    /// How deep it is sunk in the ground.
    pub sink: f64,
}

impl Hero {
    /// A hero at the origin, as it stands in its file.
    #[must_use]
    pub fn new(file: impl Into<String>) -> Self {
        Self {
            file: file.into(),
            at: [0.0; 3],
            turn: 0.0,
            scale: 1.0,
            clear: 0.0,
            sink: 0.0,
        }
    }
}

/// What lights the shot.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Light {
    /// Kind of sky.
    pub mood: Mood,
    /// Azimuth (clockwise from -z seen from above) and elevation of the sun, or by night of the
    /// moon, radians: above 0, at dusk 0 to -6 deg.
    pub direction: [f64; 2],
    /// The lamp that burns by night; None to put one beside the hero.
    pub lamp: Option<Lamp>,
}

/// Height of the light at dusk, radians: the middle of the bright band, which stands 10 to 15
/// degrees high (from memory).
const BAND_HEIGHT: f64 = 12.0 * std::f64::consts::PI / 180.0;

impl Light {
    /// Azimuth and elevation that shadows are cast from, radians: the sun's, the moon's, or at dusk
    /// those of the bright band.
    #[must_use]
    pub fn casts_from(&self) -> [f64; 2] {
        let [azimuth, elevation] = self.direction;
        match self.mood {
            Mood::Dusk => [azimuth, BAND_HEIGHT],
            Mood::Sun | Mood::GoldenHour | Mood::Overcast | Mood::Night => [azimuth, elevation],
        }
    }
}

impl Default for Light {
    fn default() -> Self {
        (&crate::shot::Light::default()).into()
    }
}

/// A small warm lamp.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Lamp {
    /// Where it hangs in the world, metres.
    pub position: [f64; 3],
    /// Luminous intensity, candela.
    pub candela: f64,
    /// Colour temperature, kelvin.
    pub kelvin: f64,
}
