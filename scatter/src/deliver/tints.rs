//! Checks that every format tells one tint an instance, and that a layout reads it back.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use std::sync::Arc;

use glam::DVec3;
use serde_json::Value;

use super::{DeliverOptions, Format, write};
use crate::color::{self, Family, LayerTone};
use crate::layout::{Layout, ShotParts, Tints, read};

/// Stones of granite in the second pass; the first keeps its own colours.
fn dressed() -> Layout {
    let mut layout = super::tests::layout(40, DVec3::ZERO);
    let mut pieces = (*layout.pieces).clone();
    for piece in &mut pieces {
        piece.parts[0].material.name = "rock".to_owned();
    }
    layout.pieces = Arc::new(pieces);
    layout.passes[1].tone = Some(LayerTone::Stone(Family::Granite));
    layout.instances.sort_by_key(|i| (i.pass, i.piece, i.id));
    layout
}

/// The three numbers of a list.
fn three(list: &Value) -> Option<[f32; 3]> {
    let list = list.as_array()?;
    Some([0, 1, 2].map(|k| list[k].as_f64().unwrap() as f32))
}

type ById = BTreeMap<String, [f32; 3]>;

fn of_json(folder: &Path) -> ById {
    let text = fs::read_to_string(folder.join("layout.json")).unwrap();
    let document: Value = serde_json::from_str(&text).unwrap();
    assert_eq!(document["passes"][1]["stone"], "granite");
    assert!(document["passes"][0].get("stone").is_none());
    let instances = document["instances"].as_array().unwrap().iter();
    let tinted = instances.filter_map(|i| Some((i["id"].as_str()?.to_owned(), three(&i["tint"])?)));
    tinted.collect()
}

fn of_csv(folder: &Path) -> ById {
    let text = fs::read_to_string(folder.join("layout.csv")).unwrap();
    // A name of the first pass holds a line feed: its second half is no line of its own
    let lines = text.lines().filter(|line| !line.ends_with(",,,"));
    let fields = lines.map(|line| line.split(',').collect::<Vec<_>>());
    let mut tints = ById::new();
    for fields in fields.filter(|f| f.len() == 15).skip(1) {
        let tint = [12, 13, 14].map(|k| fields[k].parse().unwrap());
        tints.insert(fields[0].to_owned(), tint);
    }
    assert!(text.starts_with("id,pass,"), "{text}");
    assert!(
        text.lines()
            .next()
            .unwrap()
            .ends_with(",tint_r,tint_g,tint_b")
    );
    tints
}

fn of_glb(folder: &Path) -> Vec<[f32; 3]> {
    let bytes = fs::read(folder.join("layout.glb")).unwrap();
    let length = u32::from_le_bytes(bytes[12..16].try_into().unwrap()) as usize;
    let document: Value = serde_json::from_slice(&bytes[20..20 + length]).unwrap();
    let binary = &bytes[28 + length..];
    let mut tints = Vec::new();
    for node in document["nodes"].as_array().unwrap() {
        let of = &node["extensions"]["EXT_mesh_gpu_instancing"]["attributes"]["_COLOR_0"];
        let Some(accessor) = of.as_u64() else {
            continue;
        };
        let accessor = &document["accessors"][accessor as usize];
        assert_eq!(
            (&accessor["type"], &accessor["componentType"]),
            (&"VEC3".into(), &5126.into())
        );
        let view = &document["bufferViews"][accessor["bufferView"].as_u64().unwrap() as usize];
        let start = view["byteOffset"].as_u64().unwrap() as usize;
        for i in 0..accessor["count"].as_u64().unwrap() as usize {
            tints.push([0, 1, 2].map(|k| {
                let at = start + 12 * i + 4 * k;
                f32::from_le_bytes(binary[at..at + 4].try_into().unwrap())
            }));
        }
    }
    tints
}

