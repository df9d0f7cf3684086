//! Where the sun stands at a place and moment.
//!
//! Algorithm: Reda and Andreas, "Solar position algorithm for solar radiation applications", 2004
//! (NREL/TP-560-34302), from the crate `solar-positioning`.

use solar_positioning::time::JulianDate;
use solar_positioning::{Location, RefractionCorrection, SolarPositions};

/// A place on Earth and a moment in UTC.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Moment {
    /// Degrees north.
    pub latitude: f64,
    /// Degrees east.
    pub longitude: f64,
    /// Year, month, day.
    pub date: [i32; 3],
    /// Hours since the date's midnight in UTC; may lie outside 0..24.
    pub hour: f64,
}

/// Angles are rounded to this, degrees: far below the sun's own disc, far above what rounding in
/// the algorithm could differ by, so that what is made for a shadow's sake does not hang on last
/// bits.
const STEP_DEG: f64 = 1e-6;

/// Azimuth clockwise from north and elevation over the horizon in radians, at sea level, lifted by
/// the refraction of the standard atmosphere. A place or date that is none gives a sun straight
/// below.
#[must_use]
pub fn direction(moment: &Moment) -> [f64; 2] {
    let [azimuth, zenith] = julian(moment)
        .and_then(|at| topocentric(at, moment, 0.0, RefractionCorrection::standard()))
        .unwrap_or([0.0, 180.0]);
    [azimuth, 90.0 - zenith].map(|d| (libm::round(d / STEP_DEG) * STEP_DEG).to_radians())
}

/// The moment as a Julian date.
fn julian(moment: &Moment) -> Option<JulianDate> {
    let [year, month, day] = moment.date;
    let month = u32::try_from(month).ok()?;
    let day = u32::try_from(day).ok()?;
    let midnight = JulianDate::from_utc_simple(year, month, day, 0, 0, 0.0).ok()?;
    let lag = solar_positioning::delta_t::estimate_from_date(year, month).ok()?;
    JulianDate::new(midnight.julian_date() + moment.hour / 24.0, lag).ok()
}

/// Azimuth and zenith angle seen from `height` metres over the sea, degrees.
fn topocentric(
    at: JulianDate,
    moment: &Moment,
    height: f64,
    refraction: RefractionCorrection,
) -> Option<[f64; 2]> {
    let place = Location {
        latitude: moment.latitude,
        longitude: moment.longitude,
    };
    let seen = SolarPositions::new()
        .at_from_julian(at, place, height, Some(refraction))
        .ok()?;
    Some([seen.azimuth(), seen.zenith_angle()])
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The worked example of Reda and Andreas 2004 (appendix A.5): zenith 50.11162 deg, azimuth
    /// 194.34024 deg; figures from memory of the paper, the same to 1e-5 by an independent
    /// implementation (pvlib 0.16.1, `spa_python`). The crate takes the refraction at the horizon
    /// into its own formula.
    #[test]
    fn the_worked_example_of_the_algorithm() {
        let moment = Moment {
            latitude: 39.742_476,
            longitude: -105.178_6,
            date: [2003, 10, 17],
            hour: 12.0 + 30.5 / 60.0 + 7.0,
        };
        let midnight = JulianDate::from_utc_simple(2003, 10, 17, 0, 0, 0.0).unwrap();
        let at = JulianDate::new(midnight.julian_date() + moment.hour / 24.0, 67.0).unwrap();
        let air = RefractionCorrection::new(820.0, 11.0).unwrap();
        let [azimuth, zenith] = topocentric(at, &moment, 1830.14, air).unwrap();
        assert!((zenith - 50.111_62).abs() < 1e-5, "{zenith}");
        assert!((azimuth - 194.340_24).abs() < 1e-5, "{azimuth}");
        // By the public way: at sea level, standard air, lag by the crate's estimate
        let [azimuth, elevation] = direction(&moment).map(f64::to_degrees);
        assert!((azimuth - 194.340_24).abs() < 1e-3, "{azimuth}");
        assert!((elevation - (90.0 - 50.111_62)).abs() < 0.01, "{elevation}");
    }
}
