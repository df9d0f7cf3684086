//! Cameras from files and over many frames.
//!
//! Interpolations: Khronos Group, "glTF 2.0 Specification", 2021, appendix C.

#![allow(
    clippy::print_stdout,
    reason = "the figures, for who asks with --nocapture"
)]
#![allow(clippy::unwrap_used, reason = "a check that cannot go on has failed")]

use std::collections::{HashMap, HashSet};
use std::path::Path;

use glam::{DQuat, DVec3};
use scatter::brief::{self, LayerIndex};
use scatter::layout::Layout;
use scatter::optics::{Camera, Track};
use scatter::random::{Stream, stream};
use scatter::shot::{Camera as ShotCamera, Resolve, Shot};
use scatter::view::{Body, Crest, OctaveReach, View, toward_sun, tracks};
use scatter_tests::dresser::Dresser;
use scatter_tests::meshes;
use serde_json::{Value, json};

fn shot_cameras(value: Value) -> Vec<ShotCamera> {
    serde_json::from_value(value).unwrap()
}

fn brief_cameras(value: Value) -> Vec<brief::Camera> {
    shot_cameras(value).iter().map(Into::into).collect()
}

/// A file with a camera as an exporter would write it: the large part of its place in a root node.
fn exported(camera: &Camera, animations: &Value, accessors: &Value, binary: &[u8]) -> Vec<u8> {
    let root = camera.position.round();
    let local = camera.position - root;
    let [x, y, z, w] = camera.rotation.to_array();
    let views: Vec<Value> = accessors
        .as_array()
        .unwrap()
        .iter()
        .scan(0, |offset, a| {
            let parts = match a["type"].as_str().unwrap() {
                "SCALAR" => 1,
                "VEC3" => 3,
                _ => 4,
            };
            let length = 4 * parts * a["count"].as_u64().unwrap();
            let view = json!({ "buffer": 0, "byteOffset": *offset, "byteLength": length });
            *offset += length;
            Some(view)
        })
        .collect();
    let document = json!({
        "asset": { "version": "2.0" }, "scene": 0, "scenes": [{ "nodes": [0] }],
        // What a layout's own file requires says nothing of cameras
        "extensionsRequired": ["EXT_mesh_gpu_instancing"], "extensionsUsed": ["EXT_mesh_gpu_instancing"],
        "nodes": [
            { "name": "root", "translation": root.to_array(), "children": [1, 2] },
            { "name": "close", "translation": local.to_array(), "rotation": [x, y, z, w], "scale": [3, 3, 3], "camera": 0 },
            { "name": "other", "camera": 0 }
        ],
        "cameras": [{ "type": "perspective", "name": "lens",
            "perspective": { "yfov": camera.yfov, "aspectRatio": camera.aspect(), "znear": camera.near, "zfar": camera.far } }],
        "animations": animations, "accessors": accessors, "bufferViews": views, "buffers": [{ "byteLength": binary.len() }]
    });
    meshes::glb(&document, binary)
}

/// The camera `close` of a file, read back.
fn read_back(file: &[u8], more: Value) -> Track {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("shotcam.glb"), file).unwrap();
    let mut camera = json!({ "name": "again", "file": "shotcam.glb", "camera": "close", "frame": [1920, 1080], "focus": "0.95 m", "stop": 4 });
    camera
        .as_object_mut()
        .unwrap()
        .extend(more.as_object().unwrap().clone());
    tracks(&brief_cameras(json!([camera])), folder.path())
        .unwrap_or_else(|e| panic!("{e}"))
        .0
        .remove(0)
}

