//! The story of a dressing, from a brief to a layout, and what is remembered for the next one.
//!
//! `prepared` reads and grows what a brief names, `dressing` goes through its layers one by one.
//! `run` makes the passes: it places blocks of candidates where they are needed (`needed`,
//! `target`), then lays them to rest on what lies there already (`settling`, `laying`). `memory`
//! keeps what can be reused, `origins` digests what each part was made from.

mod advice;
mod ahead;
mod before;
mod budget;
mod carpeting;
mod change;
mod clock;
mod demand;
mod detail;
mod dressing;
mod forecast;
mod forms;
mod heeds;
mod kit;
mod kit_carpet;
mod laid;
mod laying;
mod ledger;
mod memory;
mod mixing;
mod needed;
mod origins;
mod outlook;
mod parts;
mod pass_keys;
mod pass_kit;
mod pass_run;
mod pinning;
mod pins;
mod planning;
mod prepared;
mod relations;
mod rested;
mod run;
mod seams;
mod settled;
mod settling;
mod shading;
mod shortfall;
mod spans;
mod target;
mod unsettled;

pub use change::{Change, Work};
pub use clock::Stage;
pub use origins::{files, stamp};
pub use outlook::OctaveRegion;
pub use prepared::Prepared;

use std::path::{Path, PathBuf};
use std::sync::Arc;

use crate::brief::Brief;
use crate::cancel::Cancel;
use crate::error::Result;
use crate::kit::{Part, Shelf};
use crate::layout::{self, Difference, Layout};
use clock::Clock;
use dressing::Dressing;
use memory::Memory;
use origins::Origins;

/// Dresses briefs, and reuses what it made for one in the next.
///
/// Reuse never changes a layout: a part is reused only where making it again would give the same.
#[derive(Debug)]
pub struct Session {
    shelf: Shelf,
    memory: Memory,
    /// The last layout, with which the next one is compared.
    last: Option<Layout>,
}

impl Session {
    /// A session for briefs that name files relative to `folder`. It keeps all that it can reuse:
    /// for a shot that is edited and dressed again and again.
    #[must_use]
    pub fn open(folder: impl Into<PathBuf>) -> Self {
        Self {
            shelf: Shelf::of(folder),
            memory: Memory::keeping(),
            last: None,
        }
    }

    /// A session that keeps only what all takes of a brief share, such as the kit, the ground and
    /// the heroes: for several takes, or for a single dressing.
    #[must_use]
    pub fn forgetful(folder: impl Into<PathBuf>) -> Self {
        Self {
            shelf: Shelf::of(folder),
            memory: Memory::default(),
            last: None,
        }
    }

    /// Puts a mesh under a name that briefs may use in place of a file: as a piece, a hero or the
    /// ground. Metres, +y up. As a piece it can't take the name of a kind that is grown.
    pub fn supply(&mut self, name: impl Into<String>, parts: Vec<Part>) {
        self.shelf.put(name, parts);
    }

    /// Reads and grows what a brief names. All takes of the brief share the result.
    ///
    /// # Errors
    /// The brief has faults ([`Brief::check`]), a file can't be read, or a camera can't dress this
    /// ground.
    pub fn prepare(&mut self, brief: &Brief) -> Result<Arc<Prepared>> {
        self.prepare_unless(brief, &Cancel::new())
    }

    fn prepare_unless(&mut self, brief: &Brief, cancel: &Cancel) -> Result<Arc<Prepared>> {
        brief.check()?;
        let origins = Origins::of(brief, &self.shelf);
        if let Some(known) = self.memory.prepared.get(origins.all) {
            return Ok(known);
        }
        let all = origins.all;
        let shelf = &self.shelf;
        let parts = &mut self.memory.parts;
        let made = Prepared::new(brief, shelf, origins, parts, cancel)?;
        let made = Arc::new(made);
        self.memory.prepared.put(all, Arc::clone(&made));
        Ok(made)
    }

    /// Dresses a brief. `progress` is called with `kit` at first, then with the name of each layer
    /// as it begins; `cancel` stops the work from another thread.
    ///
    /// # Errors
    /// As [`Session::prepare`]; or the shot asks for more than its budget or spans more ground than
    /// piece ids can tell apart, or it was cancelled. The session still has the layout before, to
    /// reuse and to compare with.
    pub fn dress(
        &mut self,
        brief: &Brief,
        progress: &(dyn Fn(&str) + Sync),
        cancel: &Cancel,
    ) -> Result<(Layout, Change)> {
        let mut clock = Clock::default();
        progress("kit");
        let prepared = self.prepare_unless(brief, cancel)?;
        clock.stage("prepare");
        let dressing = Dressing::new(&prepared, brief, clock, cancel);
        let (layout, work) = dressing.dress(&mut self.memory, progress)?;
        let before = self.last.take();
        let pieces = match &before {
            Some(before) => before.diff(&layout),
            None => Difference {
                added: {
                    let mut ids: Vec<u64> = layout.instances.iter().map(|i| i.id).collect();
                    ids.sort_unstable();
                    ids
                },
                ..Difference::default()
            },
        };
        if self.memory.keeps {
            self.last = Some(layout.clone());
        }
        Ok((layout, Change { pieces, work }))
    }

    /// Reads a layout of a brief back from a `layout.json`.
    ///
    /// # Errors
    /// As [`layout::read`], or as [`Session::prepare`].
    pub fn read(&mut self, path: &Path, brief: &Brief) -> Result<Layout> {
        let prepared = self.prepare(brief)?;
        let known = layout::ShotParts {
            cameras: &prepared.scene.cameras,
            pieces: &prepared.kit.pieces,
            carpet: prepared.carpet(),
        };
        layout::read(path, known)
    }
}
