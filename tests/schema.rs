//! The schema that `scatter schema` prints, judged by the crate `jsonschema` (JSON Schema draft 2020-12).

use std::fs;
use std::path::Path;

use jsonschema::Validator;
use scatter::shot::{self, Preset, Shot};
use scatter_tests::bad_input::{self, Schema};
use serde_json::Value;

fn validator() -> Validator {
    jsonschema::draft202012::new(&shot::schema()).expect("the schema is one")
}

#[track_caller]
fn accepts(validator: &Validator, document: &Value, what: &str) {
    let faults: Vec<String> = validator
        .iter_errors(document)
        .map(|e| format!("{}: {e}", e.instance_path()))
        .collect();
    assert!(faults.is_empty(), "{what}: {faults:#?}");
}

#[test]
fn the_schema_is_itself_valid() {
    assert!(jsonschema::meta::is_valid(&shot::schema()), "meta-schema");
}

#[test]
fn the_schema_accepts_every_preset_and_what_the_library_writes() {
    let validator = validator();
    for preset in Preset::all().unwrap() {
        let written = serde_json::to_value(preset.shot("trial")).unwrap();
        accepts(&validator, &written, &preset.name);
        let text: Value = serde_json::from_str(&preset.shot_text("trial")).unwrap();
        accepts(&validator, &text, &preset.name);
    }
    accepts(
        &validator,
        &bad_input::base(),
        "the good shot of the corpus",
    );
}

#[test]
fn the_schema_accepts_every_example() {
    let validator = validator();
    let examples = Path::new(env!("CARGO_MANIFEST_DIR")).join("../examples");
    let mut seen = 0;
    for entry in fs::read_dir(&examples).expect("there are examples") {
        let file = entry.unwrap().path().join("shot.json");
        if file.is_file() {
            let text = fs::read_to_string(&file).unwrap();
            Shot::parse(&text, &file).unwrap_or_else(|e| panic!("{e}"));
            let document = serde_json::from_str(&text).unwrap();
            accepts(&validator, &document, &file.display().to_string());
            seen += 1;
        }
    }
    assert!(seen >= 3, "only {seen} examples");
}

#[test]
fn the_schema_refuses_every_bad_form() {
    let validator = validator();
    let mut refused = 0;
    for case in bad_input::cases() {
        let document = serde_json::from_slice::<Value>(&case.shot());
        match case.schema() {
            Schema::NoJson => {
                assert!(document.is_err(), "{}: this is JSON", case.name);
            }
            Schema::Refuses => {
                let document = document.unwrap_or_else(|e| panic!("{}: {e}", case.name));
                assert!(
                    !validator.is_valid(&document),
                    "{}: the schema accepts it",
                    case.name
                );
                refused += 1;
            }
            // A case that the schema could see after all must say so.
            Schema::Blind => {
                if let (Ok(document), None) = (document, case.text("text")) {
                    accepts(&validator, &document, &case.name);
                }
            }
        }
    }
    assert!(refused >= 60, "only {refused} cases of form");
}
