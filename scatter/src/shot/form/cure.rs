//! What would be right where a text has not the form of a document.

use crate::input::likely;

/// What to do about a fault that nothing here knows.
pub(super) const SCHEMA_HINT: &str = "`strew schema` prints every field with its form";

/// Keys that belong elsewhere or go by another name, with where they are.
const ELSEWHERE: [(&str, &str); 8] = [
    (
        "space",
        "it belongs in `deliver`: \"deliver\": { \"space\": { \"unit\": \"cm\", \"up\": \"+z\", \"hand\": \"left\" } }",
    ),
    (
        "as",
        "it belongs in `deliver`: \"deliver\": { \"as\": [\"glb\"] }",
    ),
    (
        "include",
        "it belongs in `deliver`: \"deliver\": { \"include\": [\"cameras\"] }",
    ),
    (
        "split",
        "it belongs in `deliver`: \"deliver\": { \"split\": \"passes\" }",
    ),
    (
        "seen",
        "it belongs in `deliver`: \"deliver\": { \"seen\": true }",
    ),
    (
        "pixels",
        "it belongs in `resolve`: \"resolve\": { \"pixels\": 0.5 }",
    ),
    ("seed", "the seed is `take`"),
    (
        "sun",
        "it belongs in `light`: \"light\": { \"sun\": { \"azimuth\": \"130 deg\", \"elevation\": \"32 deg\" } }",
    ),
];

/// For a value of a wrong form at a path of the document.
pub(super) fn of_form(path: &str, message: &str) -> String {
    let of = |hint: Option<String>| hint.unwrap_or_else(|| SCHEMA_HINT.to_owned());
    if message.starts_with("unknown field") || message.starts_with("unknown variant") {
        return of(of_name(path, message));
    }
    if message == "the object has more than one key" {
        return "one field an object: { ... }, { ... }".to_owned();
    }
    if message == "the list has too many items" {
        return of(of_list(path, message));
    }
    let expected = message.split(", expected ").nth(1).unwrap_or_default();
    if let Some(text) = quoted(message)
        && expected.starts_with("a number")
    {
        return of(number(text));
    }
    if expected.starts_with("struct Space") {
        return "write { \"unit\": \"cm\", \"up\": \"+z\", \"hand\": \"left\" }".to_owned();
    }
    if expected.starts_with("struct ") {
        return "an object: write { ... }; `strew schema` prints its keys".to_owned();
    }
    of(of_list(path, expected))
}

/// The message without the names that the code has for objects.
pub(super) fn without_type_names(message: &str) -> String {
    match message.split_once("expected struct ") {
        Some((before, name)) => {
            let rest = name.trim_start_matches(|c: char| c.is_alphanumeric());
            format!("{before}expected an object{rest}")
        }
        None => message.to_owned(),
    }
}

/// For an unknown name, the likely one.
fn of_name(path: &str, message: &str) -> Option<String> {
    let mut quoted = message.split('`').skip(1).step_by(2);
    let found = quoted.next().unwrap_or_default();
    let known: Vec<&str> = quoted.collect();
    let elsewhere = ELSEWHERE.iter().find(|(key, _)| *key == found);
    match elsewhere {
        // At the top of a shot alone: other objects have keys of these names
        Some((_, hint)) if path == found => Some((*hint).to_owned()),
        _ => likely(found, &known).map(|name| format!("did you mean `{name}`?")),
    }
}

/// Where a list is due.
fn of_list(path: &str, expected: &str) -> Option<String> {
    let on_plan = path.starts_with("pins") || path.starts_with("clear");
    if on_plan && path.ends_with(".at") {
        return Some("x and z only: write [x, z]".to_owned());
    }
    let length = expected.strip_prefix("an array")?;
    Some(match length.strip_prefix(" of length ") {
        Some("2") => "two values: write [ ..., ... ]".to_owned(),
        Some(many) => format!("{many} values in a list: write [ ... ]"),
        None => "a list: write [ ... ]".to_owned(),
    })
}

/// The text in a message's double quotes.
fn quoted(message: &str) -> Option<&str> {
    let rest = message.strip_prefix("invalid type: string \"")?;
    rest.split_once('"').map(|(text, _)| text)
}

/// A number that was typed as a text.
fn number(text: &str) -> Option<String> {
    let dotted = text.trim().replace(',', ".");
    if let Some(percent) = dotted.strip_suffix('%') {
        let percent: f64 = percent.trim().parse().ok()?;
        return Some(format!("write {}", percent / 100.0));
    }
    let value: f64 = dotted.parse().ok()?;
    value
        .is_finite()
        .then(|| format!("write {value}, without the quotes"))
}

/// For a text that is no JSON, by what stands at a line and column of it, counted from 1.
pub(super) fn of_text(text: &str, (line, column): (usize, usize)) -> String {
    let plain = "write the shot as JSON: double quotes, no comments, no comma after the last item";
    let Some(bytes) = text.lines().nth(line.saturating_sub(1)).map(str::as_bytes) else {
        return plain.to_owned();
    };
    let at = column.saturating_sub(1).min(bytes.len());
    let (before, after) = bytes.split_at(at);
    if after.starts_with(b"/") || after.starts_with(b"#") {
        return "JSON has no comments: take them out".to_owned();
    }
    if let [.., whole, b','] = before
        && whole.is_ascii_digit()
        && after.first().is_some_and(u8::is_ascii_digit)
    {
        let is_number = |b: &&u8| b.is_ascii_digit();
        let first = before[..at - 1].iter().rev().take_while(is_number).count();
        let last = after.iter().take_while(is_number).count();
        let digits = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
        return format!(
            "a decimal comma? write {}.{}",
            digits(&before[at - 1 - first..at - 1]),
            digits(&after[..last])
        );
    }
    plain.to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn where_an_object_is_due_it_is_told() {
        let message = "invalid type: string \"rut\", expected struct Along";
        assert!(of_form("passes[0].gather[0].along", message).contains("write { ... }"));
        let told = without_type_names(message);
        assert_eq!(told, "invalid type: string \"rut\", expected an object");
    }

    #[test]
    fn numbers_typed_as_texts_are_told_as_numbers() {
        let hint = |typed: &str| {
            let message = format!("invalid type: string \"{typed}\", expected a number");
            of_form("passes[0].cover", &message)
        };
        assert_eq!(hint("5%"), "write 0.05");
        assert_eq!(hint("0,4"), "write 0.4, without the quotes");
        assert_eq!(hint("half"), SCHEMA_HINT);
    }

    #[test]
    fn what_is_no_json_is_told_by_what_stands_there() {
        let text = "{\n  \"roll\": 10,45,\n  // a note\n}";
        assert_eq!(of_text(text, (2, 14)), "a decimal comma? write 10.45");
        assert_eq!(of_text(text, (3, 3)), "JSON has no comments: take them out");
        assert!(of_text(text, (1, 1)).contains("double quotes"));
        assert!(of_text("", (1, 1)).contains("double quotes"));
    }
}