#[test]
fn a_camera_written_and_read_back_sees_the_same_frame() {
    let mut worst = 0.0_f64;
    for at in [[0.1, 0.32, 0.95], [99_876.123_456, 812.34, -120_123.987]] {
        let toward = [at[0] + 0.13, at[1] - 0.3, at[2] - 0.9];
        let shot = shot_cameras(
            json!([{ "name": "close", "at": at, "toward": toward, "roll": "7 deg", "lens": "50 mm",
            "frame": [1920, 1080], "near": "50 mm", "far": "40 m" }]),
        );
        let camera = shot[0].optics();
        let track = read_back(
            &exported(&camera, &json!([]), &json!([]), &[0; 4]),
            json!({}),
        );
        assert_eq!(track.frames.len(), 1);
        let again = &track.frames[0];
        assert_eq!((again.near, again.far, again.stop), (0.05, 40.0, Some(4.0)));
        assert!(
            (again.focal_length - 0.05).abs() < 1e-9,
            "the default sensor"
        );
        let mut s = stream(2);
        for _ in 0..1000 {
            let depth = s.between(0.1, 40.0);
            let local = DVec3::new(
                s.between(-0.36, 0.36) * depth,
                s.between(-0.2, 0.2) * depth,
                -depth,
            );
            let p = camera.position + camera.rotation * local;
            let (a, b) = (camera.project(p).unwrap(), again.project(p).unwrap());
            worst = worst.max(
                (a.pixel[0] - b.pixel[0])
                    .abs()
                    .max((a.pixel[1] - b.pixel[1]).abs()),
            );
        }
    }
    println!("the same places within {worst:.2e} pixels");
    assert!(worst < 0.01, "{worst}");
}

#[test]
fn animations_go_as_the_specification_says() {
    let still = shot_cameras(json!([{ "name": "close", "at": [0, 1, 2], "rotation": [0, 0, 0, 1], "lens": "50 mm", "frame": [1920, 1080], "far": "40 m" }]))[0].optics();
    let quarter = std::f32::consts::FRAC_1_SQRT_2;
    let numbers: Vec<f32> = [
        &[1.0_f32, 2.0, 4.0][..],                          // times
        &[0.0, 0.0, 0.0, 4.0, 0.0, 0.0, 4.0, 8.0, 0.0],    // translations
        &[1.0, 3.0],                                       // times of the turn
        &[0.0, 0.0, 0.0, 1.0, 0.0, quarter, 0.0, quarter], // a quarter turn about y
        &[0.0, 2.0],                                       // times of the cubic
        &[0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 3.0, 0.0, 0.0],    // key 0: in, value, out
        &[0.0, 0.0, 0.0, 10.0, 0.0, 0.0, 0.0, 0.0, 0.0],   // key 1
    ]
    .concat();
    let binary: Vec<u8> = numbers.iter().flat_map(|v| v.to_le_bytes()).collect();
    let accessor = |view: u32, count: u32, kind: &str| json!({ "bufferView": view, "componentType": 5126, "count": count, "type": kind });
    let accessors = json!([
        accessor(0, 3, "SCALAR"),
        accessor(1, 3, "VEC3"),
        accessor(2, 2, "SCALAR"),
        accessor(3, 2, "VEC4"),
        accessor(4, 2, "SCALAR"),
        accessor(5, 6, "VEC3")
    ]);
    let clip = |name: &str, samplers: Value, channels: Value| json!({ "name": name, "samplers": samplers, "channels": channels });
    let channel = |sampler: u32, node: u32, path: &str| json!({ "sampler": sampler, "target": { "node": node, "path": path } });
    let animations = json!([
        clip(
            "pan",
            json!([{ "input": 0, "output": 1 }, { "input": 2, "output": 3 }]),
            json!([channel(0, 1, "translation"), channel(1, 1, "rotation")])
        ),
        clip(
            "jump",
            json!([{ "input": 0, "output": 1, "interpolation": "STEP" }]),
            json!([channel(0, 1, "translation")])
        ),
        // The node that carries the camera moves
        clip(
            "dolly",
            json!([{ "input": 4, "output": 5, "interpolation": "CUBICSPLINE" }]),
            json!([channel(0, 0, "translation")])
        ),
    ]);
    let mut at_zero = still.clone();
    at_zero.position = DVec3::ZERO;
    let file = exported(&at_zero, &animations, &accessors, &binary);
    let near =
        |a: DVec3, b: [f64; 3]| assert!(a.distance(DVec3::from_array(b)) < 1e-6, "{a} {b:?}");
    // Linear, from 1 s to 4 s at 2 frames a second: frames 1 to 7
    let pan = read_back(&file, json!({ "animation": "pan", "fps": 2 }));
    assert_eq!((pan.first, pan.frames.len()), (1, 7));
    near(pan.frames[0].position, [0.0, 0.0, 0.0]);
    near(pan.frames[1].position, [2.0, 0.0, 0.0]);
    near(pan.frames[3].position, [4.0, 2.0, 0.0]);
    near(pan.frames[6].position, [4.0, 8.0, 0.0]);
    // Half of a quarter turn about +y after one of two seconds: -z goes toward -x
    let half = std::f64::consts::FRAC_1_SQRT_2;
    near(pan.frames[2].rotation * DVec3::NEG_Z, [-half, 0.0, -half]);
    near(pan.frames[6].rotation * DVec3::NEG_Z, [-1.0, 0.0, 0.0]);
    let jump = read_back(
        &file,
        json!({ "animation": "jump", "fps": 2, "frames": [101, 104] }),
    );
    assert_eq!((jump.first, jump.frames.len()), (101, 4));
    near(jump.frames[1].position, [0.0, 0.0, 0.0]);
    near(jump.frames[3].position, [4.0, 0.0, 0.0]);
    // Hermite from 0 to 10 in 2 s, leaving at 3 a second: at t = 1/4, (t^3 - 2t^2 + t) 2 x 3 +
    // (3t^2 - 2t^3) 10 = 2.40625
    let dolly = read_back(&file, json!({ "animation": "dolly", "fps": 2 }));
    near(dolly.frames[1].position, [2.406_25, 0.0, 0.0]);
    near(dolly.frames[4].position, [10.0, 0.0, 0.0]);
}

