//! Ground and heroes.

use super::faults::Faults;
use crate::shot::bounds::{FEATURE_M, GROUND_M, MAX_EXTENT_M, REACH_M, SCALE, SHARE, TILT_DEG};
use crate::shot::{Ground, GroundMesh, HeightImage, Hero, Shot};
use crate::units::Length;

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
    faults.file("ground.image.file", &image.file, "a PNG or OpenEXR image");
    extent(image.extent, image.at, "ground.image", faults);
    for (k, height) in image.heights.iter().flatten().enumerate() {
        faults.length(format!("ground.image.heights[{k}]"), *height, GROUND_M);
    }
}

fn ground_mesh(mesh: &GroundMesh, faults: &mut Faults) {
    faults.file("ground.mesh.file", &mesh.file, "a .glb or .gltf file");
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

fn hero(hero: &Hero, at: &str, faults: &mut Faults) {
    faults.file(&format!("{at}.file"), &hero.file, "a .glb or .gltf file");
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
