//! The examples, dressed with the `strew` command.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::OnceLock;

use crate::tools::tests_folder;

/// Every `examples/*/shot.json`, sorted.
///
/// # Panics
/// When there is none.
#[must_use]
pub fn examples() -> Vec<PathBuf> {
    let folder = tests_folder().join("../examples");
    let entries = fs::read_dir(&folder).unwrap_or_else(|e| panic!("{}: {e}", folder.display()));
    let mut shots: Vec<PathBuf> = entries
        .map(|entry| {
            entry
                .unwrap_or_else(|e| panic!("{}: {e}", folder.display()))
                .path()
        })
        .map(|example| example.join("shot.json"))
        .filter(|shot| shot.is_file())
        .collect();
    shots.sort();
    assert!(!shots.is_empty(), "no shot under {}", folder.display());
    shots
}

/// the `strew` command, built if need be: the one that `STREW` names, or the workspace's own.
///
/// # Panics
/// When it can't be built.
#[must_use]
pub fn command() -> &'static Path {
    static COMMAND: OnceLock<PathBuf> = OnceLock::new();
    COMMAND.get_or_init(|| {
        if let Some(path) = std::env::var_os("STREW") {
            return path.into();
        }
        // Test programs lie in `target/PROFILE/deps`.
        let test = std::env::current_exe().unwrap_or_else(|e| panic!("{e}"));
        let target = test.ancestors().nth(3).unwrap_or(Path::new("target"));
        let status = Command::new(env!("CARGO"))
            // As `cargo test --workspace` builds it, beside the command's own checks: so nothing is
            // built twice
            .args(["test", "--quiet", "--no-run", "--workspace"])
            .args(["--test", "commands", "--target-dir"])
            .arg(target)
            .current_dir(tests_folder())
            .status();
        assert!(status.is_ok_and(|s| s.success()), "strew can't be built");
        target.join("debug/strew")
    })
}

/// Dresses a shot as GLB and JSON into `folder`.
///
/// # Panics
/// When the command fails.
pub fn dress(shot: &Path, folder: &Path) {
    let output = Command::new(command())
        .arg("dress")
        .arg(shot)
        .arg("--out")
        .arg(folder)
        .args(["--as", "glb,json"])
        .output()
        .unwrap_or_else(|e| panic!("{}: {e}", command().display()));
    assert!(
        output.status.success(),
        "dress {} gave {}:\n{}",
        shot.display(),
        output.status,
        String::from_utf8_lossy(&output.stderr)
    );
}
