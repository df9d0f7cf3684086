//! The schema that `strew schema` prints, judged by the package `jsonschema` (PyPI; JSON Schema
//! draft 2020-12).

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use scatter::shot::{self, Preset, Shot};
use scatter_tests::bad_input::{self, Schema};
use scatter_tests::tools::python;
use serde_json::{Value, json};

/// What is wrong with each document by the schema. Fails when the schema itself is not valid.
fn judged(documents: &BTreeMap<String, Value>) -> BTreeMap<String, Vec<String>> {
    let folder = tempfile::tempdir().expect("a folder");
    let task = folder.path().join("task.json");
    let content = json!({ "schema": shot::schema(), "documents": documents });
    fs::write(&task, content.to_string()).expect("a file");
    serde_json::from_value(python("judge_schema.py", &[&task])).expect("lists of faults")
}

/// The shots of all examples, by path.
fn examples() -> BTreeMap<String, Value> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../examples");
    let mut all = BTreeMap::new();
    for entry in fs::read_dir(&folder).expect("there are examples") {
        let file = entry.expect("a readable folder").path().join("shot.json");
        if file.is_file() {
            let text = fs::read_to_string(&file).expect("a readable shot");
            Shot::parse(&text, &file).unwrap_or_else(|e| panic!("{e}"));
            all.insert(
                file.display().to_string(),
                serde_json::from_str(&text).expect("JSON"),
            );
        }
    }
    all
}

#[test]
fn every_example_is_a_shot() {
    assert!(examples().len() >= 3, "only {} examples", examples().len());
}

#[test]
#[ignore = "needs tests/run"]
fn the_schema_accepts_every_example_preset_and_what_the_library_writes() {
    let mut documents = examples();
    assert!(documents.len() >= 3, "only {} examples", documents.len());
    for preset in Preset::all().unwrap() {
        let written = serde_json::to_value(preset.shot("trial")).unwrap();
        documents.insert(format!("{} as written", preset.name), written);
        let text: Value = serde_json::from_str(&preset.shot_text(&preset.shot("trial"))).unwrap();
        documents.insert(format!("{} as text", preset.name), text);
    }
    documents.insert("the good shot of the corpus".into(), bad_input::base());
    for (name, faults) in judged(&documents) {
        assert!(faults.is_empty(), "{name}: {faults:#?}");
    }
}

#[test]
#[ignore = "needs tests/run"]
fn the_schema_refuses_every_bad_form() {
    let (mut refuses, mut blind) = (BTreeMap::new(), BTreeMap::new());
    for case in bad_input::cases() {
        let document = serde_json::from_slice::<Value>(&case.shot());
        match case.schema() {
            Schema::NoJson => {
                assert!(document.is_err(), "{}: this is JSON", case.name);
            }
            Schema::Refuses => {
                let document = document.unwrap_or_else(|e| panic!("{}: {e}", case.name));
                refuses.insert(case.name.clone(), document);
            }
            // A case that the schema could see after all must say so.
            Schema::Blind => {
                if let (Ok(document), None) = (document, case.text("text")) {
                    blind.insert(case.name.clone(), document);
                }
            }
        }
    }
    assert!(refuses.len() >= 60, "only {} cases of form", refuses.len());
    for (name, faults) in judged(&refuses) {
        assert!(!faults.is_empty(), "{name}: the schema accepts it");
    }
    for (name, faults) in judged(&blind) {
        assert!(
            faults.is_empty(),
            "{name}: the schema sees it after all: {faults:#?}"
        );
    }
}
