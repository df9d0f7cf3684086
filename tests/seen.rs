//! When a moving camera sees each piece first and last: the report against every frame asked one by
//! one.
//!
//! The frustum is drawn here anew, by planes through the corners of the frame; no outside source.

#![allow(
    clippy::print_stdout,
    reason = "the figures, for who asks with --nocapture"
)]
#![allow(clippy::unwrap_used, reason = "a check that cannot go on has failed")]

use std::collections::HashMap;
use std::path::Path;

use glam::{DVec3, Quat};
use scatter::deliver::{DeliverOptions, Format, write};
use scatter::layout::{Instance, Layout};
use scatter::optics::Camera;
use scatter::shot::Shot;
use scatter_tests::dresser::Dresser;
use scatter_tests::layouts;
use serde_json::{Value, json};

/// Finest footprint of the shot, pixels.
const FINEST: f64 = 3.0;
/// Numbers of the first and the last frame.
const FRAMES: [i64; 2] = [1001, 1040];

fn shot() -> Shot {
    let value = json!({
        "shot": "seen",
        "cameras": [
            { "name": "pan", "lens": "50 mm", "frame": [480, 270], "far": "3 m", "keys": [
                { "at_frame": FRAMES[0], "at": [0, 0.35, 0.9], "toward": [0, 0, 0] },
                { "at_frame": 1015, "at": [1.5, 0.4, 0.7], "toward": [1.2, 0, -0.5] },
                { "at_frame": FRAMES[1], "at": [1.5, 0.3, -0.6], "toward": [3, 0, -0.6] } ] },
            { "name": "stands", "at": [-2, 0.5, 1], "toward": [-2, 0, 0], "lens": "35 mm", "frame": [480, 270], "far": "3 m" }
        ],
        "ground": { "relief": { "height": "25 mm", "feature": "0.7 m" } },
        "light": { "sun": { "azimuth": "140 deg", "elevation": "24 deg" } },
        "resolve": { "pixels": FINEST },
        "passes": [
            { "name": "stones", "pieces": ["cobble"], "place": "spaced", "cover": 0.2,
              "sizes": { "law": "power", "exponent": 2.2, "from": "12 mm", "to": "90 mm" } },
            { "name": "leaves", "pieces": ["leaf"], "place": "strewn", "per_m2": 150,
              "sizes": { "law": "lognormal", "median": "30 mm", "spread": 0.25 } }
        ]
    });
    Shot::parse(&value.to_string(), Path::new("shot.json")).unwrap_or_else(|e| panic!("{e}"))
}

/// Middle and radius of the sphere about an instance's bounds.
fn sphere(layout: &Layout, i: &Instance) -> (DVec3, f64) {
    let vertices = || {
        let parts = layout.pieces[usize::from(i.piece)].parts.iter();
        parts.flat_map(|p| &p.mesh.positions).map(|v| v.as_dvec3())
    };
    let low = vertices().fold(DVec3::INFINITY, DVec3::min);
    let high = vertices().fold(DVec3::NEG_INFINITY, DVec3::max);
    let centre = 0.5 * (low + high);
    let radius = vertices().map(|v| v.distance(centre)).fold(0.0, f64::max);
    let (rotation, scale) = (Quat::from_array(i.rotation).as_dquat(), f64::from(i.scale));
    (i.position + rotation * (centre * scale), radius * scale)
}

/// By how much a camera sees a sphere of a diameter over the height `low`, metres: above zero if it
/// does, and near zero if that is a matter of rounding.
fn sees(camera: &Camera, low: f64, (middle, radius): (DVec3, f64), diameter: f64) -> f64 {
    let tall = (0.5 * camera.yfov).tan();
    let wide = tall * f64::from(camera.frame[0]) / f64::from(camera.frame[1]);
    let ray = |x: f64, y: f64| camera.rotation * DVec3::new(x * wide, y * tall, -1.0);
    let corners = [
        ray(-1.0, -1.0),
        ray(1.0, -1.0),
        ray(1.0, 1.0),
        ray(-1.0, 1.0),
    ];
    let to = middle - camera.position;
    let depth = to.dot(camera.rotation * DVec3::NEG_Z);
    let mut least = (depth - camera.near).min(camera.far - depth) + radius;
    for k in 0..4 {
        // Counter-clockwise from behind the camera: the cross product looks inward
        let inward = corners[k].cross(corners[(k + 1) % 4]).normalize();
        let inward = inward * inward.dot(camera.rotation * DVec3::NEG_Z).signum();
        least = least.min(to.dot(inward) + radius);
        // A side that leans outwards ends where it meets the lowest ground: an upright plane stands
        // there
        let level = DVec3::new(inward.x, 0.0, inward.z);
        if inward.y < 0.0 && level.length() > 1e-6 {
            let down = low - camera.position.y;
            let out = -inward.y * down / level.length();
            least = least.min(to.dot(level.normalize()) - out + radius);
        }
    }
    least = least.min(middle.y - low + radius);
    let pixels = diameter / depth.max(camera.near) * 0.5 * f64::from(camera.frame[1]) / tall;
    least.min((pixels / FINEST - 1.0) * diameter)
}

