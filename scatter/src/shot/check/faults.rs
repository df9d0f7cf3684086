//! A list of faults, and the checks that many fields share.

use std::fmt::Display;

use crate::error::{Error, ErrorKind, Fault, Result};
use crate::shot::MAX_COORDINATE_M;
use crate::shot::bounds::{Above, KEY, TURN_DEG, Within};
use crate::units::{Angle, Length};

/// Faults gathered so far.
#[derive(Debug, Default)]
pub(crate) struct Faults(Vec<Fault>);

impl Faults {
    /// Adds a fault.
    pub(crate) fn add(
        &mut self,
        place: impl Into<String>,
        problem: impl Into<String>,
        hint: impl Into<String>,
    ) {
        self.0.push(Fault::new(place, problem, hint));
    }

    /// The error with all faults, if there are any.
    pub(crate) fn done(self) -> Result<()> {
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

    /// A name for people, its bound in characters; none of them a control character.
    pub(crate) fn name(&mut self, place: &str, name: &str, bound: Within<usize>) {
        let length = name.chars().count();
        if !bound.holds(length) || name.chars().any(char::is_control) {
            self.add(
                place,
                format!("the name has {length} characters or a control character in it"),
                format!("{bound} characters on one line"),
            );
        }
    }

    /// A name that streams or references may hang on; a message calls it a `what`.
    pub(crate) fn key(&mut self, place: impl Into<String>, name: &str, what: &str) {
        let known = |b: u8| matches!(b, b'a'..=b'z' | b'0'..=b'9' | b'-' | b'_');
        if !KEY.holds(name.len()) || !name.bytes().all(known) {
            self.add(
                place,
                format!("{name:?} is no {what}"),
                format!("{KEY} of a-z, 0-9, - and _"),
            );
        }
    }

    /// The name of a file; a message calls it a `what`.
    pub(crate) fn file(&mut self, place: &str, name: &str, what: &str) {
        if name.is_empty() || name.contains('\0') {
            self.add(
                place,
                "no file is named",
                format!("{what}, relative to the shot's folder"),
            );
        }
    }

    /// A list's length.
    pub(crate) fn count(&mut self, place: &str, found: usize, bound: Within<usize>) {
        if !bound.holds(found) {
            self.add(place, format!("there are {found}"), bound.to_string());
        }
    }

    /// A number between two ends.
    pub(crate) fn within<T: Copy + PartialOrd + Display>(
        &mut self,
        place: impl Into<String>,
        value: T,
        bound: Within<T>,
        note: &str,
    ) {
        if !bound.holds(value) {
            self.add(
                place,
                format!("{value} is out of range"),
                joined(&bound.to_string(), note),
            );
        }
    }

    /// A number above zero.
    pub(crate) fn above(&mut self, place: impl Into<String>, value: f64, bound: Above, note: &str) {
        if !bound.holds(value) {
            self.add(
                place,
                format!("{value} is out of range"),
                joined(&bound.to_string(), note),
            );
        }
    }

    /// A length, its bound in metres; where it is zero at least, zero is allowed.
    pub(crate) fn length(&mut self, place: impl Into<String>, value: Length, bound: Within<f64>) {
        if !bound.holds(value.metres()) {
            let said = bound.map(Length::from_metres);
            self.add(place, format!("{value} is out of range"), said.to_string());
        }
    }

    /// A length above zero, to `most` metres.
    pub(crate) fn positive_length(&mut self, place: impl Into<String>, value: Length, most: f64) {
        if !(value.metres() > 0.0 && value.metres() <= most) {
            self.add(
                place,
                format!("{value} is out of range"),
                format!("above 0 m, to {}", Length::from_metres(most)),
            );
        }
    }

    /// An angle, its bound in degrees.
    pub(crate) fn angle(&mut self, place: impl Into<String>, value: Angle, bound: Within<f64>) {
        // Compared in radians as the bound's degrees read, so that an end itself is inside.
        let bound = bound.map(Angle::from_degrees);
        if !bound.holds(value) {
            self.add(place, format!("{value} is out of range"), bound.to_string());
        }
    }

    /// An azimuth or a turn.
    pub(crate) fn azimuth(&mut self, place: impl Into<String>, value: Angle) {
        self.angle(place, value, TURN_DEG);
    }

    /// A place in the world, or on the plan.
    pub(crate) fn place<const N: usize>(&mut self, place: &str, at: [Length; N]) {
        for (i, x) in at.into_iter().enumerate() {
            self.coordinate(format!("{place}[{i}]"), x);
        }
    }

    /// One coordinate of a place.
    pub(crate) fn coordinate(&mut self, place: impl Into<String>, x: Length) {
        if x.metres().abs() > MAX_COORDINATE_M {
            self.add(
                place,
                format!("{x} is too far from the origin"),
                format!("at most {} km along each axis", MAX_COORDINATE_M / 1e3),
            );
        }
    }

    /// Exactly one of two keys.
    pub(crate) fn one_of(&mut self, place: &str, first: (&str, bool), second: (&str, bool)) {
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
