//! Lengths, angles and amounts of memory as people type them: `"4 mm"`, `"35 deg"`, `"8 GB"`.
//!
//! A plain number is in metres, degrees or bytes. Inside, a [`Length`] is in metres and an
//! [`Angle`] in radians. Powers of ten are applied by one division or multiplication by an exact
//! number, so that `"4 mm"` and `0.004` are the same bits.

use std::f64::consts::PI;
use std::fmt;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::de::{self, Deserializer, Visitor};
use serde::{Deserialize, Serialize, Serializer};

/// What a length looks like; said in every message about one.
pub const LENGTH_FORM: &str = "a length: a text such as \"4 mm\", \"2 cm\", \"0.6 m\" or \"1.2 km\", or a plain number of metres";
/// What an angle looks like.
pub const ANGLE_FORM: &str =
    "an angle: a text such as \"35 deg\" or \"0.6 rad\", or a plain number of degrees";
/// What an amount of memory looks like.
pub const BYTES_FORM: &str =
    "an amount of memory: a text such as \"8 GB\" or \"512 MiB\", or a plain number of bytes";

/// A length in metres. Always finite.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Default)]
pub struct Length(f64);

/// An angle in radians. Always finite.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Default)]
pub struct Angle(f64);

/// An amount of memory in bytes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default)]
pub struct Bytes(u64);

impl Length {
    /// `metres`; what is not finite becomes zero.
    #[must_use]
    pub fn from_metres(metres: f64) -> Self {
        Self(if metres.is_finite() { metres } else { 0.0 })
    }

    /// `millimetres`; what is not finite becomes zero.
    #[must_use]
    pub fn from_millimetres(millimetres: f64) -> Self {
        Self::from_metres(millimetres / 1e3)
    }

    /// In metres.
    #[must_use]
    pub const fn metres(self) -> f64 {
        self.0
    }

    /// Reads a typed length with its unit.
    ///
    /// # Errors
    /// A message that says what was found and what is accepted.
    pub fn parse(text: &str) -> Result<Self, String> {
        let (number, unit) = split(text, LENGTH_FORM)?;
        let metres = match unit {
            "mm" => number / 1e3,
            "cm" => number / 1e2,
            "m" => number,
            "km" => number * 1e3,
            _ => return Err(wrong_unit(text, unit, LENGTH_FORM)),
        };
        finite(metres, text, LENGTH_FORM).map(Self)
    }
}

impl Angle {
    /// `radians`; what is not finite becomes zero.
    #[must_use]
    pub fn from_radians(radians: f64) -> Self {
        Self(if radians.is_finite() { radians } else { 0.0 })
    }

    /// `degrees`; what is not finite becomes zero.
    #[must_use]
    pub fn from_degrees(degrees: f64) -> Self {
        Self::from_radians(degrees * PI / 180.0)
    }

    /// In radians.
    #[must_use]
    pub const fn radians(self) -> f64 {
        self.0
    }

    /// In degrees.
    #[must_use]
    pub fn degrees(self) -> f64 {
        self.0 * 180.0 / PI
    }

    /// Reads a typed angle with its unit.
    ///
    /// # Errors
    /// A message that says what was found and what is accepted.
    pub fn parse(text: &str) -> Result<Self, String> {
        let (number, unit) = split(text, ANGLE_FORM)?;
        let radians = match unit {
            "deg" => number * PI / 180.0,
            "rad" => number,
            _ => return Err(wrong_unit(text, unit, ANGLE_FORM)),
        };
        finite(radians, text, ANGLE_FORM).map(Self)
    }
}

/// Units of memory, largest last: decimal and binary prefixes.
const BYTE_UNITS: [(&str, u64); 9] = [
    ("B", 1),
    ("kB", 1_000),
    ("KiB", 1 << 10),
    ("MB", 1_000_000),
    ("MiB", 1 << 20),
    ("GB", 1_000_000_000),
    ("GiB", 1 << 30),
    ("TB", 1_000_000_000_000),
    ("TiB", 1 << 40),
];

/// Whole numbers up to here are exact in an f64.
const EXACT_IN_F64: f64 = 9_007_199_254_740_992.0;

impl Bytes {
    /// An amount of memory of this many bytes.
    #[must_use]
    pub const fn new(bytes: u64) -> Self {
        Self(bytes)
    }

    /// In bytes.
    #[must_use]
    pub const fn bytes(self) -> u64 {
        self.0
    }

