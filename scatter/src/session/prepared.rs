//! What a dressing needs before it begins: the scene, the kit, the pins where they lie.

use std::sync::Arc;

use glam::{DVec3, Quat};
use rayon::prelude::*;

use super::advice;
use super::forms::Forms;
use super::kit::Kit;
use super::origins::Origins;
use super::parts::Parts;
use super::pins::Pins;
use super::seams;
use crate::brief::Brief;
use crate::cancel::Cancel;
use crate::carpet;
use crate::error::Result;
use crate::field::{Mask, mask};
use crate::ground::Ground;
use crate::hero::Hero;
use crate::kit::{Piece, Shelf};
use crate::layout::{Instance, Layout};
use crate::optics::Camera;
use crate::scene::Scene;
use crate::view::{self, View, toward_sun, tracks};

/// A brief with its scene and kit made ready, for any of its takes.
#[derive(Debug)]
pub struct Prepared {
    pub(super) brief: Brief,
    pub(super) origins: Origins,
    pub(super) scene: Arc<Scene>,
    pub(super) kit: Arc<Kit>,
    /// The pins, as they lie.
    pub(super) pins: Pins,
    /// Each pass's pieces as placing sees them.
    pub(super) forms: Vec<Forms>,
    /// Each pass's images of strengths.
    pub(super) masks: Vec<Vec<Mask>>,
    pub(super) warnings: Vec<String>,
}

impl Prepared {
    /// Reads the ground and the heroes, grows the kit and frames the view; what `parts` holds of
    /// them is taken over.
    ///
    /// # Errors
    /// A file can't be read, or a camera can't dress this ground.
    pub(super) fn new(
        brief: &Brief,
        shelf: &Shelf,
        origins: Origins,
        parts: &mut Parts,
        cancel: &Cancel,
    ) -> Result<Self> {
        let ground = parts
            .ground
            .get_or(origins.ground, || Ground::read(&brief.ground, shelf))?;
        let (tracks, of_cameras) = tracks(&brief.cameras, shelf.folder())?;
        // What is delivered and shown of a moving camera is its first frame
        let cameras: Vec<Camera> = tracks.iter().map(|t| t.frames[0].clone()).collect();
        let [azimuth, elevation] = brief.light.casts_from();
        let view = View::of(
            &tracks,
            brief.resolve,
            toward_sun(azimuth, elevation),
            ground.floor(),
        );
        view.check(&ground)?;
        let masks = mask::read_all(brief, shelf.folder(), &cameras)?;
        let heroes = parts.heroes.get_or(origins.heroes, || {
            Hero::read_all(&brief.heroes, shelf, &ground).map(Arc::new)
        })?;
        cancel.check()?;
        let kit = parts.kit_or(origins.kit, |known| Kit::new(brief, shelf, known, cancel))?;
        let pins = Pins::lay(brief, &ground, &kit)?;
        let passes = brief.passes().zip(&kit.library.of_pass).enumerate();
        let forms = passes.map(|(i, ((_, pass), servings))| Forms::of((i, pass), servings, &kit));
        let forms = forms.collect::<Result<Vec<_>>>()?;
        let of_heroes = heroes.iter().flat_map(|h| h.warnings.clone());
        let warnings = of_cameras
            .into_iter()
            .chain(ground.warnings().iter().cloned())
            .chain(of_heroes)
            .chain(kit.library.warnings.iter().cloned())
            .chain(advice::of_scene(brief, &tracks, &heroes, &ground))
            .chain(advice::of_heroes(brief, &heroes, &view, &ground))
            .chain(pins.in_heroes(&heroes))
            .chain(seams::warnings(brief, &forms, &kit))
            .collect();
        let sunk = kit.carpet.as_ref().map_or(0.0, |c| c.sunk());
        let scene = Scene::new(brief, (cameras, view), ground, heroes, sunk);
        Ok(Self {
            brief: brief.clone(),
            origins,
            scene: Arc::new(scene),
            kit,
            pins,
            forms,
            masks,
            warnings,
        })
    }

    /// Cameras, ground, heroes and light.
    #[must_use]
    pub fn scene(&self) -> &Scene {
        &self.scene
    }

    /// The pieces that the layers name; then simpler versions of them, if the shot asks for these;
    /// then the carpet's tiles. All layouts of the shot share this list.
    #[must_use]
    pub fn pieces(&self) -> &Arc<Vec<Piece>> {
        &self.kit.pieces
    }

    /// What may not be as intended; see [`Layout::warnings`].
    #[must_use]
    pub fn warnings(&self) -> &[String] {
        &self.warnings
    }

    /// The carpet's figures before it is laid, its counts still 0; None without a carpet.
    #[must_use]
    pub fn carpet(&self) -> Option<carpet::Figures> {
        self.kit.carpet.as_ref().map(|c| c.figures())
    }

    /// For each instance of a layout of this shot, in order: the numbers of the first and the last
    /// frame in which a moving camera sees it. None where no moving camera does, such as for a
    /// piece that only throws its shadow into the frame. Still cameras do not count.
    #[must_use]
    pub fn first_last_seen(&self, layout: &Layout) -> Vec<Option<[i64; 2]>> {
        let balls: Vec<(DVec3, f64)> = self.kit.pieces.par_iter().map(ball).collect();
        let seen = |i: &Instance| {
            let (centre, radius) = balls[usize::from(i.piece)];
            let scale = f64::from(i.scale);
            let rotation = Quat::from_array(i.rotation).as_dquat();
            self.scene.view.first_last_seen(&view::Body {
                middle: i.position + rotation * (centre * scale),
                radius: radius * scale,
                diameter: f64::from(i.diameter),
            })
        };
        layout.instances.par_iter().map(seen).collect()
    }
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
