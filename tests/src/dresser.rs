//! A shot at hand for any of its takes, as most checks want it.

use std::path::Path;
use std::sync::{Arc, Mutex};

use scatter::brief::Brief;
use scatter::cancel::Cancel;
use scatter::error::Result;
use scatter::ground::Ground;
use scatter::hero::Hero;
use scatter::kit::Piece;
use scatter::layout::Layout;
use scatter::optics::Camera;
use scatter::picture::Subject;
use scatter::scene::Scene;
use scatter::session::{Prepared, Session, Stage};
use scatter::shot::Shot;
use scatter::view::View;

/// A session with one shot.
#[derive(Debug)]
pub struct Dresser {
    brief: Brief,
    session: Mutex<Session>,
    prepared: Arc<Prepared>,
}

/// A dressed shot with what it took.
#[derive(Debug)]
pub struct Dressed {
    /// The layout.
    pub layout: Layout,
    /// What the time went into.
    pub stages: Vec<Stage>,
    /// Cells that were looked at.
    pub cells: u64,
    /// Ids of the pieces that were refused at rest, or taken away by hand.
    pub refused: Vec<u64>,
}

/// Dresses a shot once, with its own take.
///
/// # Errors
/// As [`Session::dress`].
pub fn dress(shot: &Shot, folder: &Path) -> Result<Dressed> {
    Dresser::new(shot, folder)?.dress(shot.take)
}

impl Dresser {
    /// Reads and grows what a shot names; its files are in `folder`.
    ///
    /// # Errors
    /// As [`Session::prepare`].
    pub fn new(shot: &Shot, folder: &Path) -> Result<Self> {
        let brief = shot.brief()?;
        let mut session = Session::forgetful(folder);
        let prepared = session.prepare(&brief)?;
        Ok(Self {
            brief,
            session: Mutex::new(session),
            prepared,
        })
    }

    /// Dresses a take.
    ///
    /// # Errors
    /// As [`Session::dress`].
    ///
    /// # Panics
    /// Another thread panicked in a dressing.
    pub fn dress(&self, take: u64) -> Result<Dressed> {
        let mut session = self.session.lock().expect("no dressing panics");
        let brief = self.brief.at_take(take);
        let (layout, change) = session.dress(&brief, &|_| (), &Cancel::new())?;
        Ok(Dressed {
            layout,
            stages: change.work.stages,
            cells: change.work.cells,
            refused: change.work.refused,
        })
    }

    /// What was read and grown.
    #[must_use]
    pub fn prepared(&self) -> &Prepared {
        &self.prepared
    }

    /// Cameras, ground, heroes and light.
    #[must_use]
    pub fn scene(&self) -> &Scene {
        self.prepared.scene()
    }

    /// A layout in the scene.
    #[must_use]
    pub fn subject<'a>(&'a self, layout: &'a Layout) -> Subject<'a> {
        Subject::new(self.scene(), layout)
    }

    /// The ground.
    #[must_use]
    pub fn ground(&self) -> &Ground {
        &self.scene().ground
    }

    /// The heroes.
    #[must_use]
    pub fn heroes(&self) -> &[Hero] {
        &self.scene().heroes
    }

    /// The pieces of all its layouts.
    #[must_use]
    pub fn pieces(&self) -> &[Piece] {
        self.prepared.pieces()
    }

    /// The cameras.
    #[must_use]
    pub fn cameras(&self) -> &[Camera] {
        &self.scene().cameras
    }

    /// What the cameras resolve.
    #[must_use]
    pub fn view(&self) -> &View {
        &self.scene().view
    }

    /// What was told of the shot.
    pub fn warnings(&self) -> impl Iterator<Item = &str> {
        self.prepared.warnings().iter().map(String::as_str)
    }
}