#[test]
fn keys_are_met_and_the_way_between_is_smooth() {
    let moving = shot_cameras(json!([{ "name": "pan", "lens": "50 mm", "frame": [1920, 1080], "focus": "1 m", "stop": 4, "keys": [
        { "at_frame": 10, "at": [0, 1, 1], "toward": [0, 0, 0], "lens": "50 mm", "focus": "1 m" },
        { "at_frame": 20, "at": [1, 1, 1], "toward": [0, 0, 0], "lens": "70 mm", "focus": "2 m" },
        { "at_frame": 40, "at": [1, 2, 1], "toward": [1, 0, 0], "lens": "70 mm", "focus": "2 m" }
    ] }]))
    .remove(0);
    let track = moving.track();
    assert_eq!((track.first, track.frames.len()), (10, 31));
    for (frame, at) in [
        (10, [0.0, 1.0, 1.0]),
        (20, [1.0, 1.0, 1.0]),
        (40, [1.0, 2.0, 1.0]),
    ] {
        let c = &track.frames[frame - 10];
        assert!(
            c.position.distance(DVec3::from_array(at)) < 1e-12,
            "{frame}"
        );
    }
    assert!((track.frames[5].focal_length - 0.06).abs() < 1e-12);
    assert_eq!(track.frames[5].focus, Some(1.5));
    let steps: Vec<DVec3> = track
        .frames
        .windows(2)
        .map(|c| c[1].position - c[0].position)
        .collect();
    let jerk = steps
        .windows(2)
        .map(|s| s[1].distance(s[0]))
        .fold(0.0, f64::max);
    // Straight from key to key the corner at frame 20 alone would be 0.11 m a frame
    assert!(jerk < 0.04, "{jerk}");
}

/// Stones and leaves on relief, for a list of cameras.
fn dressed(cameras: &Value) -> Layout {
    let value = json!({
        "shot": "moves", "cameras": cameras,
        "ground": { "relief": { "height": "25 mm", "feature": "0.7 m" } },
        "light": { "sun": { "azimuth": "140 deg", "elevation": "24 deg" } },
        "passes": [
            { "name": "stones", "pieces": ["cobble"], "place": "spaced", "cover": 0.2,
              "sizes": { "law": "power", "exponent": 2.2, "from": "20 mm", "to": "90 mm" } },
            { "name": "leaves", "pieces": ["leaf"], "place": "strewn", "per_m2": 100,
              "sizes": { "law": "lognormal", "median": "30 mm", "spread": 0.25 } }
        ]
    });
    let shot =
        Shot::parse(&value.to_string(), Path::new("shot.json")).unwrap_or_else(|e| panic!("{e}"));
    let dresser = Dresser::new(&shot, Path::new(".")).unwrap_or_else(|e| panic!("{e}"));
    dresser.dress(1).unwrap_or_else(|e| panic!("{e}")).layout
}

