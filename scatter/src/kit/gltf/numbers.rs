//! Whole numbers that a document writes as fractions.
//!
//! JSON has one kind of number: `3`, `3.0` and `30e-1` are the same (RFC 8259, section 6), and glTF
//! 2.0 asks for integers by value. Some programs write every number with a point. The parser tells
//! the forms apart, so whole numbers get their plain form before it looks.

use std::borrow::Cow;
use std::ops::Range;

/// Largest whole number that is given its plain form, 2^53: up to it, any program that keeps
/// numbers in double precision writes the number that it means (RFC 8259, section 6).
const LARGEST: u64 = 1 << 53;

/// The document with whole numbers up to [`LARGEST`] in their plain form; nothing else changes. A
/// negative zero, which is no integer's value, stays.
pub(super) fn plain_wholes(json: &[u8]) -> Cow<'_, [u8]> {
    let mut changed: Vec<u8> = Vec::new();
    let mut kept = 0;
    let mut at = 0;
    while let Some(number) = next_number(json, at) {
        at = number.end;
        if let Some(plain) = plain(&json[number.clone()]) {
            changed.extend(&json[kept..number.start]);
            changed.extend(plain.bytes());
            kept = number.end;
        }
    }
    if kept == 0 {
        return Cow::Borrowed(json);
    }
    changed.extend(&json[kept..]);
    Cow::Owned(changed)
}

/// Where the next run of a number's characters stands, from `at` on and outside of texts.
fn next_number(json: &[u8], mut at: usize) -> Option<Range<usize>> {
    loop {
        match *json.get(at)? {
            b'"' => {
                at += 1;
                // An escaped quote does not end the text
                while *json.get(at)? != b'"' {
                    at += if json[at] == b'\\' { 2 } else { 1 };
                }
            }
            b'-' | b'0'..=b'9' => {
                let of_number =
                    |b: &u8| matches!(b, b'0'..=b'9' | b'+' | b'-' | b'.' | b'e' | b'E');
                let rest = &json[at..];
                let length = rest.iter().position(|b| !of_number(b));
                return Some(at..at + length.unwrap_or(rest.len()));
            }
            _ => {}
        }
        at += 1;
    }
}

/// The plain form of a whole number that has another one; none for all else, and for what is no
/// number of JSON.
fn plain(text: &[u8]) -> Option<String> {
    let (sign, rest) = match text.strip_prefix(b"-") {
        Some(rest) => ("-", rest),
        None => ("", text),
    };
    let (whole, rest) = digits(rest);
    let (fraction, rest) = match rest.strip_prefix(b".") {
        Some(rest) => {
            let (fraction, rest) = digits(rest);
            (Some(fraction), rest)
        }
        None => (None, rest),
    };
    let power = match rest {
        [] => None,
        [b'e' | b'E', power @ ..] => {
            let (sign, power) = match power {
                [b'+', power @ ..] => (1, power),
                [b'-', power @ ..] => (-1, power),
                power => (1, power),
            };
            let (power, rest) = digits(power);
            let power: i64 = std::str::from_utf8(power).ok()?.parse().ok()?;
            rest.is_empty().then_some(Some(sign * power))?
        }
        _ => return None,
    };
    let leads = whole.len() > 1 && whole[0] == b'0';
    let is_plain = fraction.is_none() && power.is_none();
    if is_plain || leads || whole.is_empty() || fraction.is_some_and(<[u8]>::is_empty) {
        return None;
    }
    let fraction = fraction.unwrap_or_default();
    let value = scaled(
        [whole, fraction].concat(),
        power.unwrap_or(0),
        fraction.len(),
    )?;
    (value > 0 || sign.is_empty()).then(|| format!("{sign}{value}"))
}

/// `digits` x 10^(power - behind), if that is whole and not above [`LARGEST`].
fn scaled(digits: Vec<u8>, power: i64, behind: usize) -> Option<u64> {
    let end = digits.iter().rposition(|d| *d != b'0');
    let Some(end) = end else {
        return Some(0);
    };
    let zeros = digits.len() - 1 - end;
    let tens = power
        .checked_sub(behind as i64)?
        .checked_add(zeros as i64)?;
    let mut value: u64 = 0;
    for d in &digits[..=end] {
        value = value.checked_mul(10)?.checked_add(u64::from(d - b'0'))?;
    }
    let value = value.checked_mul(10_u64.checked_pow(u32::try_from(tens).ok()?)?)?;
    (value <= LARGEST).then_some(value)
}

/// The digits in front, and what follows them.
fn digits(text: &[u8]) -> (&[u8], &[u8]) {
    let count = text.iter().take_while(|b| b.is_ascii_digit()).count();
    text.split_at(count)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn after(json: &str) -> String {
        String::from_utf8(plain_wholes(json.as_bytes()).into_owned()).unwrap()
    }

    #[test]
    fn whole_numbers_get_their_plain_form() {
        for (written, plain) in [
            ("1000.0", "1000"),
            ("0.0", "0"),
            ("-7.00", "-7"),
            ("1e3", "1000"),
            ("1.25E+2", "125"),
            ("1200e-2", "12"),
            ("0e99", "0"),
            ("9007199254740992.0", "9007199254740992"),
            ("0.9007199254740992e16", "9007199254740992"),
        ] {
            assert_eq!(after(written), plain);
            assert_eq!(
                after(&format!("{{\"a\":[{written},\"{written}\",{written}]}}")),
                format!("{{\"a\":[{plain},\"{written}\",{plain}]}}")
            );
        }
    }

    #[test]
    fn all_else_stays() {
        for text in [
            "1000",
            "0.5",
            "-0.0",
            "1e-3",
            "12e-2",
            "0.1e0",
            "9007199254740993.0",
            "1e16",
            "1e999999999999999999999",
            "1e-999999999999999999999",
            "1.",
            ".0",
            "01.0",
            "1.0.0",
            "1e",
            "1e+",
            "1.0-",
            "--1.0",
            "-",
            "1.0e1e1",
            "\"1.0 \\\" 1.0\"",
            "\"1.0",
            "\"1.0\\",
            "",
        ] {
            assert_eq!(after(text), text);
            assert!(
                matches!(plain_wholes(text.as_bytes()), Cow::Borrowed(_)),
                "{text}"
            );
        }
    }
}
