//! Random valid shots: they use every key and word of the document, and each is dressed, or refused
//! in words, within limits.

#![allow(
    clippy::print_stdout,
    reason = "the figures, for who asks with --nocapture"
)]

use std::collections::BTreeSet;
use std::path::Path;

use scatter::shot::{Shot, schema};
use scatter_tests::limited::{End, LIMITS, dress};
use scatter_tests::{random_shots, shot_files};
use serde_json::Value;

/// Names of all properties, and all words that a value may be, in a schema.
fn told(schema: &Value, keys: &mut BTreeSet<String>, words: &mut BTreeSet<String>) {
    match schema {
        Value::Object(map) => {
            for (key, value) in map {
                match (key.as_str(), value) {
                    // Conditions name properties that are told of elsewhere
                    ("not", _) => continue,
                    ("properties", Value::Object(properties)) => {
                        keys.extend(properties.keys().cloned());
                        properties.values().for_each(|v| told(v, keys, words));
                        continue;
                    }
                    ("const", Value::String(word)) => {
                        words.insert(word.clone());
                    }
                    ("enum", Value::Array(list)) => {
                        words.extend(list.iter().filter_map(Value::as_str).map(str::to_owned));
                    }
                    ("default", _) => continue,
                    _ => {}
                }
                told(value, keys, words);
            }
        }
        Value::Array(list) => list.iter().for_each(|v| told(v, keys, words)),
        _ => {}
    }
}

/// All keys and all texts of a document.
fn used(document: &Value, keys: &mut BTreeSet<String>, texts: &mut BTreeSet<String>) {
    match document {
        Value::Object(map) => {
            for (key, value) in map {
                keys.insert(key.clone());
                used(value, keys, texts);
            }
        }
        Value::Array(list) => list.iter().for_each(|v| used(v, keys, texts)),
        Value::String(text) => {
            texts.insert(text.clone());
        }
        _ => {}
    }
}

#[test]
fn random_shots_use_every_key_and_every_word_of_the_schema() {
    let (mut keys, mut words) = (BTreeSet::new(), BTreeSet::new());
    told(&schema(), &mut keys, &mut words);
    assert!(keys.len() > 100 && words.len() > 40, "{keys:?} {words:?}");
    let (mut used_keys, mut texts) = (BTreeSet::new(), BTreeSet::new());
    for seed in 0..500 {
        used(&random_shots::shot(seed), &mut used_keys, &mut texts);
    }
    let missing: Vec<&String> = keys.difference(&used_keys).collect();
    assert!(missing.is_empty(), "keys that no shot uses: {missing:?}");
    let missing: Vec<&String> = words.difference(&texts).collect();
    assert!(missing.is_empty(), "words that no shot uses: {missing:?}");
}

#[test]
fn random_shots_pass_the_check_of_the_document() {
    for seed in 0..500 {
        let text = random_shots::shot(seed).to_string();
        if let Err(e) = Shot::parse(&text, Path::new("shot.json")) {
            panic!("seed {seed}: {e}\n{text}");
        }
    }
}

/// Shots that are known to take more than their 20 seconds. 4: a pass goes by the lee of one whose
/// pebbles lie on two passes of packed stones, all of which are laid far beyond the frames for its
/// sake, 250,000 pieces for 1,800 delivered.
const KNOWN: [u64; 1] = [4];

/// The first 40 shots but for the known. `random-shots` of this member dresses 2000.
#[test]
fn random_shots_are_dressed_or_refused_in_words_within_limits() {
    const COUNT: u64 = 40;
    let folder = tempfile::tempdir().expect("a folder");
    shot_files::write(folder.path());
    let mut dressed = 0;
    let mut broke = Vec::new();
    for seed in (0..COUNT).filter(|seed| !KNOWN.contains(seed)) {
        let file = folder.path().join("shot.json");
        std::fs::write(&file, random_shots::shot(seed).to_string()).expect("a file");
        let run = dress(folder.path(), LIMITS);
        println!("seed {seed}: {run}");
        match &run.end {
            End::Dressed => dressed += 1,
            End::Refused(_) => {}
            End::Broke(why) => broke.push(format!("seed {seed}: {run}\n{why}")),
        }
    }
    assert!(broke.is_empty(), "{}", broke.join("\n"));
    // What is refused tries little: most must come to the end
    assert!(dressed * 5 >= COUNT * 4, "{dressed} of {COUNT} dressed");
}
