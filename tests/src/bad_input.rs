//! The corpus of bad input in `tests/bad-input`: its README says what a case file holds.

use std::fs;
use std::path::{Path, PathBuf};

use serde_json::{Map, Value, json};

/// One case.
#[derive(Debug, Clone)]
pub struct Case {
    /// The case file's name without its ending.
    pub name: String,
    /// The case file's contents.
    pub fields: Map<String, Value>,
}

/// What the schema says of a case's document.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Schema {
    /// It refuses it.
    Refuses,
    /// It can't see the fault; the case says why.
    Blind,
    /// There is no JSON to judge.
    NoJson,
}

/// The folder of the corpus.
#[must_use]
pub fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("bad-input")
}

/// The shot that the cases change: a good one.
///
/// # Panics
/// The file is not there or is no JSON.
#[must_use]
pub fn base() -> Value {
    read(&folder().join("base/shot.json"))
}

/// All cases, sorted by name; never none.
///
/// # Panics
/// The corpus is not there or a case file is broken.
#[must_use]
pub fn cases() -> Vec<Case> {
    let mut paths: Vec<PathBuf> = fs::read_dir(folder())
        .expect("the corpus is there")
        .map(|entry| entry.expect("a readable folder").path())
        .filter(|path| path.extension().is_some_and(|e| e == "json"))
        .collect();
    paths.sort();
    let case = |path: &PathBuf| Case {
        name: path
            .file_stem()
            .unwrap_or_default()
            .to_string_lossy()
            .into(),
        fields: read(path).as_object().expect("a case is an object").clone(),
    };
    let cases: Vec<Case> = paths.iter().map(case).collect();
    assert!(cases.len() >= 60, "only {} cases", cases.len());
    cases
}

fn read(path: &Path) -> Value {
    let text = fs::read_to_string(path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    serde_json::from_str(&text).unwrap_or_else(|e| panic!("{}: {e}", path.display()))
}

impl Case {
    /// Bytes of the case's `shot.json`.
    #[must_use]
    pub fn shot(&self) -> Vec<u8> {
        if let Some(text) = self.text("text") {
            return text.into();
        }
        if let Some(bytes) = self.fields.get("bytes") {
            return bytes_of(bytes);
        }
        if let Some(fill) = self.fields.get("fill") {
            let part = |key: &str| fill[key].as_str().expect("text").to_owned();
            let times = fill["times"].as_u64().expect("a count");
            return (part("head") + &part("repeat").repeat(times as usize)).into();
        }
        let mut shot = base();
        for pointer in self.list("remove") {
            remove(&mut shot, &pointer);
        }
        let change = self.fields.get("change").and_then(Value::as_object);
        for (pointer, value) in change.into_iter().flatten() {
            set(&mut shot, pointer, value);
        }
        format!("{shot:#}\n").into()
    }

    /// Files beside the shot.
    #[must_use]
    pub fn files(&self) -> Vec<(String, Vec<u8>)> {
        let files = self.fields.get("files").and_then(Value::as_object);
        files
            .into_iter()
            .flatten()
            .map(|(name, content)| (name.clone(), content_of(content)))
            .collect()
    }

    /// Arguments of the command; `dress shot.json` unless the case has its own.
    #[must_use]
    pub fn args(&self) -> Vec<String> {
        if self.fields.contains_key("args") {
            self.list("args")
        } else {
            vec!["dress".into(), "shot.json".into()]
        }
    }

    /// The expected exit status.
    #[must_use]
    pub fn status(&self) -> i32 {
        let status = self.fields.get("status").and_then(Value::as_i64);
        i32::try_from(status.expect("a case has its status")).expect("a small number")
    }

    /// Words that the message must have.
    #[must_use]
    pub fn says(&self) -> Vec<String> {
        let says = self.list("says");
        assert!(!says.is_empty(), "{}: no words to look for", self.name);
        says
    }

    /// What the schema is to say.
    #[must_use]
    pub fn schema(&self) -> Schema {
        match self.text("schema") {
            Some("refuses") => Schema::Refuses,
            Some("no json") => Schema::NoJson,
            Some("accepts") => {
                let why = self.text("blind").unwrap_or_default();
                assert!(why.len() > 10, "{}: why is the schema blind?", self.name);
                Schema::Blind
            }
            other => panic!("{}: schema {other:?}", self.name),
        }
    }

    /// A text field.
    #[must_use]
    pub fn text(&self, key: &str) -> Option<&str> {
        self.fields.get(key).and_then(Value::as_str)
    }

    fn list(&self, key: &str) -> Vec<String> {
        let list = self.fields.get(key).and_then(Value::as_array);
        list.into_iter()
            .flatten()
            .map(|v| v.as_str().expect("a list of texts").to_owned())
            .collect()
    }
}

/// Parent of a JSON pointer's target, and the target's own key.
fn target<'a>(value: &'a mut Value, pointer: &str) -> (&'a mut Value, String) {
    let (parent, key) = pointer.rsplit_once('/').expect("a JSON pointer");
    let parent = value
        .pointer_mut(parent)
        .unwrap_or_else(|| panic!("{pointer} leads nowhere"));
    (parent, key.to_owned())
}

