//! One layout through every format and space: other readers find each instance where it should be.
//!
//! Sources: OpenUSD's own library (PyPI, usd-core, pinned in `tests/requirements.txt`), its
//! registered validators and `ComputeInstanceTransformsAtTime`; Python's json and csv modules;
//! numpy. The snippets are those of `docs/delivery.md`, run as they stand there. Expected
//! transforms come from the conversion as 4 x 4 matrices, K M K^-1.

#![allow(clippy::unwrap_used, reason = "a check that cannot go on has failed")]
#![expect(
    clippy::print_stdout,
    reason = "the figures, for who asks with --nocapture"
)]

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

use glam::{DMat4, DQuat, DVec3, DVec4};
use scatter::brief::LayerIndex;
use scatter::deliver::{DeliverOptions, Format, write};
use scatter::layout::Layout;
use scatter::shot::{Hand, Space, Split, Unit, Up};
use scatter_tests::{layouts, tools};
use serde_json::Value;

/// Each format's heading in the page, and whether it is in the space asked for.
const READERS: [(Format, &str, bool); 5] = [
    (Format::Json, "### layout.json", true),
    (Format::Csv, "### layout.csv", true),
    (Format::Glb, "### layout.glb", false),
    (Format::GlbNodes, "### layout-nodes.glb", false),
    (Format::Usda, "### layout.usda", true),
];

/// The first block of Python under a heading of the page.
fn snippet(heading: &str) -> String {
    let page = tools::tests_folder().join("../docs/delivery.md");
    let page = fs::read_to_string(page).unwrap();
    let (_, below) = page.split_once(&format!("\n{heading}\n")).unwrap();
    let (_, block) = below.split_once("```python\n").unwrap();
    block.split_once("```").unwrap().0.to_owned()
}

/// An instance read from a delivery: piece, and matrix by columns.
type World = (String, [f64; 16]);

/// What a snippet of the page makes of a delivery.
fn worlds(heading: &str, folder: &Path) -> Vec<World> {
    all_worlds(&[(heading, folder)]).remove(0)
}

/// What snippets of the page make of deliveries, in one process of Python: OpenUSD takes a second
/// to load.
fn all_worlds(jobs: &[(&str, &Path)]) -> Vec<Vec<World>> {
    let scripts = tempfile::tempdir().unwrap();
    let script = |heading: &str| {
        let path = scripts.path().join(heading.replace(['#', ' '], ""));
        fs::write(&path, snippet(heading)).unwrap();
        path
    };
    let shared = script("## Reading it in Python");
    let jobs: Vec<_> = jobs
        .iter()
        .map(|(heading, folder)| (folder, [shared.clone(), script(heading)]))
        .collect();
    let file = scripts.path().join("jobs.json");
    fs::write(&file, serde_json::to_string(&jobs).unwrap()).unwrap();
    serde_json::from_value(tools::python("run_snippet.py", &[&file])).unwrap()
}

/// The change of frame as a matrix.
fn frame(space: Space) -> DMat4 {
    let per_metre = match space.unit {
        Unit::Metre => 1.0,
        Unit::Centimetre => 100.0,
        Unit::Millimetre => 1000.0,
        Unit::Inch => 1.0 / 0.0254,
    };
    let column = |x, y, z| DVec4::new(x, y, z, 0.0);
    // What +x, +y (up) and +z (backward) become
    let (right, up, back) = match (space.up, space.hand) {
        (Up::PlusY, Hand::Right) => (
            column(1.0, 0.0, 0.0),
            column(0.0, 1.0, 0.0),
            column(0.0, 0.0, 1.0),
        ),
        (Up::PlusZ, Hand::Right) => (
            column(1.0, 0.0, 0.0),
            column(0.0, 0.0, 1.0),
            column(0.0, -1.0, 0.0),
        ),
        (Up::PlusY, Hand::Left) => (
            column(1.0, 0.0, 0.0),
            column(0.0, 1.0, 0.0),
            column(0.0, 0.0, -1.0),
        ),
        (Up::PlusZ, Hand::Left) => (
            column(1.0, 0.0, 0.0),
            column(0.0, 0.0, 1.0),
            column(0.0, 1.0, 0.0),
        ),
    };
    DMat4::from_cols(
        right * per_metre,
        up * per_metre,
        back * per_metre,
        DVec4::W,
    )
}

