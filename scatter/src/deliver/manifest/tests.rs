use std::fs;
use std::path::Path;

use serde_json::Value;

use super::*;
use crate::deliver::tests::layout;
use crate::deliver::{DeliverOptions, write};
use crate::layout::Layout;
use glam::DVec3;

fn deliver(layout: &Layout, folder: &Path, formats: &[Format]) -> crate::deliver::Delivered {
    write(layout, &DeliverOptions::new(folder, formats)).unwrap()
}

fn listing(folder: &Path) -> Vec<String> {
    let entries = fs::read_dir(folder).unwrap();
    let mut names: Vec<String> = entries
        .map(|e| e.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    names
}

/// The digest is that of the system's own `sha256sum`, which shares no code with ours.
#[test]
fn the_report_lists_digests_that_another_program_agrees_with() {
    let folder = tempfile::tempdir().unwrap();
    deliver(&layout(20, DVec3::ZERO), folder.path(), &[Format::Glb]);
    let manifest = Manifest::read(folder.path()).unwrap();
    let output = std::process::Command::new("sha256sum")
        .arg(folder.path().join("layout.glb"))
        .output()
        .expect("sha256sum, of every Linux");
    let told = String::from_utf8(output.stdout).unwrap();
    assert_eq!(told[..64], manifest.files[0].sha256);
}

#[test]
fn every_file_but_csv_quotes_its_delivery() {
    let folder = tempfile::tempdir().unwrap();
    let delivered = deliver(&layout(20, DVec3::ZERO), folder.path(), &Format::ALL);
    assert_eq!(delivered.digest.len(), 32);
    let mut quoting = 0;
    for file in delivered.files {
        let bytes = fs::read(&file.path).unwrap();
        let digest = delivered.digest.as_bytes();
        let quotes = bytes.windows(digest.len()).any(|w| w == digest);
        let is_csv = file.path.extension().is_some_and(|e| e == "csv");
        assert!(quotes != is_csv, "{:?}", file.path);
        quoting += usize::from(quotes);
    }
    assert_eq!(quoting, 5, "two glTF files, USDA, JSON and the report");
}

#[test]
fn the_same_is_delivered_under_the_same_digest_and_anything_else_under_another() {
    let digest = |layout: &Layout, formats: &[Format]| {
        let folder = tempfile::tempdir().unwrap();
        deliver(layout, folder.path(), formats).digest
    };
    let one = digest(&layout(20, DVec3::ZERO), &[Format::Json]);
    assert_eq!(one, digest(&layout(20, DVec3::ZERO), &[Format::Json]));
    let mut digests = vec![one];
    digests.push(digest(&layout(20, DVec3::ZERO), &[Format::Glb]));
    digests.push(digest(&layout(21, DVec3::ZERO), &[Format::Json]));
    let mut other = layout(20, DVec3::ZERO);
    other.take += 1;
    digests.push(digest(&other, &[Format::Json]));
    let mut other = layout(20, DVec3::ZERO);
    other.instances[7].scale = other.instances[7].scale.next_up();
    digests.push(digest(&other, &[Format::Json]));
    let count = digests.len();
    digests.sort();
    digests.dedup();
    assert_eq!(digests.len(), count);
}

#[test]
fn files_of_two_deliveries_are_told() {
    let folder = tempfile::tempdir().unwrap();
    let dir = folder.path();
    deliver(&layout(20, DVec3::ZERO), dir, &[Format::Glb, Format::Json]);
    assert_eq!(state(dir).problem(), None);
    assert_eq!(problem_of_layout(&dir.join("layout.json")), None);
    let other = tempfile::tempdir().unwrap();
    deliver(&layout(21, DVec3::ZERO), other.path(), &[Format::Json]);
    // The file of another delivery in its place
    fs::copy(other.path().join("layout.json"), dir.join("layout.json")).unwrap();
    let problem = state(dir).problem().unwrap();
    assert!(problem.contains("layout.json has other bytes"), "{problem}");
    assert!(problem_of_layout(&dir.join("layout.json")).is_some());
    // A copy under another name is the artist's own business
    fs::copy(dir.join("layout.json"), dir.join("kept.json")).unwrap();
    assert_eq!(problem_of_layout(&dir.join("kept.json")), None);
    fs::remove_file(dir.join("layout.glb")).unwrap();
    let problem = state(dir).problem().unwrap();
    assert!(problem.contains("layout.glb is missing"), "{problem}");
}

#[test]
fn a_layout_that_its_report_does_not_list_is_told() {
    let folder = tempfile::tempdir().unwrap();
    let dir = folder.path();
    deliver(&layout(20, DVec3::ZERO), dir, &[Format::Glb]);
    let other = tempfile::tempdir().unwrap();
    deliver(&layout(20, DVec3::ZERO), other.path(), &[Format::Json]);
    // As a delivery leaves it that was cut off before its report
    fs::copy(other.path().join("layout.json"), dir.join("layout.json")).unwrap();
    let problem = problem_of_layout(&dir.join("layout.json")).unwrap();
    assert!(problem.contains("another delivery"), "{problem}");
}

#[test]
fn a_first_delivery_that_was_cut_off_is_told() {
    let folder = tempfile::tempdir().unwrap();
    let dir = folder.path();
    deliver(&layout(20, DVec3::ZERO), dir, &[Format::Json]);
    fs::rename(dir.join("report.json"), dir.join(".strew-delivery-a.tmp")).unwrap();
    let problem = problem_of_layout(&dir.join("layout.json")).unwrap();
    assert!(problem.contains("cut off"), "{problem}");
    let delivered = deliver(&layout(20, DVec3::ZERO), dir, &[Format::Glb]);
    assert!(delivered.found.unwrap().contains("cut off"));
    assert_eq!(delivered.left, [dir.join("layout.json")]);
    assert_eq!(listing(dir), ["layout.glb", "layout.json", "report.json"]);
}

#[test]
fn what_is_no_part_of_the_delivery_any_more_goes_unless_it_was_changed() {
    let folder = tempfile::tempdir().unwrap();
    let dir = folder.path();
    deliver(
        &layout(20, DVec3::ZERO),
        dir,
        &[Format::Csv, Format::Json, Format::Glb],
    );
    fs::write(dir.join("layout.csv"), "mine now").unwrap();
    fs::write(dir.join("notes.txt"), "mine").unwrap();
    let delivered = deliver(&layout(20, DVec3::ZERO), dir, &[Format::Glb]);
    assert_eq!(delivered.removed, [dir.join("layout.json")]);
    assert_eq!(delivered.left, [dir.join("layout.csv")]);
    assert!(
        delivered
            .found
            .unwrap()
            .contains("layout.csv has other bytes")
    );
    let left = listing(dir);
    assert_eq!(
        left,
        ["layout.csv", "layout.glb", "notes.txt", "report.json"]
    );
}

#[test]
fn a_report_that_names_files_outside_its_folder_harms_none() {
    let place = tempfile::tempdir().unwrap();
    let dir = place.path().join("out");
    deliver(&layout(20, DVec3::ZERO), &dir, &[Format::Glb]);
    let mine = place.path().join("mine");
    fs::write(&mine, "mine").unwrap();
    let path = dir.join("report.json");
    let mut report: Value = serde_json::from_slice(&fs::read(&path).unwrap()).unwrap();
    for name in ["../mine", mine.to_str().unwrap(), "a/../../mine"] {
        let record =
            serde_json::json!({ "name": name, "bytes": 4, "sha256": sha256(&mine).unwrap() });
        report["files"].as_array_mut().unwrap().push(record);
    }
    fs::write(&path, report.to_string()).unwrap();
    assert_eq!(Manifest::read(&dir).unwrap().files.len(), 1);
    deliver(&layout(20, DVec3::ZERO), &dir, &[Format::Json]);
    assert!(mine.exists());
}
