//! What was likely meant by a command line that can't be read.

use std::path::Path;

use clap::Error;
use clap::builder::StyledStr;
use clap::error::{ContextKind, ContextValue, ErrorKind};

/// Options by the names that other programs have for them, and what they are called here.
const OTHER_NAMES: [(&str, &str); 7] = [
    ("--seed", "the seed is `--take`"),
    ("--format", "formats are `--as`"),
    ("--formats", "formats are `--as`"),
    ("--output", "where to write is `--out`"),
    ("--unit", "the unit is a word of `--space`"),
    ("--units", "the unit is a word of `--space`"),
    ("--spp", "samples per pixel are `--samples`"),
];

/// An error with what was likely meant, where that is known.
pub(crate) fn with(mut error: Error) -> Error {
    let of = |kind: ContextKind| match error.get(kind) {
        Some(ContextValue::String(text)) => text.clone(),
        _ => String::new(),
    };
    let tip = match error.kind() {
        ErrorKind::UnknownArgument => {
            let given = of(ContextKind::InvalidArg);
            let known = OTHER_NAMES.iter().find(|(name, _)| *name == given);
            known.map(|(_, tip)| (*tip).to_owned())
        }
        ErrorKind::InvalidSubcommand => {
            let given = of(ContextKind::InvalidSubcommand);
            let is_shot = Path::new(&given).exists() || given.ends_with(".json");
            is_shot.then(|| format!("did you mean `strew dress {given}`?"))
        }
        _ => None,
    };
    if let Some(tip) = tip {
        let tip = ContextValue::StyledStrs(vec![StyledStr::from(tip)]);
        error.insert(ContextKind::Suggested, tip);
        for other in [
            ContextKind::SuggestedArg,
            ContextKind::SuggestedSubcommand,
            ContextKind::Usage,
        ] {
            error.remove(other);
        }
    }
    error
}
