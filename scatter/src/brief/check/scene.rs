//! What a brief may say of its cameras, ground, heroes and light.

use std::collections::HashSet;
use std::f64::consts::{FRAC_PI_2, PI};

use crate::brief::{
    Brief, Camera, Ground, GroundMesh, GroundShape, HeightImage, Hero, Light, Line, Mood, SoilLook,
    Weathering, Wet,
};
use crate::optics;
use crate::shot::bounds::{
    CANDELA, DEPTH_M, FEATURE_M, FRAME, GRAIN_M, GROUND_M, KELVIN, LINE_POINTS, LINES,
    MAX_EXTENT_M, MAX_FRAMES, NAME, RAGGED_M, REACH_M, SCALE, SHARE, STOP, TILT_DEG,
    UNIT_TOLERANCE,
};
use crate::shot::{DUSK_END_DEG, Faults};

pub(super) fn check(brief: &Brief, faults: &mut Faults) {
    let mut names = HashSet::new();
    for (i, camera) in brief.cameras.iter().enumerate() {
        let at = format!("cameras[{i}]");
        faults.name(&format!("{at}.name"), camera.name(), NAME);
        if !names.insert(camera.name()) {
            faults.add(
                format!("{at}.name"),
                format!("another camera is called {:?}", camera.name()),
                "give each camera its own name",
            );
        }
        // What is in a file is checked as it is read
        if let Camera::Known(track) = camera {
            let count = track.frames.len();
            if count == 0 || count > MAX_FRAMES as usize {
                faults.add(
                    format!("{at}.frames"),
                    format!("there are {count}"),
                    format!("1 to {MAX_FRAMES}"),
                );
            }
            for (k, frame) in track.frames.iter().enumerate() {
                self::frame(frame, &format!("{at}.frames[{k}]"), faults);
            }
        }
    }
    ground(&brief.ground, faults);
    if let Some(wet) = &brief.wet {
        self::wet(wet, faults);
    }
    if let Some(Weathering { lichen, dust }) = brief.weathering {
        faults.within("weathering.lichen", lichen, SHARE, "");
        faults.within("weathering.dust", dust, SHARE, "");
    }
    for (i, one) in brief.heroes.iter().enumerate() {
        hero(one, &format!("heroes[{i}]"), faults);
    }
    light(&brief.light, faults);
}

/// A camera in one frame.
fn frame(camera: &optics::Camera, at: &str, faults: &mut Faults) {
    let place = camera.position.to_array();
    faults.at(&format!("{at}.position"), place);
    let length = camera.rotation.length();
    if !(1.0 - UNIT_TOLERANCE..=1.0 + UNIT_TOLERANCE).contains(&length) {
        faults.add(
            format!("{at}.rotation"),
            format!("the quaternion's length is {length}"),
            "a unit quaternion",
        );
    }
    if !(camera.yfov > 0.0 && camera.yfov < PI) {
        faults.add(
            format!("{at}.yfov"),
            format!("{} is out of range", camera.yfov),
            "radians, above 0, under pi",
        );
    }
    for (k, side) in camera.frame.into_iter().enumerate() {
        faults.within(format!("{at}.frame[{k}]"), side, FRAME, "pixels");
    }
    faults.metres(format!("{at}.near"), camera.near, DEPTH_M);
    if camera.far.is_nan() || camera.far <= camera.near {
        faults.add(
            format!("{at}.far"),
            "it is not beyond `near`",
            "far beyond near, or infinite",
        );
    }
    let lens = camera.focal_length;
    // No bound of a lens: a field of view and a frame of any shape may give any length
    faults.metres_above(format!("{at}.focal_length"), lens, DEPTH_M.most);
    if let Some(focus) = camera.focus {
        faults.metres_above(format!("{at}.focus"), focus, DEPTH_M.most);
        if focus <= camera.focal_length {
            faults.add(
                format!("{at}.focus"),
                "it is within the focal length",
                "a lens focuses beyond its focal length",
            );
        }
    }
    if let Some(stop) = camera.stop {
        faults.above(format!("{at}.stop"), stop, STOP, "an f-number");
    }
}

fn line(line: &Line, at: &str, faults: &mut Faults) {
    faults.count(&format!("{at}.points"), line.points.len(), LINE_POINTS);
    for (k, [x, z]) in line.points.iter().enumerate() {
        faults.at(&format!("{at}.points[{k}]"), [*x, 0.0, *z]);
    }
    if line.points.windows(2).any(|p| p[0] == p[1]) {
        let hint = "places that differ, one after the other";
        faults.add(
            format!("{at}.points"),
            "one is where the one before it is",
            hint,
        );
    }
    if let Some(press) = line.press {
        faults.metres(format!("{at}.press.depth"), press.depth, REACH_M);
        faults.metres(format!("{at}.press.width"), press.width, FEATURE_M);
    }
}

