//! The shade.

use super::faults::Faults;
use crate::shot::bounds::{LIT, MAX_FLECK_M, SOFTNESS_M};
use crate::shot::{Mood, SHADE, Shot};

pub(super) fn check(shot: &Shot, faults: &mut Faults) {
    let Some(shade) = &shot.shade else { return };
    let sunless = match shot.light.mood {
        Mood::Sun | Mood::GoldenHour | Mood::Night => None,
        Mood::Overcast => Some("an overcast sky"),
        Mood::Dusk => Some("dusk"),
    };
    if let Some(sunless) = sunless {
        faults.add(
            "shade",
            format!("{sunless} has no sun, and without one there are no flecks"),
            "mood sun, golden-hour or night, or leave `shade` out",
        );
    }
    let note = "0.35 is a light wood";
    faults.within("shade.lit", shade.lit, LIT, note);
    faults.length("shade.softness", shade.softness, SOFTNESS_M);
    faults.positive_length("shade.fleck", shade.fleck, MAX_FLECK_M);
    if shade.fleck < shade.softness {
        faults.add(
            "shade.fleck",
            format!(
                "flecks of {} are smaller than the softness of {}: no fleck is smaller than the sun's own image",
                shade.fleck, shade.softness
            ),
            "larger flecks, or less softness: nearer leaves",
        );
    }
    for (i, pass) in shot.passes.iter().enumerate() {
        if pass.name == SHADE {
            faults.add(
                format!("passes[{i}].name"),
                format!("`{SHADE}` is the name of the shot's own shade"),
                "another name for the pass, or leave `shade` out",
            );
        }
    }
}
