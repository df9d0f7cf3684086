//! The delivery as a whole: files that are there or not, and numbers that come back.

use std::fs;
use std::io;
use std::path::Path;
use std::sync::Arc;

use glam::{DQuat, DVec3, Vec3};
use serde_json::Value;

use super::{
    Contents, DeliverOptions, Format, Included, Stage, atomic, check_folder, glb, json, write,
};
use crate::brief::LayerIndex;
use crate::error::ErrorKind;
use crate::kit::PieceIndex;
use crate::kit::{Material, Measure, Mesh, Part, Piece};
use crate::layout::{Instance, Layout, PassRecord, Tally};
use crate::optics::Camera;

fn piece(name: &str, double_sided: bool) -> Piece {
    let mesh = Mesh {
        positions: vec![Vec3::ZERO, Vec3::Z * 0.05, Vec3::X * 0.07],
        normals: vec![Vec3::Y; 3],
        colors: vec![[65535, 30000, 0, 65535]; 3],
        indices: vec![0, 1, 2],
        ..Mesh::default()
    };
    let material = Material {
        name: "dry".to_owned(),
        base_color: [0.5, 0.4, 0.3, 1.0],
        roughness: 0.9,
        metallic: 0.0,
        double_sided,
        translucency: 0.2,
        ..Material::default()
    };
    Piece {
        name: name.to_owned(),
        source: "grown".to_owned(),
        parts: vec![Part { mesh, material }],
        measure: Measure {
            size: Vec3::new(0.07, 0.0, 0.05),
            b_axis: 0.05,
            elongation: 1.4,
            plan_fill: 0.7,
            flatness: 0.0,
        },
        lies: crate::shot::Lies::Sheet,
    }
}

/// Two passes and two pieces with names that need escaping, `count` instances about `centre`.
pub(in crate::deliver) fn layout(count: u64, centre: DVec3) -> Layout {
    let on_lattice = |v: f64| (v * 1e9).round() / 1e9;
    let instances: Vec<Instance> = (0..count)
        .map(|i| {
            let t = i as f64;
            let offset = DVec3::new(
                libm::sin(t) * 3.0,
                0.001 * libm::cos(7.0 * t),
                libm::cos(t) * 4.0,
            );
            let place = centre + offset;
            let turn = libm::sincos(0.37 * t);
            Instance {
                id: i.wrapping_mul(0x9e37_79b9_7f4a_7c15),
                position: DVec3::new(
                    on_lattice(place.x),
                    on_lattice(place.y),
                    on_lattice(place.z),
                ),
                rotation: [0.0, turn.0 as f32, 0.0, turn.1 as f32],
                scale: 0.1 + 0.001 * (i % 997) as f32,
                diameter: 0.02 + 1e-5 * (i % 101) as f32,
                pass: LayerIndex::new(u16::from(2 * i >= count)),
                piece: PieceIndex::new(u16::from(4 * i / count.max(1) % 2 == 1)),
            }
        })
        .collect();
    let record = |name: &str, placed: u64| PassRecord {
        name: name.to_owned(),
        tone: None,
        tally: Tally {
            asked: placed + 3,
            placed,
            cover_asked: 0.2,
            cover: 0.19,
            triangles: placed,
            full_triangles: placed,
            thrown: placed + 3,
            laid: placed,
            refused: vec![(crate::layout::Refused::NoRoom, 3)],
            ..Tally::default()
        },
    };
    Layout {
        shot: "a \"quoted\" shot".to_owned(),
        take: 7,
        cameras: vec![Camera {
            name: "close".to_owned(),
            position: centre + DVec3::new(0.0, 0.3, 1.0),
            rotation: DQuat::from_rotation_x(-0.2),
            yfov: 0.47,
            frame: [1920, 1080],
            near: 0.05,
            far: 40.0,
            focal_length: 0.05,
            focus: None,
            stop: Some(4.0),
        }],
        pieces: Arc::new(vec![piece("leaf\\1", true), piece("leaf-2", false)]),
        passes: vec![
            record("leaves\n", count / 2),
            record("stones", count - count / 2),
        ],
        instances,
        ..Layout::default()
    }
}

fn options(dir: &Path) -> DeliverOptions<'_> {
    DeliverOptions {
        shot_digest: "abc".to_owned(),
        stages: vec![Stage {
            name: "place".to_owned(),
            seconds: 0.5,
        }],
        ..DeliverOptions::new(dir, &[Format::Glb, Format::Json, Format::Glb])
    }
}

