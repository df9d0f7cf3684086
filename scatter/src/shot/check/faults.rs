//! A list of faults, and the checks that many fields share.

use crate::error::{Error, ErrorKind, Fault, Result};
use crate::shot::MAX_COORDINATE_M;
use crate::units::{Angle, Length};

/// Faults gathered so far.
#[derive(Debug, Default)]
pub(super) struct Faults(Vec<Fault>);

impl Faults {
    /// Adds a fault.
    pub(super) fn add(
        &mut self,
        place: impl Into<String>,
        problem: impl Into<String>,
        hint: impl Into<String>,
    ) {
        self.0.push(Fault::new(place, problem, hint));
    }

    /// The error with all faults, if there are any.
    pub(super) fn done(self) -> Result<()> {
        if self.0.is_empty() {
            return Ok(());
        }
        Err(Error {
            kind: ErrorKind::Input,
            file: None,
            faults: self.0,
            cause: None,
        })
    }

    /// A name for people: 1 to `most` characters, no control characters.
    pub(super) fn name(&mut self, place: &str, name: &str, most: usize) {
        let length = name.chars().count();
        if length == 0 || length > most || name.chars().any(char::is_control) {
            self.add(
                place,
                format!("the name has {length} characters or a control character in it"),
                format!("1 to {most} characters on one line"),
            );
        }
    }

    /// A list's length.
    pub(super) fn count(&mut self, place: &str, found: usize, least: usize, most: usize) {
        if found < least || found > most {
            self.add(
                place,
                format!("there are {found}"),
                format!("{least} to {most}"),
            );
        }
    }

    /// A number in `least..=most`.
    pub(super) fn within(
        &mut self,
        place: impl Into<String>,
        value: f64,
        least: f64,
        most: f64,
        note: &str,
    ) {
        if !(least..=most).contains(&value) {
            self.add(
                place,
                format!("{value} is out of range"),
                joined(&format!("{least} to {most}"), note),
            );
        }
    }

    /// A number above `bound`, at most `most`.
    pub(super) fn above(
        &mut self,
        place: impl Into<String>,
        value: f64,
        bound: f64,
        most: f64,
        note: &str,
    ) {
        if !(value > bound && value <= most) {
            self.add(
                place,
                format!("{value} is out of range"),
                joined(&format!("above {bound}, to {most}"), note),
            );
        }
    }

    /// A length in `least..=most` metres; with a `least` of zero, zero is allowed.
    pub(super) fn length(
        &mut self,
        place: impl Into<String>,
        value: Length,
        least: f64,
        most: f64,
    ) {
        if !(least..=most).contains(&value.metres()) {
            self.add(
                place,
                format!("{value} is out of range"),
                format!(
                    "{} to {}",
                    Length::from_metres(least),
                    Length::from_metres(most)
                ),
            );
        }
    }

    /// A length above zero, to `most` metres.
    pub(super) fn positive_length(&mut self, place: impl Into<String>, value: Length, most: f64) {
        if !(value.metres() > 0.0 && value.metres() <= most) {
            self.add(
                place,
                format!("{value} is out of range"),
                format!("above 0 m, to {}", Length::from_metres(most)),
            );
        }
    }

    /// An angle in `least..=most` degrees.
    pub(super) fn angle(&mut self, place: impl Into<String>, value: Angle, least: f64, most: f64) {
        // Compared in radians as `most` degrees reads, so that a limit itself is inside.
        let (least, most) = (Angle::from_degrees(least), Angle::from_degrees(most));
        if !(least..=most).contains(&value) {
            self.add(
                place,
                format!("{value} is out of range"),
                format!("{least} to {most}"),
            );
        }
    }

    /// An azimuth or a turn: within ten turns, so that no precision is lost in it.
    pub(super) fn azimuth(&mut self, place: impl Into<String>, value: Angle) {
        self.angle(place, value, -3600.0, 3600.0);
    }

    /// A place in the world.
    pub(super) fn place(&mut self, place: &str, at: [Length; 3]) {
        for (i, x) in at.iter().enumerate() {
            if x.metres().abs() > MAX_COORDINATE_M {
                self.add(
                    format!("{place}[{i}]"),
                    format!("{x} is too far from the origin"),
                    format!("at most {} km along each axis", MAX_COORDINATE_M / 1e3),
                );
            }
        }
    }

    /// Exactly one of two keys.
    pub(super) fn one_of(&mut self, place: &str, first: (&str, bool), second: (&str, bool)) {
        let (a, b) = (first.0, second.0);
        match (first.1, second.1) {
            (true, true) => self.add(
                place,
                format!("has both `{a}` and `{b}`"),
                format!("leave out one of `{a}` and `{b}`"),
            ),
            (false, false) => self.add(
                place,
                format!("has neither `{a}` nor `{b}`"),
                format!("give one of `{a}` and `{b}`"),
            ),
            _ => {}
        }
    }
}

fn joined(range: &str, note: &str) -> String {
    if note.is_empty() {
        range.to_owned()
    } else {
        format!("{range}; {note}")
    }
}

/// Whether a name is one that streams or references may hang on: 1 to 64 of a-z, 0-9, - and _.
pub(super) fn is_key(name: &str) -> bool {
    let known = |b: u8| matches!(b, b'a'..=b'z' | b'0'..=b'9' | b'-' | b'_');
    (1..=64).contains(&name.len()) && name.bytes().all(known)
}
