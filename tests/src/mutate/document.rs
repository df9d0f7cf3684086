//! Changes of JSON documents, value by value.

use serde_json::{Map, Value, json};

use super::bytes::NUMBERS;
use super::{Chance, MOST_BYTES};

/// Marks a text that stands for JSON which no value can hold, such as `1e999` or a key twice.
const RAW: &str = "@raw@";
/// Most changes of one document.
const MOST_CHANGES: usize = 4;
/// Depth of lists that hold nothing but a list: beyond what a reader may follow.
const DEEP: usize = 400;
/// Length of a text that no name has.
const LONG: usize = 5000;
/// Most times that a list is repeated in itself.
const REPEATS: usize = 40;

/// Words where the reader may want another, or a number.
const WORDS: [&str; 22] = [
    "",
    " ",
    "NaN",
    "-inf",
    "NaN m",
    "1e39 m",
    "1e-30 mm",
    "-1 mm",
    "0 m",
    "130 km",
    "90 deg",
    "1e9 rad",
    "8 GB",
    "1e30 TiB",
    "../shot.json",
    "a\u{0}b",
    "\u{feff}\u{1f600}",
    "hero",
    "data:;base64,AAAA",
    "data:application/octet-stream;base64,%%",
    "VEC3",
    "KHR_draco_mesh_compression",
];

/// A changed document; None if the text is no JSON.
pub(super) fn changed(text: &[u8], other: &[u8], draw: &mut Chance) -> Option<Vec<u8>> {
    let mut document: Value = serde_json::from_slice(text).ok()?;
    let other = serde_json::from_slice(other).unwrap_or(Value::Null);
    for _ in 0..draw.few(MOST_CHANGES) {
        change(&mut document, &other, draw);
    }
    let text = document.to_string();
    // What stands for a number, or for the second of two keys
    let text = text
        .replace(&format!("\"{RAW}("), "")
        .replace(&format!("){RAW}\""), "");
    Some(text.replace(&format!("\"{RAW}"), "\"").into_bytes())
}

/// One change of a random value, list or object in it.
fn change(document: &mut Value, other: &Value, draw: &mut Chance) {
    let places = places(document);
    let at = draw.one(&places).clone();
    match draw.below(12) {
        0 | 1 => {
            remove(document, &at);
        }
        2 => repeat(document, &at, draw),
        3 => {
            let to = draw.one(&places).clone();
            let (a, b) = (value(document, &at), value(document, &to));
            set(document, &at, b);
            set(document, &to, a);
        }
        4 => {
            let theirs = self::places(other);
            let from: &String = draw.one(&theirs);
            set(document, &at, value(other, from));
        }
        5 => rename(document, &at, other, draw),
        6 | 7 => {
            let odd = odd(draw);
            set(document, &at, odd);
        }
        // Numbers are most of a document: change one
        _ => {
            let numbers: Vec<&String> = places
                .iter()
                .filter(|p| document.pointer(p).is_some_and(Value::is_number))
                .collect();
            if !numbers.is_empty() {
                let at = (*draw.one(&numbers)).clone();
                let near = near(&value(document, &at), draw);
                set(document, &at, near);
            }
        }
    }
}

/// Pointers to all values, the document's own first.
fn places(document: &Value) -> Vec<String> {
    fn walk(value: &Value, at: &str, into: &mut Vec<String>) {
        into.push(at.to_owned());
        match value {
            Value::Object(map) => {
                for (key, value) in map {
                    let key = key.replace('~', "~0").replace('/', "~1");
                    walk(value, &format!("{at}/{key}"), into);
                }
            }
            Value::Array(list) => {
                for (i, value) in list.iter().enumerate() {
                    walk(value, &format!("{at}/{i}"), into);
                }
            }
            _ => {}
        }
    }
    let mut all = Vec::new();
    walk(document, "", &mut all);
    all
}

