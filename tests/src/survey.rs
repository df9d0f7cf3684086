//! Many shots under limits, on several threads, and how they ended.

use std::fs;
use std::path::Path;
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

use serde_json::Value;

use crate::limited::{Break, End, LIMITS, Limits, Run, dress_by};
use crate::shot_files;

/// Dresses the shots of some seeds; `told` is called with each as it ends.
///
/// # Panics
/// The command can't be started, or a folder not be made.
pub fn dress_all(
    seeds: &[u64],
    shot: impl Fn(u64) -> Value + Sync,
    command: &Path,
    threads: u64,
    told: impl Fn(u64, &Run) + Sync,
) -> Vec<(u64, Run)> {
    let next = AtomicUsize::new(0);
    let runs = Mutex::new(Vec::new());
    std::thread::scope(|scope| {
        for _ in 0..threads.max(1) {
            scope.spawn(|| {
                while let Some(&seed) = seeds.get(next.fetch_add(1, Ordering::Relaxed)) {
                    let run = dress_one(&shot(seed), command, LIMITS);
                    told(seed, &run);
                    runs.lock().expect("no thread panicked").push((seed, run));
                }
            });
        }
    });
    let mut runs = runs.into_inner().expect("no thread panicked");
    runs.sort_by_key(|(seed, _)| *seed);
    runs
}

/// Dresses a shot in a folder of its own.
///
/// # Panics
/// As [`dress_all`].
#[must_use]
pub fn dress_one(shot: &Value, command: &Path, limits: Limits) -> Run {
    let folder = tempfile::tempdir().expect("a folder for temporary files");
    write(shot, folder.path());
    dress_by(command, folder.path(), limits)
}

/// Writes a shot with the files that it names.
///
/// # Panics
/// The folder can't be written.
pub fn write(shot: &Value, folder: &Path) {
    shot_files::write(folder);
    fs::write(folder.join("shot.json"), format!("{shot:#}\n")).expect("a file");
}

/// How many ended how, in a line.
#[must_use]
pub fn summary(runs: &[(u64, Run)]) -> String {
    let ended = |is: &dyn Fn(&End) -> bool| runs.iter().filter(|(_, r)| is(&r.end)).count();
    let mut line = format!(
        "{} shots: {} dressed, {} refused in words, {} over budget",
        runs.len(),
        ended(&|e| *e == End::Dressed),
        ended(&|e| matches!(e, End::Refused(_))),
        ended(&|e| matches!(e, End::OverBudget(_))),
    );
    for how in Break::ALL {
        let count = ended(&|e| matches!(e, End::Broke(h, _) if *h == how));
        line.push_str(&format!(", {count} {}", how.words()));
    }
    line
}
