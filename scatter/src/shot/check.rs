//! What the document's form can't say: ranges, names, references. Every fault is gathered.

mod cameras;
mod carpet;
mod delivery;
mod faults;
mod hand;
mod light;
mod masks;
mod mixes;
mod passes;
mod scene;
mod shade;
mod takes;

use super::Shot;
use crate::error::Result;
use faults::Faults;

/// Most cameras and passes: far beyond any shot, small enough to bound the work.
const MAX_CAMERAS: usize = 64;
const MAX_PASSES: usize = 1000;
/// Most heroes of a shot.
const MAX_HEROES: usize = 1000;

/// Checks `shot`; the error has all faults.
pub(super) fn shot(shot: &Shot) -> Result<()> {
    let mut faults = Faults::default();
    faults.name("shot", &shot.name, 128);
    faults.count("cameras", shot.cameras.len(), 1, MAX_CAMERAS);
    faults.count("hero", shot.hero.len(), 0, MAX_HEROES);
    faults.count("passes", shot.passes.len(), 0, MAX_PASSES);
    cameras::check(&shot.cameras, &mut faults);
    scene::check(shot, &mut faults);
    light::check(&shot.light, &mut faults);
    carpet::check(shot, &mut faults);
    shade::check(shot, &mut faults);
    takes::check(shot, &mut faults);
    mixes::check(shot, &mut faults);
    passes::check(&shot.passes, !shot.hero.is_empty(), &mut faults);
    masks::check(&shot.passes, &shot.cameras, &mut faults);
    hand::check(shot, &mut faults);
    limits(shot, &mut faults);
    delivery::check(&shot.deliver, &mut faults);
    faults.done()
}

fn limits(shot: &Shot, faults: &mut Faults) {
    faults.above(
        "resolve.pixels",
        shot.resolve.pixels,
        0.0,
        64.0,
        "0.5 is the default",
    );
    if let Some(pixels) = shot.resolve.triangle_pixels {
        let hint = "2 is finer than the eye tells in a still; leave it out for every piece in full";
        faults.above("resolve.triangle_pixels", pixels, 0.0, 1000.0, hint);
    }
    if shot.resolve.defocus
        && !shot
            .cameras
            .iter()
            .any(|c| c.focus.is_some() && c.stop.is_some())
    {
        faults.add(
            "resolve.defocus",
            "no camera has both `focus` and `stop`, so nothing is blurred",
            "give a camera its focus distance and stop, or leave `defocus` out",
        );
    }
    for (place, zero) in [
        ("budget.pieces", shot.budget.pieces == 0),
        ("budget.triangles", shot.budget.triangles == 0),
        ("budget.memory", shot.budget.memory.bytes() == 0),
    ] {
        if zero {
            faults.add(
                place,
                "a budget of 0 leaves no room for anything",
                "at least 1; leave it out for the default",
            );
        }
    }
}