fn ground(ground: &Ground, faults: &mut Faults) {
    for (k, side) in ground.extent.iter().flatten().enumerate() {
        faults.metres_above(format!("ground.extent[{k}]"), *side, MAX_EXTENT_M);
    }
    faults.count("ground.lines", ground.lines.len(), LINES);
    for (i, line) in ground.lines.iter().enumerate() {
        self::line(line, &format!("ground.lines[{i}]"), faults);
    }
    if let Some(soil) = &ground.soil {
        self::soil(soil, faults);
    }
    match &ground.terrain {
        GroundShape::Plane { tilt, toward } => plane(*tilt, *toward, faults),
        GroundShape::Relief {
            height,
            feature,
            roughness,
            tilt,
            toward,
        } => {
            faults.metres("ground.terrain.height", *height, REACH_M);
            faults.metres("ground.terrain.feature", *feature, FEATURE_M);
            faults.within("ground.terrain.roughness", *roughness, SHARE, "");
            plane(*tilt, *toward, faults);
        }
        GroundShape::Image(image) => height_image(image, faults),
        GroundShape::Mesh(mesh) => ground_mesh(mesh, faults),
    }
}

fn soil(soil: &SoilLook, faults: &mut Faults) {
    for (k, albedo) in soil.albedo.iter().flatten().enumerate() {
        let at = format!("ground.soil.albedo[{k}]");
        faults.within(at, f64::from(*albedo), SHARE, "");
    }
    if let Some(grain) = soil.grain {
        faults.metres("ground.soil.grain", grain, GRAIN_M);
    }
}

fn wet(wet: &Wet, faults: &mut Faults) {
    if let Some(level) = wet.level {
        faults.metres("wet.level", level, GROUND_M);
    }
    faults.metres("wet.ragged", wet.ragged, RAGGED_M);
    faults.within("wet.hollows", wet.hollows, SHARE, "");
    faults.within("wet.dew", wet.dew, SHARE, "");
}

fn plane(tilt: f64, toward: f64, faults: &mut Faults) {
    faults.radians("ground.terrain.tilt", tilt, TILT_DEG);
    faults.turn("ground.terrain.toward", toward);
}

fn height_image(image: &HeightImage, faults: &mut Faults) {
    faults.file("ground.terrain.file", &image.file, "a PNG or OpenEXR image");
    faults.at("ground.terrain.at", image.at);
    for (k, side) in image.extent.iter().enumerate() {
        let at = format!("ground.terrain.extent[{k}]");
        faults.metres_above(at, *side, MAX_EXTENT_M);
    }
    for (k, height) in image.heights.iter().flatten().enumerate() {
        let at = format!("ground.terrain.heights[{k}]");
        faults.metres(at, *height, GROUND_M);
    }
}

fn ground_mesh(mesh: &GroundMesh, faults: &mut Faults) {
    faults.file("ground.terrain.file", &mesh.file, "a .glb or .gltf file");
    faults.at("ground.terrain.at", mesh.at);
    faults.turn("ground.terrain.turn", mesh.turn);
    faults.above("ground.terrain.scale", mesh.scale, SCALE, "");
    if !(mesh.steepest > 0.0 && mesh.steepest <= FRAC_PI_2) {
        faults.add(
            "ground.terrain.steepest",
            format!("{} is out of range", mesh.steepest),
            "radians, above 0, to pi / 2",
        );
    }
    if let Some(under) = mesh.under {
        faults.metres("ground.terrain.under", under, GROUND_M);
    }
}

fn hero(hero: &Hero, at: &str, faults: &mut Faults) {
    faults.file(&format!("{at}.file"), &hero.file, "a .glb or .gltf file");
    faults.at(&format!("{at}.at"), hero.at);
    faults.turn(format!("{at}.turn"), hero.turn);
    faults.above(format!("{at}.scale"), hero.scale, SCALE, "");
    faults.metres(format!("{at}.clear"), hero.clear, REACH_M);
    faults.metres(format!("{at}.sink"), hero.sink, REACH_M);
}

fn light(light: &Light, faults: &mut Faults) {
    let [azimuth, elevation] = light.direction;
    faults.turn("light.direction[0]", azimuth);
    let (fits, hint) = match light.mood {
        Mood::Sun | Mood::GoldenHour | Mood::Overcast | Mood::Night => (
            elevation > 0.0 && elevation <= FRAC_PI_2,
            "radians, above 0 (the horizon), to pi / 2",
        ),
        Mood::Dusk => (
            elevation <= 0.0 && elevation > -DUSK_END_DEG.to_radians(),
            "radians, at dusk 0 (the horizon) to pi / 30 (6 deg) under it",
        ),
    };
    if !fits {
        let found = format!("{elevation} is out of range");
        faults.add("light.direction[1]", found, hint);
    }
    if let Some(lamp) = light.lamp {
        faults.at("light.lamp.position", lamp.position);
        faults.above("light.lamp.candela", lamp.candela, CANDELA, "");
        faults.within("light.lamp.kelvin", lamp.kelvin, KELVIN, "");
    }
}
