//! What the document's form can't say: ranges, names, references. Every fault is gathered.

mod cameras;
mod carpet;
mod delivery;
mod faults;
mod hand;
mod light;
mod lines;
mod masks;
mod mixes;
mod passes;
mod scene;
mod shade;
mod sizes;
mod takes;

use super::Shot;
use super::bounds::{CAMERAS, HEROES, LEAST_BUDGET, LONG_NAME, PASSES, PIXELS, TRIANGLE_PIXELS};
use crate::error::Result;
pub(crate) use faults::Faults;

/// Checks `shot`; the error has all faults.
pub(super) fn shot(shot: &Shot) -> Result<()> {
    let mut faults = Faults::default();
    faults.name("shot", &shot.name, LONG_NAME);
    faults.count("cameras", shot.cameras.len(), CAMERAS);
    faults.count("hero", shot.hero.len(), HEROES);
    faults.count("passes", shot.passes.len(), PASSES);
    cameras::check(&shot.cameras, &mut faults);
    scene::check(shot, &mut faults);
    lines::check(&shot.ground, &shot.passes, &mut faults);
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
        PIXELS,
        "0.5 is the default",
    );
    if let Some(pixels) = shot.resolve.triangle_pixels {
        let hint = "2 is finer than the eye tells in a still; leave it out for every piece in full";
        faults.above("resolve.triangle_pixels", pixels, TRIANGLE_PIXELS, hint);
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
    for (place, most) in [
        ("budget.pieces", shot.budget.pieces),
        ("budget.triangles", shot.budget.triangles),
        ("budget.memory", shot.budget.memory.bytes()),
    ] {
        if most < LEAST_BUDGET {
            faults.add(
                place,
                format!("a budget of {most} leaves no room for anything"),
                format!("at least {LEAST_BUDGET}; leave it out for the default"),
            );
        }
    }
}
