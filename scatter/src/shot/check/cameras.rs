//! Cameras: lenses that exist, frames that can be rendered, a line of sight.

use super::faults::Faults;
use crate::shot::MAX_COORDINATE_M;
use crate::shot::camera::{Camera, place};
use crate::units::Length;

/// Focal lengths from a microscope's to a telescope's, metres.
const LENS_M: [f64; 2] = [1e-4, 10.0];
/// Largest sensor side, metres: beyond any plate camera.
const MAX_SENSOR_M: f64 = 1.0;
/// Largest frame side in pixels.
const MAX_FRAME: u32 = 65_536;
/// Widest vertical angle in degrees: at 180 the frame would be endless.
const MAX_VERTICAL_DEG: f64 = 179.0;
/// Nearest near limit, metres: a micrometre.
const MIN_NEAR_M: f64 = 1e-6;
/// Farthest depth, metres: across the whole range of coordinates.
const MAX_FAR_M: f64 = 4.0 * MAX_COORDINATE_M;
/// How far a rotation may be from unit length: what six written digits leave.
const UNIT_TOLERANCE: f64 = 1e-4;

pub(super) fn check(cameras: &[Camera], faults: &mut Faults) {
    for (i, camera) in cameras.iter().enumerate() {
        let at = format!("cameras[{i}]");
        faults.name(&format!("{at}.name"), &camera.name, 64);
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
    faults.place(&format!("{at}.at"), camera.at);
    faults.one_of(
        at,
        ("toward", camera.toward.is_some()),
        ("rotation", camera.rotation.is_some()),
    );
    if let Some(toward) = camera.toward {
        faults.place(&format!("{at}.toward"), toward);
        // A micrometre apart: less gives no line of sight.
        if place(camera.at).distance(place(toward)) < 1e-6 {
            faults.add(
                format!("{at}.toward"),
                "the camera looks at its own place",
                "name a place in front of the camera",
            );
        }
    }
    if let Some(q) = camera.rotation {
        let length = q.iter().map(|c| c * c).sum::<f64>().sqrt();
        if !(1.0 - UNIT_TOLERANCE..=1.0 + UNIT_TOLERANCE).contains(&length) {
            faults.add(
                format!("{at}.rotation"),
                format!("the quaternion's length is {length}"),
                "a unit quaternion x, y, z, w; [0, 0, 0, 1] looks along -z",
            );
        }
    }
    if let Some(roll) = camera.roll {
        faults.azimuth(format!("{at}.roll"), roll);
        if camera.rotation.is_some() {
            faults.add(
                format!("{at}.roll"),
                "`roll` is given beside `rotation`, which holds the roll already",
                "leave out one of `roll` and `rotation`",
            );
        }
    }
}

fn lens(camera: &Camera, at: &str, faults: &mut Faults) {
    faults.one_of(
        at,
        ("lens", camera.lens.is_some()),
        ("vertical_angle", camera.vertical_angle.is_some()),
    );
    if let Some(lens) = camera.lens {
        faults.length(format!("{at}.lens"), lens, LENS_M[0], LENS_M[1]);
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
        faults.above(
            format!("{at}.stop"),
            stop,
            0.0,
            1000.0,
            "an f-number, such as 4",
        );
    }
}

fn frame(camera: &Camera, at: &str, faults: &mut Faults) {
    for (k, side) in camera.frame.iter().enumerate() {
        if *side == 0 || *side > MAX_FRAME {
            faults.add(
                format!("{at}.frame[{k}]"),
                format!("{side} pixels"),
                format!("1 to {MAX_FRAME} pixels"),
            );
        }
    }
}

fn depths(camera: &Camera, at: &str, faults: &mut Faults) {
    faults.length(format!("{at}.near"), camera.near, MIN_NEAR_M, MAX_FAR_M);
    if let Some(far) = camera.far {
        faults.positive_length(format!("{at}.far"), far, MAX_FAR_M);
        if far.metres() > 0.0 && far <= camera.near {
            faults.add(
                format!("{at}.far"),
                format!("{far} is not beyond near, {}", camera.near),
                "far beyond near; leave `far` out for no limit",
            );
        }
    }
    if let Some(focus) = camera.focus {
        faults.positive_length(format!("{at}.focus"), focus, MAX_FAR_M);
        let lens = camera.lens.map_or(0.0, Length::metres);
        if focus.metres() > 0.0 && lens > 0.0 && focus.metres() <= lens {
            faults.add(
                format!("{at}.focus"),
                format!("{focus} is within the focal length"),
                "a lens focuses beyond its focal length",
            );
        }
    }
}