fn of_nodes(folder: &Path) -> ById {
    let bytes = fs::read(folder.join("layout-nodes.glb")).unwrap();
    let length = u32::from_le_bytes(bytes[12..16].try_into().unwrap()) as usize;
    let document: Value = serde_json::from_slice(&bytes[20..20 + length]).unwrap();
    let nodes = document["nodes"].as_array().unwrap().iter();
    let tinted =
        nodes.filter_map(|n| Some((n["name"].as_str()?.to_owned(), three(&n["extras"]["tint"])?)));
    tinted.collect()
}

fn of_usda(folder: &Path) -> Vec<[f32; 3]> {
    let text = fs::read_to_string(folder.join("layout.usda")).unwrap();
    let (_, list) = text
        .split_once("\n        color3f[] primvars:displayColor = [(")
        .unwrap();
    let (list, after) = list.split_once(")]").unwrap();
    assert!(
        after
            .trim_start_matches([' ', '(', '\n'])
            .starts_with("interpolation = \"vertex\"")
    );
    let triples = list.split("), (").map(|t| {
        let numbers: Vec<f32> = t.split(", ").map(|n| n.parse().unwrap()).collect();
        [numbers[0], numbers[1], numbers[2]]
    });
    triples.collect()
}

#[test]
fn every_format_tells_one_tint_an_instance() {
    let folder = tempfile::tempdir().unwrap();
    let layout = dressed();
    write(&layout, &DeliverOptions::new(folder.path(), &Format::ALL)).unwrap();
    let tints = Tints::of(&layout);
    let stones = layout.instances.iter().filter(|i| usize::from(i.pass) == 1);
    let known: Vec<(String, [f32; 3])> = stones
        .map(|i| (format!("{:016x}", i.id), tints.tint(i).unwrap()))
        .collect();
    assert_eq!(known.len(), 20);
    let by_id: ById = known.iter().cloned().collect();
    assert_eq!(of_json(folder.path()), by_id);
    assert_eq!(of_csv(folder.path()), by_id);
    assert_eq!(of_nodes(folder.path()), by_id);
    let in_order: Vec<[f32; 3]> = known.iter().map(|(_, tint)| *tint).collect();
    assert_eq!(of_glb(folder.path()), in_order);
    assert_eq!(of_usda(folder.path()), in_order);
    // Times the mean of its piece, a tint is the colour of the rock
    for instance in layout.instances.iter().filter(|i| usize::from(i.pass) == 1) {
        let rock = color::rock(Family::Granite, color::own(instance.id));
        let mean = layout.pieces[usize::from(instance.piece)].mean_color();
        let tint = tints.tint(instance).unwrap();
        for k in 0..3 {
            // The piece has no blue at all: there the darkest mean counts
            let expected = tint[k] * mean[k].max(0.005);
            assert!((expected - rock.color[k]).abs() < 1e-4, "{tint:?} {mean:?}");
        }
    }
}

#[test]
fn a_layout_reads_its_tints_back_and_refuses_others() {
    let folder = tempfile::tempdir().unwrap();
    let layout = dressed();
    write(
        &layout,
        &DeliverOptions::new(folder.path(), &[Format::Json]),
    )
    .unwrap();
    let path = folder.path().join("layout.json");
    let known = ShotParts {
        cameras: &layout.cameras,
        pieces: &layout.pieces,
        carpet: None,
    };
    let back = read(&path, known).unwrap();
    assert_eq!(back.passes[1].tone, layout.passes[1].tone);
    assert!(layout.diff(&back).is_empty());
    let (here, there) = (Tints::of(&layout), Tints::of(&back));
    for (a, b) in layout.instances.iter().zip(&back.instances) {
        assert_eq!(here.tint(a), there.tint(b));
    }
    let text = fs::read_to_string(&path).unwrap();
    fs::write(&path, text.replace("\"granite\"", "\"basalt\"")).unwrap();
    let error = read(&path, known).unwrap_err().to_string();
    assert!(
        error.contains("].tint") && error.contains("stone"),
        "{error}"
    );
}
