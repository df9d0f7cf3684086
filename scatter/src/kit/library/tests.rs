//! Pieces from files: in their frame, named, with their natural sizes.

use std::fs;
use std::path::Path;

use glam::Vec3;
use serde_json::{Value, json};

use super::{Library, NATURAL_SIZES};
use crate::brief::LayerKind;
use crate::cancel::Cancel;
use crate::kit::Shelf;
use crate::kit::gltf::tests::glb;
use crate::shot::Shot;

/// A file of boxes, each at a root node of its own: name, edges and middle.
pub(in crate::kit) fn boxes(boxes: &[(&str, [f32; 3], [f32; 3])]) -> Vec<u8> {
    with_faces(6, boxes)
}

/// The same with so many faces of each box, the top first.
fn with_faces(count: usize, boxes: &[(&str, [f32; 3], [f32; 3])]) -> Vec<u8> {
    let mut binary = Vec::new();
    for z in [-0.5_f32, 0.5] {
        for y in [-0.5_f32, 0.5] {
            for x in [-0.5_f32, 0.5] {
                binary.extend([x, y, z].iter().flat_map(|v| v.to_le_bytes()));
            }
        }
    }
    let corners = binary.len();
    // Counter-clockwise seen from outside.
    let faces: [[u16; 4]; 6] = [
        [2, 6, 7, 3],
        [0, 2, 3, 1],
        [4, 5, 7, 6],
        [0, 1, 5, 4],
        [0, 4, 6, 2],
        [1, 3, 7, 5],
    ];
    for [a, b, c, d] in faces {
        binary.extend([a, b, c, a, c, d].iter().flat_map(|v| v.to_le_bytes()));
    }
    let nodes: Vec<Value> = boxes
        .iter()
        .map(|(name, edges, middle)| json!({ "name": name, "mesh": 0, "scale": edges, "translation": middle }))
        .collect();
    let roots: Vec<usize> = (0..boxes.len()).collect();
    let document = json!({
        "asset": { "version": "2.0" },
        "scenes": [{ "nodes": roots }],
        "nodes": nodes,
        "meshes": [{ "primitives": [{ "attributes": { "POSITION": 0 }, "indices": 1 }] }],
        "accessors": [
            { "bufferView": 0, "componentType": 5126, "count": 8, "type": "VEC3" },
            { "bufferView": 1, "componentType": 5123, "count": 6 * count, "type": "SCALAR" },
        ],
        "bufferViews": [
            { "buffer": 0, "byteLength": corners },
            { "buffer": 0, "byteOffset": corners, "byteLength": binary.len() - corners },
        ],
        "buffers": [{ "byteLength": binary.len() }],
    });
    glb(&document, &binary)
}

fn shot(passes: &Value) -> Shot {
    let document = json!({
        "shot": "test",
        "cameras": [{ "name": "main", "at": [0, 1, 3], "toward": [0, 0, 0], "lens": "35 mm", "sensor": ["36 mm", "24 mm"], "frame": [160, 90] }],
        "passes": passes,
    });
    Shot::parse(&document.to_string(), Path::new("shot.json")).unwrap()
}

fn pass(name: &str, pieces: &Value) -> Value {
    json!({ "name": name, "pieces": pieces, "place": "strewn", "per_m2": 10,
        "sizes": { "law": "power", "exponent": 2, "from": "0.1 m", "to": "0.2 m" } })
}

/// A folder with a file of three boxes and a kit's list.
fn folder() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    let scans = folder.path().join("scans");
    fs::create_dir(&scans).unwrap();
    let three = boxes(&[
        ("flat", [0.1, 0.05, 0.3], [5.0, 2.0, 1.0]),
        ("a/b: Ünïcode\u{7}", [0.4, 0.4, 0.4], [0.0, 9.0, 0.0]),
        ("flat", [2.0, 1.0, 1.0], [0.0; 3]),
    ]);
    fs::write(scans.join("three.glb"), three).unwrap();
    let list = json!({ "format": "strew-kit", "version": 1, "pieces": [
        { "name": "slab", "file": "three.glb", "node": "flat", "up": "+x", "sizes": ["4 cm", "9 cm"], "share": 3 },
        { "name": "block", "file": "three.glb", "node": "flat-2", "scale": 0.01 },
    ] });
    fs::write(scans.join("kit.json"), list.to_string()).unwrap();
    folder
}

