//! From text to types: broken JSON gets its line and column, a wrong form its JSON path, a mistyped key the likely one.

use serde::de::DeserializeOwned;
use serde_json::error::Category;

use crate::error::{Error, Result};

/// What to do about a fault that the message itself does not settle.
const SCHEMA_HINT: &str = "`scatter schema` prints every field with its form";

/// Names closer than this (Jaro-Winkler, 0 to 1) count as mistyped.
const MISTYPED: f64 = 0.75;

/// Reads `text` as a `T`; the error has the place of the first fault.
pub(super) fn read<T: DeserializeOwned>(text: &str) -> Result<T> {
    let mut reader = serde_json::Deserializer::from_str(text);
    let value = serde_path_to_error::deserialize(&mut reader).map_err(|e| {
        let path = e.path().to_string();
        fault(text, &path, e.inner())
    })?;
    reader.end().map_err(|e| fault(text, ".", &e))?;
    Ok(value)
}

fn fault(text: &str, path: &str, error: &serde_json::Error) -> Error {
    let at = format!("line {}, column {}", error.line(), error.column());
    let message = plain(&error.to_string());
    let place = match error.classify() {
        Category::Data if path != "." => format!("{path} ({at})"),
        _ => at,
    };
    let hint = match error.classify() {
        Category::Data => hint_for(&message),
        Category::Eof if text.trim().is_empty() => {
            "the file is empty; `scatter new NAME` writes a shot to start from".into()
        }
        Category::Eof => "the text ends too early: close every bracket and quote".into(),
        _ if message.contains("recursion limit") => {
            "a shot nests no deeper than a few levels".into()
        }
        _ => "write the shot as JSON: double quotes, no comments, no comma after the last item"
            .into(),
    };
    Error::input(place, message, hint)
}

/// The parser's words for what a shot's author would call otherwise.
const WORDS: [(&str, &str); 8] = [
    (
        "EOF while parsing a value",
        "the text ends where a value is due",
    ),
    ("EOF while parsing", "the text ends inside"),
    ("expected f64", "expected a number"),
    ("expected u64", "expected a whole number, at least 0"),
    ("expected u32", "expected a whole number, 0 to 4294967295"),
    ("invalid type: map", "invalid type: object"),
    ("invalid type: sequence", "invalid type: array"),
    ("expected a sequence", "expected an array"),
];

/// The message in an author's words, without its " at line 3 column 7": that is said in the place.
fn plain(message: &str) -> String {
    let end = message.rfind(" at line ").unwrap_or(message.len());
    WORDS
        .iter()
        .fold(message[..end].to_owned(), |text, (from, to)| {
            text.replace(from, to)
        })
}

/// For an unknown name, the likely one.
fn hint_for(message: &str) -> String {
    let mut quoted = message.split('`').skip(1).step_by(2);
    let unknown = message.starts_with("unknown field") || message.starts_with("unknown variant");
    if !unknown {
        return SCHEMA_HINT.into();
    }
    let found = quoted.next().unwrap_or_default();
    let known: Vec<&str> = quoted.collect();
    match likely(found, &known) {
        Some(name) => format!("did you mean `{name}`?"),
        None => SCHEMA_HINT.into(),
    }
}

/// The one of `known` that `found` was likely meant to be.
pub(super) fn likely<'a>(found: &str, known: &[&'a str]) -> Option<&'a str> {
    known
        .iter()
        .map(|name| (strsim::jaro_winkler(found, name), *name))
        .filter(|(closeness, _)| *closeness >= MISTYPED)
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, name)| name)
}
