//! Light as the document has it: what kind of sky, and where the sun stands.

use std::fmt;
use std::str::FromStr;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::{Deserialize, Serialize};

use super::bounds::{AHEAD, CANDELA, HOUR, KELVIN};
use crate::sun::{self, Moment};
use crate::units::{Angle, Length};

/// What lights the shot: the kind of sky, and where the sun stands, by `sun` or by `day`.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(extend("not" = { "required": ["sun", "day"] }))]
pub struct Light {
    /// Kind of sky. Default sun.
    #[serde(default, skip_serializing_if = "Mood::is_sun")]
    pub mood: Mood,
    /// Direction of the sun; by night that of the moon. In the golden hour it stands 6 deg high at
    /// most, at dusk 3 deg under the horizon, at the azimuth that is given. Default 140 deg, 35
    /// deg.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sun: Option<Sun>,
    /// Place, date and hour that the sun's direction follows from, instead of `sun`. The mood must
    /// fit: golden-hour from sunrise to 10 deg high, dusk from sunset to 6 deg under the horizon.
    /// The moon is full: it stands opposite.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub day: Option<Day>,
    /// The lamp that burns by night. Default one beside the first hero, or beside what the first
    /// camera looks at.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lamp: Option<Lamp>,
}

/// Kind of sky.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Mood {
    /// Sun in a clear sky.
    #[default]
    Sun,
    /// Low, warm sun in a clear sky: long shadows.
    GoldenHour,
    /// Clouds all over: no shadows but those of nearness.
    Overcast,
    /// The sun just under the horizon: a bright band where it set, a blue sky over it.
    Dusk,
    /// Full moon, and a lamp.
    Night,
}

/// The highest that the sun stands in the golden hour where a shot gives its direction, degrees
/// (common practice, no source).
const GOLDEN_DEG: f64 = 6.0;
/// The highest sun of a `day` that still counts as golden hour, degrees: from there on its light is
/// hardly warmer than at noon.
pub(super) const GOLDEN_DAY_DEG: f64 = 10.0;
/// How far the sun stands under the horizon at dusk where a shot gives its direction, degrees: half
/// way through civil twilight.
const DUSK_DEG: f64 = 3.0;
/// The end of civil twilight, degrees under the horizon: from there on it is night.
pub(crate) const DUSK_END_DEG: f64 = 6.0;

impl Mood {
    /// Whether it is the default.
    fn is_sun(&self) -> bool {
        *self == Self::Sun
    }
}

/// Direction of the sun.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Sun {
    /// Azimuth where the sun stands, clockwise from -z seen from above. Default 140 deg.
    #[serde(default = "default_azimuth")]
    pub azimuth: Angle,
    /// Height over the horizon, above 0, to 90 deg. Default 35 deg.
    #[serde(default = "default_elevation")]
    #[schemars(schema_with = "crate::units::positive_angle")]
    pub elevation: Angle,
}

/// Behind the right shoulder of a camera that looks along -z.
fn default_azimuth() -> Angle {
    Angle::from_degrees(140.0)
}

/// Low enough to model the ground, high enough to keep shadows short.
fn default_elevation() -> Angle {
    Angle::from_degrees(35.0)
}

impl Default for Sun {
    fn default() -> Self {
        Self {
            azimuth: default_azimuth(),
            elevation: default_elevation(),
        }
    }
}

/// A place on Earth, a date and an hour. North is -z.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Day {
    /// North of the equator, -90 to 90 deg.
    pub latitude: Angle,
    /// East of Greenwich, -180 to 180 deg.
    pub longitude: Angle,
    /// Date, such as "2026-10-25".
    pub date: Date,
    /// Hour of the clock, 0 to 24: 16.5 is half past four.
    #[schemars(range(min = HOUR.least, max = HOUR.most))]
    pub hour: f64,
    /// Hours that the clock is ahead of UTC, -14 to 14. Default the local mean time: a fifteenth of
    /// the longitude.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = AHEAD.least, max = AHEAD.most))]
    pub ahead: Option<f64>,
}

/// A date of the Gregorian calendar.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Date {
    /// 1900 to 2200.
    pub year: i32,
    /// 1 to 12.
    pub month: u32,
    /// 1 to the month's last.
    pub day: u32,
}

impl FromStr for Date {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let fail = || format!("`{text}` is no date such as \"2026-10-25\", from 1900 to 2200");
        let parts: Vec<&str> = text.split('-').collect();
        let [year, month, day] = parts[..] else {
            return Err(fail());
        };
        let digits = |part: &str, length: usize| {
            (part.len() == length && part.bytes().all(|b| b.is_ascii_digit()))
                .then(|| part.parse::<u32>().ok())
                .flatten()
                .ok_or_else(fail)
        };
        let (year, month, day) = (digits(year, 4)?, digits(month, 2)?, digits(day, 2)?);
        let leap =
            year.is_multiple_of(4) && (!year.is_multiple_of(100) || year.is_multiple_of(400));
        let last = match month {
            2 => 28 + u32::from(leap),
            4 | 6 | 9 | 11 => 30,
            _ => 31,
        };
        if !(1900..=2200).contains(&year)
            || !(1..=12).contains(&month)
            || !(1..=last).contains(&day)
        {
            return Err(fail());
        }
        Ok(Self {
            year: year as i32,
            month,
            day,
        })
    }
}

