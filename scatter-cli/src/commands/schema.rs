//! `strew schema`: the JSON Schema of shot files, or a part of it as a table.

use scatter::error::{Error, Result};
use scatter::shot;
use serde_json::Value;

use crate::args::Schema;
use crate::output::{Output, table_from};

pub(crate) fn run(args: &Schema, output: &Output) -> Result<()> {
    let schema = shot::schema();
    match &args.part {
        None => output.data(&format!("{schema:#}\n")),
        Some(part) => output.data(&told(&schema, part)?),
    }
}

/// A part of the document as a table: its keys, whether they are needed, and what they say.
fn told(schema: &Value, part: &str) -> Result<String> {
    let mut places = vec![schema];
    let mut text = String::new();
    let mut so_far = String::new();
    for step in part.split('.') {
        // A number in brackets says which one of a list; all are alike
        let step = step.split('[').next().unwrap_or(step);
        let keys: Vec<Key<'_>> = places.iter().flat_map(|p| keys_of(schema, p)).collect();
        let found: Vec<&Value> = keys
            .iter()
            .filter(|k| k.name == step)
            .map(|k| k.value)
            .collect();
        if found.is_empty() {
            let mut known: Vec<&str> = keys.iter().map(|k| k.name).collect();
            known.dedup();
            let hint = if known.is_empty() {
                "it has no keys of its own".to_owned()
            } else {
                format!("its keys are: {}", known.join(", "))
            };
            let of = if so_far.is_empty() { "a shot" } else { &so_far };
            return Err(Error::input(
                "PART",
                format!("{of} has no key `{step}`"),
                hint,
            ));
        }
        if !so_far.is_empty() {
            so_far.push('.');
        }
        so_far.push_str(step);
        text = said(found[0]);
        places = found;
    }
    let mut rows = Vec::new();
    for key in places.iter().flat_map(|p| keys_of(schema, p)) {
        let needed = if key.needed { "needed" } else { "" };
        let row = [key.name, needed, &said(key.value)]
            .map(str::to_owned)
            .to_vec();
        if !rows.contains(&row) {
            rows.push(row);
        }
    }
    let mut all = format!("{so_far}: {text}\n");
    if rows.is_empty() {
        let words: Vec<String> = places.iter().flat_map(|p| words_of(schema, p)).collect();
        if !words.is_empty() {
            all.push_str(&format!("one of {}\n", words.join(", ")));
        }
    } else {
        all.push_str(&table_from(&rows, 3));
    }
    Ok(all)
}

/// A key of an object.
struct Key<'a> {
    name: &'a str,
    needed: bool,
    value: &'a Value,
}

/// What a value may be, one by one: what it refers to, the items of a list, and each of several
/// forms.
fn forms<'a>(schema: &'a Value, value: &'a Value) -> Vec<&'a Value> {
    let mut all = vec![value];
    let mut at = 0;
    // Forms that lead back to themselves are met once
    while let Some(form) = all.get(at).copied() {
        let reference = form["$ref"].as_str().and_then(|r| r.strip_prefix('#'));
        let one = [
            reference.and_then(|r| schema.pointer(r)),
            form.get("items"),
            form.get("additionalProperties").filter(|v| v.is_object()),
        ];
        let several = ["anyOf", "oneOf", "allOf"].map(|k| form[k].as_array());
        let next = one.into_iter().flatten();
        for next in next.chain(several.into_iter().flatten().flatten()) {
            if !all.iter().any(|known| std::ptr::eq(*known, next)) {
                all.push(next);
            }
        }
        at += 1;
    }
    all
}

/// The keys of all objects that a value may be.
fn keys_of<'a>(schema: &'a Value, value: &'a Value) -> Vec<Key<'a>> {
    let mut keys = Vec::new();
    for form in forms(schema, value) {
        let Some(properties) = form["properties"].as_object() else {
            continue;
        };
        let needed = form["required"].as_array();
        keys.extend(properties.iter().map(|(name, value)| Key {
            name,
            needed: needed.is_some_and(|n| n.iter().any(|n| n == name)),
            value,
        }));
    }
    keys
}

/// The words that a value may be.
fn words_of(schema: &Value, value: &Value) -> Vec<String> {
    let forms = forms(schema, value).into_iter();
    let words = forms.flat_map(|form| {
        let listed = form["enum"].as_array().into_iter().flatten();
        listed.chain(form.get("const")).filter_map(Value::as_str)
    });
    words.map(str::to_owned).collect()
}

/// A value's own text on one line.
fn said(value: &Value) -> String {
    let text = value["description"].as_str().unwrap_or_default();
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}
