//! The light.

use super::faults::Faults;
use crate::shot::bounds::{AHEAD, CANDELA, HOUR, KELVIN, Within, within};
use crate::shot::light::{DUSK_END_DEG, GOLDEN_DAY_DEG};
use crate::shot::{Light, Mood};
use crate::units::Angle;

/// Pole to pole, degrees.
const LATITUDE_DEG: Within<f64> = within(-90.0, 90.0);
/// Half the globe each way, degrees.
const LONGITUDE_DEG: Within<f64> = within(-180.0, 180.0);

pub(super) fn check(light: &Light, faults: &mut Faults) {
    if let Some(sun) = light.sun {
        faults.azimuth("light.sun.azimuth", sun.azimuth);
        if !(sun.elevation.radians() > 0.0 && sun.elevation <= Angle::from_degrees(90.0)) {
            faults.add(
                "light.sun.elevation",
                format!("{} is out of range", sun.elevation),
                "above 0 deg (the horizon), to 90 deg",
            );
        }
        if light.day.is_some() {
            faults.add(
                "light",
                "has both `sun` and `day`",
                "leave out one of `sun` and `day`",
            );
        }
    }
    if light.day.is_some() {
        day(light, faults);
    }
    if let Some(lamp) = light.lamp {
        faults.place("light.lamp.at", lamp.at);
        let note = "a candle has about 1";
        faults.above("light.lamp.candela", lamp.candela, CANDELA, note);
        faults.within(
            "light.lamp.kelvin",
            lamp.kelvin,
            KELVIN,
            "2200 is a flame behind glass",
        );
    }
}

fn day(light: &Light, faults: &mut Faults) {
    let Some(day) = light.day else { return };
    faults.angle("light.day.latitude", day.latitude, LATITUDE_DEG);
    faults.angle("light.day.longitude", day.longitude, LONGITUDE_DEG);
    faults.within("light.day.hour", day.hour, HOUR, "16.5 is half past four");
    if let Some(ahead) = day.ahead {
        faults.within("light.day.ahead", ahead, AHEAD, "hours ahead of UTC");
    }
    let [_, elevation] = light.direction();
    let degrees = elevation.to_degrees();
    let (least, most) = fitting(light.mood);
    // Also refuses what is no number; those have been told above
    if degrees > least && degrees <= most {
        return;
    }
    let (what, hint) = match light.mood {
        Mood::Sun | Mood::Overcast => (
            "sun",
            "an hour between sunrise and sunset, or mood dusk or night",
        ),
        Mood::GoldenHour => ("sun", "an hour after sunrise or before sunset, or mood sun"),
        Mood::Dusk => ("sun", "half an hour after sunset, or mood sun or night"),
        Mood::Night => ("moon", "an hour after sunset, or another mood"),
    };
    let side = if degrees > 0.0 { "over" } else { "under" };
    faults.add(
        "light.day.hour",
        format!(
            "at {} the {what} is {:.1} deg {side} the horizon",
            day.hour,
            degrees.abs()
        ),
        hint,
    );
}

/// Over how many degrees the sun must stand, by night the moon, and how high it may.
fn fitting(mood: Mood) -> (f64, f64) {
    match mood {
        Mood::Sun | Mood::Overcast | Mood::Night => (0.0, 90.0),
        Mood::GoldenHour => (0.0, GOLDEN_DAY_DEG),
        Mood::Dusk => (-DUSK_END_DEG, 0.0),
    }
}