fn pieces(layout: &Layout) -> HashMap<(LayerIndex, u64), [u64; 4]> {
    let bits = |i: &scatter::layout::Instance| {
        let [x, y, z] = i.position.to_array().map(f64::to_bits);
        [x, y, z, u64::from(i.scale.to_bits())]
    };
    layout
        .instances
        .iter()
        .map(|i| ((i.pass, i.id), bits(i)))
        .collect()
}

#[test]
fn a_moving_camera_gets_the_union_of_its_frames() {
    let lens = json!({ "lens": "50 mm", "frame": [320, 180], "far": "6 m" });
    let with = |more: Value| {
        let mut camera = lens.clone();
        camera
            .as_object_mut()
            .unwrap()
            .extend(more.as_object().unwrap().clone());
        camera
    };
    let moving = with(json!({ "name": "pan", "keys": [
        { "at_frame": 1, "at": [0, 0.35, 0.9], "toward": [0, 0, 0] },
        { "at_frame": 5, "at": [1.5, 0.4, 0.7], "toward": [1.2, 0, -0.5] },
        { "at_frame": 12, "at": [1.5, 0.3, -0.6], "toward": [3, 0, -0.6] }
    ] }));
    let together = pieces(&dressed(&json!([moving])));
    let track = shot_cameras(json!([moving]))[0].track();
    let mut union = HashMap::new();
    for frame in &track.frames {
        let still = with(
            json!({ "name": "one", "at": frame.position.to_array(), "rotation": frame.rotation.to_array() }),
        );
        union.extend(pieces(&dressed(&json!([still]))));
    }
    let missing: HashSet<_> = union
        .keys()
        .filter(|k| !together.contains_key(*k))
        .collect();
    let extra = together.keys().filter(|k| !union.contains_key(*k)).count();
    println!(
        "{} pieces in {} frames, {} missing, {extra} extra",
        together.len(),
        track.frames.len(),
        missing.len()
    );
    assert!(together.len() > 2000, "{}", together.len());
    // A rotation written out and read is the same to one part in 1e16: a piece at the very limit
    // may fall either way
    assert!(
        missing.len() + extra <= together.len() / 10_000,
        "{missing:?} {extra}"
    );
    for (key, bits) in &together {
        assert!(union.get(key).is_none_or(|b| b == bits), "{key:?} differs");
    }
}

/// A camera that wanders and turns, as wild as no operator would.
fn wandering(s: &mut Stream, frames: usize) -> Track {
    let mut at = DVec3::new(s.between(-1.0, 1.0), 0.5, s.between(-1.0, 1.0));
    let mut heading = s.between(0.0, 6.0);
    let speed = s.between(0.0, 0.1);
    let turn = s.between(-0.1, 0.1);
    let angle = s.between(0.2, 1.5);
    let cameras = (0..frames).map(|_| {
        heading += turn;
        at += DVec3::new(libm::sin(heading), 0.0, -libm::cos(heading)) * speed;
        at.y = 0.5 + 0.2 * libm::sin(3.0 * heading);
        let rotation = DQuat::from_rotation_y(-heading)
            * DQuat::from_rotation_x(-0.5 - 0.2 * libm::sin(heading));
        Camera {
            name: "wild".into(),
            position: at,
            rotation,
            yfov: angle,
            frame: [640, 360],
            near: 0.05,
            far: 8.0,
            focal_length: 0.05,
            focus: None,
            stop: None,
        }
    });
    Track {
        name: "wild".into(),
        first: 7,
        frames: cameras.collect(),
    }
}