fn set(value: &mut Value, pointer: &str, new: &Value) {
    let (parent, key) = target(value, pointer);
    match parent {
        Value::Object(map) => {
            map.insert(key, new.clone());
        }
        Value::Array(list) => {
            let index: usize = key.parse().expect("an index");
            list.resize(list.len().max(index + 1), Value::Null);
            list[index] = new.clone();
        }
        _ => panic!("{pointer} leads into a plain value"),
    }
}

fn remove(value: &mut Value, pointer: &str) {
    let (parent, key) = target(value, pointer);
    let gone = parent.as_object_mut().and_then(|map| map.remove(&key));
    assert!(gone.is_some(), "{pointer} is not there to be removed");
}

fn bytes_of(list: &Value) -> Vec<u8> {
    let byte = |v: &Value| u8::try_from(v.as_u64().expect("a byte")).expect("a byte");
    list.as_array()
        .expect("a list of bytes")
        .iter()
        .map(byte)
        .collect()
}

fn content_of(content: &Value) -> Vec<u8> {
    if let Some(text) = content["text"].as_str() {
        return text.into();
    }
    if let Some(bytes) = content.get("bytes") {
        return bytes_of(bytes);
    }
    glb(&content["glb"])
}

/// A binary glTF from its JSON and its numbers: floats first, then 16-bit indices; `cut` bytes of
/// it, if that is set.
fn glb(from: &Value) -> Vec<u8> {
    let mut json = match from["json"].as_str() {
        Some(text) => text.to_owned(),
        None => from["gltf"].to_string(),
    }
    .into_bytes();
    json.resize(json.len().next_multiple_of(4), b' ');
    let mut bin = Vec::new();
    for v in from["f32"].as_array().into_iter().flatten() {
        let float = v.as_f64().unwrap_or(f64::NAN) as f32;
        bin.extend(float.to_le_bytes());
    }
    for v in from["u16"].as_array().into_iter().flatten() {
        let index = u16::try_from(v.as_u64().expect("an index")).expect("16 bits");
        bin.extend(index.to_le_bytes());
    }
    bin.resize(bin.len().next_multiple_of(4), 0);
    let u32_of = |n: usize| u32::try_from(n).expect("a small file").to_le_bytes();
    let version = from.get("version").unwrap_or(&json!(2)).as_u64();
    let mut out = b"glTF".to_vec();
    out.extend(u32_of(version.unwrap_or(2) as usize));
    out.extend(u32_of(12 + 8 + json.len() + 8 + bin.len()));
    for (kind, chunk) in [(b"JSON", json), (b"BIN\0", bin)] {
        out.extend(u32_of(chunk.len()));
        out.extend(kind);
        out.extend(chunk);
    }
    if let Some(cut) = from["cut"].as_u64() {
        assert!(cut < out.len() as u64, "nothing is cut off");
        out.truncate(cut as usize);
    }
    out
}
