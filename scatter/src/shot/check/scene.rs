//! Ground and heroes.

use super::faults::Faults;
use crate::shot::{Ground, GroundMesh, HeightImage, Hero, MAX_COORDINATE_M, Shot};
use crate::units::Length;

/// Steepest ground in degrees: nothing lies on what is steeper.
const MAX_TILT_DEG: f64 = 80.0;
/// Largest length of a distance that gathers or clears, metres.
pub(super) const MAX_REACH_M: f64 = 1e3;
/// Highest and lowest ground, metres: no ground of the Earth is beyond it.
const MAX_GROUND_M: f64 = 1e5;
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
    if let Some(image) = &ground.image {
        height_image(image, faults);
    }
    if let Some(mesh) = &ground.mesh {
        ground_mesh(mesh, faults);
    }
    for (k, side) in ground.extent.iter().flatten().enumerate() {
        faults.positive_length(format!("ground.extent[{k}]"), *side, 2.0 * MAX_COORDINATE_M);
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
        faults.length(
            format!("ground.image.heights[{k}]"),
            *height,
            -MAX_GROUND_M,
            MAX_GROUND_M,
        );
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
    faults.above("ground.mesh.scale", mesh.scale, 0.0, 1e6, "1 is life size");
    if !(mesh.steepest.radians() > 0.0 && mesh.steepest.degrees() <= 90.0) {
        faults.add(
            "ground.mesh.steepest",
            format!("{} is out of range", mesh.steepest),
            "above 0 deg, to 90 deg",
        );
    }
    if let Some(under) = mesh.under {
        faults.length("ground.mesh.under", under, -MAX_GROUND_M, MAX_GROUND_M);
    }
}

/// An image's extent on the plan, and where its middle lies.
pub(super) fn extent(extent: [Length; 2], at: [Length; 2], place: &str, faults: &mut Faults) {
    for k in 0..2 {
        faults.positive_length(
            format!("{place}.extent[{k}]"),
            extent[k],
            2.0 * MAX_COORDINATE_M,
        );
        if at[k].metres().abs() > MAX_COORDINATE_M {
            faults.add(
                format!("{place}.at[{k}]"),
                format!("{} is too far from the origin", at[k]),
                format!("at most {} km along each axis", MAX_COORDINATE_M / 1e3),
            );
        }
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