fn names(dir: &Path) -> Vec<String> {
    let mut names: Vec<String> = fs::read_dir(dir)
        .unwrap()
        .map(|e| e.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    names
}

#[test]
fn every_number_in_the_json_reads_back_as_itself() {
    for centre in [DVec3::ZERO, DVec3::new(-1e5, 12.0, 70_000.123)] {
        for count in [0, 1, 5, 40_000] {
            let layout = layout(count, centre);
            let mut text = Vec::new();
            json::write(&layout, &mut text).unwrap();
            let value: Value = serde_json::from_slice(&text).unwrap();
            let read = value["instances"].as_array().unwrap();
            assert_eq!(read.len(), layout.instances.len());
            for (read, instance) in read.iter().zip(&layout.instances) {
                assert_eq!(read["id"], format!("{:016x}", instance.id));
                assert_eq!(read["pass"], u16::from(instance.pass));
                assert_eq!(read["piece"], u16::from(instance.piece));
                for axis in 0..3 {
                    assert_eq!(
                        read["position"][axis].as_f64(),
                        Some(instance.position[axis])
                    );
                }
                for (k, &component) in instance.rotation.iter().enumerate() {
                    assert_eq!(
                        read["rotation"][k].as_f64().map(|v| v as f32),
                        Some(component)
                    );
                }
                assert_eq!(
                    read["scale"].as_f64().map(|v| v as f32),
                    Some(instance.scale)
                );
                assert_eq!(
                    read["diameter"].as_f64().map(|v| v as f32),
                    Some(instance.diameter)
                );
            }
        }
    }
}

#[test]
fn the_head_of_the_json_holds_the_layout_s_names_and_one_instance_takes_one_line() {
    let layout = layout(10, DVec3::ZERO);
    let mut text = Vec::new();
    json::write(&layout, &mut text).unwrap();
    let value: Value = serde_json::from_slice(&text).unwrap();
    assert_eq!(value["format"], "strew-layout");
    assert_eq!(value["version"], 1);
    assert_eq!(value["shot"], layout.shot);
    assert_eq!(value["pieces"][0]["name"], "leaf\\1");
    assert_eq!(value["passes"][0]["name"], "leaves\n");
    assert_eq!(value["passes"][1]["refused"]["no-room"], 3);
    assert_eq!(value["cameras"][0]["focus"], Value::Null);
    assert_eq!(value["cameras"][0]["stop"], 4.0);
    let lines = String::from_utf8(text).unwrap();
    assert_eq!(lines.lines().filter(|l| l.contains("\"id\"")).count(), 10);
}

#[test]
fn positions_have_nine_decimals_at_most() {
    let layout = layout(5000, DVec3::new(99_999.5, 0.0, -3.0));
    let mut text = Vec::new();
    json::write(&layout, &mut text).unwrap();
    let text = String::from_utf8(text).unwrap();
    let mut seen = 0;
    for part in text.split("\"position\":[").skip(1) {
        let numbers = part.split(']').next().unwrap();
        // The camera's position is no piece's, and lies on no lattice.
        for number in numbers.split(',') {
            let decimals = number.split_once('.').map_or("", |(_, d)| d);
            assert!(
                decimals.len() <= 9 && decimals.bytes().all(|b| b.is_ascii_digit()),
                "{number}"
            );
            seen += 1;
        }
    }
    assert!(seen >= 15_000);
}

#[test]
fn the_planned_length_of_a_glb_is_its_length() {
    for count in [0, 1, 9000] {
        let layout = layout(count, DVec3::ZERO);
        let included = Included::default();
        for form in [glb::Form::Instanced, glb::Form::Nodes] {
            let contents = Contents::whole(&layout, &included);
            let plan = glb::Glb::plan(&contents, form).unwrap();
            let mut bytes = Vec::new();
            plan.write(&mut bytes).unwrap();
            assert_eq!(bytes.len() as u64, plan.bytes());
            assert_eq!(bytes.len() % 4, 0);
            assert_eq!(bytes[8..12], (bytes.len() as u32).to_le_bytes());
        }
    }
}

#[test]
fn translations_under_the_root_keep_the_world_position_to_one_in_a_million() {
    // Near, beside, and far from the world's origin.
    for x in [0.0, 2.0, 9.0, 11.0, 500.0, 1e5, 1e7] {
        let layout = layout(2000, DVec3::new(x, 0.0, -0.3 * x));
        let root = glb::root_translation(&layout);
        for instance in &layout.instances {
            let kept = root + (instance.position - root).as_vec3().as_dvec3();
            let error = kept.distance(instance.position) / instance.position.length();
            assert!(
                error < 3e-7,
                "{error:e} at {} under {root}",
                instance.position
            );
        }
    }
}

#[test]
fn a_delivery_makes_its_folder_and_reports_on_itself() {
    let place = tempfile::tempdir().unwrap();
    let dir = place.path().join("some/where");
    let layout = layout(1000, DVec3::ZERO);
    let files = write(&layout, &options(&dir)).unwrap();
    assert_eq!(names(&dir), ["layout.glb", "layout.json", "report.json"]);
    for file in &files.files {
        assert_eq!(fs::metadata(&file.path).unwrap().len(), file.bytes);
    }
    let report: Value =
        serde_json::from_slice(&fs::read(dir.join("report.json")).unwrap()).unwrap();
    assert_eq!(report["totals"]["placed"], 1000);
    assert_eq!(report["totals"]["refused"], 6);
    assert_eq!(report["totals"]["unique_triangles"], 2);
    assert_eq!(report["files"][0]["bytes"], files.files[0].bytes);
    assert_eq!(report["seconds"].as_array().unwrap().len(), 3);
    // By hand: 2 triangles x (6 + 82) B, 6 vertices x (24 + 8) B, 1000 instances x 360 B.
    assert_eq!(report["render_memory"]["bytes"], 176 + 192 + 360_000);
}

#[test]
fn a_second_delivery_replaces_the_first_and_leaves_nothing_beside_it() {
    let place = tempfile::tempdir().unwrap();
    write(&layout(10, DVec3::ZERO), &options(place.path())).unwrap();
    let old = fs::read(place.path().join("layout.json")).unwrap();
    write(&layout(11, DVec3::ZERO), &options(place.path())).unwrap();
    assert_ne!(fs::read(place.path().join("layout.json")).unwrap(), old);
    assert_eq!(
        names(place.path()),
        ["layout.glb", "layout.json", "report.json"]
    );
}

#[test]
fn a_folder_in_the_way_stops_the_delivery_and_changes_nothing() {
    for in_the_way in ["layout.glb", "layout.json", "report.json"] {
        let place = tempfile::tempdir().unwrap();
        fs::create_dir(place.path().join(in_the_way)).unwrap();
        let error = write(&layout(10, DVec3::ZERO), &options(place.path())).unwrap_err();
        assert_eq!(error.kind, ErrorKind::Failed);
        assert!(error.to_string().contains(in_the_way), "{error}");
        assert_eq!(names(place.path()), [in_the_way]);
    }
}

#[test]
fn a_folder_is_checked_without_a_trace() {
    let place = tempfile::tempdir().unwrap();
    check_folder(&options(&place.path().join("new/folder"))).unwrap();
    assert_eq!(names(place.path()), [""; 0]);
    fs::create_dir(place.path().join("report.json")).unwrap();
    let error = check_folder(&options(place.path())).unwrap_err();
    assert!(error.to_string().contains("report.json"), "{error}");
    assert_eq!(names(place.path()), ["report.json"]);
}

#[test]
fn a_rename_that_fails_gives_earlier_files_their_names_back() {
    let place = tempfile::tempdir().unwrap();
    fs::write(place.path().join("old"), "before").unwrap();
    let mut delivery = atomic::Delivery::open(place.path()).unwrap();
    for name in ["old", "new", "last"] {
        delivery
            .stage(name, |out| io::Write::write_all(out, b"after"))
            .unwrap();
    }
    // It comes after the check and before the rename.
    fs::create_dir(place.path().join("last")).unwrap();
    let error = delivery.commit(&[]).unwrap_err();
    assert!(error.to_string().contains("last"), "{error}");
    assert_eq!(names(place.path()), ["last", "old"]);
    assert_eq!(fs::read(place.path().join("old")).unwrap(), b"before");
}

#[test]
fn a_full_disk_leaves_neither_a_file_nor_the_folder_that_was_made_for_it() {
    let place = tempfile::tempdir().unwrap();
    let dir = place.path().join("a/b");
    let mut delivery = atomic::Delivery::open(&dir).unwrap();
    delivery
        .stage("good", |out| io::Write::write_all(out, b"whole"))
        .unwrap();
    let error = delivery
        .stage("bad", |out| {
            io::Write::write_all(out, b"half")?;
            Err(io::Error::from(io::ErrorKind::StorageFull))
        })
        .unwrap_err();
    assert_eq!(error.kind, ErrorKind::Failed);
    assert!(error.to_string().contains("make room"), "{error}");
    drop(delivery);
    assert_eq!(names(place.path()), [""; 0]);
}

#[test]
fn a_file_where_the_folder_should_be_is_told() {
    let place = tempfile::tempdir().unwrap();
    let file = place.path().join("out");
    fs::write(&file, "mine").unwrap();
    for dir in [file.clone(), file.join("deeper")] {
        let error = write(&layout(1, DVec3::ZERO), &options(&dir)).unwrap_err();
        assert_eq!(error.kind, ErrorKind::Failed);
        assert!(!error.faults[0].hint.is_empty());
    }
    assert_eq!(fs::read(&file).unwrap(), b"mine");
}

#[test]
fn a_number_that_is_not_finite_is_refused_before_anything_is_written() {
    let place = tempfile::tempdir().unwrap();
    let mut layout = layout(10, DVec3::ZERO);
    layout.instances[4].scale = f32::NAN;
    let error = write(&layout, &options(place.path())).unwrap_err();
    assert!(error.to_string().contains("instances[4]"), "{error}");
    assert_eq!(names(place.path()), [""; 0]);
}

#[test]
fn temporary_files_that_nobody_holds_are_swept_and_no_others() {
    let place = tempfile::tempdir().unwrap();
    let at = |name: &str| place.path().join(name);
    let names_before = [
        ".strew-delivery-killed.tmp",
        ".strew-delivery-alive.tmp",
        ".strew-picture.tmp",
        ".strew-notes.txt",
    ];
    for name in names_before {
        fs::write(at(name), "half").unwrap();
    }
    // Another run is at work on this one
    let held = fs::File::open(at(".strew-delivery-alive.tmp")).unwrap();
    held.try_lock().unwrap();
    write(&layout(10, DVec3::ZERO), &options(place.path())).unwrap();
    let left = names(place.path());
    for (name, stays) in names_before.into_iter().zip([false, true, true, true]) {
        assert_eq!(left.iter().any(|n| n == name), stays, "{name}");
    }
}

#[test]
fn a_left_handed_usda_is_refused_before_anything_is_written() {
    let place = tempfile::tempdir().unwrap();
    let mut options = DeliverOptions::new(place.path(), &[Format::Json, Format::Usda]);
    options.space.hand = crate::shot::Hand::Left;
    for error in [
        write(&layout(3, DVec3::ZERO), &options).unwrap_err(),
        check_folder(&options).unwrap_err(),
    ] {
        assert_eq!(error.kind, ErrorKind::Input);
        assert!(error.to_string().contains("right-handed"), "{error}");
    }
    assert_eq!(names(place.path()), [""; 0]);
}

#[test]
fn instances_out_of_order_are_refused() {
    let place = tempfile::tempdir().unwrap();
    let mut layout = layout(10, DVec3::ZERO);
    layout.instances.swap(0, 9);
    let error = write(&layout, &options(place.path())).unwrap_err();
    assert!(error.to_string().contains("sorted"), "{error}");
}

#[test]
fn names_of_passes_become_parts_of_file_names() {
    let place = tempfile::tempdir().unwrap();
    let mut layout = layout(10, DVec3::ZERO);
    layout.passes[0].name = "a/b".to_owned();
    layout.passes[1].name = "A-b".to_owned();
    let options = DeliverOptions {
        split: Some(crate::shot::Split::Passes),
        ..DeliverOptions::new(place.path(), &[Format::Csv])
    };
    write(&layout, &options).unwrap();
    let expected = ["layout.A-b-2.csv", "layout.a-b.csv", "report.json"];
    assert_eq!(names(place.path()), expected);
}

#[test]
fn fields_of_the_csv_are_quoted_where_they_must_be() {
    let mut layout = layout(1, DVec3::ZERO);
    layout.passes[0].name = "stones, \"wet\"".to_owned();
    let mut text = Vec::new();
    let way = super::space::Conversion::new(crate::shot::Space::default());
    super::csv::write(&layout, &layout.instances, &way, &mut text).unwrap();
    let text = String::from_utf8(text).unwrap();
    let (header, line) = text.trim_end().split_once('\n').unwrap();
    assert_eq!(header, super::csv::HEADER);
    assert!(line.contains(",\"stones, \"\"wet\"\"\","), "{line}");
}

#[test]
fn format_names_read_back() {
    for format in Format::ALL {
        assert_eq!(format.name().parse::<Format>().unwrap(), format);
    }
    let error = "obj".parse::<Format>().unwrap_err();
    assert!(error.to_string().contains("glb, glb-nodes"), "{error}");
}
