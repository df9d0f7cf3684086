//! A disk that takes no more: the system's own refusal, not one that we made up.
//!
//! Source: setrlimit(2): with RLIMIT_FSIZE reached and SIGXFSZ ignored, write(2) fails with EFBIG,
//! in the middle of a file, as it would on a full disk. `/dev/full`, the other well-known way,
//! holds no folder.

#![allow(clippy::unwrap_used, reason = "a check that cannot go on has failed")]
#![cfg(target_os = "linux")]

use std::fs;
use std::path::Path;
use std::process::Command;

use scatter::deliver::{DeliverOptions, Format, write};
use scatter::error::ErrorKind;
use scatter_tests::layouts;

/// Set in the child, with the folder to deliver into.
const FOLDER: &str = "STREW_DISK_TEST_FOLDER";

fn options(dir: &Path) -> DeliverOptions<'_> {
    DeliverOptions::new(dir, &[Format::Glb, Format::Json])
}

#[test]
fn a_disk_that_takes_no_more_leaves_the_old_files_as_they_were() {
    if let Some(folder) = std::env::var_os(FOLDER) {
        return in_the_child(Path::new(&folder));
    }
    let folder = tempfile::tempdir().unwrap();
    write(
        &layouts::layout(10, glam::DVec3::ZERO),
        &options(folder.path()),
    )
    .unwrap();
    let content = || -> Vec<(String, Vec<u8>)> {
        let mut files: Vec<_> = fs::read_dir(folder.path())
            .unwrap()
            .map(|entry| entry.unwrap().path())
            .map(|path| {
                (
                    path.file_name().unwrap().to_string_lossy().into_owned(),
                    fs::read(&path).unwrap(),
                )
            })
            .collect();
        files.sort();
        files
    };
    let before = content();
    assert_eq!(before.len(), 3);
    // The GLB fits into 8 MiB, the JSON does not.
    let output = Command::new("bash")
        .args(["-c", "trap '' XFSZ; ulimit -f 8192; exec \"$0\" --exact a_disk_that_takes_no_more_leaves_the_old_files_as_they_were"])
        .arg(std::env::current_exe().unwrap())
        .env(FOLDER, folder.path())
        .output()
        .unwrap();
    assert!(
        output.status.success(),
        "{}",
        String::from_utf8_lossy(&output.stdout)
    );
    assert_eq!(content(), before);
}

fn in_the_child(folder: &Path) {
    let error = write(
        &layouts::layout(60_000, glam::DVec3::ZERO),
        &options(folder),
    )
    .unwrap_err();
    assert_eq!(error.kind, ErrorKind::Failed);
    assert!(
        error
            .file
            .as_deref()
            .is_some_and(|f| f.ends_with("layout.json")),
        "{error}"
    );
    assert!(error.to_string().contains("disk"), "{error}");
}