fn value(document: &Value, at: &str) -> Value {
    document.pointer(at).cloned().unwrap_or_default()
}

/// Sets a value where there still is one, if the document stays short.
fn set(document: &mut Value, at: &str, new: Value) {
    let long = matches!(new, Value::Array(_) | Value::Object(_))
        && new.to_string().len() + document.to_string().len() > MOST_BYTES;
    if let Some(old) = document.pointer_mut(at).filter(|_| !long) {
        *old = new;
    }
}

/// What holds a value, and the value's name or number in it.
fn parent<'a, 'b>(document: &'a mut Value, at: &'b str) -> Option<(&'a mut Value, &'b str)> {
    let (holder, name) = at.rsplit_once('/')?;
    Some((document.pointer_mut(holder)?, name))
}

fn remove(document: &mut Value, at: &str) {
    match parent(document, at) {
        Some((Value::Object(map), key)) => {
            map.remove(key);
        }
        Some((Value::Array(list), index)) => {
            let index = index.parse().unwrap_or(usize::MAX);
            if index < list.len() {
                list.remove(index);
            }
        }
        _ => {}
    }
}

/// A key or an item twice, or a list many times.
fn repeat(document: &mut Value, at: &str, draw: &mut Chance) {
    if let Some(Value::Array(list)) = document.pointer_mut(at) {
        let times = draw.few(REPEATS);
        let length: usize = list.iter().map(|v| v.to_string().len()).sum();
        if times * length < MOST_BYTES {
            *list = vec![list.clone(); times + 1].concat();
        }
        return;
    }
    let copy = value(document, at);
    match parent(document, at) {
        Some((Value::Object(map), key)) => {
            map.insert(format!("{RAW}{key}"), copy);
        }
        Some((Value::Array(list), _)) => list.push(copy),
        _ => {}
    }
}

/// Another name for a key: one of the other document's, or none that is known.
fn rename(document: &mut Value, at: &str, other: &Value, draw: &mut Chance) {
    let new = {
        let keys = other.as_object().map(Map::keys).into_iter().flatten();
        let keys: Vec<&String> = keys.collect();
        match keys.is_empty() || draw.below(3) == 0 {
            true => "unknown".to_owned(),
            false => (*draw.one(&keys)).clone(),
        }
    };
    if let Some((Value::Object(map), key)) = parent(document, at)
        && let Some(value) = map.remove(key)
    {
        map.insert(new, value);
    }
}

/// A value that seldom fits.
fn odd(draw: &mut Chance) -> Value {
    match draw.below(12) {
        0 => Value::Null,
        1 => json!(true),
        2 => json!([]),
        3 => json!({}),
        4 => json!("x".repeat(LONG)),
        5 => raw(&format!("{}{}", "[".repeat(DEEP), "]".repeat(DEEP))),
        6 => json!([odd_number(draw), odd_number(draw)]),
        7..9 => json!(draw.one(&WORDS)),
        _ => odd_number(draw),
    }
}

fn odd_number(draw: &mut Chance) -> Value {
    let text: &&str = draw.one(&NUMBERS);
    raw(text)
}

/// JSON that stands in the document as it is.
fn raw(text: &str) -> Value {
    Value::String(format!("{RAW}({text}){RAW}"))
}

/// A number not far from another: by one, by a factor, of the other sign or kind.
fn near(number: &Value, draw: &mut Chance) -> Value {
    let value = number.as_f64().unwrap_or_default();
    match (draw.below(9), number.as_i64()) {
        (0, Some(whole)) => json!(whole.wrapping_add(1)),
        (1, Some(whole)) => json!(whole.wrapping_sub(1)),
        (2, Some(whole)) => raw(&format!("{whole}.0")),
        (3, _) => json!(-value),
        (4, _) => json!(value * 1e3),
        (5, _) => json!(value * 1e-3),
        (6, _) => json!(value + 0.5),
        _ => odd_number(draw),
    }
}
