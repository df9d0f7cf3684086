//! The shade.

use super::faults::Faults;
use crate::shot::{Mood, SHADE, Shot};

/// Shares of the sun that a canopy can be worked out for: below, the flecks lie too far apart to be
/// seen in one frame; above, no shade is left between them.
const LIT: [f64; 2] = [0.02, 0.9];
/// Softness, metres: leaves from 0.4 m to 54 m away.
const SOFTNESS: [f64; 2] = [0.004, 0.5];
/// Largest fleck, metres: wider than that it is a clearing.
const LARGEST_FLECK: f64 = 1.0;

pub(super) fn check(shot: &Shot, faults: &mut Faults) {
    let Some(shade) = &shot.shade else { return };
    if shot.light.mood == Mood::Overcast {
        faults.add(
            "shade",
            "an overcast sky has no sun, and without one there are no flecks",
            "mood sun or night, or leave `shade` out",
        );
    }
    let note = "0.35 is a light wood";
    faults.within("shade.lit", shade.lit, LIT[0], LIT[1], note);
    faults.length("shade.softness", shade.softness, SOFTNESS[0], SOFTNESS[1]);
    faults.positive_length("shade.fleck", shade.fleck, LARGEST_FLECK);
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
