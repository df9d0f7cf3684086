//! Ground and heroes.

use super::faults::Faults;
use crate::shot::bounds::{
    FEATURE_M, GRAIN_M, GROUND_M, MAX_EXTENT_M, RAGGED_M, REACH_M, SCALE, SHARE, TILT_DEG,
};
use crate::shot::{Ground, GroundMesh, HeightImage, Hero, Kind, Pass, Shot, Weathering, Wet};
use crate::units::Length;

pub(super) fn check(shot: &Shot, faults: &mut Faults) {
    ground(&shot.ground, faults);
    stones(shot, faults);
    if let Some(wet) = &shot.wet {
        self::wet(wet, shot, faults);
    }
    if let Some(weathering) = shot.weathering {
        let Weathering { lichen, dust } = weathering;
        faults.within("weathering.lichen", lichen, SHARE, "0 is none");
        faults.within("weathering.dust", dust, SHARE, "0 is none");
    }
    for (i, h) in shot.hero.iter().enumerate() {
        hero(h, &format!("hero[{i}]"), faults);
    }
}

/// A family of rock needs stones that are grown.
fn stones(shot: &Shot, faults: &mut Faults) {
    let of_carpet = shot.carpet.iter().flat_map(|c| &c.grains);
    let of_pins = shot.pins.iter().map(|p| &p.piece);
    let stone = |name: &String| Kind::named(name).is_some_and(Kind::is_stone);
    let grown = of_carpet.chain(of_pins).any(stone) || shot.passes.iter().any(Pass::grows_stones);
    if shot.stone.is_some() && !grown {
        faults.add(
            "stone",
            "it says what grown stones are of, and the shot grows none",
            "leave it out, or add a pass of rock, cobble or pebble",
        );
    }
}

/// What is wet.
fn wet(wet: &Wet, shot: &Shot, faults: &mut Faults) {
    if let Some(level) = wet.level {
        faults.length("wet.level", level, GROUND_M);
    }
    faults.length("wet.ragged", wet.ragged, RAGGED_M);
    faults.within("wet.hollows", wet.hollows, SHARE, "a share of the ground");
    faults.within("wet.dew", wet.dew, SHARE, "a share of what looks up");
    if wet.level.is_none() && wet.hollows == 0.0 && wet.dew == 0.0 {
        faults.add(
            "wet",
            "it wets nothing",
            "give `level`, `hollows` or `dew`, or leave it out",
        );
    }
    if wet.hollows > 0.0 && shot.ground.plane.is_some() && shot.ground.lines.is_empty() {
        faults.add(
            "wet.hollows",
            "the ground is a plane, which has no hollows",
            "0, or a ground with relief",
        );
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
    if let Some(soil) = ground.soil {
        if let Some(grain) = soil.grain {
            faults.length("ground.soil.grain", grain, GRAIN_M);
        }
        if soil.grain.is_none() && soil.colour.is_none() {
            faults.add(
                "ground.soil",
                "it says nothing",
                "give `colour`, `grain` or both, or leave it out",
            );
        }
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
