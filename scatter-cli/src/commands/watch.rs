//! Staying with a shot: the work is done again whenever the shot or a file that it names changes.
//!
//! Files are asked for their length and the time of their last change: that works on every disk,
//! over a network too, and costs next to nothing for the few files of a shot.

use std::path::{Path, PathBuf};
use std::thread::sleep;
use std::time::Duration;

use scatter::error::Result;
use scatter::session::{Session, files, stamp};
use scatter::shot::Shot;

use super::dress::{folder_of, shot_file};
use crate::output::Output;

/// How often the files are asked: a change is met before a hand is back at the mouse.
const EVERY: Duration = Duration::from_millis(100);

/// Watched files with their states.
type States = Vec<(PathBuf, Option<(u64, u128)>)>;

/// The work to do: with a session that remembers, and with what tells whether a file has changed
/// since, so that the work can be broken off.
pub(super) type Make<'a> = dyn FnMut(&mut Session, &dyn Fn() -> bool) -> Result<()> + 'a;

/// Works until it is interrupted. What goes wrong at first ends it, as without watching; later it
/// is said, and the next change waited for.
pub(super) fn follow(shot: &Path, output: &Output, make: &mut Make<'_>) -> Result<()> {
    let mut session = Session::open(folder_of(&shot_file(shot)));
    let mut states = states(shot, &Vec::new());
    make(&mut session, &|| false)?;
    loop {
        let files = match states.len() {
            1 => "1 file".to_owned(),
            many => format!("{many} files"),
        };
        output.say(&format!("watching {files}; Ctrl+C ends"));
        wait(&states);
        states = self::states(shot, &states);
        let changed = || is_changed(&states);
        if let Err(error) = make(&mut session, &changed) {
            output.failed(&error);
        }
    }
}

/// The shot's file and all that it names, as they are now. Of a shot that can't be read the files
/// known so far.
fn states(shot: &Path, known: &States) -> States {
    let file = shot_file(shot);
    // Before the shot is read: a change after that is met
    let own = (file.clone(), stamp(&file));
    let named = match Shot::read(&file).and_then(|shot| shot.brief()) {
        Ok(brief) => files(&brief, &folder_of(&file)),
        Err(_) => known.iter().skip(1).map(|(path, _)| path.clone()).collect(),
    };
    let now = |path: PathBuf| {
        let stamp = stamp(&path);
        (path, stamp)
    };
    [own]
        .into_iter()
        .chain(named.into_iter().map(now))
        .collect()
}

fn is_changed(states: &States) -> bool {
    states.iter().any(|(path, before)| stamp(path) != *before)
}

/// Waits until a file has changed, and then until none changes any more: programs write in pieces.
fn wait(states: &States) {
    let now = || -> Vec<_> { states.iter().map(|(path, _)| stamp(path)).collect() };
    let mut before: Vec<_> = states.iter().map(|(_, stamp)| *stamp).collect();
    let mut changed = false;
    loop {
        sleep(EVERY);
        let after = now();
        if after != before {
            changed = true;
            before = after;
        } else if changed {
            return;
        }
    }
}