fn spaces() -> Vec<Space> {
    let mut all = Vec::new();
    for unit in [Unit::Metre, Unit::Centimetre, Unit::Millimetre, Unit::Inch] {
        for up in [Up::PlusY, Up::PlusZ] {
            for hand in [Hand::Right, Hand::Left] {
                all.push(Space { unit, up, hand });
            }
        }
    }
    all
}

/// Holds transforms read from a delivery against the layout's, brought into `space`.
fn compare(name: &str, layout: &Layout, space: Space, read: &[World]) {
    assert_eq!(layout.instances.len(), read.len(), "{name}: instances");
    let k = frame(space);
    let back = k.inverse();
    let mut worst = 0.0_f64;
    for (instance, (piece, matrix)) in layout.instances.iter().zip(read) {
        assert_eq!(
            *piece,
            layout.pieces[usize::from(instance.piece)].name,
            "{name}"
        );
        let rotation = DQuat::from_array(instance.rotation.map(f64::from));
        let scale = f64::from(instance.scale);
        let own = DMat4::from_scale_rotation_translation(
            DVec3::splat(scale),
            rotation,
            instance.position,
        );
        let expected = k * own * back;
        // A piece at the origin has no distance to be relative to: its scale then
        let far = expected.w_axis.truncate().length().max(scale);
        for (i, (got, want)) in matrix.iter().zip(expected.to_cols_array()).enumerate() {
            let size = match i {
                12..15 => far,
                15 => 1.0,
                _ => scale,
            };
            let error = (got - want).abs() / size;
            // Written so that a number that is not one fails
            assert!(
                error <= 1e-6,
                "{name}: {piece}, element {i}: {got} read, {want} expected"
            );
            worst = worst.max(error);
        }
    }
    println!(
        "{name}: {} instances, largest error {worst:.1e}",
        read.len()
    );
}

#[test]
#[ignore = "needs tests/run"]
fn every_format_says_the_same_in_every_space() {
    let far = DVec3::new(100_000.0, 12.0, -70_000.0);
    for (place, centre) in [("near", DVec3::ZERO), ("far", far)] {
        let layout = layouts::layout(300, centre);
        let mut deliveries = Vec::new();
        for space in spaces() {
            let folder = tempfile::tempdir().unwrap();
            let asked: Vec<_> = READERS
                .into_iter()
                .filter(|(format, _, in_space)| {
                    let own = space == Space::default();
                    (*in_space || own) && (*format != Format::Usda || space.hand == Hand::Right)
                })
                .collect();
            let formats: Vec<Format> = asked.iter().map(|(format, _, _)| *format).collect();
            let options = DeliverOptions {
                space,
                ..DeliverOptions::new(folder.path(), &formats)
            };
            write(&layout, &options).unwrap();
            deliveries.push((space, folder, asked));
        }
        let jobs: Vec<_> = deliveries
            .iter()
            .flat_map(|(space, folder, asked)| {
                asked.iter().map(move |(format, heading, _)| {
                    let name = format!("{place}, {}, {space:?}", format.name());
                    (name, *space, (*heading, folder.path()))
                })
            })
            .collect();
        // Right-handed spaces have JSON, CSV and USDA, left-handed ones two of them, our own the
        // two glTF files as well
        assert_eq!(jobs.len(), 8 * 3 + 8 * 2 + 2);
        let read = all_worlds(&jobs.iter().map(|job| job.2).collect::<Vec<_>>());
        for ((name, space, _), read) in jobs.iter().zip(&read) {
            compare(name, &layout, *space, read);
        }
    }
}

/// A GLB's bytes with the digits of the delivery's digest blank: space is a part of the digest.
fn without_delivery(mut bytes: Vec<u8>) -> Vec<u8> {
    let key = b"\"delivery\":\"";
    let found = bytes.windows(key.len()).position(|w| w == key);
    let from = found.expect("a GLB names its delivery") + key.len();
    bytes[from..from + 32].fill(b'0');
    bytes
}