    /// Reads a typed amount with its unit.
    ///
    /// # Errors
    /// A message that says what was found and what is accepted.
    pub fn parse(text: &str) -> Result<Self, String> {
        let (number, unit) = split(text, BYTES_FORM)?;
        let Some((_, factor)) = BYTE_UNITS.iter().find(|(name, _)| *name == unit) else {
            return Err(wrong_unit(text, unit, BYTES_FORM));
        };
        Self::from_number(number * *factor as f64)
    }

    /// A whole number of bytes that an f64 holds exactly; fractions are rounded.
    fn from_number(bytes: f64) -> Result<Self, String> {
        if !(0.0..=EXACT_IN_F64).contains(&bytes) {
            return Err(format!(
                "{bytes} bytes is not between 0 and {EXACT_IN_F64}; expected {BYTES_FORM}"
            ));
        }
        // In range by the check above.
        Ok(Self(bytes.round() as u64))
    }
}

/// Splits typed text into its number and its unit.
fn split<'a>(text: &'a str, form: &str) -> Result<(f64, &'a str), String> {
    let body = text.trim_matches(' ');
    let bytes = body.as_bytes();
    // The unit starts at the first letter that is not the exponent's `e`.
    let start = bytes
        .iter()
        .enumerate()
        .position(|(i, c)| {
            let exponent = matches!(c, b'e' | b'E')
                && i > 0
                && bytes
                    .get(i + 1)
                    .is_some_and(|n| n.is_ascii_digit() || matches!(n, b'+' | b'-'));
            !(c.is_ascii_digit() || matches!(c, b'+' | b'-' | b'.') || exponent)
        })
        .unwrap_or(bytes.len());
    let (number, unit) = (&body[..start], body[start..].trim_matches(' '));
    if has_decimal_comma(text) {
        return Err(comma(text, form));
    }
    match number.parse::<f64>() {
        Ok(value) if unit.is_empty() => Err(format!(
            "{text:?} has no unit; expected {form} ({value} without the quotes)"
        )),
        Ok(value) => finite(value, text, form).map(|value| (value, unit)),
        Err(_) => Err(format!("found {text:?}; expected {form}")),
    }
}

/// Whether a comma stands between two digits.
fn has_decimal_comma(text: &str) -> bool {
    text.as_bytes()
        .windows(3)
        .any(|w| w[0].is_ascii_digit() && w[1] == b',' && w[2].is_ascii_digit())
}

fn comma(text: &str, form: &str) -> String {
    let dotted = text.trim_matches(' ').replace(',', ".");
    format!("{text:?} has a decimal comma: write {dotted:?}; expected {form}")
}

/// Units of length that are common and not read, in millimetres: the international inch, foot and
/// yard of 1959, and the micrometre.
const OTHER_LENGTHS: [(&str, f64); 7] = [
    ("in", 25.4),
    ("inch", 25.4),
    ("\"", 25.4),
    ("ft", 304.8),
    ("yd", 914.4),
    ("um", 1e-3),
    ("\u{b5}m", 1e-3),
];

fn wrong_unit(text: &str, unit: &str, form: &str) -> String {
    let known = OTHER_LENGTHS.iter().find(|(name, _)| *name == unit);
    if let Some((_, millimetres)) = known.filter(|_| form == LENGTH_FORM)
        && let Ok((number, _)) = split(text, form)
    {
        // To a thousandth of a micrometre, without the digits that a multiplication adds
        let in_mm = (number * millimetres * 1e6).round() / 1e6;
        return format!("lengths are metric: {text:?} is \"{in_mm} mm\"; expected {form}");
    }
    format!("unknown unit {unit:?} in {text:?}; expected {form}")
}

fn finite(value: f64, text: &str, form: &str) -> Result<f64, String> {
    if value.is_finite() {
        Ok(value)
    } else {
        Err(format!("{text:?} is not a finite number; expected {form}"))
    }
}

/// Typed text of `value`: the first of `units` whose rounded text reads back as the same bits, else
/// the shortest exact text in `exact_unit`.
fn readable(
    value: f64,
    units: &[(&str, f64)],
    exact_unit: &str,
    read: impl Fn(&str) -> Option<f64>,
) -> String {
    for (unit, in_unit) in units {
        // Twelve digits hide the last bits of a conversion; reading back shows whether they
        // mattered.
        let rounded = format!("{in_unit:.11e}").parse::<f64>().unwrap_or(*in_unit);
        let text = format!("{rounded} {unit}");
        if read(&text) == Some(value) {
            return text;
        }
    }
    format!("{value} {exact_unit}")
}