impl fmt::Display for Date {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:04}-{:02}-{:02}", self.year, self.month, self.day)
    }
}

impl TryFrom<String> for Date {
    type Error = String;

    fn try_from(text: String) -> Result<Self, String> {
        text.parse()
    }
}

impl From<Date> for String {
    fn from(date: Date) -> Self {
        date.to_string()
    }
}

impl JsonSchema for Date {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        "Date".into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({
            "type": "string",
            "pattern": "^(19|20|21|22)[0-9]{2}-[0-9]{2}-[0-9]{2}$",
            "description": "Year, month and day, such as \"2026-10-25\", from 1900 to 2200."
        })
    }
}

/// A small warm lamp.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Lamp {
    /// Where it hangs in the world: x, y (up), z.
    pub at: [Length; 3],
    /// Luminous intensity in candela, above 0, to 1000: a candle flame has about one. Default 0.5.
    #[serde(default = "default_candela")]
    #[schemars(range(max = CANDELA.most), extend("exclusiveMinimum" = CANDELA.above))]
    pub candela: f64,
    /// Colour temperature in kelvin, 1000 to 10000. Default 2200, a flame behind glass.
    #[serde(default = "default_kelvin")]
    #[schemars(range(min = KELVIN.least, max = KELVIN.most))]
    pub kelvin: f64,
}

/// Half a candle: at half a metre eight times a full moon.
pub const DEFAULT_CANDELA: f64 = 0.5;
/// Between a candle (1900 K) and a bulb (2700 K).
pub const DEFAULT_KELVIN: f64 = 2200.0;

fn default_candela() -> f64 {
    DEFAULT_CANDELA
}

fn default_kelvin() -> f64 {
    DEFAULT_KELVIN
}

impl Light {
    /// Azimuth (clockwise from -z seen from above) and elevation of the sun in radians; by night of
    /// the moon. The elevation is below zero at dusk, and may be where a day says so.
    #[must_use]
    pub fn direction(&self) -> [f64; 2] {
        let Some(day) = self.day else {
            let sun = self.sun.unwrap_or_default();
            let [azimuth, elevation] = [sun.azimuth.radians(), sun.elevation.radians()];
            let elevation = match self.mood {
                Mood::Sun | Mood::Overcast | Mood::Night => elevation,
                Mood::GoldenHour => elevation.min(GOLDEN_DEG.to_radians()),
                Mood::Dusk => -DUSK_DEG.to_radians(),
            };
            return [azimuth, elevation];
        };
        let [azimuth, elevation] = day.sun();
        match self.mood {
            // A full moon stands opposite the sun
            Mood::Night => [azimuth + std::f64::consts::PI, -elevation],
            Mood::Sun | Mood::GoldenHour | Mood::Overcast | Mood::Dusk => [azimuth, elevation],
        }
    }
}

impl Day {
    /// Azimuth (clockwise from north) and elevation of the sun, radians.
    #[must_use]
    pub fn sun(&self) -> [f64; 2] {
        let longitude = self.longitude.degrees();
        sun::direction(&Moment {
            latitude: self.latitude.degrees(),
            longitude,
            date: [self.date.year, self.date.month as i32, self.date.day as i32],
            hour: self.hour - self.ahead.unwrap_or(longitude / 15.0),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dates_are_those_of_the_calendar() {
        assert!("2024-02-29".parse::<Date>().is_ok());
        assert!("2000-02-29".parse::<Date>().is_ok());
        for bad in [
            "2023-02-29",
            "2100-02-29",
            "2026-13-01",
            "2026-04-31",
            "2026-1-1",
            "1899-01-01",
            "26-10-2026",
            "+026-10-20",
            "",
        ] {
            assert!(bad.parse::<Date>().is_err(), "{bad}");
        }
        assert_eq!(
            "2026-10-25".parse::<Date>().unwrap().to_string(),
            "2026-10-25"
        );
    }

    #[test]
    fn a_full_moon_stands_opposite_the_sun() {
        let light = |mood: &str| -> Light {
            serde_json::from_str(&format!(
                r#"{{"mood":"{mood}","day":{{"latitude":"47 deg","longitude":"8 deg","date":"2026-06-21","hour":23}}}}"#
            ))
            .unwrap()
        };
        let ([sun, below], [moon, above]) = (light("sun").direction(), light("night").direction());
        assert!(below < 0.0 && (below + above).abs() < 1e-12);
        assert!(((moon - sun) / std::f64::consts::PI - 1.0).abs() < 1e-12);
    }

    #[test]
    fn local_mean_noon_has_the_sun_in_the_south_at_its_highest() {
        // Equinox: elevation 90 deg less the latitude (declination under 0.5 deg, equation of time
        // under 8 min)
        let day: Day = serde_json::from_str(
            r#"{"latitude":"40 deg","longitude":"-105 deg","date":"2026-03-20","hour":12}"#,
        )
        .unwrap();
        let [azimuth, elevation] = day.sun().map(f64::to_degrees);
        assert!((azimuth - 180.0).abs() < 4.0, "{azimuth}");
        assert!((elevation - 50.0).abs() < 0.6, "{elevation}");
    }
}
