//! Mixes: one population of sizes that several passes share, as the document has them.

use schemars::{JsonSchema, Schema, SchemaGenerator};
use serde::{Deserialize, Deserializer, Serialize, de};

use super::bounds::COVER;
use super::sizes::{Keys, Sizes};
use crate::size::SizeLaw;
use crate::units::Length;

/// One population of pieces by size, such as the gravel of a bar, of which passes take parts: sizes
/// run on from pass to pass without a step.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Mix {
    /// The size law of the whole.
    #[serde(flatten)]
    pub sizes: Sizes,
    /// Share of the ground's plan area under the whole, above 0, to 1.
    pub cover: f64,
}

impl<'de> Deserialize<'de> for Mix {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let keys = Keys::deserialize(deserializer)?;
        let sizes = keys.law(&["cover"])?;
        let missing = || de::Error::custom("a mix needs `cover`, the share of the ground under it");
        Ok(Self {
            sizes,
            cover: keys.cover.ok_or_else(missing)?,
        })
    }
}

impl JsonSchema for Mix {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        "Mix".into()
    }

    /// The schema of the size laws, each with `cover` beside its own keys.
    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        let mut schema = Sizes::json_schema(generator);
        let laws = schema.get_mut("oneOf").and_then(|l| l.as_array_mut());
        for law in laws.into_iter().flatten() {
            law["properties"]["cover"] = serde_json::json!({
                "description": "Share of the ground's plan area under the whole mix, above 0, to 1.",
                "type": "number",
                "exclusiveMinimum": COVER.above,
                "maximum": COVER.most
            });
            if let Some(required) = law["required"].as_array_mut() {
                required.push("cover".into());
            }
        }
        schema.insert(
            "description".into(),
            "One population of pieces by size, of which passes take parts: a size law and the share of the ground under the whole.".into(),
        );
        schema
    }
}

/// A part of a mix: its sizes in a range, with the cover that follows.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct MixPart {
    /// Name of one of the shot's mixes.
    pub mix: String,
    /// Smallest diameter, within the mix's range. Default its smallest.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(schema_with = "crate::units::positive_length", default)]
    pub from: Option<Length>,
    /// Largest diameter, within the mix's range. Default its largest. Parts of one mix must not
    /// overlap.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(schema_with = "crate::units::positive_length", default)]
    pub to: Option<Length>,
}

/// The keys of a part.
const PART_KEYS: [&str; 3] = ["mix", "from", "to"];

impl MixPart {
    /// Smallest and largest diameter of the part of `mix`.
    #[must_use]
    pub fn ends(&self, mix: &Mix) -> [Length; 2] {
        let [low, high] = mix.sizes.range().map(Length::from_metres);
        [self.from.unwrap_or(low), self.to.unwrap_or(high)]
    }
}

/// How large the pieces of a pass are: by a law of its own, or as a part of a mix.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
#[serde(untagged)]
pub enum PassSizes {
    /// A law of its own.
    Own(Sizes),
    /// A part of one of the shot's mixes. The pass then has neither `cover` nor `per_m2`: its cover
    /// follows from the mix.
    Part(MixPart),
}

impl PassSizes {
    /// The part of a mix, if it is one.
    #[must_use]
    pub fn part(&self) -> Option<&MixPart> {
        match self {
            Self::Own(_) => None,
            Self::Part(part) => Some(part),
        }
    }
}

impl<'de> Deserialize<'de> for PassSizes {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let keys = Keys::deserialize(deserializer)?;
        let Some(mix) = &keys.mix else {
            if !keys.has_law() {
                return Err(de::Error::custom(
                    "has neither `law` nor `mix`; sizes follow a law of their own or are a part of a mix",
                ));
            }
            return keys.law(&[]).map(Self::Own);
        };
        if keys.has_law() {
            return Err(de::Error::custom(
                "has both `law` and `mix`: a part of a mix has the mix's law",
            ));
        }
        if let Some(key) = keys.surplus(&PART_KEYS) {
            return Err(de::Error::custom(format!(
                "a part of a mix has no `{key}`; it takes {}",
                PART_KEYS.join(", ")
            )));
        }
        Ok(Self::Part(MixPart {
            mix: mix.clone(),
            from: keys.from,
            to: keys.to,
        }))
    }
}

/// The shares of a mix's plan area by size.
#[derive(Debug)]
pub(crate) struct Shares<'a> {
    mix: &'a Mix,
    area: SizeLaw,
}

impl<'a> Shares<'a> {
    pub(crate) fn new(mix: &'a Mix) -> Self {
        Self {
            mix,
            area: mix.sizes.law().by_area(),
        }
    }

    /// Share of the mix's plan area in a part, 0..=1.
    pub(crate) fn of(&self, part: &MixPart) -> f64 {
        let [from, to] = part.ends(self.mix).map(Length::metres);
        if self.area.from() >= self.area.to() {
            // Equal pieces are all in it
            return 1.0;
        }
        self.area.finer_than(to) - self.area.finer_than(from)
    }
}
