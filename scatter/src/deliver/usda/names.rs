//! Names of prims, and text and numbers as USDA writes them.

use std::collections::BTreeSet;
use std::fmt;

/// Names in use under one prim.
#[derive(Debug, Default)]
pub(super) struct Names(BTreeSet<String>);

impl Names {
    /// A free name as near to `wanted` as an identifier can be: letters, digits and underscores, no
    /// digit first.
    pub(super) fn take(&mut self, wanted: &str) -> String {
        let mut name: String = wanted
            .chars()
            .map(|c| if c.is_ascii_alphanumeric() { c } else { '_' })
            .collect();
        if name.is_empty() || name.starts_with(|c: char| c.is_ascii_digit()) {
            name.insert(0, '_');
        }
        let mut free = name.clone();
        let mut number = 2_u32;
        while !self.0.insert(free.clone()) {
            free = format!("{name}_{number}");
            number += 1;
        }
        free
    }
}

/// Text in quotes.
pub(in crate::deliver) fn quoted(text: &str) -> String {
    let mut quoted = String::from("\"");
    for c in text.chars() {
        match c {
            '"' => quoted.push_str("\\\""),
            '\\' => quoted.push_str("\\\\"),
            '\n' => quoted.push_str("\\n"),
            '\r' => quoted.push_str("\\r"),
            '\t' => quoted.push_str("\\t"),
            c if c.is_control() => quoted.push(' '),
            c => quoted.push(c),
        }
    }
    quoted.push('"');
    quoted
}

/// A tuple of numbers, each the shortest decimal that reads back as itself.
#[derive(Debug)]
pub(super) struct Numbers<'a, T>(pub(super) &'a [T]);

impl<T: fmt::Display> fmt::Display for Numbers<'_, T> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("(")?;
        for (i, v) in self.0.iter().enumerate() {
            f.write_str(if i > 0 { ", " } else { "" })?;
            write!(f, "{v}")?;
        }
        f.write_str(")")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_identifiers_and_no_two_are_the_same() {
        let mut names = Names::default();
        assert_eq!(names.take("wet-stones"), "wet_stones");
        assert_eq!(names.take("wet_stones"), "wet_stones_2");
        assert_eq!(names.take("wet stones"), "wet_stones_3");
        assert_eq!(names.take("7"), "_7");
        assert_eq!(names.take(""), "_");
        assert_eq!(names.take("K\u{fc}hl"), "K_hl");
    }

    #[test]
    fn text_can_hold_anything() {
        assert_eq!(quoted("a \"b\"\\\n"), "\"a \\\"b\\\"\\\\\\n\"");
    }
}