impl fmt::Display for Length {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let v = self.0;
        // Millimetres read best below 10 cm.
        let units: &[(&str, f64)] = if v.abs() < 0.1 && v != 0.0 {
            &[("mm", v * 1e3), ("m", v)]
        } else {
            &[("m", v)]
        };
        let read = |t: &str| Self::parse(t).ok().map(Self::metres);
        f.write_str(&readable(v, units, "m", read))
    }
}

impl fmt::Display for Angle {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let read = |t: &str| Self::parse(t).ok().map(Self::radians);
        f.write_str(&readable(self.0, &[("deg", self.degrees())], "rad", read))
    }
}

impl fmt::Display for Bytes {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (unit, factor) = BYTE_UNITS
            .iter()
            .rev()
            .find(|(_, factor)| self.0 >= *factor && self.0.is_multiple_of(*factor))
            .unwrap_or(&BYTE_UNITS[0]);
        write!(f, "{} {unit}", self.0 / factor)
    }
}

/// Text forms of `serde` and of the schema, alike for the three.
macro_rules! typed_text {
    ($type:ty, $form:expr, $from_number:expr) => {
        impl Serialize for $type {
            fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
                serializer.collect_str(self)
            }
        }

        impl<'de> Deserialize<'de> for $type {
            fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
                struct Typed;
                impl Visitor<'_> for Typed {
                    type Value = $type;

                    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                        f.write_str($form)
                    }

                    fn visit_str<E: de::Error>(self, text: &str) -> Result<Self::Value, E> {
                        <$type>::parse(text).map_err(E::custom)
                    }

                    fn visit_f64<E: de::Error>(self, number: f64) -> Result<Self::Value, E> {
                        $from_number(number).map_err(E::custom)
                    }

                    fn visit_u64<E: de::Error>(self, number: u64) -> Result<Self::Value, E> {
                        $from_number(number as f64).map_err(E::custom)
                    }

                    fn visit_i64<E: de::Error>(self, number: i64) -> Result<Self::Value, E> {
                        $from_number(number as f64).map_err(E::custom)
                    }
                }
                deserializer.deserialize_any(Typed)
            }
        }
    };
}

typed_text!(Length, LENGTH_FORM, |metres: f64| finite(
    metres,
    &metres.to_string(),
    LENGTH_FORM
)
.map(Length));
typed_text!(Angle, ANGLE_FORM, |degrees: f64| finite(
    degrees * PI / 180.0,
    &degrees.to_string(),
    ANGLE_FORM
)
.map(Angle));
typed_text!(Bytes, BYTES_FORM, Bytes::from_number);

/// A number as the parser takes it, for JSON Schema patterns.
const NUMBER: &str = r"([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]+)?";
/// Looks ahead for a digit above zero in front of the exponent and the unit.
const ABOVE_ZERO: &str = r"(?=[0-9.]*[1-9])";
const LENGTH_UNITS: &str = "(mm|cm|m|km)";
const ANGLE_UNITS: &str = "(deg|rad)";

fn typed_schema(sign: &str, units: &str, form: &str) -> Schema {
    json_schema!({
        "description": form,
        "anyOf": [
            { "type": "number" },
            { "type": "string", "pattern": format!("^ *{sign}{NUMBER} *{units} *$") }
        ]
    })
}

impl JsonSchema for Length {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        "Length".into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        typed_schema("[+-]?", LENGTH_UNITS, LENGTH_FORM)
    }
}

impl JsonSchema for Angle {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        "Angle".into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        typed_schema("[+-]?", ANGLE_UNITS, ANGLE_FORM)
    }
}

impl JsonSchema for Bytes {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        "Bytes".into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        let units = "(B|kB|KiB|MB|MiB|GB|GiB|TB|TiB)";
        let mut schema = typed_schema(r"\+?", units, BYTES_FORM);
        if let Some(number) = schema.pointer_mut("/anyOf/0") {
            number["minimum"] = 0.into();
        }
        schema
    }
}

/// Schema of a length above zero.
#[must_use]
pub fn positive_length(_: &mut SchemaGenerator) -> Schema {
    above_zero(
        LENGTH_UNITS,
        "a length above zero: a text such as \"4 mm\" or \"0.6 m\", or a plain number of metres",
    )
}

