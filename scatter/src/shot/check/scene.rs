//! Ground and heroes.

use super::faults::Faults;
use crate::shot::bounds::{SCALE, SHARE, Within, within};
use crate::shot::{Ground, GroundMesh, HeightImage, Hero, MAX_COORDINATE_M, Shot};
use crate::units::Length;

/// Tilts of the ground, degrees: nothing lies on what is steeper.
const TILT_DEG: Within<f64> = within(0.0, 80.0);
/// Distances that gather or clear, metres; heights of a relief and how deep a hero stands, too.
pub(super) const REACH_M: Within<f64> = within(0.0, 1e3);
/// Lowest and highest ground, metres: no ground of the Earth is beyond it.
const GROUND_M: Within<f64> = within(-1e5, 1e5);
/// Features of a noise, metres.
pub(super) const FEATURE_M: Within<f64> = within(1e-3, 1e5);
/// Longest side of the ground or of an image on the plan, metres: all that has coordinates.
const MAX_EXTENT_M: f64 = 2.0 * MAX_COORDINATE_M;

pub(super) fn check(shot: &Shot, faults: &mut Faults) {
    ground(&shot.ground, faults);
    for (i, h) in shot.hero.iter().enumerate() {
        hero(h, &format!("hero[{i}]"), faults);
    }
}

/// Checks a ground; presets have one too.
pub(super) fn ground(ground: &Ground, faults: &mut Faults) {
    let forms = [
        ("plane", ground.plane.is_some()),
        ("relief", ground.relief.is_some()),
        ("image", ground.image.is_some()),
        ("mesh", ground.mesh.is_some()),
    ];
    let given: Vec<&str> = forms.iter().filter(|f| f.1).map(|f| f.0).collect();
    if given.len() != 1 {
        let problem = if given.is_empty() {
            "has no form".into()
        } else {
            format!("has `{}`", given.join("` and `"))
        };
        faults.add(
            "ground",
            problem,
            "give one of `plane`, `relief`, `image` and `mesh`",
        );
    }
    if let Some(plane) = ground.plane {
        faults.angle("ground.plane.tilt", plane.tilt, TILT_DEG);
        faults.azimuth("ground.plane.toward", plane.toward);
    }
    if let Some(relief) = ground.relief {
        faults.length("ground.relief.height", relief.height, REACH_M);
        faults.length("ground.relief.feature", relief.feature, FEATURE_M);
        faults.within("ground.relief.roughness", relief.roughness, SHARE, "");
        faults.angle("ground.relief.tilt", relief.tilt, TILT_DEG);
        faults.azimuth("ground.relief.toward", relief.toward);
    }
    if let Some(image) = &ground.image {
        height_image(image, faults);
    }
    if let Some(mesh) = &ground.mesh {
        ground_mesh(mesh, faults);
    }
    for (k, side) in ground.extent.iter().flatten().enumerate() {
        faults.positive_length(format!("ground.extent[{k}]"), *side, MAX_EXTENT_M);
    }
}

fn height_image(image: &HeightImage, faults: &mut Faults) {
    file(
        &image.file,
        "ground.image.file",
        "a PNG or OpenEXR image",
        faults,
    );
    extent(image.extent, image.at, "ground.image", faults);
    for (k, height) in image.heights.iter().flatten().enumerate() {
        faults.length(format!("ground.image.heights[{k}]"), *height, GROUND_M);
    }
}

fn ground_mesh(mesh: &GroundMesh, faults: &mut Faults) {
    file(
        &mesh.file,
        "ground.mesh.file",
        "a .glb or .gltf file",
        faults,
    );
    faults.place("ground.mesh.at", mesh.at);
    faults.azimuth("ground.mesh.turn", mesh.turn);
    faults.above("ground.mesh.scale", mesh.scale, SCALE, "1 is life size");
    if !(mesh.steepest.radians() > 0.0 && mesh.steepest.degrees() <= 90.0) {
        faults.add(
            "ground.mesh.steepest",
            format!("{} is out of range", mesh.steepest),
            "above 0 deg, to 90 deg",
        );
    }
    if let Some(under) = mesh.under {
        faults.length("ground.mesh.under", under, GROUND_M);
    }
}

/// An image's extent on the plan, and where its middle lies.
pub(super) fn extent(extent: [Length; 2], at: [Length; 2], place: &str, faults: &mut Faults) {
    for k in 0..2 {
        faults.positive_length(format!("{place}.extent[{k}]"), extent[k], MAX_EXTENT_M);
        faults.coordinate(format!("{place}.at[{k}]"), at[k]);
    }
}

/// The name of a file.
pub(super) fn file(name: &str, place: &str, what: &str, faults: &mut Faults) {
    if name.is_empty() || name.contains('\0') {
        faults.add(
            place,
            "no file is named",
            format!("{what}, relative to the shot's folder"),
        );
    }
}

fn hero(hero: &Hero, at: &str, faults: &mut Faults) {
    file(
        &hero.file,
        &format!("{at}.file"),
        "a .glb or .gltf file",
        faults,
    );
    faults.place(&format!("{at}.at"), hero.at);
    faults.azimuth(format!("{at}.turn"), hero.turn);
    faults.above(format!("{at}.scale"), hero.scale, SCALE, "1 is life size");
    faults.length(format!("{at}.clear"), hero.clear, REACH_M);
    faults.length(format!("{at}.sink"), hero.sink, REACH_M);
}

/// A length for a message.
pub(super) fn said(metres: f64) -> Length {
    Length::from_metres(metres)
}
