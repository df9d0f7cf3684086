//! Masks: one way to lie, strengths from 0 to 1, a camera that is there.

use super::faults::Faults;
use super::scene;
use crate::shot::bounds::SHARE;
use crate::shot::{Camera, Gather, Mask, Pass};

/// Checks every mask of the passes.
pub(super) fn check(passes: &[Pass], cameras: &[Camera], faults: &mut Faults) {
    for (i, pass) in passes.iter().enumerate() {
        for (j, gather) in pass.gather.iter().enumerate() {
            if let Gather::Mask(mask) = gather {
                one(
                    mask,
                    cameras,
                    &format!("passes[{i}].gather[{j}].mask"),
                    faults,
                );
            }
        }
    }
}

fn one(mask: &Mask, cameras: &[Camera], at: &str, faults: &mut Faults) {
    faults.file(&format!("{at}.file"), &mask.file, "a PNG or OpenEXR image");
    faults.one_of(
        at,
        ("extent", mask.extent.is_some()),
        ("camera", mask.camera.is_some()),
    );
    if let Some(extent) = mask.extent {
        scene::extent(extent, mask.at.unwrap_or_default(), at, faults);
    }
    if let Some(name) = &mask.camera {
        if !cameras.iter().any(|c| c.name == *name) {
            let names: Vec<&str> = cameras.iter().map(|c| c.name.as_str()).collect();
            faults.add(
                format!("{at}.camera"),
                format!("there is no camera {name:?}"),
                format!("the cameras are: {}", names.join(", ")),
            );
        }
        if mask.at.is_some() {
            faults.add(
                format!("{at}.at"),
                "`at` is given beside `camera`, whose frame it lies over",
                "leave out one of `at` and `camera`",
            );
        }
    }
    for (key, value) in [
        ("black", mask.black),
        ("white", mask.white),
        ("outside", mask.outside),
    ] {
        faults.within(format!("{at}.{key}"), value, SHARE, "a strength");
    }
}