/// Schema of two lengths above zero.
#[must_use]
pub fn positive_length_pair(generator: &mut SchemaGenerator) -> Schema {
    json_schema!({
        "type": "array",
        "items": positive_length(generator),
        "minItems": 2,
        "maxItems": 2
    })
}

/// Schema of a length of at least zero.
#[must_use]
pub fn length_from_zero(_: &mut SchemaGenerator) -> Schema {
    let mut schema = typed_schema(
        r"\+?",
        LENGTH_UNITS,
        "a length of at least zero: a text such as \"4 mm\" or \"0.6 m\", or a plain number of metres",
    );
    if let Some(number) = schema.pointer_mut("/anyOf/0") {
        number["minimum"] = 0.into();
    }
    schema
}

/// Schema of an angle above zero.
#[must_use]
pub fn positive_angle(_: &mut SchemaGenerator) -> Schema {
    above_zero(
        ANGLE_UNITS,
        "an angle above zero: a text such as \"35 deg\" or \"0.6 rad\", or a plain number of degrees",
    )
}

fn above_zero(units: &str, form: &str) -> Schema {
    let mut schema = typed_schema(&format!(r"\+?{ABOVE_ZERO}"), units, form);
    if let Some(number) = schema.pointer_mut("/anyOf/0") {
        number["exclusiveMinimum"] = 0.into();
    }
    schema
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn typed_lengths_are_the_bits_of_their_metres() {
        for (text, metres) in [
            ("4 mm", 0.004),
            ("60mm", 0.06),
            (" 2.5 cm ", 0.025),
            ("0.35 m", 0.35),
            ("1.2 km", 1200.0),
            ("-5 mm", -0.005),
            ("1e-3 m", 0.001),
            ("1E+2 mm", 0.1),
            (".5 m", 0.5),
        ] {
            assert_eq!(
                Length::parse(text).map(Length::metres),
                Ok(metres),
                "{text}"
            );
        }
    }

    #[test]
    fn what_is_no_length_is_refused_with_the_accepted_form() {
        for text in [
            "", "mm", "4", "4 inch", "4 deg", "nan m", "inf m", "NaN", "1e999 m", "4 mm 3",
            "4,5 mm", "--4 mm", "4 MM", "e3 m", "½ m", "0x10 m", "1e m",
        ] {
            let message = Length::parse(text).expect_err(text);
            assert!(message.contains(LENGTH_FORM), "{text}: {message}");
        }
    }

    #[test]
    fn angles_are_radians_inside_and_numbers_are_degrees() {
        assert_eq!(Angle::parse("180 deg").map(Angle::radians), Ok(PI));
        assert_eq!(Angle::parse("0.6 rad").map(Angle::radians), Ok(0.6));
        let plain: Angle = serde_json::from_str("90").unwrap();
        assert_eq!(plain.radians(), PI / 2.0);
        assert!(Angle::parse("35 mm").is_err(), "a length is no angle");
    }

    #[test]
    fn memory_takes_decimal_and_binary_prefixes() {
        assert_eq!(Bytes::parse("8 GB").map(Bytes::bytes), Ok(8_000_000_000));
        assert_eq!(Bytes::parse("1.5 KiB").map(Bytes::bytes), Ok(1536));
        assert!(Bytes::parse("-1 GB").is_err(), "negative memory");
        assert!(Bytes::parse("8 Gb").is_err(), "bits");
        assert!(
            serde_json::from_str::<Bytes>("-1").is_err(),
            "negative number"
        );
        assert_eq!(Bytes::new(8_000_000_000).to_string(), "8 GB");
        assert_eq!(Bytes::new(1 << 30).to_string(), "1 GiB");
    }

    #[test]
    fn written_text_reads_back_as_the_same_bits() {
        let mut v = 1.0e-7;
        while v < 2e5 {
            for x in [v, -v, v * 1.1, v / 3.0, v * PI] {
                let length = Length::from_metres(x);
                assert_eq!(Length::parse(&length.to_string()), Ok(length));
                let angle = Angle::from_degrees(x);
                assert_eq!(Angle::parse(&angle.to_string()), Ok(angle));
            }
            v *= 1.7;
        }
        assert_eq!(Length::from_millimetres(60.0).to_string(), "60 mm");
        assert_eq!(Length::from_metres(0.35).to_string(), "0.35 m");
        assert_eq!(Angle::from_degrees(35.0).to_string(), "35 deg");
        assert_eq!(Length::default().to_string(), "0 m");
    }
}
