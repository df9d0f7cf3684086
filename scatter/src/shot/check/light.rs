//! The light.

use super::faults::Faults;
use crate::shot::bounds::{AHEAD, CANDELA, HOUR, KELVIN, Within, within};
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
    // Also refuses what is no number; those have been told above
    if elevation <= 0.0 {
        let what = if light.mood == Mood::Night {
            ("moon", "an hour after sunset, or another mood")
        } else {
            ("sun", "an hour between sunrise and sunset, or mood night")
        };
        faults.add(
            "light.day.hour",
            format!(
                "at {} the {} is {:.1} deg under the horizon",
                day.hour,
                what.0,
                -elevation.to_degrees()
            ),
            what.1,
        );
    }
}
