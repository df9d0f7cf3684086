//! Small shots of one rule each, with the rule and without it: `examples/rules/NAME.json`.

use std::fs;
use std::path::{Path, PathBuf};

use scatter::shot::Shot;
use serde_json::Value;

use crate::tools::tests_folder;

/// A rule and its two shots.
#[derive(Debug)]
pub struct Rule {
    /// Name of the file.
    pub name: String,
    /// What the rule does, in a line.
    pub rule: String,
    /// Labels of the two pictures.
    pub labels: [String; 2],
    /// The shot without the rule, and with it.
    pub shots: [Shot; 2],
}

/// Where the shots are.
#[must_use]
pub fn folder() -> PathBuf {
    tests_folder().join("../examples/rules")
}

/// Where the picture of a rule lies.
#[must_use]
pub fn picture(name: &str) -> PathBuf {
    tests_folder()
        .join("../docs/pictures/rules")
        .join(format!("{name}.jpg"))
}

/// All rules, by name.
///
/// # Panics
/// A file is not what it should be.
#[must_use]
pub fn all() -> Vec<Rule> {
    let folder = folder();
    let entries = fs::read_dir(&folder).unwrap_or_else(|e| panic!("{}: {e}", folder.display()));
    let mut files: Vec<PathBuf> = entries
        .map(|e| {
            e.unwrap_or_else(|e| panic!("{}: {e}", folder.display()))
                .path()
        })
        .filter(|path| path.extension().is_some_and(|e| e == "json"))
        .collect();
    files.sort();
    files.iter().map(|file| read(file)).collect()
}

fn read(file: &Path) -> Rule {
    let wrong = |what: &str| -> ! { panic!("{}: {what}", file.display()) };
    let text = fs::read_to_string(file).unwrap_or_else(|e| wrong(&e.to_string()));
    let document: Value = serde_json::from_str(&text).unwrap_or_else(|e| wrong(&e.to_string()));
    let text_of = |value: &Value, or: &str| value.as_str().unwrap_or(or).to_owned();
    let rule = text_of(&document["rule"], "");
    if rule.is_empty() {
        wrong("it says no rule");
    }
    let with = document["shot"].clone();
    let mut without = with.clone();
    let Some(changes) = document["without"].as_object().filter(|c| !c.is_empty()) else {
        wrong("nothing is taken away without the rule")
    };
    // The last of a list first, so that the places of the others stay
    for (place, value) in changes.iter().rev() {
        if !change(&mut without, place, value) {
            wrong(&format!("there is no {place}"));
        }
    }
    let shot = |document: &Value| {
        Shot::parse(&document.to_string(), file).unwrap_or_else(|e| wrong(&e.to_string()))
    };
    Rule {
        name: file
            .file_stem()
            .unwrap_or_default()
            .to_string_lossy()
            .into_owned(),
        rule,
        labels: [
            text_of(&document["labels"][0], "without"),
            text_of(&document["labels"][1], "with"),
        ],
        shots: [shot(&without), shot(&with)],
    }
}

/// Sets what a JSON pointer names, or takes it away if the value is null; whether the place is
/// there.
fn change(document: &mut Value, place: &str, value: &Value) -> bool {
    let Some((parent, key)) = place.rsplit_once('/') else {
        return false;
    };
    match document.pointer_mut(parent) {
        Some(Value::Object(parent)) if value.is_null() => parent.remove(key).is_some(),
        Some(Value::Object(parent)) => {
            parent.insert(key.to_owned(), value.clone());
            true
        }
        Some(Value::Array(parent)) => match key.parse::<usize>() {
            Ok(at) if at < parent.len() && value.is_null() => {
                parent.remove(at);
                true
            }
            Ok(at) if at < parent.len() => {
                parent[at] = value.clone();
                true
            }
            _ => false,
        },
        _ => false,
    }
}
