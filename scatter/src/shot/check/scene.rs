//! Ground and heroes.

use super::faults::Faults;
use crate::shot::{Ground, Hero, MAX_COORDINATE_M, Shot};
use crate::units::Length;

/// Steepest ground in degrees: nothing lies on what is steeper.
const MAX_TILT_DEG: f64 = 80.0;
/// Largest length of a distance that gathers or clears, metres.
pub(super) const MAX_REACH_M: f64 = 1e3;
/// Smallest and largest feature of a noise, metres.
pub(super) const FEATURE_M: [f64; 2] = [1e-3, 1e5];

pub(super) fn check(shot: &Shot, faults: &mut Faults) {
    ground(&shot.ground, faults);
    for (i, h) in shot.hero.iter().enumerate() {
        hero(h, &format!("hero[{i}]"), faults);
    }
}

/// Checks a ground; presets have one too.
pub(super) fn ground(ground: &Ground, faults: &mut Faults) {
    faults.one_of(
        "ground",
        ("plane", ground.plane.is_some()),
        ("relief", ground.relief.is_some()),
    );
    if let Some(plane) = ground.plane {
        faults.angle("ground.plane.tilt", plane.tilt, 0.0, MAX_TILT_DEG);
        faults.azimuth("ground.plane.toward", plane.toward);
    }
    if let Some(relief) = ground.relief {
        faults.length("ground.relief.height", relief.height, 0.0, MAX_REACH_M);
        faults.length(
            "ground.relief.feature",
            relief.feature,
            FEATURE_M[0],
            FEATURE_M[1],
        );
        faults.within("ground.relief.roughness", relief.roughness, 0.0, 1.0, "");
        faults.angle("ground.relief.tilt", relief.tilt, 0.0, MAX_TILT_DEG);
        faults.azimuth("ground.relief.toward", relief.toward);
    }
    for (k, side) in ground.extent.iter().flatten().enumerate() {
        faults.positive_length(format!("ground.extent[{k}]"), *side, 2.0 * MAX_COORDINATE_M);
    }
}

fn hero(hero: &Hero, at: &str, faults: &mut Faults) {
    if hero.file.is_empty() || hero.file.contains('\0') {
        faults.add(
            format!("{at}.file"),
            "no file is named",
            "a .glb or .gltf file, relative to the shot's folder",
        );
    }
    faults.place(&format!("{at}.at"), hero.at);
    faults.azimuth(format!("{at}.turn"), hero.turn);
    faults.above(
        format!("{at}.scale"),
        hero.scale,
        0.0,
        1e6,
        "1 is life size",
    );
    faults.length(format!("{at}.clear"), hero.clear, 0.0, MAX_REACH_M);
    faults.length(format!("{at}.sink"), hero.sink, 0.0, MAX_REACH_M);
}

/// A length for a message.
pub(super) fn said(metres: f64) -> Length {
    Length::from_metres(metres)
}