#[test]
#[ignore = "needs tests/run"]
fn gltf_stays_in_its_own_space() {
    let layout = layouts::layout(50, DVec3::new(3.0, 0.0, -2.0));
    for format in [Format::Glb, Format::GlbNodes] {
        let [own, other] = [Space::default(), spaces()[7]].map(|space| {
            let folder = tempfile::tempdir().unwrap();
            let options = DeliverOptions {
                space,
                ..DeliverOptions::new(folder.path(), &[format])
            };
            let files = write(&layout, &options).unwrap();
            without_delivery(fs::read(&files.files[0].path).unwrap())
        });
        assert!(own == other);
    }
}

#[test]
#[ignore = "needs tests/run"]
fn files_split_by_pass_hold_the_same_together() {
    let layout = layouts::layout(300, DVec3::new(500.0, 1.0, 20.0));
    let folder = tempfile::tempdir().unwrap();
    let formats = [Format::Usda, Format::Json, Format::Glb];
    let options = DeliverOptions {
        split: Some(Split::Passes),
        ..DeliverOptions::new(folder.path(), &formats)
    };
    write(&layout, &options).unwrap();
    // Opening the one opens all; OpenUSD gives sublayers' prims in an order of its own
    let mut read = worlds("### layout.usda", folder.path());
    let key = |w: &World| (w.0.clone(), w.1.map(f64::to_bits));
    read.sort_by_key(key);
    let mut expected = Vec::new();
    for (part, heading, file) in [
        ("litter----dry-", "### layout.json", "layout.json"),
        ("stones", "### layout.json", "layout.json"),
        ("litter----dry-", "### layout.glb", "layout.glb"),
        ("stones", "### layout.glb", "layout.glb"),
    ] {
        let alone = tempfile::tempdir().unwrap();
        let ending = file.rsplit('.').next().unwrap();
        let from = folder.path().join(format!("layout.{part}.{ending}"));
        fs::copy(&from, alone.path().join(file)).unwrap_or_else(|e| panic!("{from:?}: {e}"));
        let of_pass = worlds(heading, alone.path());
        let index = LayerIndex::new(u16::from(part == "stones"));
        let only = Layout {
            instances: layout
                .instances
                .iter()
                .filter(|i| i.pass == index)
                .copied()
                .collect(),
            ..layout.clone()
        };
        compare(part, &only, Space::default(), &of_pass);
        if ending == "json" {
            expected.extend(of_pass);
        }
    }
    expected.sort_by_key(key);
    assert_eq!(read.len(), expected.len());
    // The same bits are too much to ask: names in number, and the sum of all elements
    for (a, b) in read.iter().zip(&expected) {
        assert_eq!(a.0, b.0);
    }
    let sum = |all: &[World]| all.iter().flat_map(|w| w.1).sum::<f64>();
    assert!((sum(&read) / sum(&expected) - 1.0).abs() < 1e-6);
}

#[test]
#[ignore = "needs tests/run"]
fn openusd_finds_nothing_wrong() {
    let mut written = Vec::new();
    for (name, layout) in layouts::all() {
        for space in spaces().into_iter().filter(|s| s.hand == Hand::Right) {
            // One large layout is enough, and all spaces of one small one
            if space != Space::default() && name != "100 km from the origin" {
                continue;
            }
            let folder = tempfile::tempdir().unwrap();
            let options = DeliverOptions {
                space,
                ..DeliverOptions::new(folder.path(), &[Format::Usda])
            };
            write(&layout, &options).unwrap();
            written.push((format!("{name} {space:?}"), layout.clone(), space, folder));
        }
    }
    let files: Vec<PathBuf> = written
        .iter()
        .map(|w| w.3.path().join("layout.usda"))
        .collect();
    let found = check_usd(&files);
    for ((name, layout, space, _), found) in written.iter().zip(&found) {
        judge(name, layout, *space, found);
    }
}

/// What OpenUSD finds of each file.
fn check_usd(files: &[PathBuf]) -> Vec<Value> {
    let files: Vec<&Path> = files.iter().map(PathBuf::as_path).collect();
    let found = tools::python("check_usd.py", &files);
    let found = found.as_array().unwrap().clone();
    assert_eq!(found.len(), files.len());
    found
}