#[test]
fn each_root_node_is_a_piece_in_its_own_frame() {
    let folder = folder();
    let shot = shot(&json!([pass("a", &json!(["scans/three.glb"]))]));
    let library = Library::for_brief(
        &shot.brief().unwrap(),
        &Shelf::of(folder.path()),
        &Cancel::new(),
    )
    .unwrap();
    assert_eq!(library.warnings, [""; 0]);
    let names: Vec<&str> = library.pieces.iter().map(|p| p.name.as_str()).collect();
    assert_eq!(names, ["flat", "a_b__Ünïcode_", "flat-2"]);
    let flat = &library.pieces[0];
    assert_eq!(flat.source, "scans/three.glb");
    assert!((flat.measure.size - Vec3::new(0.3, 0.05, 0.1)).length() < 1e-6);
    assert!((flat.measure.b_axis - 0.1).abs() < 1e-6);
    assert!((flat.measure.elongation - 3.0).abs() < 1e-4);
    let positions = flat.parts.iter().flat_map(|p| &p.mesh.positions);
    let low = positions.copied().reduce(Vec3::min).unwrap();
    assert!(
        (low - Vec3::new(-0.15, 0.0, -0.05)).length() < 1e-6,
        "{low}"
    );
    let serving = &library.of_pass[0];
    assert_eq!(
        serving
            .iter()
            .map(|s| usize::from(s.piece))
            .collect::<Vec<_>>(),
        [0, 1, 2]
    );
    assert!(serving.iter().all(|s| (s.share - 1.0 / 3.0).abs() < 1e-12));
    let natural = serving[0].sizes.unwrap();
    for (found, factor) in natural.iter().zip(NATURAL_SIZES) {
        assert!((found - 0.1 * factor).abs() < 1e-6, "{natural:?}");
    }
}

#[test]
fn a_list_says_what_is_up_how_large_and_how_often() {
    let folder = folder();
    let shot = shot(&json!([
        pass("a", &json!(["pebble", "scans/kit.json"])),
        pass("b", &json!(["scans/kit.json"])),
    ]));
    let library = Library::for_brief(
        &shot.brief().unwrap(),
        &Shelf::of(folder.path()),
        &Cancel::new(),
    )
    .unwrap();
    assert_eq!(
        library.pieces.len(),
        38,
        "36 pebbles, each listed piece once"
    );
    let slab = &library.pieces[36];
    assert_eq!(
        (slab.name.as_str(), slab.source.as_str()),
        ("slab", "scans/three.glb")
    );
    // Its x edge stands up now.
    assert!(
        (slab.measure.size - Vec3::new(0.3, 0.1, 0.05)).length() < 1e-6,
        "{:?}",
        slab.measure
    );
    let block = &library.pieces[37];
    assert!((block.measure.size - Vec3::new(0.02, 0.01, 0.01)).length() < 1e-6);
    let [slab, block] = [library.of_pass[1][0], library.of_pass[1][1]];
    assert_eq!((slab.share, block.share), (0.75, 0.25));
    assert_eq!(slab.sizes, Some([0.04, 0.09]));
    // In a pass every name is as likely: the pebbles together as much as the list.
    let first = &library.of_pass[0];
    let pebbles: f64 = first[..36].iter().map(|s| s.share).sum();
    let listed: f64 = first[36..].iter().map(|s| s.share).sum();
    assert!((pebbles - 1.0).abs() < 1e-12 && (listed - 1.0).abs() < 1e-12);
    assert_eq!(first[0].sizes, None);
}

