//! Cameras: lenses that exist, frames that can be rendered, a line of sight.

use super::faults::Faults;
use crate::shot::bounds::{
    DEPTH_M, FPS, FRAME, KEYS, LENS_M, MAX_FRAMES, MAX_VERTICAL_DEG, NAME, STOP, UNIT_TOLERANCE,
};
use crate::shot::camera::{Camera, CameraKey, default_near, place};
use crate::units::{Angle, Length};

/// Largest sensor side, metres: beyond any plate camera.
const MAX_SENSOR_M: f64 = 1.0;

pub(super) fn check(cameras: &[Camera], faults: &mut Faults) {
    for (i, camera) in cameras.iter().enumerate() {
        let at = format!("cameras[{i}]");
        faults.name(&format!("{at}.name"), &camera.name, NAME);
        if cameras[..i].iter().any(|c| c.name == camera.name) {
            faults.add(
                format!("{at}.name"),
                format!("another camera is called {:?}", camera.name),
                "give each camera its own name",
            );
        }
        aim(camera, &at, faults);
        lens(camera, &at, faults);
        frame(camera, &at, faults);
        depths(camera, &at, faults);
    }
}

fn aim(camera: &Camera, at: &str, faults: &mut Faults) {
    match (&camera.file, &camera.keys) {
        (Some(file), None) => filmed(camera, file, at, faults),
        (None, Some(keys)) => keyed(camera, keys, at, faults),
        (Some(_), Some(_)) => faults.add(
            at,
            "has both `file` and `keys`",
            "leave out one of `file` and `keys`",
        ),
        (None, None) => {
            match camera.at {
                Some(place) => {
                    let aims = (camera.toward, camera.rotation, camera.roll);
                    pose(place, aims, at, faults);
                }
                None => faults.add(
                    at,
                    "the camera has no place",
                    "give `at`, or `keys` or a `file` for one that moves",
                ),
            }
            only_with(at, "keys", ("between", camera.between.is_some()), faults);
            for key in file_keys(camera) {
                only_with(at, "file", key, faults);
            }
        }
    }
}