#[test]
fn asked_by_halves_is_as_asked_one_by_one() {
    let ground = scatter::ground::Ground::level();
    let sun = toward_sun(1.0, 0.4);
    let mut s = stream(21);
    let (mut seen, mut asked) = (0, 0);
    for frames in [1, 2, 5, 33, 240] {
        for _ in 0..6 {
            let track = wandering(&mut s, frames);
            let whole = View::of(
                std::slice::from_ref(&track),
                Resolve::default(),
                sun,
                ground.floor(),
            );
            let each: Vec<View> = track
                .frames
                .iter()
                .map(|c| {
                    View::new(
                        std::slice::from_ref(c),
                        Resolve::default(),
                        sun,
                        ground.floor(),
                    )
                })
                .collect();
            for _ in 0..200 {
                let about = track.frames[asked % frames].position;
                let radius = libm::exp(s.between(-7.0, -0.5));
                let body = Body {
                    middle: DVec3::new(
                        about.x + s.between(-9.0, 9.0),
                        radius * s.between(0.0, 1.0),
                        about.z + s.between(-9.0, 9.0),
                    ),
                    radius,
                    diameter: radius * s.between(0.4, 1.6),
                };
                let crest = Crest {
                    top: body.middle.y + radius * s.between(0.1, 1.0),
                    tall: radius * s.between(0.5, 3.0),
                };
                let expected = each
                    .iter()
                    .filter_map(|v| v.reason(&body, crest, &ground))
                    .reduce(|a, b| {
                        if a == scatter::view::Reason::Seen {
                            a
                        } else {
                            b
                        }
                    });
                assert_eq!(whole.reason(&body, crest, &ground), expected, "{body:?}");
                let sees =
                    |v: &View| v.reason(&body, crest, &ground) == Some(scatter::view::Reason::Seen);
                let first = each.iter().position(sees).map(|i| 7 + i as i64);
                let last = each.iter().rposition(sees).map(|i| 7 + i as i64);
                let span = first.zip(last).filter(|_| frames > 1);
                assert_eq!(whole.first_last_seen(&body), span.map(|(a, b)| [a, b]));
                seen += usize::from(first.is_some());
                asked += 1;
            }
        }
    }
    println!("{seen} of {asked} bodies seen");
    assert!(seen > 500 && seen < asked - 500);
}

#[test]
fn what_is_needed_lies_in_the_regions_on_every_ground() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("quarry.glb"), meshes::quarry()).unwrap();
    let read = |json: Value| {
        let ground: scatter::shot::Ground = serde_json::from_value(json).unwrap();
        let shelf = scatter::kit::Shelf::of(folder.path());
        scatter::ground::Ground::read(&(&ground).into(), &shelf).unwrap()
    };
    let grounds = [
        read(json!({ "relief": { "height": "0.3 m", "feature": "2 m", "tilt": "15 deg" } })),
        read(json!({ "mesh": { "file": "quarry.glb" } })),
    ];
    let sun = toward_sun(2.0, 0.5);
    let mut s = stream(33);
    let mut needed = 0;
    for ground in &grounds {
        for _ in 0..12 {
            let track = wandering(&mut s, 40);
            let view = View::of(&[track], Resolve::default(), sun, ground.floor());
            let reach = OctaveReach {
                diameter: 0.05,
                round: 0.12,
                lift: 0.0,
                tall: 0.1,
            };
            let regions = view.regions(reach, ground);
            for _ in 0..2000 {
                let (x, z) = (s.between(-4.0, 4.0), s.between(-4.0, 4.0));
                let Some((height, _)) = ground.on(x, z) else {
                    continue;
                };
                let size = s.between(0.3, 1.0);
                let lean = DVec3::new(
                    s.between(-0.03, 0.03),
                    s.between(0.0, 0.04),
                    s.between(-0.03, 0.03),
                ) * size;
                let body = Body {
                    middle: DVec3::new(x, height, z) + lean,
                    radius: 0.5 * reach.round * size,
                    diameter: reach.diameter * size,
                };
                let crest = Crest {
                    top: body.middle.y + body.radius,
                    tall: reach.tall * size,
                };
                if view.reason(&body, crest, ground).is_some() {
                    needed += 1;
                    assert!(
                        regions.iter().any(|r| r.touches([x, z, x, z])),
                        "{body:?} at {x} {z}"
                    );
                }
            }
        }
    }
    println!("{needed} bodies needed, all in the regions");
    assert!(needed > 2000, "{needed}");
}
