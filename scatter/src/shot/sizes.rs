//! Size laws as the document has them.

use schemars::JsonSchema;
use serde::{Deserialize, Deserializer, Serialize, de};

use crate::units::Length;

/// Distribution of diameters (b-axes).
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
#[serde(tag = "law", rename_all = "kebab-case", deny_unknown_fields)]
pub enum Sizes {
    /// Bounded power law: the number of pieces larger than d goes with d^-exponent.
    Power {
        /// D of N(>d) proportional to d^-D, -10 to 10; broken rock has 1.5 to 3.
        #[schemars(range(min = -10.0, max = 10.0))]
        exponent: f64,
        /// Smallest diameter, above zero.
        #[schemars(schema_with = "crate::units::positive_length")]
        from: Length,
        /// Largest diameter, at least `from`, at most 4096 times it.
        #[schemars(schema_with = "crate::units::positive_length")]
        to: Length,
    },
    /// Lognormal by number.
    Lognormal {
        /// Median diameter, above zero.
        #[schemars(schema_with = "crate::units::positive_length")]
        median: Length,
        /// Standard deviation of ln(diameter), 0 to 3.
        #[schemars(range(min = 0.0, max = 3.0))]
        spread: f64,
        /// Smallest diameter. Default: three standard deviations under the median.
        #[serde(skip_serializing_if = "Option::is_none")]
        #[schemars(schema_with = "crate::units::positive_length", default)]
        from: Option<Length>,
        /// Largest diameter. Default: three standard deviations over the median.
        #[serde(skip_serializing_if = "Option::is_none")]
        #[schemars(schema_with = "crate::units::positive_length", default)]
        to: Option<Length>,
    },
    /// Rosin-Rammler by mass, cut to a range: mass finer than d is 1 - exp(-(d / d63)^uniformity).
    RosinRammler {
        /// Diameter that 63.2% of the mass is finer than, above zero.
        #[schemars(schema_with = "crate::units::positive_length")]
        d63: Length,
        /// Uniformity exponent, 0.1 to 20; crushed rock has 0.7 to 1.5.
        #[schemars(range(min = 0.1, max = 20.0))]
        uniformity: f64,
        /// Smallest diameter, above zero.
        #[schemars(schema_with = "crate::units::positive_length")]
        from: Length,
        /// Largest diameter, at least `from`, at most 4096 times it.
        #[schemars(schema_with = "crate::units::positive_length")]
        to: Length,
    },
}

/// Tails of a lognormal are cut here unless the document says otherwise: 0.3% of the pieces lie beyond.
const LOGNORMAL_CUT: f64 = 3.0;

impl Sizes {
    /// Smallest and largest diameter in metres.
    #[must_use]
    pub fn range(&self) -> [f64; 2] {
        match *self {
            Self::Power { from, to, .. } | Self::RosinRammler { from, to, .. } => {
                [from.metres(), to.metres()]
            }
            Self::Lognormal {
                median,
                spread,
                from,
                to,
            } => {
                let cut = libm::exp(LOGNORMAL_CUT * spread);
                [
                    from.map_or(median.metres() / cut, Length::metres),
                    to.map_or(median.metres() * cut, Length::metres),
                ]
            }
        }
    }
}

/// All keys of all laws: what a derived reader would buffer, and lose the place of a fault in.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Keys {
    law: Law,
    exponent: Option<f64>,
    from: Option<Length>,
    to: Option<Length>,
    median: Option<Length>,
    spread: Option<f64>,
    d63: Option<Length>,
    uniformity: Option<f64>,
}

#[derive(Clone, Copy, Deserialize)]
#[serde(rename_all = "kebab-case")]
enum Law {
    Power,
    Lognormal,
    RosinRammler,
}

impl Law {
    /// The law's name and the keys that it takes.
    const fn form(self) -> (&'static str, &'static [&'static str]) {
        match self {
            Self::Power => ("power", &["exponent", "from", "to"]),
            Self::Lognormal => ("lognormal", &["median", "spread", "from", "to"]),
            Self::RosinRammler => ("rosin-rammler", &["d63", "uniformity", "from", "to"]),
        }
    }
}

impl<'de> Deserialize<'de> for Sizes {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let keys = Keys::deserialize(deserializer)?;
        let (law, takes) = keys.law.form();
        let given = [
            ("exponent", keys.exponent.is_some()),
            ("from", keys.from.is_some()),
            ("to", keys.to.is_some()),
            ("median", keys.median.is_some()),
            ("spread", keys.spread.is_some()),
            ("d63", keys.d63.is_some()),
            ("uniformity", keys.uniformity.is_some()),
        ];
        if let Some((key, _)) = given.iter().find(|(key, is)| *is && !takes.contains(key)) {
            return Err(de::Error::custom(format!(
                "the law `{law}` has no `{key}`; it takes {}",
                takes.join(", ")
            )));
        }
        let missing = |key: &str| {
            de::Error::custom(format!(
                "the law `{law}` needs `{key}`; it takes {}",
                takes.join(", ")
            ))
        };
        Ok(match keys.law {
            Law::Power => Self::Power {
                exponent: keys.exponent.ok_or_else(|| missing("exponent"))?,
                from: keys.from.ok_or_else(|| missing("from"))?,
                to: keys.to.ok_or_else(|| missing("to"))?,
            },
            Law::Lognormal => Self::Lognormal {
                median: keys.median.ok_or_else(|| missing("median"))?,
                spread: keys.spread.ok_or_else(|| missing("spread"))?,
                from: keys.from,
                to: keys.to,
            },
            Law::RosinRammler => Self::RosinRammler {
                d63: keys.d63.ok_or_else(|| missing("d63"))?,
                uniformity: keys.uniformity.ok_or_else(|| missing("uniformity"))?,
                from: keys.from.ok_or_else(|| missing("from"))?,
                to: keys.to.ok_or_else(|| missing("to"))?,
            },
        })
    }
}