#[test]
fn what_is_not_there_is_told_with_its_place() {
    let folder = folder();
    let scans = folder.path().join("scans");
    let list = |piece: Value| {
        json!({ "format": "strew-kit", "version": 1, "pieces": [piece] }).to_string()
    };
    let node = json!({ "name": "x", "file": "three.glb", "node": "round" });
    fs::write(scans.join("node.json"), list(node)).unwrap();
    let file = json!({ "name": "x", "file": "four.glb" });
    fs::write(scans.join("file.json"), list(file)).unwrap();
    let form = json!({ "name": "x", "file": "three.glb", "colour": "red" });
    fs::write(scans.join("form.json"), list(form)).unwrap();
    let share = json!({ "name": "x", "file": "three.glb", "share": 0 });
    fs::write(scans.join("share.json"), list(share)).unwrap();
    let sizes = json!({ "name": "x", "file": "three.glb", "sizes": ["2 m", "1 m"] });
    fs::write(scans.join("sizes.json"), list(sizes)).unwrap();
    let none = json!({ "name": "x", "file": "stone.obj" });
    fs::write(scans.join("none.json"), list(none)).unwrap();
    fs::write(
        scans.join("other.json"),
        json!({ "format": "?", "version": 1, "pieces": [] }).to_string(),
    )
    .unwrap();
    fs::write(
        scans.join("edge.glb"),
        boxes(&[("edge", [1.0, 1.0, 0.0], [0.0; 3])]),
    )
    .unwrap();
    fs::write(scans.join("broken.glb"), b"glTF").unwrap();
    let cases = [
        ("scans/none.glb", "passes[0].pieces[0]", "there is no file"),
        ("scans", "passes[0].pieces[0]", "no kind of piece"),
        (
            "scans/node.json",
            "pieces[0].node",
            "no root node \"round\"",
        ),
        ("scans/file.json", "pieces[0].file", "there is no file"),
        ("scans/form.json", "pieces[0]", "colour"),
        ("scans/share.json", "pieces[0].share", "0"),
        ("scans/sizes.json", "pieces[0].sizes", "2 m to 1 m"),
        ("scans/none.json", "pieces[0].file", "no glTF file"),
        ("scans/other.json", "format", "\"?\""),
        ("scans/edge.glb", "", "0.0000 mm wide"),
        ("scans/broken.glb", "", "4 bytes"),
    ];
    for (name, place, problem) in cases {
        let mut brief = shot(&json!([pass("a", &json!(["pebble"]))]))
            .brief()
            .unwrap();
        let LayerKind::Pass(pass) = &mut brief.layers[0].kind else {
            panic!("the first layer is the pass");
        };
        pass.pieces = vec![name.to_owned()];
        let shelf = Shelf::of(folder.path());
        let error = Library::for_brief(&brief, &shelf, &Cancel::new()).unwrap_err();
        let fault = &error.faults[0];
        assert!(fault.place.starts_with(place), "{name}: {error}");
        assert!(
            fault.problem.contains(problem) && !fault.hint.is_empty(),
            "{name}: {error}"
        );
    }
}

/// How the pieces of passes lie: names of files have no say.
#[test]
fn a_piece_lies_as_it_is_said_or_as_its_mesh_looks() {
    use crate::shot::Lies::{Rigid, Rooted, Sheet};
    let folder = tempfile::tempdir().unwrap();
    let write = |name: &str, bytes: Vec<u8>| fs::write(folder.path().join(name), bytes).unwrap();
    let size = [0.06, 0.01, 0.04];
    write("leaf-1.glb", boxes(&[("stone", size, [0.0; 3])]));
    write("oak.glb", with_faces(1, &[("blade", size, [0.0; 3])]));
    let list = json!({ "format": "strew-kit", "version": 1, "pieces": [
        { "name": "sedge", "file": "oak.glb", "lies": "rooted" },
        { "name": "blade", "file": "oak.glb" },
    ] });
    write("kit.json", list.to_string().into_bytes());
    let mut told = pass("told", &json!(["oak.glb", "leaf"]));
    told["lies"] = json!("rigid");
    let passes = json!([
        pass("files", &json!(["leaf-1.glb", "oak.glb", "kit.json"])),
        told
    ]);
    let library = Library::for_brief(
        &shot(&passes).brief().unwrap(),
        &Shelf::of(folder.path()),
        &Cancel::new(),
    )
    .unwrap();
    let lies = |i: usize| -> Vec<_> {
        let servings = library.of_pass[i].iter();
        servings
            .map(|s| library.pieces[usize::from(s.piece)].lies)
            .collect()
    };
    assert_eq!(lies(0), [Rigid, Sheet, Rooted, Sheet]);
    // What a pass says is said of files, not of what grows
    assert_eq!(lies(1)[0], Rigid);
    assert!(lies(1)[1..].iter().all(|l| *l == Sheet));
    let notes: Vec<_> = library
        .warnings
        .iter()
        .filter(|w| w.contains("as a sheet"))
        .collect();
    assert_eq!(notes.len(), 2, "{notes:?}");
    assert!(
        notes[0].starts_with("oak.glb: `oak` lies as a sheet"),
        "{notes:?}"
    );
    assert!(
        notes[1].starts_with("kit.json: `blade` lies as a sheet"),
        "{notes:?}"
    );
}
