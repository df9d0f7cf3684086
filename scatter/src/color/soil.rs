//! SoilTone: its colour, by name or as an sRGB colour, and its grain.

use std::fmt;
use std::str::FromStr;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::{Deserialize, Serialize};

use super::lab::linear_of_lab;

/// The colour of dry soil. Each is a Munsell colour, hue value/chroma, of the range that soils
/// have: hues 5YR to 10YR mostly, values dry 4 to 7, chromas 2 to 6 (USDA, "SoilTone survey manual":
/// ranges, from memory).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum SoilColor {
    /// 10YR 4/2: mould, garden earth.
    DarkBrown,
    /// 10YR 5/4: loam.
    Brown,
    /// 10YR 6/6: loess, weathered sandstone.
    YellowBrown,
    /// 5YR 5/6: earth of warm, dry lands.
    Red,
    /// 10YR 6/2: river silt, rock flour.
    Grey,
    /// 10YR 7/3: chalk, dry dust.
    Pale,
}

impl SoilColor {
    /// L*, a* and b* of the dry soil. L* by the value, after the Munsell renotation (4 is 41, 5 is
    /// 51, 6 is 61, 7 is 71); hue and chroma in L*a*b*, about 5.8 a step of chroma at 74 degrees
    /// for 10YR and at 58 for 5YR: from memory.
    #[must_use]
    pub(crate) const fn lab(self) -> [f32; 3] {
        match self {
            Self::DarkBrown => [41.0, 3.2, 11.2],
            Self::Brown => [51.0, 6.4, 22.3],
            Self::YellowBrown => [61.0, 9.6, 33.5],
            Self::Red => [51.0, 18.4, 29.5],
            Self::Grey => [61.0, 3.2, 11.2],
            Self::Pale => [71.0, 4.8, 16.7],
        }
    }
}

/// A colour of sRGB, as `#rrggbb`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct HexColor(pub [u8; 3]);

impl HexColor {
    /// Linear red, green and blue (IEC 61966-2-1).
    #[must_use]
    pub fn linear(self) -> [f32; 3] {
        self.0.map(|byte| {
            let c = f64::from(byte) / 255.0;
            let linear = if c <= 0.04045 {
                c / 12.92
            } else {
                libm::pow((c + 0.055) / 1.055, 2.4)
            };
            linear as f32
        })
    }
}

impl FromStr for HexColor {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let fail = || format!("`{text}` is no colour such as \"#8a7358\"");
        let digits = text.strip_prefix('#').ok_or_else(fail)?;
        let whole = digits.len() == 6 && digits.bytes().all(|b| b.is_ascii_hexdigit());
        let number = u32::from_str_radix(digits, 16).ok().filter(|_| whole);
        let [_, r, g, b] = number.ok_or_else(fail)?.to_be_bytes();
        Ok(Self([r, g, b]))
    }
}

impl fmt::Display for HexColor {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let [r, g, b] = self.0;
        write!(f, "#{r:02x}{g:02x}{b:02x}")
    }
}

impl TryFrom<String> for HexColor {
    type Error = String;

    fn try_from(text: String) -> Result<Self, String> {
        text.parse()
    }
}

impl From<HexColor> for String {
    fn from(color: HexColor) -> Self {
        color.to_string()
    }
}

impl JsonSchema for HexColor {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        "HexColor".into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({
            "type": "string",
            "pattern": "^#[0-9a-fA-F]{6}$",
            "description": "A colour of sRGB as red, green and blue, two hexadecimal digits each, such as \"#8a7358\"."
        })
    }
}

/// What stands for the colour of soil in a document.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(untagged)]
pub enum SoilTone {
    /// By name.
    Named(SoilColor),
    /// As a colour of sRGB.
    Hex(HexColor),
}

impl SoilTone {
    /// Diffuse albedo of the dry soil, linear.
    #[must_use]
    pub fn albedo(self) -> [f32; 3] {
        let color = match self {
            Self::Named(name) => linear_of_lab(name.lab()),
            Self::Hex(hex) => hex.linear(),
        };
        // Nothing is darker than soot or paler than snow
        color.map(|c| c.clamp(0.01, 0.9))
    }
}

impl<'de> Deserialize<'de> for SoilTone {
    fn deserialize<D: serde::Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        use serde::de::Error;
        use serde::de::IntoDeserializer;
        let text = String::deserialize(from)?;
        if text.starts_with('#') {
            return text.parse().map(Self::Hex).map_err(D::Error::custom);
        }
        let name: Result<_, serde::de::value::Error> =
            SoilColor::deserialize(text.as_str().into_deserializer());
        name.map(Self::Named).map_err(|_| {
            D::Error::custom(format!(
                "`{text}` is no soil: one of dark-brown, brown, yellow-brown, red, grey, pale, or a colour such as \"#8a7358\""
            ))
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::color::{lab_of_linear, wet};

    const ALL: [SoilColor; 6] = [
        SoilColor::DarkBrown,
        SoilColor::Brown,
        SoilColor::YellowBrown,
        SoilColor::Red,
        SoilColor::Grey,
        SoilColor::Pale,
    ];

    /// Luminance of Munsell values (Newhall, Nickerson and Judd 1943, by their polynomial): 4 is
    /// 11.7 %, 5 19.3, 6 29.3, 7 42.0. Wet soil is one to two steps of value darker, 8 to 14 of L*
    /// (USDA, "SoilTone survey manual": the direction; the steps from memory).
    #[test]
    fn soils_have_the_luminance_of_their_value_and_fall_when_wet() {
        let values = [4, 5, 6, 5, 6, 7];
        for (name, value) in ALL.into_iter().zip(values) {
            let color = SoilTone::Named(name).albedo();
            let luminance = 0.2126 * color[0] + 0.7152 * color[1] + 0.0722 * color[2];
            let known = [0.117, 0.193, 0.293, 0.42][value - 4];
            assert!(
                (luminance / known - 1.0).abs() < 0.03,
                "{name:?}: {luminance}"
            );
            let fall = lab_of_linear(color)[0] - lab_of_linear(color.map(wet))[0];
            assert!((8.0..=14.5).contains(&fall), "{name:?} falls by {fall}");
        }
    }

    #[test]
    fn colours_are_read_by_name_and_by_digits() {
        let read = |text: &str| serde_json::from_str::<SoilTone>(text);
        assert_eq!(read("\"red\"").unwrap(), SoilTone::Named(SoilColor::Red));
        assert_eq!(
            read("\"#8A7358\"").unwrap(),
            SoilTone::Hex(HexColor([0x8a, 0x73, 0x58]))
        );
        for bad in ["\"#8a735\"", "\"#8a73588\"", "\"#+a7358\"", "\"mud\"", "7"] {
            assert!(read(bad).is_err(), "{bad}");
        }
    }
}
