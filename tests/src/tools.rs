//! Outside programs, as `tests/run` sets them up.

use std::path::{Path, PathBuf};
use std::process::Command;

use serde_json::Value;

/// This folder, whatever the current one is.
#[must_use]
pub fn tests_folder() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// Runs a script of `tests/tools` with Node.js.
///
/// # Panics
/// When it can't be run, fails, or prints no JSON.
#[must_use]
pub fn node(script: &str, arguments: &[&Path]) -> Value {
    run("node", Path::new("node"), script, arguments)
}

/// Runs a script of `tests/tools` with the pinned Python packages.
///
/// # Panics
/// When it can't be run, fails, or prints no JSON.
#[must_use]
pub fn python(script: &str, arguments: &[&Path]) -> Value {
    let python = tests_folder().join(".tools/venv/bin/python");
    run("python", &python, script, arguments)
}

fn run(name: &str, program: &Path, script: &str, arguments: &[&Path]) -> Value {
    let script: PathBuf = tests_folder().join("tools").join(script);
    let output = Command::new(program)
        .arg(&script)
        .args(arguments)
        .output()
        .unwrap_or_else(|e| panic!("{name} can't be run ({e}); tests/run sets it up"));
    assert!(
        output.status.success(),
        "{name} {} failed:\n{}{}",
        script.display(),
        String::from_utf8_lossy(&output.stdout),
        String::from_utf8_lossy(&output.stderr),
    );
    serde_json::from_slice(&output.stdout)
        .unwrap_or_else(|e| panic!("{name} {} printed no JSON: {e}", script.display()))
}
