//! From text to types: broken JSON gets its line and column, a wrong form its JSON path, a mistyped
//! key the likely one.

use serde::Serialize;
use serde::de::{DeserializeOwned, IgnoredAny};
use serde_json::Value;
use serde_json::error::Category;

mod cure;

use crate::error::{Error, Result};

/// Reads `text` as a `T`; the error has the place of the first fault.
pub(crate) fn read<T: DeserializeOwned + Serialize>(text: &str) -> Result<T> {
    // Some editors write a mark of the byte order before the text
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    if text.trim_start().starts_with('[') && serde_json::from_str::<IgnoredAny>(text).is_ok() {
        return Err(Error::input(
            "line 1",
            "a list where an object is due",
            "write an object: { ... }",
        ));
    }
    let mut reader = serde_json::Deserializer::from_str(text);
    let value = serde_path_to_error::deserialize(&mut reader).map_err(|e| {
        let path = e.path().to_string();
        fault(text, &path, e.inner())
    })?;
    reader.end().map_err(|e| fault(text, ".", &e))?;
    no_lists_for_objects(text, &value)?;
    Ok(value)
}

/// Refuses a list where an object is due: the derived readers would take its items for the fields
/// in their order.
fn no_lists_for_objects<T: Serialize>(text: &str, value: &T) -> Result<()> {
    fn find(written: &Value, read: &Value, path: &str) -> Option<String> {
        match (written, read) {
            (Value::Array(_), Value::Object(_)) => Some(path.to_owned()),
            (Value::Array(written), Value::Array(read)) => {
                let mut pairs = written.iter().zip(read).enumerate();
                pairs.find_map(|(i, (w, r))| find(w, r, &format!("{path}[{i}]")))
            }
            (Value::Object(written), Value::Object(read)) => read.iter().find_map(|(key, r)| {
                let dot = if path.is_empty() { "" } else { "." };
                find(written.get(key)?, r, &format!("{path}{dot}{key}"))
            }),
            _ => None,
        }
    }
    let written: Value = serde_json::from_str(text).map_err(|e| fault(text, ".", &e))?;
    let read = serde_json::to_value(value).unwrap_or_default();
    match find(&written, &read, "") {
        Some(place) => Err(Error::input(
            &place,
            "a list where an object is due",
            "write each field with its name, in braces",
        )),
        None => Ok(()),
    }
}

fn fault(text: &str, path: &str, error: &serde_json::Error) -> Error {
    let at = format!("line {}, column {}", error.line(), error.column());
    let mut message = plain(&error.to_string());
    // The reader calls what it has no use for a fault of syntax; where the syntax is right, the
    // form is wrong.
    let surplus = error.classify() == Category::Syntax
        && path != "."
        && serde_json::from_str::<IgnoredAny>(text).is_ok();
    if surplus {
        message = match message.as_str() {
            "trailing characters" => "the list has too many items".into(),
            "expected value" => "the object has more than one key".into(),
            _ => message,
        };
    }
    message = shortened(&message);
    let place = match error.classify() {
        _ if path == "." => at,
        Category::Data => format!("{path} ({at})"),
        _ if surplus => format!("{path} ({at})"),
        _ => at,
    };
    let hint = match error.classify() {
        _ if surplus => cure::of_form(path, &message),
        Category::Data => cure::of_form(path, &message),
        Category::Eof if text.trim().is_empty() => {
            "the file is empty; `strew new NAME` writes a shot to start from".into()
        }
        Category::Eof => "the text ends too early: close every bracket and quote".into(),
        _ if message.contains("recursion limit") => {
            "a shot nests no deeper than a few levels".into()
        }
        _ => cure::of_text(text, (error.line(), error.column())),
    };
    Error::input(place, cure::without_type_names(&message), hint)
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

/// Longest quoted name in a message, characters: longer than any that the form knows.
const MAX_QUOTED: usize = 80;

/// The message with quoted names of any length cut to what a person reads.
fn shortened(message: &str) -> String {
    let cut = |part: &str| match part.char_indices().nth(MAX_QUOTED) {
        Some((end, _)) => format!("{} ...", &part[..end]),
        None => part.to_owned(),
    };
    // Every second part stands between quotes
    let parts = message.split('`').enumerate();
    let parts: Vec<String> = parts
        .map(|(i, part)| {
            if i % 2 == 1 {
                cut(part)
            } else {
                part.to_owned()
            }
        })
        .collect();
    parts.join("`")
}
