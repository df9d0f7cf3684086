//! What a shot asks for, as the algorithms take it.
//!
//! [`Shot`] is the document: text with units, defaults, names. A [`Brief`] is the same resolved:
//! lengths in metres, angles in radians, an enum where the document has alternative keys, and a
//! layer's index where it has a name. It is made from a checked document ([`Shot::brief`]) or built
//! in code, and then checked by the session that dresses it ([`Brief::check`]); the algorithms take
//! nothing else.

mod camera;
mod check;
mod field;
mod hand;
mod layer;
mod mix;
mod of_shot;
mod pass;
mod place;
mod rest;
mod scene;

use std::collections::BTreeMap;

use serde::Serialize;

pub use crate::color::{Family, LayerTone};
pub use crate::shot::{
    Budget, CARPET, DEFAULT_CANDELA, DEFAULT_KELVIN, Fade, Film, Hand, HeroLight, Lies, LineSide,
    Look, MAX_COORDINATE_M, Mood, On, PINS, Pose, Resolve, SHADE, Space, Stand, Unit, Up,
};
pub use camera::{Camera, CameraInFile};
pub use field::{
    Along, Field, Mask, MaskPlacement, Related, RelationKind, RelationTarget, Smallest,
};
pub use hand::{Clearing, Pin};
pub use layer::{Carpet, Grains, Layer, LayerIndex, LayerKind, Shade};
pub use mix::{Mix, part_cover};
pub use pass::{Amount, Clumps, Pass, Place};
pub use place::{SoilLook, Weathering, Wet};
pub use rest::{Heading, Lean, Rest, Toward};
pub use scene::{
    Ground, GroundMesh, GroundShape, HeightImage, Hero, Lamp, Light, Line, LineIndex, Press,
};

#[cfg(doc)]
use crate::shot::Shot;

/// What a shot asks for. World frame: right-handed, +y up, metres, radians.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Brief {
    /// The shot's name.
    pub name: String,
    /// The seed of its layout: each take is another one.
    pub take: u64,
    /// The cameras, at least one.
    pub cameras: Vec<Camera>,
    /// What is too fine to make.
    pub resolve: Resolve,
    /// Whether it is for small pictures, in which a pixel is the finest footprint that `resolve`
    /// asks for. Pieces smaller than that are then not made as supports either. All pieces are
    /// placed as in the full layout. But one that would lie on something so small lies lower, by
    /// part of a footprint, or rolls and slides differently, by a few footprints. One in forty
    /// leaves on fine gravel, and one in eight chips of rock on fines, stay put in one of the two
    /// layouts and slide off in the other.
    pub sketch: bool,
    /// The ground.
    pub ground: Ground,
    /// What the shot is about.
    pub heroes: Vec<Hero>,
    /// What lights it.
    pub light: Light,
    /// What is wet; only pictures show it.
    pub wet: Option<Wet>,
    /// What time left on surfaces; only pictures show it.
    pub weathering: Option<Weathering>,
    /// What is laid on the ground and hung over it. Listed are the passes in their order, then the
    /// pins, the carpet and the shade, if there are any; the pins are laid first.
    pub layers: Vec<Layer>,
    /// Populations of sizes that passes take parts of, by name.
    pub mixes: BTreeMap<String, Mix>,
    /// Ids of pieces that are taken away by hand, in the order in which they are named.
    pub removed: Vec<u64>,
    /// What the renderer can hold.
    pub budget: Budget,
}

impl Brief {
    /// A brief of one camera over level ground, with nothing on it yet.
    #[must_use]
    pub fn new(name: impl Into<String>, camera: crate::optics::Camera) -> Self {
        Self {
            name: name.into(),
            take: 1,
            cameras: vec![Camera::still(camera)],
            resolve: Resolve::default(),
            sketch: false,
            ground: Ground::default(),
            heroes: Vec::new(),
            light: Light::default(),
            wet: None,
            weathering: None,
            layers: Vec::new(),
            mixes: BTreeMap::new(),
            removed: Vec::new(),
            budget: Budget::default(),
        }
    }

    /// The same with another ground.
    #[must_use]
    pub fn on(self, ground: Ground) -> Self {
        Self { ground, ..self }
    }

    /// The same with a hero more.
    #[must_use]
    pub fn hero(mut self, hero: Hero) -> Self {
        self.heroes.push(hero);
        self
    }

    /// The same with one more pass, after its other passes.
    #[must_use]
    pub fn pass(mut self, name: impl Into<String>, pass: Pass) -> Self {
        let at = self.passes().count();
        let layer = Layer::new(name, LayerKind::Pass(Box::new(pass)));
        self.layers.insert(at, layer);
        self
    }

    /// The same at another take.
    #[must_use]
    pub fn at_take(&self, take: u64) -> Self {
        Self {
            take,
            ..self.clone()
        }
    }

    /// The passes with their layers. They come first in `layers`, so a pass has the same index as
    /// its layer.
    pub fn passes(&self) -> impl Iterator<Item = (&Layer, &Pass)> {
        self.layers.iter().filter_map(|layer| match &layer.kind {
            LayerKind::Pass(pass) => Some((layer, &**pass)),
            LayerKind::Pins(_) | LayerKind::Carpet(_) | LayerKind::Shade(_) => None,
        })
    }

    /// The pins, in the order in which they are laid.
    #[must_use]
    pub fn pins(&self) -> &[Pin] {
        let pins = self.layers.iter().find_map(|layer| match &layer.kind {
            LayerKind::Pins(pins) => Some(pins.as_slice()),
            LayerKind::Pass(_) | LayerKind::Carpet(_) | LayerKind::Shade(_) => None,
        });
        pins.unwrap_or_default()
    }

    /// The carpet, if there is one.
    #[must_use]
    pub fn carpet(&self) -> Option<&Carpet> {
        self.layers.iter().find_map(|layer| match &layer.kind {
            LayerKind::Carpet(carpet) => Some(carpet),
            LayerKind::Pass(_) | LayerKind::Pins(_) | LayerKind::Shade(_) => None,
        })
    }

    /// The shade, if there is one.
    #[must_use]
    pub fn shade(&self) -> Option<&Shade> {
        self.layers.iter().find_map(|layer| match &layer.kind {
            LayerKind::Shade(shade) => Some(shade),
            LayerKind::Pass(_) | LayerKind::Pins(_) | LayerKind::Carpet(_) => None,
        })
    }

    /// The files that it names, as it names them, with repeats. A hero or a ground may instead name
    /// a mesh given in code.
    pub fn files(&self) -> impl Iterator<Item = &str> {
        let ground = self.ground.terrain.file();
        let heroes = self.heroes.iter().map(|h| h.file.as_str());
        let cameras = self.cameras.iter().filter_map(Camera::file);
        let layers = self.layers.iter().flat_map(Layer::files);
        ground
            .into_iter()
            .chain(heroes)
            .chain(cameras)
            .chain(layers)
    }
}