fn judge(name: &str, layout: &Layout, space: Space, found: &Value) {
    assert!(found["validators"].as_u64().unwrap() >= 20, "{name}");
    assert_eq!(found["errors"], Value::Array(vec![]), "{name}");
    assert_eq!(found["faults"], Value::Array(vec![]), "{name}");
    assert_eq!(found["loose_prototypes"], 0, "{name}");
    assert_eq!(found["default_prim"], "/layout", "{name}");
    let k = frame(space);
    let metres = 1.0 / k.x_axis.length();
    let said = found["meters_per_unit"].as_f64().unwrap();
    assert!((said / metres - 1.0).abs() < 1e-12, "{name}: {said}");
    let up = if space.up == Up::PlusZ { "Z" } else { "Y" };
    assert_eq!(found["up"], up, "{name}");
    let instancers = found["instancers"].as_array().unwrap();
    let ids: Vec<String> = instancers
        .iter()
        .flat_map(|i| i["ids"].as_array().unwrap())
        .map(|id| id.as_str().unwrap().to_owned())
        .collect();
    let expected: Vec<String> = layout
        .instances
        .iter()
        .map(|i| format!("{:016x}", i.id))
        .collect();
    assert_eq!(ids, expected, "{name}");
    assert_eq!(ids.iter().collect::<BTreeSet<_>>().len(), ids.len());
    // The camera: lens, place, and where it looks
    let camera = &layout.cameras[0];
    let read = &found["cameras"][0];
    let close = |key: &str, want: f64| {
        let got = read[key].as_f64().unwrap();
        assert!(
            (got / want - 1.0).abs() < 1e-6,
            "{name}: {key} {got} {want}"
        );
    };
    close("yfov", camera.yfov);
    close("aspect", camera.aspect());
    close("near", camera.near / metres);
    close("focus", camera.focus.unwrap() / metres);
    let vector = |key: &str| -> DVec3 {
        let list: [f64; 3] = serde_json::from_value(read[key].clone()).unwrap();
        list.into()
    };
    let at = k.transform_point3(camera.position);
    assert!(vector("at").distance(at) < 1e-9 * at.length(), "{name}");
    for (key, axis) in [("looks", DVec3::NEG_Z), ("up", DVec3::Y)] {
        let expected = k.transform_vector3(camera.rotation * axis).normalize();
        assert!(vector(key).distance(expected) < 1e-9, "{name}: {key}");
    }
}

#[test]
#[ignore = "needs tests/run"]
fn faults_that_are_there_are_found() {
    let folder = tempfile::tempdir().unwrap();
    let layout = layouts::layout(60, DVec3::ZERO);
    write(
        &layout,
        &DeliverOptions::new(folder.path(), &[Format::Usda]),
    )
    .unwrap();
    let good = fs::read_to_string(folder.path().join("layout.usda")).unwrap();
    let first_id = format!("int64[] ids = [{}, ", layout.instances[0].id.cast_signed());
    let second = format!("{}, ", layout.instances[1].id.cast_signed());
    let twice = good.replacen(
        &format!("{first_id}{second}"),
        &format!("int64[] ids = [{second}{second}"),
        1,
    );
    let cases = [
        (good.replace("    metersPerUnit = 1\n", ""), "errors"),
        (
            good.replacen("protoIndices = [0", "protoIndices = [9", 1),
            "faults",
        ),
        (
            good.replacen("/prototypes/leaf>", "/prototypes/none>", 1),
            "faults",
        ),
        (
            good.replacen("        float3[] extent = ", "        float3[] other = ", 1),
            "faults",
        ),
        (twice, "faults"),
    ];
    let (mut files, mut keys) = (Vec::new(), Vec::new());
    for (i, (bad, key)) in cases.into_iter().enumerate() {
        assert!(bad != good, "case {i} changes nothing");
        let file = folder.path().join(format!("bad-{i}.usda"));
        fs::write(&file, bad).unwrap();
        files.push(file);
        keys.push(key);
    }
    for (i, (found, key)) in check_usd(&files).iter().zip(keys).enumerate() {
        assert!(
            !found[key].as_array().unwrap().is_empty(),
            "case {i}: nothing found"
        );
    }
}