/// The keys that say how a file is read.
fn file_keys(camera: &Camera) -> [(&'static str, bool); 4] {
    [
        ("camera", camera.camera.is_some()),
        ("animation", camera.animation.is_some()),
        ("frames", camera.frames.is_some()),
        ("fps", camera.fps.is_some()),
    ]
}

/// The keys of a camera that stands.
fn still_keys(camera: &Camera) -> [(&'static str, bool); 4] {
    [
        ("at", camera.at.is_some()),
        ("toward", camera.toward.is_some()),
        ("rotation", camera.rotation.is_some()),
        ("roll", camera.roll.is_some()),
    ]
}

fn only_with(at: &str, owner: &str, (key, given): (&str, bool), faults: &mut Faults) {
    if given {
        faults.add(
            format!("{at}.{key}"),
            format!("`{key}` is given without `{owner}`"),
            format!("leave `{key}` out, or give `{owner}`"),
        );
    }
}

fn not_with(at: &str, owner: &str, (key, given): (&str, bool), faults: &mut Faults) {
    if given {
        faults.add(
            format!("{at}.{key}"),
            format!("`{key}` is given beside `{owner}`, which says it already"),
            format!("leave out one of `{key}` and `{owner}`"),
        );
    }
}

fn filmed(camera: &Camera, file: &str, at: &str, faults: &mut Faults) {
    faults.file(&format!("{at}.file"), file, "a .glb or .gltf file");
    let lens = [
        ("lens", camera.lens.is_some()),
        ("vertical_angle", camera.vertical_angle.is_some()),
    ];
    for key in still_keys(camera).into_iter().chain(lens) {
        not_with(at, "file", key, faults);
    }
    only_with(at, "keys", ("between", camera.between.is_some()), faults);
    if let Some([first, last]) = camera.frames {
        count(first, last, &format!("{at}.frames"), faults);
    }
    if let Some(fps) = camera.fps {
        faults.above(format!("{at}.fps"), fps, FPS, "24 is film's");
    }
}

/// Frames from `first` to `last`.
fn count(first: i32, last: i32, place: &str, faults: &mut Faults) {
    if last < first || i64::from(last) - i64::from(first) >= MAX_FRAMES {
        faults.add(
            place,
            format!("from {first} to {last}"),
            format!("the last frame no earlier than the first, at most {MAX_FRAMES} frames"),
        );
    }
}

fn keyed(camera: &Camera, keys: &[CameraKey], at: &str, faults: &mut Faults) {
    for key in still_keys(camera) {
        not_with(at, "keys", key, faults);
    }
    for key in file_keys(camera) {
        only_with(at, "file", key, faults);
    }
    faults.count(&format!("{at}.keys"), keys.len(), KEYS);
    for (k, key) in keys.iter().enumerate() {
        let place = format!("{at}.keys[{k}]");
        pose(key.at, (key.toward, key.rotation, key.roll), &place, faults);
        if key.toward.is_some() != keys[0].toward.is_some() {
            faults.add(
                &place,
                "some keys have `toward`, others `rotation`",
                "give all keys the same",
            );
        }
        if k > 0 && key.at_frame <= keys[k - 1].at_frame {
            faults.add(
                format!("{place}.at_frame"),
                format!(
                    "frame {} comes after frame {}",
                    key.at_frame,
                    keys[k - 1].at_frame
                ),
                "keys in the order of their frames, each after the one before",
            );
        }
        if let Some(lens) = key.lens {
            focal_length(lens, &format!("{place}.lens"), faults);
        }
        if let Some(focus) = key.focus {
            focused(
                focus,
                key.lens.or(camera.lens),
                &format!("{place}.focus"),
                faults,
            );
        }
        let owners = [
            ("lens", key.lens.is_some(), camera.lens.is_some()),
            ("focus", key.focus.is_some(), camera.focus.is_some()),
        ];
        for (name, given, owned) in owners {
            let some = keys
                .iter()
                .any(|k| if name == "lens" { k.lens } else { k.focus }.is_some());
            if given && !owned {
                faults.add(
                    format!("{place}.{name}"),
                    format!("the camera itself has no `{name}`"),
                    format!("give the camera a `{name}` too"),
                );
            } else if some && !given {
                faults.add(
                    &place,
                    format!("some keys have `{name}`, this one has none"),
                    format!("give all keys a `{name}`, or none"),
                );
            }
        }
    }
    if let [first, .., last] = keys {
        count(first.at_frame, last.at_frame, &format!("{at}.keys"), faults);
    }
}

/// Where a camera stands and looks.
fn pose(
    from: [Length; 3],
    (toward, rotation, roll): (Option<[Length; 3]>, Option<[f64; 4]>, Option<Angle>),
    at: &str,
    faults: &mut Faults,
) {
    faults.place(&format!("{at}.at"), from);
    faults.one_of(
        at,
        ("toward", toward.is_some()),
        ("rotation", rotation.is_some()),
    );
    if let Some(toward) = toward {
        faults.place(&format!("{at}.toward"), toward);
        // A micrometre apart: less gives no line of sight.
        if place(from).distance(place(toward)) < 1e-6 {
            faults.add(
                format!("{at}.toward"),
                "the camera looks at its own place",
                "name a place in front of the camera",
            );
        }
    }
    if let Some(q) = rotation {
        let length = q.iter().map(|c| c * c).sum::<f64>().sqrt();
        if !(1.0 - UNIT_TOLERANCE..=1.0 + UNIT_TOLERANCE).contains(&length) {
            faults.add(
                format!("{at}.rotation"),
                format!("the quaternion's length is {length}"),
                "a unit quaternion x, y, z, w; [0, 0, 0, 1] looks along -z",
            );
        }
    }
    if let Some(roll) = roll {
        faults.azimuth(format!("{at}.roll"), roll);
        if rotation.is_some() {
            faults.add(
                format!("{at}.roll"),
                "`roll` is given beside `rotation`, which holds the roll already",
                "leave out one of `roll` and `rotation`",
            );
        }
    }
}

fn lens(camera: &Camera, at: &str, faults: &mut Faults) {
    if camera.file.is_none() {
        faults.one_of(
            at,
            ("lens", camera.lens.is_some()),
            ("vertical_angle", camera.vertical_angle.is_some()),
        );
    }
    if let Some(lens) = camera.lens {
        focal_length(lens, &format!("{at}.lens"), faults);
    }
    if let Some(angle) = camera.vertical_angle
        && !(angle.radians() > 0.0 && angle.degrees() <= MAX_VERTICAL_DEG)
    {
        faults.add(
            format!("{at}.vertical_angle"),
            format!("{angle} is out of range"),
            format!("above 0 deg, to {MAX_VERTICAL_DEG} deg"),
        );
    }
    for (k, side) in camera.sensor.iter().flatten().enumerate() {
        faults.positive_length(format!("{at}.sensor[{k}]"), *side, MAX_SENSOR_M);
    }
    if let Some(stop) = camera.stop {
        faults.above(format!("{at}.stop"), stop, STOP, "an f-number, such as 4");
    }
}

/// A focal length; a plain number beyond any lens is likely one of millimetres.
fn focal_length(lens: Length, place: &str, faults: &mut Faults) {
    if lens.metres() > LENS_M.most {
        let range = LENS_M.map(Length::from_metres);
        let hint = format!("{range}; {}", as_millimetres(lens));
        faults.add(place, format!("{lens} is out of range"), hint);
    } else {
        faults.length(place, lens, LENS_M);
    }
}

/// A nearest depth from which on, metres, it was likely typed as a plain number of millimetres: a
/// close-up has none beyond it (by eye, no source).
const PLAIN_MM: f64 = 10.0;

/// The hint where millimetres were likely typed as a plain number.
fn as_millimetres(length: Length) -> String {
    format!(
        "a plain number is metres; did you mean \"{} mm\"?",
        length.metres()
    )
}

fn frame(camera: &Camera, at: &str, faults: &mut Faults) {
    for (k, side) in camera.frame.iter().enumerate() {
        if !FRAME.holds(*side) {
            faults.add(
                format!("{at}.frame[{k}]"),
                format!("{side} pixels"),
                format!("{FRAME} pixels"),
            );
        }
    }
}

fn depths(camera: &Camera, at: &str, faults: &mut Faults) {
    if let Some(near) = camera.near {
        faults.length(format!("{at}.near"), near, DEPTH_M);
    }
    if let Some(far) = camera.far {
        faults.positive_length(format!("{at}.far"), far, DEPTH_M.most);
        let near = camera.near.unwrap_or_else(default_near);
        let meant = Length::from_millimetres(near.metres());
        if far.metres() > 0.0 && far <= near && near.metres() >= PLAIN_MM && meant < far {
            let problem = format!("{near} is not nearer than far, {far}");
            faults.add(format!("{at}.near"), problem, as_millimetres(near));
        } else if far.metres() > 0.0 && far <= near {
            faults.add(
                format!("{at}.far"),
                format!("{far} is not beyond near, {near}"),
                "far beyond near; leave `far` out for no limit",
            );
        }
    }
    if let Some(focus) = camera.focus {
        focused(focus, camera.lens, &format!("{at}.focus"), faults);
    }
}

fn focused(focus: Length, lens: Option<Length>, place: &str, faults: &mut Faults) {
    faults.positive_length(place, focus, DEPTH_M.most);
    let lens = lens.map_or(0.0, Length::metres);
    // A lens beyond any range has been told of
    let lens = if LENS_M.holds(lens) { lens } else { 0.0 };
    if focus.metres() > 0.0 && lens > 0.0 && focus.metres() <= lens {
        faults.add(
            place,
            format!("{focus} is within the focal length"),
            "a lens focuses beyond its focal length",
        );
    }
}
