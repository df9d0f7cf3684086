//! The carpet.

use super::faults::Faults;
use super::sizes::sizes as size_law;
use crate::input::likely;
use crate::shot::bounds::{GRAINS_RATIO, MAX_TILE_M, TILE_IN_GRAINS, VARIANTS};
use crate::shot::{CARPET, Carpet, GRAINS, Shot, names_file};
use crate::units::Length;

pub(super) fn check(shot: &Shot, faults: &mut Faults) {
    let Some(carpet) = &shot.carpet else { return };
    if let Some(tile) = carpet.tile {
        faults.positive_length("carpet.tile", tile, MAX_TILE_M);
    }
    let grown = !carpet.grains.is_empty() || carpet.sizes.is_some();
    match (&carpet.patch, grown) {
        (Some(patch), false) => of_patch(carpet, patch, faults),
        (None, true) => of_grains(carpet, faults),
        (Some(_), true) => faults.add(
            "carpet",
            "it has both grains and a patch",
            "`grains` with `sizes`, or `patch` with `tile`",
        ),
        (None, false) => faults.add(
            "carpet",
            "it says of nothing that it is made of",
            "`grains` with `sizes`, or `patch` with `tile`",
        ),
    }
    for (i, pass) in shot.passes.iter().enumerate() {
        if pass.name == CARPET {
            faults.add(
                format!("passes[{i}].name"),
                format!("`{CARPET}` is the name of the shot's own carpet"),
                "another name for the pass, or leave `carpet` out",
            );
        }
    }
}

fn of_patch(carpet: &Carpet, patch: &str, faults: &mut Faults) {
    if !names_file(patch) || patch.to_ascii_lowercase().ends_with(".json") {
        faults.add(
            "carpet.patch",
            format!("{patch:?} is no glTF file"),
            "a .glb or .gltf file, relative to the shot's folder",
        );
    }
    if carpet.tile.is_none() {
        faults.add(
            "carpet.tile",
            "it is missing: a patch is laid in any size",
            "the distance between neighbouring tiles, such as \"150 mm\"",
        );
    }
    if carpet.variants.is_some() {
        faults.add(
            "carpet.variants",
            "a patch has the tiles that its file holds",
            "leave it out, or put more root nodes into the file",
        );
    }
}

fn of_grains(carpet: &Carpet, faults: &mut Faults) {
    grains(carpet, faults);
    if let Some(variants) = carpet.variants {
        faults.within("carpet.variants", variants, VARIANTS, "6 is the default");
    }
    let Some(sizes) = &carpet.sizes else {
        faults.add(
            "carpet.sizes",
            "it is missing",
            "a size law, such as { \"law\": \"power\", \"exponent\": 2, \"from\": \"1 mm\", \"to\": \"6 mm\" }",
        );
        return;
    };
    size_law(sizes, "carpet.sizes", faults);
    let [from, to] = sizes.range();
    // A hair over the limit is rounding, not a wider range.
    if from > 0.0 && to / from > GRAINS_RATIO * (1.0 + 1e-9) {
        faults.add(
            "carpet.sizes",
            format!(
                "the largest grain is {:.1} times as large as the smallest",
                to / from
            ),
            format!("at most {GRAINS_RATIO} times; a pass lays what is larger"),
        );
    }
    tile(carpet, to, faults);
}

fn grains(carpet: &Carpet, faults: &mut Faults) {
    if carpet.grains.is_empty() {
        faults.add(
            "carpet.grains",
            "the list is empty",
            format!("at least one of {}", GRAINS.join(", ")),
        );
    }
    for (k, grain) in carpet.grains.iter().enumerate() {
        let place = format!("carpet.grains[{k}]");
        if !GRAINS.contains(&grain.as_str()) {
            let hint = likely(grain, &GRAINS).map_or_else(
                || format!("one of {}", GRAINS.join(", ")),
                |name| format!("did you mean `{name}`?"),
            );
            faults.add(place, format!("there is no grain {grain:?}"), hint);
        } else if carpet.grains[..k].contains(grain) {
            faults.add(
                place,
                format!("{grain} is there already"),
                "name each once: all are as likely",
            );
        }
    }
}

/// The side of a tile, by its largest grain, metres.
fn tile(carpet: &Carpet, to: f64, faults: &mut Faults) {
    let side = carpet.side();
    // Whole micrometres, as people would say it
    let said = |metres: f64| Length::from_metres(libm::round(metres * 1e6) / 1e6);
    let fitting = TILE_IN_GRAINS.map(|n| n * to);
    if carpet.tile.is_some_and(|t| t.metres() > 0.0) && !fitting.holds(side) {
        faults.add(
            "carpet.tile",
            format!(
                "tiles of {} are {:.1} of the largest grains wide, which are {}",
                said(side),
                side / to,
                said(to)
            ),
            format!(
                "{}, or leave it out for {}",
                fitting.map(said),
                said(crate::shot::TILE_GRAINS * to)
            ),
        );
    } else if carpet.tile.is_none() && side > MAX_TILE_M {
        faults.add(
            "carpet.sizes",
            format!(
                "grains of {} make tiles of {}",
                Length::from_metres(to),
                Length::from_metres(side)
            ),
            "smaller grains: a carpet is the ground's texture, a pass lays what is larger",
        );
    }
}