#[test]
fn the_report_says_when_each_piece_is_seen() {
    let shot = shot();
    let dresser = Dresser::new(&shot, Path::new(".")).unwrap_or_else(|e| panic!("{e}"));
    let layout = dresser.dress(1).unwrap_or_else(|e| panic!("{e}")).layout;
    let folder = tempfile::tempdir().unwrap();
    let options = DeliverOptions {
        seen: Some(dresser.prepared().first_last_seen(&layout)),
        ..DeliverOptions::new(folder.path(), &[Format::Csv])
    };
    write(&layout, &options).unwrap_or_else(|e| panic!("{e}"));
    let report = std::fs::read_to_string(folder.path().join("report.json")).unwrap();
    let report: Value = serde_json::from_str(&report).unwrap();
    let told: HashMap<(u64, u64), [i64; 2]> = report["seen"]
        .as_array()
        .unwrap()
        .iter()
        .map(|line| {
            let id = u64::from_str_radix(line["id"].as_str().unwrap(), 16).unwrap();
            let frames = ["first", "last"].map(|k| line[k].as_i64().unwrap());
            ((line["pass"].as_u64().unwrap(), id), frames)
        })
        .collect();

    let low = dresser.ground().slab()[0];
    let track = shot.cameras[0].track();
    assert_eq!(track.frames.len(), 40);
    /// Distances below this are a matter of rounding, metres: a rotation in single precision moves
    /// a middle by less.
    const ROUNDING: f64 = 1e-7;
    let (mut sure, mut never, mut starts) = (0, 0, HashMap::new());
    for i in &layout.instances {
        let sphere = sphere(&layout, i);
        let by: Vec<f64> = track
            .frames
            .iter()
            .map(|frame| sees(frame, low, sphere, f64::from(i.diameter)))
            .collect();
        if by.iter().any(|b| b.abs() < ROUNDING) {
            continue;
        }
        sure += 1;
        let first = by.iter().position(|b| *b > 0.0);
        let last = by.iter().rposition(|b| *b > 0.0);
        let frames = first
            .zip(last)
            .map(|(a, b)| [a, b].map(|k| FRAMES[0] + k as i64));
        assert_eq!(
            told.get(&(u64::from(u16::from(i.pass)), i.id)).copied(),
            frames,
            "{i:?}"
        );
        match frames {
            Some([first, _]) => *starts.entry(first).or_insert(0) += 1,
            None => never += 1,
        }
    }
    println!(
        "{} pieces, {sure} beyond doubt, {never} never seen by the moving camera, first seen in {} different frames",
        layout.instances.len(),
        starts.len()
    );
    assert!(sure > layout.instances.len() * 99 / 100);
    // The standing camera sees some that the moving one does not; and pieces come in all along the
    // way
    assert!(never > 100 && starts.len() > 30, "{never} {}", starts.len());
}

#[test]
fn a_report_that_was_not_asked_says_nothing_of_it() {
    let folder = tempfile::tempdir().unwrap();
    let options = DeliverOptions::new(folder.path(), &[Format::Csv]);
    let layout = layouts::layout(10, DVec3::ZERO);
    write(&layout, &options).unwrap_or_else(|e| panic!("{e}"));
    let report = std::fs::read_to_string(folder.path().join("report.json")).unwrap();
    let report: Value = serde_json::from_str(&report).unwrap();
    assert!(report.get("seen").is_none() && report.get("totals").is_some());
}
