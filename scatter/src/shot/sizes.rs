//! Size laws as the document has them.

use schemars::JsonSchema;
use serde::{Deserialize, Deserializer, Serialize, de};

use super::bounds::{EXPONENT, SPREAD, UNIFORMITY};
use crate::size::SizeLaw;
use crate::units::Length;

/// Distribution of diameters (b-axes).
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
#[serde(tag = "law", rename_all = "kebab-case", deny_unknown_fields)]
pub enum Sizes {
    /// Bounded power law: the number of pieces larger than d goes with d^-exponent.
    Power {
        /// D of N(>d) proportional to d^-D, -10 to 10; broken rock has 1.5 to 3.
        #[schemars(range(min = EXPONENT.least, max = EXPONENT.most))]
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
        #[schemars(range(min = SPREAD.least, max = SPREAD.most))]
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
        #[schemars(range(min = UNIFORMITY.least, max = UNIFORMITY.most))]
        uniformity: f64,
        /// Smallest diameter, above zero.
        #[schemars(schema_with = "crate::units::positive_length")]
        from: Length,
        /// Largest diameter, at least `from`, at most 4096 times it.
        #[schemars(schema_with = "crate::units::positive_length")]
        to: Length,
    },
}

/// Tails of a lognormal are cut here unless the document says otherwise: 0.3% of the pieces lie
/// beyond.
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

    /// The law by number of pieces, in metres.
    #[must_use]
    pub fn law(&self) -> SizeLaw {
        let [from, to] = self.range();
        match *self {
            Self::Power { exponent, .. } => SizeLaw::power(exponent, from, to),
            Self::Lognormal { median, spread, .. } => {
                SizeLaw::lognormal(median.metres(), spread, from, to)
            }
            Self::RosinRammler {
                d63, uniformity, ..
            } => SizeLaw::rosin_rammler(d63.metres(), uniformity, from, to),
        }
    }
}

/// All keys of all laws, and those of mixes and their parts: what a derived reader would buffer,
/// and lose the place of a fault in.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Keys {
    law: Option<LawName>,
    exponent: Option<f64>,
    pub(super) from: Option<Length>,
    pub(super) to: Option<Length>,
    median: Option<Length>,
    spread: Option<f64>,
    d63: Option<Length>,
    uniformity: Option<f64>,
    pub(super) mix: Option<String>,
    pub(super) cover: Option<f64>,
}

#[derive(Clone, Copy, Deserialize)]
#[serde(rename_all = "kebab-case")]
enum LawName {
    Power,
    Lognormal,
    RosinRammler,
}

impl LawName {
    /// The law's name and the keys that it takes.
    const fn form(self) -> (&'static str, &'static [&'static str]) {
        match self {
            Self::Power => ("power", &["exponent", "from", "to"]),
            Self::Lognormal => ("lognormal", &["median", "spread", "from", "to"]),
            Self::RosinRammler => ("rosin-rammler", &["d63", "uniformity", "from", "to"]),
        }
    }
}

impl Keys {
    /// The first key that is given and is none of `takes`, which does not name `law`.
    pub(super) fn surplus(&self, takes: &[&str]) -> Option<&'static str> {
        let given = [
            ("exponent", self.exponent.is_some()),
            ("from", self.from.is_some()),
            ("to", self.to.is_some()),
            ("median", self.median.is_some()),
            ("spread", self.spread.is_some()),
            ("d63", self.d63.is_some()),
            ("uniformity", self.uniformity.is_some()),
            ("mix", self.mix.is_some()),
            ("cover", self.cover.is_some()),
        ];
        let mut surplus = given.iter().filter(|(key, is)| *is && !takes.contains(key));
        surplus.next().map(|(key, _)| *key)
    }

    /// Whether they name a law.
    pub(super) fn has_law(&self) -> bool {
        self.law.is_some()
    }

    /// The law that they give, with the keys `beside` it allowed too.
    pub(super) fn law<E: de::Error>(&self, beside: &[&str]) -> Result<Sizes, E> {
        let Some(kind) = self.law else {
            return Err(E::custom(
                "missing field `law`: one of `power`, `lognormal`, `rosin-rammler`",
            ));
        };
        let (law, own) = kind.form();
        let takes = [own, beside].concat();
        if let Some(key) = self.surplus(&takes) {
            return Err(E::custom(format!(
                "the law `{law}` has no `{key}`; it takes {}",
                takes.join(", ")
            )));
        }
        let missing = |key: &str| {
            E::custom(format!(
                "the law `{law}` needs `{key}`; it takes {}",
                takes.join(", ")
            ))
        };
        Ok(match kind {
            LawName::Power => Sizes::Power {
                exponent: self.exponent.ok_or_else(|| missing("exponent"))?,
                from: self.from.ok_or_else(|| missing("from"))?,
                to: self.to.ok_or_else(|| missing("to"))?,
            },
            LawName::Lognormal => Sizes::Lognormal {
                median: self.median.ok_or_else(|| missing("median"))?,
                spread: self.spread.ok_or_else(|| missing("spread"))?,
                from: self.from,
                to: self.to,
            },
            LawName::RosinRammler => Sizes::RosinRammler {
                d63: self.d63.ok_or_else(|| missing("d63"))?,
                uniformity: self.uniformity.ok_or_else(|| missing("uniformity"))?,
                from: self.from.ok_or_else(|| missing("from"))?,
                to: self.to.ok_or_else(|| missing("to"))?,
            },
        })
    }
}

impl<'de> Deserialize<'de> for Sizes {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        Keys::deserialize(deserializer)?.law(&[])
    }
}
