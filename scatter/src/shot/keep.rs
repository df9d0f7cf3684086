//! Takes: the ones that were liked, and passes that are held while others change.

use std::collections::{BTreeMap, BTreeSet};

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::Shot;
use super::bounds::NAME;
use crate::error::{Error, Result};

/// A take that was liked. With the shot's passes it says all that is needed to make it again.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Keep {
    /// Name, unique among those kept, 1 to 64 characters.
    #[schemars(length(min = NAME.least, max = NAME.most))]
    pub name: String,
    /// The take.
    pub take: u64,
    /// Passes that have a take of their own in it. Default none.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub takes: BTreeMap<String, u64>,
}

impl Shot {
    /// The shot at the take that is kept as `name`.
    ///
    /// # Errors
    /// Nothing is kept under the name.
    pub fn kept(&self, name: &str) -> Result<Self> {
        let Some(keep) = self.keep.iter().find(|k| k.name == name) else {
            let known: Vec<&str> = self.keep.iter().map(|k| k.name.as_str()).collect();
            let hint = if known.is_empty() {
                "the shot keeps no take yet; add one to `keep`".into()
            } else {
                format!("kept are: {}", known.join(", "))
            };
            return Err(Error::input(
                "keep",
                format!("there is no take kept as `{name}`"),
                hint,
            ));
        };
        Ok(Self {
            take: keep.take,
            takes: keep.takes.clone(),
            ..self.clone()
        })
    }

    /// The shot with the named passes, and all passes that these refer to, held at the takes that
    /// they have now: another
    /// [`Shot::take`] leaves their pieces as they are.
    ///
    /// # Errors
    /// There is no pass of a name.
    pub fn holding(&self, names: &[String]) -> Result<Self> {
        let mut held = BTreeSet::new();
        let mut open: Vec<&str> = names.iter().map(String::as_str).collect();
        while let Some(name) = open.pop() {
            let Some(pass) = self.passes.iter().find(|p| p.name == name) else {
                let known: Vec<&str> = self.passes.iter().map(|p| p.name.as_str()).collect();
                return Err(Error::input(
                    "",
                    format!("there is no pass `{name}`"),
                    format!("the passes are: {}", known.join(", ")),
                ));
            };
            if held.insert(name) {
                open.extend(
                    pass.gather
                        .iter()
                        .filter_map(super::Gather::refers_to)
                        .filter(|what| *what != "hero"),
                );
            }
        }
        let mut shot = self.clone();
        for name in held {
            shot.takes.entry(name.into()).or_insert(self.take);
        }
        Ok(shot)
    }
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use super::*;

    fn shot() -> Shot {
        Shot::parse(
            r#"{ "shot": "trial", "take": 3,
              "cameras": [{ "name": "a", "at": [0, 1, 1], "toward": [0, 0, 0], "lens": "50 mm", "frame": [3, 2] }],
              "keep": [{ "name": "calm", "take": 8, "takes": { "rocks": 2 } }],
              "passes": [
                { "name": "rocks", "pieces": ["rock"], "place": "spaced", "cover": 0.1,
                  "sizes": { "law": "power", "exponent": 2, "from": "60 mm", "to": "90 mm" } },
                { "name": "tufts", "pieces": ["tuft"], "place": "strewn", "per_m2": 4,
                  "gather": [{ "near": { "what": "rocks", "within": "50 mm" } }],
                  "sizes": { "law": "lognormal", "median": "60 mm", "spread": 0.2 } },
                { "name": "leaves", "pieces": ["leaf"], "place": "strewn", "per_m2": 40,
                  "sizes": { "law": "lognormal", "median": "40 mm", "spread": 0.2 } } ] }"#,
            Path::new("trial.json"),
        )
        .unwrap()
    }

    #[test]
    fn holding_a_pass_holds_what_it_refers_to() {
        let held = shot().holding(&["tufts".into()]).unwrap();
        let takes: Vec<_> = held.takes.into_iter().collect();
        assert_eq!(takes, [("rocks".into(), 3), ("tufts".into(), 3)]);
        assert!(shot().holding(&["moss".into()]).is_err());
    }

    #[test]
    fn a_take_of_its_own_is_held_as_it_is() {
        let mut shot = shot();
        shot.takes.insert("rocks".into(), 9);
        let held = shot.holding(&["rocks".into()]).unwrap();
        assert_eq!(held.takes["rocks"], 9);
    }

    #[test]
    fn kept_takes_are_found_by_name() {
        let kept = shot().kept("calm").unwrap();
        assert_eq!((kept.take, kept.takes["rocks"]), (8, 2));
        let error = shot().kept("wild").unwrap_err().to_string();
        assert!(error.contains("calm"), "{error}");
    }
}
