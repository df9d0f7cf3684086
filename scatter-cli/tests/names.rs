//! Names that would lead out of a folder, or that a file system may not take: whatever things are
//! called, files go into the output folder alone, under plain names.
//!
//! The names: the usual ways out of a folder, device names of one system, and Unicode's own odd
//! characters (The Unicode Consortium, "Unicode Standard", chapter 23: direction marks, joiners,
//! private use).

#[expect(dead_code, reason = "each test program uses a part of it")]
mod harness;

use harness::Dir;
use scatter_tests::bad_input::base;
use scatter_tests::{layouts, meshes};
use serde_json::{Value, json};

const ODD: [&str; 8] = [
    "../../../up",
    "/tmp/root",
    "..\\..\\up",
    "C:\\con",
    "NUL",
    "\u{202e}gnp.\u{2066}x",
    "a\u{0301}\u{1f4a5}\u{200d}\u{e000}",
    "..",
];

/// A glTF file of a block a piece, each called by an odd name, as its material and its texture are.
fn kit() -> Vec<u8> {
    let corners = meshes::block_corners([0.05; 3]);
    let indices = meshes::block_triangles().concat();
    let all = 0..ODD.len();
    let picture = |i: usize| layouts::picture([i as u8, 90, 60, 255]);
    // Corners, coordinates, indices, then the pictures
    let mut views = vec![
        json!({ "buffer": 0, "byteOffset": 0, "byteLength": 96 }),
        json!({ "buffer": 0, "byteOffset": 96, "byteLength": 64 }),
        json!({ "buffer": 0, "byteOffset": 160, "byteLength": 144 }),
    ];
    let mut end = 304;
    for i in all.clone() {
        let length = picture(i).len();
        views.push(json!({ "buffer": 0, "byteOffset": end, "byteLength": length }));
        end += length;
    }
    let gltf = json!({
        "asset": { "version": "2.0" },
        "scene": 0,
        "scenes": [{ "nodes": all.clone().collect::<Vec<_>>() }],
        "nodes": all.clone().map(|i| json!({ "mesh": i, "name": ODD[i] })).collect::<Vec<_>>(),
        "meshes": all.clone().map(|i| json!({ "name": ODD[i], "primitives":
            [{ "attributes": { "POSITION": 0, "TEXCOORD_0": 1 }, "indices": 2, "material": i }] })).collect::<Vec<_>>(),
        "materials": all.clone().map(|i| json!({ "name": ODD[i],
            "pbrMetallicRoughness": { "baseColorTexture": { "index": i } } })).collect::<Vec<_>>(),
        "textures": all.clone().map(|i| json!({ "source": i })).collect::<Vec<_>>(),
        "images": all.clone().map(|i| json!({ "name": ODD[i], "bufferView": 3 + i, "mimeType": "image/png" })).collect::<Vec<_>>(),
        "accessors": [
            { "bufferView": 0, "componentType": 5126, "count": 8, "type": "VEC3", "min": [0, 0, 0], "max": [0.05, 0.05, 0.05] },
            { "bufferView": 1, "componentType": 5126, "count": 8, "type": "VEC2" },
            { "bufferView": 2, "componentType": 5125, "count": 36, "type": "SCALAR" }
        ],
        "bufferViews": views,
        "buffers": [{ "byteLength": end }]
    });
    let coordinates = corners.iter().flat_map(|c| [20.0 * c[0], 20.0 * c[2]]);
    let binary = corners.concat().into_iter().chain(coordinates);
    let binary = binary.flat_map(f32::to_le_bytes);
    let indices = indices.into_iter().flat_map(u32::to_le_bytes);
    let pictures = all.flat_map(picture);
    meshes::glb(
        &gltf,
        &binary.chain(indices).chain(pictures).collect::<Vec<u8>>(),
    )
}

#[test]
fn files_go_into_the_output_folder_alone_under_plain_names() {
    for odd in ODD {
        let dir = Dir::new();
        let mut shot = base();
        shot["shot"] = json!(odd);
        shot["cameras"][0]["name"] = json!(odd);
        shot["keep"] = json!([{ "name": odd, "take": 3 }]);
        shot["passes"][0]["pieces"] = json!(["kit.glb"]);
        shot["passes"][0]["stretch"] = json!(true);
        shot["deliver"] =
            json!({ "as": ["glb", "glb-nodes", "usda", "json", "csv"], "split": "passes" });
        dir.write("deep/down/kit.glb", kit());
        dir.write("deep/down/shot.json", shot.to_string());
        let before = dir.contents();
        let run = dir.run(&["dress", "deep/down"]);
        assert_eq!(run.status, Some(0), "{odd:?}: {run}");
        for args in [
            &["plan", "deep/down"][..],
            &[
                "look",
                "deep/down",
                "--camera",
                odd,
                "--width",
                "32",
                "--samples",
                "1",
            ],
            &[
                "kit",
                "deep/down",
                "--out",
                "deep/down/out",
                "--width",
                "16",
            ],
        ] {
            let run = dir.run(args);
            assert_eq!(run.status, Some(0), "{odd:?}: {run}");
        }
        let out = dir.path().join("deep/down/out");
        let mut pictures = 0;
        for (path, bytes) in dir.contents() {
            if before.contains_key(&path) {
                assert_eq!(before[&path], bytes, "{odd:?}: {} changed", path.display());
                continue;
            }
            assert!(path.starts_with(&out), "{odd:?}: {}", path.display());
            let name = path.strip_prefix(&out).expect("in the folder");
            let plain = |c: char| c.is_ascii_alphanumeric() || "-_./".contains(c);
            let text = name.to_str().expect("ASCII");
            assert!(text.chars().all(plain) && !text.contains(".."), "{text}");
            pictures += usize::from(name.starts_with("textures") && bytes.is_some());
        }
        assert_eq!(pictures, ODD.len(), "a picture a piece");
        // The names themselves are there to be read, as they were
        let text = std::fs::read(out.join("layout.stones.json")).expect("a layout");
        let layout: Value = serde_json::from_slice(&text).expect("JSON");
        assert_eq!(layout["shot"], odd);
        assert_eq!(layout["cameras"][0]["name"], odd);
    }
}

#[test]
fn names_of_passes_are_plain() {
    for odd in ODD {
        let dir = Dir::new();
        let mut shot = base();
        shot["passes"][1]["name"] = json!(odd);
        dir.write("shot.json", shot.to_string());
        dir.run(&["dress", "shot.json"])
            .status(2)
            .stderr_has("passes[1].name")
            .stderr_has("a-z, 0-9");
        assert!(!dir.path().join("out").exists());
    }
}
